"""One call through a key, lead by lead, in plain Python: what ``explain`` shows, and the oracle of ``evaluate``.

It follows docs/key-language.md step by step and shares nothing with the evaluator for tables but the meaning of the key.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from classifier.key import forms as f
from classifier.key import syntax as s
from classifier.key.compile import CompiledKey, End, Route, compile_key
from classifier.key.text import condition_text, form_text, lead_target_text, short_number
from classifier.key.vocabulary import NAMES, PULSE

YES, NO, UNSURE = "yes", "no", "unsure"
#: Ways that a message quotes.
_MOST_WAYS = 6


@dataclass(frozen=True)
class Judged:
    """One comparison on one call. ``measured`` are its metrics (name, value, standard error; None where missing);
    ``value`` is that of the compared form and ``error`` its standard error, in ``unit``."""

    comparison: f.Comparison
    measured: tuple[tuple[str, float | None, float | None], ...]
    value: float | None
    error: float | None
    boundary: float
    half_width: float | None
    clearance: float
    truth: str

    @property
    def unit(self) -> str:
        return self.comparison.unit

    @property
    def text(self) -> str:
        """The comparison as it was compared: form, sense, boundary with its zone and unit."""
        comparison, unit = self.comparison, f" {self.unit}" if self.unit else ""
        zone = f" ± {short_number(float(comparison.zone))}{unit}" if comparison.zone else ""
        boundary = short_number(float(comparison.boundary))
        return f"{form_text(comparison.form)} {comparison.sense} {boundary}{unit}{zone}"


@dataclass(frozen=True)
class Step:
    """One lead that was tried (or one line of the gate: ``couplet`` is None)."""

    couplet: int | None
    label: str
    stands: s.Lead | s.GateLine
    truth: str
    clearance: float
    comparisons: tuple[Judged, ...]

    @property
    def text(self) -> str:
        return condition_text(self.stands)

    @property
    def target(self) -> str:
        """Where a lead goes; '' for a line of the gate."""
        return lead_target_text(self.stands) if isinstance(self.stands, s.Lead) else ""


@dataclass(frozen=True)
class Walk:
    """The way of one call. ``gated_by`` is the text of the first gate condition that is no, or None. ``candidates`` maps
    each end to its cap (place in syntax.TIERS). ``ways`` are the ways as linked pairs (way before, label). ``trail``,
    ``parted_by``, ``clearance`` (NaN if nothing was compared) and ``reason`` are as in evaluate.Verdicts."""

    gate: tuple[Step, ...]
    gated_by: str | None
    steps: tuple[Step, ...]
    candidates: Mapping[End, int]
    ways: tuple = field(repr=False, compare=False)
    parted_by: int
    clearance: float
    reason: str

    @cached_property
    def trail(self) -> str:
        return " | ".join(map(_way_text, self.ways))

    @property
    def short_trail(self) -> str:
        """The trail as far as a message should quote it: a call that is unsure everywhere has as many ways as couplets."""
        return " | ".join([*map(_way_text, self.ways[:_MOST_WAYS]), *["…"] * (len(self.ways) > _MOST_WAYS)])


def _way_text(way):
    labels = []
    while way is not None:
        way, label = way
        labels.append(label)
    return " ".join(reversed(labels))


def walk(key: s.Key | CompiledKey, call: Mapping[str, tuple[float | None, float | None] | float]) -> Walk:
    """Take one call through a key.

    Parameters
    ----------
    key : a key without errors
    call : by metric name the value in the metric's unit, or (value, standard error or None); None or NaN is
        missing, and of what is absent nothing is known at all
    """
    compiled = key if isinstance(key, CompiledKey) else compile_key(key)
    call = {name: given if isinstance(given, tuple) else (given, None) for name, given in call.items()}
    gate = tuple(_gate_step(compiled, place, call) for place in range(len(compiled.gate)))
    gated_by = next((step.text for step in gate if step.truth == NO), None)
    if gated_by is not None or not compiled.stations:
        return Walk(gate, gated_by, (), {}, (), 0, math.nan, "")
    return _Walker(compiled, call).walk(gate)


def _gate_step(compiled, place, call):
    truth, clearance, comparisons = judge(compiled.gate[place], call, compiled.standard_errors)
    return Step(None, "gate", compiled.key.gate.lines[place], truth, clearance, tuple(comparisons))


class _Walker:
    def __init__(self, compiled, call):
        self.compiled = compiled
        self.call = call
        self.taken = {}  # place of a couplet -> its routes that were taken
        self.steps = []

    def walk(self, gate):
        best = {}  # best cap with which a couplet was reached
        caps, ways, reasons, order = {}, [], [], []
        ahead = [(0, 0, None, True)]
        while ahead:
            item, cap, before, written = ahead.pop()
            if isinstance(item, Route):
                if written:
                    ways.append((before, item.label))
                    reasons.append(item.reason)
                caps[item.end] = min(cap, caps.get(item.end, cap))
                continue
            first = item not in best
            if not first and best[item] <= cap:
                continue
            best[item] = cap
            if first:
                order.append(item)
            # A couplet seen before is not written out again: only the caps beyond it can get better.
            written = written and first
            onward = []
            for route in self.leads_taken(item):
                reached = max(cap, route.cap)
                if route.onward is None:
                    onward.append((route, reached, before, written))
                else:
                    onward.append((route.onward, reached, (before, route.label), written))
            ahead.extend(reversed(onward))
        ends = self.compiled.ends
        clearance = min((step.clearance for step in self.steps), default=math.inf)
        return Walk(
            gate,
            None,
            tuple(self.steps),
            {ends[end]: caps[end] for end in sorted(caps)},
            tuple(ways),
            self.parting(order) if len(caps) > 1 else 0,
            math.nan if math.isinf(clearance) else clearance,
            "; ".join(dict.fromkeys(each for each in reasons if each)),
        )

    def leads_taken(self, place):
        """Try the leads of a couplet in order: yes goes there and stops, unsure goes there and tries on."""
        if place in self.taken:
            return self.taken[place]
        station = self.compiled.stations[place]
        taken = []
        for route in station.routes[:-1]:
            if route.meaning is None:
                truth, clearance, comparisons = YES, math.inf, []
            else:
                truth, clearance, comparisons = judge(route.meaning, self.call, self.compiled.standard_errors)
            self.steps.append(Step(station.number, route.label, route.lead, truth, clearance, tuple(comparisons)))
            if truth != NO:
                taken.append(route)
            if truth == YES:
                break
        self.taken[place] = taken or [station.routes[-1]]
        return self.taken[place]

    def parting(self, order):
        """The first couplet of the way whose leads taken do not all come to the same ends."""
        reached = {}
        for place in sorted(self.taken, reverse=True):
            ends = [reached[route.onward] if route.onward is not None else {route.end} for route in self.taken[place]]
            reached[place] = set().union(*ends)
            self.taken[place] = (self.taken[place], any(each != ends[0] for each in ends))
        return next((self.compiled.stations[place].number for place in order if self.taken[place][1]), 0)


def judge(
    condition: f.Condition, call: Mapping[str, tuple[float | None, float | None]], standard_errors: float
) -> tuple[str, float, list[Judged]]:
    """(yes, no or unsure; clearance; every comparison in it) of a condition on one call."""
    match condition:
        case f.Comparison():
            judged = _compare(condition, call, standard_errors)
            return judged.truth, judged.clearance, [judged]
        case f.Presence(name, measured):
            known = _value(call, name) is not None
            return (YES if known == measured else NO), math.inf, []
        case f.Fact(name):
            value = _value(call, name)
            return (UNSURE, 0.0, []) if value is None else (YES if value else NO, math.inf, [])
        case f.Not(inner):
            truth, clearance, comparisons = judge(inner, call, standard_errors)
            return {YES: NO, NO: YES, UNSURE: UNSURE}[truth], clearance, comparisons
    parts = [judge(part, call, standard_errors) for part in condition.parts]
    comparisons = [each for _, _, several in parts for each in several]
    one, all_ = (NO, YES) if isinstance(condition, f.All) else (YES, NO)
    deciding = [clearance for truth, clearance, _ in parts if truth == one]
    if deciding:
        return one, max(deciding), comparisons
    if all(truth == all_ for truth, _, _ in parts):
        return all_, min(clearance for _, clearance, _ in parts), comparisons
    return UNSURE, min(clearance for truth, clearance, _ in parts if truth == UNSURE), comparisons


def _value(call, name):
    value = call.get(name, (None, None))[0]
    return None if value is None or math.isnan(value) else float(value)


def _error(call, name):
    error = call.get(name, (None, None))[1]
    return float(error) if error is not None and error > 0 else 0.0


def _compare(comparison, call, standard_errors):
    measured = tuple((name, _value(call, name), call.get(name, (None, None))[1]) for name in comparison.metrics)
    boundary, zone = float(comparison.boundary), float(comparison.zone)
    low, high = comparison.edges

    def result(value, error, half_width, clearance, truth):
        return Judged(comparison, measured, value, error, boundary, half_width, clearance, truth)

    try:
        value, slopes = _form(comparison.form, call)
    except (KeyError, ZeroDivisionError):
        return result(None, None, None, 0.0, UNSURE)
    if math.isnan(value):
        return result(None, None, None, 0.0, UNSURE)
    if comparison.sense == "=":
        return result(value, None, 0.0, math.inf, YES if value == boundary else NO)
    errors = [abs(slope) * _error(call, name) for name, slope in slopes.items()]
    error = errors[0] if len(errors) == 1 else math.sqrt(sum(each * each for each in errors))
    resolution = sum(abs(slope) * NAMES[PULSE][name].resolution for name, slope in slopes.items())
    widening = standard_errors * error if standard_errors else 0.0
    if math.isnan(widening):
        return result(value, None, None, 0.0, UNSURE)
    low, high, half_width = low - widening, high + widening, zone + widening
    sense = comparison.sense
    if sense in ("<", "<="):
        yes = value <= low and (value < boundary or sense == "<=")
        no = value >= high and (value > boundary or sense == "<")
    else:
        yes = value >= high and (value > boundary or sense == ">=")
        no = value <= low and (value < boundary or sense == ">")
    clearance = abs(value - boundary) / max(half_width, resolution)
    clearance = 0.0 if math.isnan(clearance) else clearance
    return result(value, error, half_width, clearance, YES if yes else NO if no else UNSURE)


def _form(form, call):
    """(value, slope by metric) of a linear form; KeyError where a metric is missing."""
    total, slopes = 0.0, {}
    for place, (atom, coefficient) in enumerate(form.terms):
        value, inner = _atom(atom, call)
        factor = float(coefficient)
        total = value * factor if place == 0 else total + value * factor
        for name, slope in inner.items():
            slopes[name] = slopes.get(name, 0.0) + slope * factor
    return total + float(form.constant), slopes


def _atom(atom, call):
    match atom:
        case f.Measured(name):
            value = _value(call, name)
            if value is None:
                raise KeyError(name)
            return value, {name: 1.0}
        case f.Absolute(of):
            value, slopes = _form(of, call)
            return abs(value), {name: -slope if value < 0 else slope for name, slope in slopes.items()}
        case f.Product(one, other):
            (left, left_slopes), (right, right_slopes) = _form(one, call), _form(other, call)
            return left * right, _chain(left_slopes, right, right_slopes, left)
        case f.Ratio(one, other):
            (above, above_slopes), (below, below_slopes) = _form(one, call), _form(other, call)
            return above / below, _chain(above_slopes, 1.0 / below, below_slopes, -(above / below) / below)
    raise TypeError(f"a call has no {atom!r}")


def _chain(slopes, factor, others, other_factor):
    names = dict.fromkeys((*slopes, *others))
    return {name: slopes.get(name, 0.0) * factor + others.get(name, 0.0) * other_factor for name in names}
