"""Witnesses: a call from the middle of a faulty set, in round numbers, walked through the key before it is shown.

A proof speaks of exact sets; a witness is what its author sees and types in. Every one is taken through ``walk`` (the
plain engine that shares no code with the proofs) and must do there what the finding says; one that does not is never
shown as proven.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from classifier.key import forms as f
from classifier.key.check.cases import Case, TooHard
from classifier.key.check.ground import Found, Ground
from classifier.key.check.kinds import OPAQUE, PLAIN
from classifier.key.check.relations import DURATION, END, EQUALS, MEAN_SLOPE, START, kin, order_pairs
from classifier.key.check.rows import Row
from classifier.key.walk import Walk, walk
from classifier.metrics import METRICS

#: Durations (ms) that are tried where mean_slope must fit to the ends of a call and the key says nothing of duration.
_DURATIONS = (0.3, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 40.0)
#: Calls tried in each case whose conditions are not linear.
_TRIES = 60
#: Steps of effort for a lead that is walked, and for each of its comparisons: five times the average.
_STEPS_OF_A_LEAD = 5


@dataclass(frozen=True)
class Witness:
    """``call``: (metric, value) pairs in the order of the registry; what is not there is missing; ``cells``: the set it was taken
    from."""

    call: tuple[tuple[str, float], ...]
    cells: tuple[int, ...]
    margin: float


@dataclass(frozen=True)
class Answer:
    """``witness`` if there is a call that shows the fault; ``open`` if there may be one and none could be shown."""

    witness: Witness | None = None
    open: bool = False


def look_for(
    ground: Ground,
    cases: Iterable[Case],
    shows: Callable[[Walk, dict], bool],
    *,
    hidden: Mapping[tuple[int, ...], Iterable[str]] | None = None,
) -> Answer:
    """A call of some case that shows a fault when it is walked.

    Parameters
    ----------
    cases : sets of calls that by the proofs show the fault (or might, where they are known to be too wide)
    shows : of the walk of a call and the call, whether it shows the fault
    hidden : by the cells of a case the metrics that must be missing in the measurement, though the call has them
    """
    cases = list(cases)
    last = None
    for full in (False, True):
        try:
            several = ground.find(cases, full=full)
        except TooHard:
            ground.effort.spend(0)
            return Answer(open=True)
        if not several:
            return Answer(open=last is not None)
        for last in several:
            found = _with_mean_slope(ground, last)
            for call in _spoken(ground, found) if found is not None else ():
                call |= dict.fromkeys((hidden or {}).get(found.cells, ()))
                if shows(walked(ground, call), call):
                    return Answer(Witness(_ordered(call), found.cells, found.inside.margin))
    return _tried(ground, several[0], shows)


def least(ground: Ground, witness: Witness, shows: Callable[[Walk, dict], bool], keep: Iterable[str] = ()) -> Witness:
    """The witness without the metrics that make no difference to its way, but with those to ``keep``; with more of them where
    effort runs out."""
    call = dict(witness.call)
    try:
        trail = walked(ground, call).trail
        for name in [name for name in call if name not in keep]:
            less = {other: value for other, value in call.items() if other != name}
            way = walked(ground, less)
            if less and way.trail == trail and shows(way, less):
                call = less
    except TooHard:
        pass
    return replace(witness, call=tuple(call.items()))


def walked(ground: Ground, call: dict) -> Walk:
    """The way of a call whose other metrics are missing, as `callkey explain KEY --call` walks it."""
    way = walk(ground.compiled, ground.blank | call)
    compared = sum(len(step.comparisons) for step in way.steps)
    ground.effort.spend(_STEPS_OF_A_LEAD * (len(way.steps) + compared + 1))
    return way


def _ordered(call):
    return tuple((name, call[name]) for name in METRICS if call.get(name) is not None)


# ------------------------------------------------------------------------------------------------------ round numbers


def _spoken(ground, found: Found):
    """The call in round numbers, then as it was found."""
    call = {name: value for name, value in found.inside.call.items() if name in METRICS}
    rounded = dict(call)
    for name in call:
        if call[name] is None:
            continue
        if name in EQUALS and all(call.get(part) is not None for part in EQUALS[name]):
            continue
        slack = found.inside.margin * METRICS[name].resolution / 2
        for places in range(7):
            value = round(call[name], places) + 0.0
            trial = _consistent({**rounded, name: value})
            if (abs(value - call[name]) <= max(slack, 1e-9)) and _inside(ground, trial, found.cells):
                rounded = trial
                break
    yield rounded
    if rounded != call:
        yield call


def _consistent(call):
    """The call with its metrics that are sums of others made to fit."""
    for name, parts in EQUALS.items():
        if call.get(name) is not None and all(call.get(part) is not None for part in parts):
            call[name] = round(sum(factor * call[part] for part, factor in parts.items()), 9)
    return call


def _ordered_rightly(call):
    measured = {name for name, value in call.items() if value is not None}
    return all(call[small] <= call[large] for small, large in order_pairs(measured))


def _inside(ground, call, cells):
    if not _ordered_rightly(call):
        return False
    for axis in ground.axes.all:
        if axis.kind == PLAIN:
            value = call.get(axis.names[0]) if axis.names else None
        else:
            value = value_of(axis.atom, call)
        if value is not None and not axis.cell_of(value) & cells[axis.index]:
            return False
    return True


def value_of(item, call) -> float | None:
    """The value of a quantity of a call; None where something in it is missing."""
    match item:
        case f.Measured(name):
            return call.get(name)
        case f.Linear():
            parts = [value_of(atom, call) for atom, _ in item.terms]
            if None in parts:
                return None
            return sum(float(each) * part for (_, each), part in zip(item.terms, parts, strict=True)) + float(item.constant)
        case f.Absolute(of):
            value = value_of(of, call)
            return None if value is None else abs(value)
        case f.Product(one, other) | f.Ratio(one, other):
            left, right = value_of(one, call), value_of(other, call)
            if left is None or right is None or (isinstance(item, f.Ratio) and not right):
                return None
            return left * right if isinstance(item, f.Product) else left / right
    return None


# -------------------------------------------------------------------------------------------- what is not linear


def _with_mean_slope(ground, found: Found) -> Found | None:
    """The same set with a call that keeps mean_slope * duration = end - start; None where no duration tried has one."""
    call = found.inside.call
    if call.get(MEAN_SLOPE) is None or not any(kin(name) in ("ridge", DURATION) for name in call):
        return found
    axis = ground.axes.named(DURATION)
    durations = list(_DURATIONS)
    if axis is not None and found.cells[axis.index] & axis.every != axis.domain & axis.every:
        durations = []
        for low, _, high, _ in axis.runs(found.cells[axis.index]):
            high = min(high, low + 100.0)
            durations.extend(low + (high - low) * part for part in (0.5, 0.25, 0.75, 0.1, 0.9))
    for duration in [*([call[DURATION]] if DURATION in call else []), *durations]:
        if duration <= 0:
            continue
        extra = (
            Row((END, START, MEAN_SLOPE), (1.0, -1.0, -duration), 0.0, 0.0),
            Row((DURATION,), (1.0,), duration, duration),
        )
        try:
            inside = ground.polytopes.inside(found.cells, ground.effort, extra)
        except TooHard:
            return None
        if inside is not None:
            return Found(inside, found.cells, found.certain)
    return None


def _tried(ground, found, shows):
    """Calls here and there in the set, where conditions are not linear and only trying tells."""
    opaque = [axis for axis in ground.axes.all if axis.kind == OPAQUE and found.cells[axis.index] != axis.domain]
    if not opaque:
        return Answer(open=True)
    names = sorted({name for axis in opaque for name in axis.names} | set(found.inside.call), key=list(METRICS).index)
    for number in range(_TRIES):
        call = dict(found.inside.call)
        for place, name in enumerate(names):
            low, high = _stretch(ground, name, found.cells)
            # Multiples of the golden section fill each stretch evenly, each metric at its own pace.
            part = ((number + 1) * 0.6180339887 * (place + 1)) % 1.0
            call[name] = round(low + part * (high - low), 3)
        if _ordered_rightly(call) and shows(walked(ground, call), call):
            return Answer(Witness(_ordered(call), found.cells, 0.0))
    return Answer(open=True)


def _stretch(ground, name, cells):
    axis = ground.axes.named(name)
    low, high = METRICS[name].low, METRICS[name].high
    if axis is not None:
        runs = axis.runs(cells[axis.index])
        if runs:
            low, high = runs[0][0], runs[-1][2]
    usual = ground.polytopes.usual.get(name)
    if usual is None:
        return low, min(high, low + 100.0)
    return (max(low, usual[0]), min(high, usual[1])) if max(low, usual[0]) < min(high, usual[1]) else (low, high)
