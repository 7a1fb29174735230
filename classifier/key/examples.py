"""Calls with known values: a key's worked examples, its own tests; and calls typed in by hand."""

from fractions import Fraction

from lark import UnexpectedInput

from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.compile import CompiledKey, compile_key
from classifier.key.lines import split
from classifier.key.messages import Diagnostic, did_you_mean, finding
from classifier.key.parse import statement_parser
from classifier.key.quantities import Quantities
from classifier.key.text import number_text, target_text
from classifier.key.transform import Places
from classifier.key.units import unit
from classifier.key.walk import UNSURE, Walk, walk
from classifier.metrics import METRICS

#: Ends that a message names.
_MOST_ENDS = 6
#: What ``walk`` takes: by metric name the value and its standard error (or None), in the metric's unit.
Call = dict[str, tuple[float | None, float | None]]


def call_of(values: tuple[s.ExampleValue, ...]) -> Call:
    """The call that checked values stand for."""
    return {each.metric: (_in_unit(each.value, each.metric), _in_unit(each.error, each.metric)) for each in values}


def _in_unit(quantity, metric):
    if quantity is None:
        return None
    return float(Fraction(quantity.value) * unit(quantity.unit or "").factor / unit(METRICS[metric].unit).factor)


def run_examples(key: s.Key | CompiledKey) -> list[Diagnostic]:
    """Walk every worked example of a key without errors; a finding for each that does not end as it must."""
    compiled = key if isinstance(key, CompiledKey) else compile_key(key)
    found = []
    left = limits.EXAMPLE_STEPS
    for example in compiled.key.examples:
        if left <= 0:
            found.append(
                finding(
                    "K322",
                    f'the examples take too long: those from "{example.name}" on are not run',
                    example.span,
                    f"all together may try {limits.EXAMPLE_STEPS:,} leads and comparisons; keep the telling ones",
                )
            )
            break
        call = call_of(example.values)
        way = walk(compiled, call)
        left -= sum(1 + len(step.comparisons) for step in (*way.gate, *way.steps))
        fault = _fault(example.outcome, way, compiled)
        if fault:
            witness = [(name, value) for name, (value, _) in call.items() if value is not None]
            found.append(finding("K501", f'example "{example.name}" {fault}', example.span, _why(way), witness=witness))
    return found


def _fault(outcome, way: Walk, compiled):
    """What is wrong with the way's end, or ''."""
    if outcome.kind == "gated":
        return "" if way.gated_by else f"must be taken out by the gate, but ends as {_ends(way)}"
    if way.gated_by:
        return f"is taken out by the gate: `{way.gated_by}` is no"
    labels = {end.label for end in way.candidates}
    for label in outcome.labels:
        wanted = _labels(label, compiled)
        met = labels & wanted if outcome.kind == "among" else labels <= wanted
        if not met:
            among = " among its candidates" if outcome.kind == "among" else " and nothing else"
            return f"must have {target_text(label)}{among}, but ends as {_ends(way)}"
    reason = getattr(outcome.labels[0], "reason", None)
    if reason is not None and reason != way.reason:
        return f'must end for the reason "{reason}", but the reason is "{way.reason}"'
    if outcome.at_most is not None:
        tier = s.TIERS[min(way.candidates.values())]
        if tier != outcome.at_most:
            return f"must be at most {outcome.at_most}, but may become {tier}"
    return ""


def _labels(target, compiled):
    """The labels that count as a target: a group's are its own and its members'."""
    match target:
        case s.ToTaxon(name):
            return {name}
        case s.ToGroup(name):
            return {name, *(each.name for each in compiled.key.groups[name].members)}
        case s.Unidentified():
            return {"unidentified"}
    return {"not a bat"}


def _ends(way):
    ends = [end.label for end in way.candidates]
    return " or ".join([*ends[:_MOST_ENDS], *["…"] * (len(ends) > _MOST_ENDS)]) + f" (by {way.short_trail})"


def _why(way):
    """Where the call was unsure, for a reader who looks for the boundary to move."""
    unsure = [
        f"{step.label} is unsure: {judged.text}" + ("" if judged.value is not None else " (not given)")
        for step in way.steps
        for judged in step.comparisons
        if step.truth == UNSURE and judged.truth == UNSURE
    ]
    return "; ".join(unsure[:3]) or "`callkey explain KEY --call` walks it lead by lead"


def parse_call(text: str) -> tuple[Call, list[Diagnostic]]:
    """A call typed in from paper: ``characteristic_frequency = 47 kHz ± 0.2 kHz, duration = 5.6 ms``.

    Returns
    -------
    (values by metric name, findings); the values are empty if anything is wrong. The = may be left out.
    """
    places = Places(text, "call")
    found = []

    def say(code, message, span, help=""):
        found.append(finding(code, message, span, help))

    whole = places.span(0, len(text))
    statements = split(text)[0]
    if len(statements) != 1 or len(text) > limits.STATEMENT_CHARACTERS:
        say("K101", "a call is one list of values", whole, "write it as in duration = 5.6 ms, snr = 20 dB")
        return {}, found
    try:
        values = statement_parser().parse(statements[0].text, "typed_call", places, statements[0].start)
    except UnexpectedInput as error:
        at = statements[0].start + (error.pos_in_stream or 0)
        say(
            "K101",
            "the call cannot be read from here on",
            places.span(at, max(at + 1, len(text))),
            "write metric, value and unit, parted by commas, as in duration = 5.6 ms, snr = 20 dB",
        )
        return {}, found
    quantities = Quantities(found.append, lambda span: text[span.start : span.end])
    seen = set()
    for value in values:
        if value.metric not in METRICS:
            help = did_you_mean(value.metric, METRICS) or "`callkey metrics` lists the metrics"
            say("K201", f"`{value.metric}` is not a metric", value.span, help)
            continue
        if value.metric in seen:
            say("K207", f"`{value.metric}` is given twice", value.span, "keep one of them")
        seen.add(value.metric)
        for quantity in (value.value, value.error):
            if quantity is not None:
                quantities.amount(quantity, unit(METRICS[value.metric].unit), f"`{value.metric}`")
        if value.error is not None and value.error.value < 0:
            say("K223", f"a standard error of {number_text(value.error.value)} is negative", value.error.span)
    return ({} if found else call_of(values)), found
