"""A key without errors to the tables that evaluation runs on.

The compiler assumes what the checks have proved: names exist, units fit, couplets run in no circle.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from classifier.errors import KeyFaultError
from classifier.key import forms as f
from classifier.key import syntax as s
from classifier.key import truth
from classifier.key.meaning import Meanings
from classifier.key.text import expression_text
from classifier.key.units import unit
from classifier.key.vocabulary import PASS, PULSE, TIER

TAXON, GROUP, UNIDENTIFIED, NOT_A_BAT = "taxon", "group", "unidentified", "not a bat"


@dataclass(frozen=True)
class End:
    """A label that the key can give. ``kind`` is taxon, group, unidentified or not a bat; ``members`` are a group's
    taxa. The reason for an unidentified call belongs to the lead that ends it (``Route.reason``)."""

    label: str
    kind: str
    members: tuple[str, ...] = ()


@dataclass(frozen=True)
class Route:
    """One lead of a couplet. ``onward`` is the position of the couplet it goes to, or None; then ``end`` is the position of
    its End. ``cap`` is the place of its `at most` in syntax.TIERS (0 without). ``lead`` is None for the implicit end of a
    call that no lead of the couplet takes."""

    index: int
    label: str
    onward: int | None
    end: int | None
    cap: int
    reason: str
    meaning: f.Condition | None
    lead: s.Lead | None
    judge: object = field(compare=False, repr=False, default=None)


@dataclass(frozen=True)
class Station:
    """A couplet in evaluation order; the last of ``routes`` is the implicit one. ``entries`` are the indices of the
    routes that lead here."""

    number: int
    couplet: s.Couplet
    routes: tuple[Route, ...]
    entries: tuple[int, ...]


@dataclass(frozen=True)
class Refinement:
    """A refine block: its candidates' positions in ``ends``, and its leads (``end`` None: stays)."""

    refine: s.Refine
    candidates: tuple[int, ...]
    routes: tuple[Route, ...]


@dataclass(frozen=True)
class CompiledKey:
    """A key ready to evaluate. ``stations`` come in an order in which every lead points forward; the first is where calls
    enter. ``gate_names`` are the gate's conditions as text; ``tiers`` the conditions of the passes block (tier, meaning
    or None for otherwise)."""

    key: s.Key
    ends: tuple[End, ...]
    gate: tuple[f.Condition, ...]
    gate_names: tuple[str, ...]
    gate_judges: tuple[object, ...] = field(compare=False, repr=False)
    stations: tuple[Station, ...]
    routes: tuple[Route, ...]
    tiers: tuple[tuple[str, f.Condition | None], ...]
    refinements: tuple[Refinement, ...]

    @property
    def standard_errors(self) -> float:
        return self.key.standard_errors

    @property
    def gap_s(self) -> float:
        """Seconds of silence that end a pass; 1 where the key does not say."""
        gap = next((entry for entry in self._entries if isinstance(entry, s.Gap)), None)
        return 1.0 if gap is None else float(Fraction(gap.time.value) * unit(gap.time.unit).factor / 1000)

    @property
    def least_pulses(self) -> int:
        """Usable pulses that a pass needs for a label; 1 where the key does not say."""
        return next((entry.pulses for entry in self._entries if isinstance(entry, s.AtLeast)), 1)

    @property
    def _entries(self):
        return self.key.passes.entries if self.key.passes else ()

    @property
    def metrics(self) -> tuple[str, ...]:
        """Every metric that the gate and the couplets look at."""
        return f.metrics_of(f.All((*self.gate, *(route.meaning for route in self.routes if route.meaning is not None))))

    def end(self, label: str) -> int:
        """Position of a label in ``ends``; -1 if the key cannot give it."""
        return next((place for place, end in enumerate(self.ends) if end.label == label), -1)


def compile_key(key: s.Key, meanings: Mapping[int, f.Condition] | None = None) -> CompiledKey:
    """Make a key ready to evaluate.

    Parameters
    ----------
    key : a merged key without errors (``KeyReading.key``)
    meanings : ``KeyReading.meanings``, which saves reading the conditions again

    Raises
    ------
    KeyFaultError : the key has faults after all; its ``diagnostics`` name them
    """
    if key is None:
        raise KeyFaultError("the key has faults; see its diagnostics")
    return _Compiler(key, meanings or {}).compile()


class _Compiler:
    def __init__(self, key, meanings):
        self.key = key
        self.known = meanings
        self.faults = []
        self.meanings = Meanings(key.lets, self.faults.append, lambda span: "")
        self.ends = {}
        self.routes = []
        self.made = {}  # conditions made ready

    def compile(self):
        key = self.key
        order = _forward_order(key)
        position = {number: place for place, number in enumerate(order)}
        for taxon in key.taxa.values():
            self.end(s.ToTaxon(taxon.name))
        stations = [self.station(key.couplets[number], position) for number in order]
        self.end(s.Unidentified())
        refinements = tuple(self.refinement(refine) for refine in key.refines)
        gate = tuple(self.condition(line.condition, PULSE) for line in (key.gate.lines if key.gate else ()))
        tiers = tuple(
            (tier.tier, None if tier.condition is None else self.condition(tier.condition, TIER))
            for tier in (key.passes.tiers if key.passes else ())
        ) or (("possible", None),)
        if self.faults:
            raise KeyFaultError("the key has faults: " + self.faults[0].message, self.faults)
        entries = {place: [] for place in range(len(order))}
        for route in self.routes:
            if route.onward is not None:
                entries[route.onward].append(route.index)
        stations = tuple(
            Station(couplet.number, couplet, routes, tuple(entries[place])) for place, (couplet, routes) in enumerate(stations)
        )
        return CompiledKey(
            key,
            tuple(self.ends),
            gate,
            tuple(_gate_name(line) for line in (key.gate.lines if key.gate else ())),
            tuple(truth.ready(condition, self.made) for condition in gate),
            stations,
            tuple(self.routes),
            tiers,
            refinements,
        )

    def condition(self, expression, level):
        known = self.known.get(id(expression))
        return known if known is not None else self.meanings.condition(expression, level)

    def end(self, target):
        """Position of the End that a target names; made at its first mention."""
        match target:
            case s.ToTaxon(name):
                end = End(name, TAXON)
            case s.ToGroup(name):
                group = self.key.groups.get(name)
                end = End(name, GROUP, tuple(each.name for each in group.members) if group else ())
            case s.Unidentified():
                end = End("unidentified", UNIDENTIFIED)
            case s.NotABat():
                end = End("not a bat", NOT_A_BAT)
        return self.ends.setdefault(end, len(self.ends))

    def route(self, lead, level, position):
        onward = end = None
        if isinstance(lead.target, s.ToCouplet):
            onward = position[lead.target.number]
        elif not isinstance(lead.target, s.Stays):
            end = self.end(lead.target)
        meaning = None if lead.condition is None else self.condition(lead.condition, level)
        return Route(
            len(self.routes),
            lead.label,
            onward,
            end,
            s.TIERS.index(lead.at_most) if lead.at_most else 0,
            getattr(lead.target, "reason", None) or "",
            meaning,
            lead,
            truth.ready(meaning, self.made) if meaning else None,
        )

    def station(self, couplet, position):
        routes = []
        for lead in couplet.leads:
            routes.append(self.route(lead, PULSE, position))
            self.routes.append(routes[-1])
        reason = f"no lead of couplet {couplet.number} applies"
        end = self.end(s.Unidentified())
        routes.append(Route(len(self.routes), f"{couplet.number}-", None, end, 0, reason, None, None))
        self.routes.append(routes[-1])
        return couplet, tuple(routes)

    def refinement(self, refine):
        candidates = tuple(self.end(candidate) for candidate in refine.candidates)
        return Refinement(refine, candidates, tuple(self.route(lead, PASS, {}) for lead in refine.leads))


def _gate_name(line):
    return expression_text(line.condition)


def _forward_order(key):
    """Numbers of the couplets that calls can come to, each before all that it leads to."""
    if not key.couplets:
        return []
    first = next(iter(key.couplets))
    order, done, stack = [], set(), [(first, False)]
    while stack:
        number, finished = stack.pop()
        if finished:
            order.append(number)
            continue
        if number in done or number not in key.couplets:
            continue
        done.add(number)
        stack.append((number, True))
        leads = key.couplets[number].leads
        stack.extend((lead.target.number, False) for lead in leads if isinstance(lead.target, s.ToCouplet))
    return order[::-1]
