"""All proofs of one key, in one run."""

from collections.abc import Iterable

from classifier.key import forms as f
from classifier.key import syntax as s
from classifier.key.check.boundaries import boundaries, heard_ranges
from classifier.key.check.cases import TooHard
from classifier.key.check.couplets import gaps, overlaps
from classifier.key.check.definite import unsafe_definites
from classifier.key.check.ground import ALL_STEPS, Ground
from classifier.key.check.leads import unreached
from classifier.key.check.places import out_of_region
from classifier.key.check.refines import dead_refinements
from classifier.key.check.tiers import TierRules, tier_faults
from classifier.key.check.undecided import Undecided
from classifier.key.check.ways import Ways
from classifier.key.collector import collector_paused
from classifier.key.compile import CompiledKey, compile_key
from classifier.key.examples import run_examples
from classifier.key.messages import Diagnostic, finding, in_order
from classifier.key.reading import KeyReading
from classifier.key.vocabulary import PASS, PULSE, TIER


def check(reading: KeyReading, *, sample_rate_khz: float | None = None, steps: int = ALL_STEPS) -> list[Diagnostic]:
    """Every finding about a key: those of reading it and, where it has no errors, its examples that fail and all that is
    proven about it.

    Parameters
    ----------
    reading : of ``read_key`` or ``parse_key``
    sample_rate_khz : true sample rate of the recordings that the key is for; without it nothing is said of Nyquist
    steps : effort allowed for the proofs

    Returns
    -------
    list of Diagnostic, by file and place; never raises for a bad key
    """
    return in_order([*reading.diagnostics, *check_reading(reading, sample_rate_khz=sample_rate_khz, steps=steps)])


@collector_paused()
def check_reading(reading: KeyReading, *, sample_rate_khz: float | None = None, steps: int = ALL_STEPS) -> list[Diagnostic]:
    """What is proven about a key, as ``check`` without the findings of reading. A key with errors gets only the proofs
    that look at one statement at a time."""
    nyquist = None if sample_rate_khz is None else sample_rate_khz / 2

    def quote(span):
        return "" if span is None else " ".join(reading.texts[span.file][span.start : span.end].split())

    found = []
    impossible = set()
    for level, conditions in _by_level(reading).items():
        result = boundaries(conditions, level, nyquist_khz=nyquist if level == PULSE else None, quote=quote)
        found.extend(result.findings)
        impossible |= result.never_yes | result.never_no
    if reading.key is None:
        return found
    found.extend(out_of_region(reading.key))
    if nyquist is not None:
        found.extend(heard_ranges(reading.key, nyquist))
    compiled = compile_key(reading.key, reading.meanings)
    found.extend(run_examples(compiled))
    found.extend(_proofs(compiled, impossible, steps))
    return found


def _by_level(reading):
    """The meanings of all sound conditions, by level, in the order of the text."""
    found = {PULSE: [], PASS: [], TIER: []}

    def take(level, expressions: Iterable[s.Expression | None]):
        for expression in expressions:
            meaning = reading.meanings.get(id(expression)) if expression is not None else None
            if meaning is not None:
                found[level].append(meaning)

    for statement in reading.merged.statements:
        match statement:
            case s.Gate():
                take(PULSE, (line.condition for line in statement.lines))
            case s.Couplet():
                take(PULSE, (lead.condition for lead in statement.leads))
            case s.Passes():
                take(TIER, (tier.condition for tier in statement.tiers))
            case s.Refine():
                take(PASS, (lead.condition for lead in statement.leads))
    return found


def _proofs(compiled: CompiledKey, impossible, steps):
    found = []
    undecided = Undecided()
    rules = TierRules(compiled)

    def faulty(meaning):
        return meaning is not None and any(id(each) in impossible for each in _comparisons(meaning))

    found.extend(tier_faults(compiled, rules, faulty))
    found.extend(dead_refinements(compiled, faulty))
    ground = Ground(compiled, steps=steps)
    try:
        shut = _gate_and_ranges(ground)
        found.extend(shut)
        if not any(each.code == "K412" for each in shut):
            found.extend(_in_turn(ground, rules, faulty, undecided))
    except TooHard:
        undecided.unfinished = True
    whole = next(iter(compiled.key.couplets.values())).span if compiled.key.couplets else None
    found.extend(undecided.findings(ground.axes, whole))
    return found


def _in_turn(ground, rules, faulty, undecided):
    """The findings of each family of proofs, the one on which most depends first. Each may spend a share of the effort that is
    left, and what was found when that runs out is kept."""
    ways, whole = Ways(ground), ground.effort
    families = (
        (0.7, lambda: unsafe_definites(ground, rules, undecided)),
        (0.95, lambda: unreached(ground, ways, _accounted(ground, faulty), undecided)),
        (0.7, lambda: gaps(ground, ways, undecided)),
        (1.0, lambda: overlaps(ground, ways, undecided)),
    )
    for share, family in families:
        try:
            ground.effort = whole.part(int(share * whole.left))
            yield from family()
        except TooHard:
            undecided.unfinished = True
    ground.effort = whole


def _gate_and_ranges(ground):
    """K412: a gate that nothing passes; K413: a taxon whose declared ranges no call can meet together."""
    found = []
    gate = ground.compiled.key.gate
    if gate is not None and ground.none(ground.narrow(ground.everywhere, ground.gate)):
        found.append(
            finding(
                "K412",
                "no call passes the gate: its conditions cannot all be met",
                gate.span,
                "correct the conditions; a pulse must meet every one of them",
            )
        )
    for taxon in ground.compiled.key.taxa.values():
        box = ground.box(taxon.name)
        if taxon.ranges and ground.none(ground.narrow(ground.everywhere, box)):
            found.append(
                finding(
                    "K413",
                    f"no call can lie in all declared ranges of `{taxon.name}`",
                    taxon.ranges[0].span,
                    "correct the ranges: each lies within what its metric can be, and the lowest frequency is never above the "
                    "others",
                )
            )
    return found


def _accounted(ground, faulty):
    """Leads that can never be taken, and those that can never be taken clearly, because of a boundary that is reported
    already."""
    never, never_clear = set(), set()
    for station in ground.compiled.stations:
        for route in ground.leads(station):
            if faulty(route.meaning):
                terms = ground.terms(route)
                if ground.none(ground.narrow(ground.everywhere, terms.taken)):
                    never.add(route.index)
                if ground.none(ground.narrow(ground.everywhere, terms.yes)):
                    never_clear.add(route.index)
    return never, never_clear


def _comparisons(condition):
    stack = [condition]
    while stack:
        match stack.pop():
            case f.Comparison() as comparison:
                yield comparison
            case f.Not(inner):
                stack.append(inner)
            case f.All(parts) | f.Any(parts):
                stack.extend(parts)
