"""Slices: two metrics at a time, what the key says of calls with these values, and the taxa's declared ranges beside it."""

from collections import Counter
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from classifier.key import forms as f
from classifier.key.check.axes import Axes
from classifier.key.check.boundaries import comparisons_of
from classifier.key.check.ground import ranges_of, usual_stretches
from classifier.key.check.relations import EQUALS, kin
from classifier.key.compile import GROUP, CompiledKey
from classifier.key.evaluate import evaluate
from classifier.metrics import METRICS

#: Points along each side of a slice.
_POINTS = 240


@dataclass(frozen=True)
class Box:
    """A taxon's declared ranges in a slice; a range that is not declared is None."""

    taxon: str
    across: tuple[float, float] | None
    up: tuple[float, float] | None


@dataclass(frozen=True)
class Slice:
    """``region[i, j]`` is the place in ``outcomes`` of the call with ``ups[i]`` and ``acrosses[j]``; an outcome is a tuple of
    labels, several where the key leaves several open, none where the gate stops the call. ``held`` says at which values other
    metrics are held: (metric, value, None), or (metric, distance, shown metric) where it goes along with one that is shown;
    they are a typical call's of the taxon ``model``. All other metrics are missing."""

    across: str
    up: str
    acrosses: np.ndarray
    ups: np.ndarray
    region: np.ndarray
    outcomes: tuple[tuple[str, ...], ...]
    boxes: tuple[Box, ...]
    held: tuple[tuple[str, float, str | None], ...]
    model: str | None


def slices(compiled: CompiledKey, most: int = 3) -> list[Slice]:
    """The most telling slices: the frequency that parts the most pairs of taxa (another metric, where the key asks for no
    frequency) against those that part the most besides; of other frequencies, which go along with it, at most one."""
    used = {name for route in compiled.routes if route.meaning is not None for name in f.metrics_of(route.meaning)}
    ranges = [ranges_of(taxon) for taxon in compiled.key.taxa.values()]
    own = {
        comparison.form.terms[0][0].name
        for comparison in comparisons_of(route.meaning for route in compiled.routes if route.meaning is not None)
        if len(comparison.form.terms) == 1 and isinstance(comparison.form.terms[0][0], f.Measured)
    }
    used = {name for name in used if name in own or any(name in each for each in ranges)}
    parted = {name: _pairs_parted([each[name] for each in ranges if name in each]) for name in used}
    declared = Counter(name for each in ranges for name in each)
    order = sorted(used, key=lambda name: (-parted[name], -declared[name], list(METRICS).index(name)))
    if len(order) < 2:
        return []
    first = next((name for name in order if kin(name) == "ridge" and declared[name]), order[0])
    order.remove(first)
    ridge = [name for name in order if kin(name) == kin(first)]
    others = [name for name in order if kin(name) != kin(first) and (declared[name] or not ridge)]
    chosen = [*others[: most - bool(ridge)], *ridge[:1]][:most] or order[:most]
    return [slice_of(compiled, first, other) for other in chosen]


def _pairs_parted(ranges):
    """How many pairs of ranges have nothing in common."""
    return sum(one[1] < other[0] or other[1] < one[0] for one, other in combinations(ranges, 2))


def slice_of(compiled: CompiledKey, across: str, up: str) -> Slice:
    """What the key says of calls over two metrics."""
    axes = Axes()
    for condition in (*compiled.gate, *(route.meaning for route in compiled.routes if route.meaning is not None)):
        axes.take(condition)
    for name in (across, up):
        axes.plain(name)
    axes.close()
    ranges = {taxon.name: ranges_of(taxon) for taxon in compiled.key.taxa.values()}
    acrosses, ups = (np.linspace(*_stretch(axes.named(name), ranges), _POINTS) for name in (across, up))
    held, model = _held(compiled, ranges, usual_stretches(axes), (across, up), (acrosses, ups))
    verdicts = _judged(compiled, (across, up), (acrosses, ups), held)
    numbers, region = np.unique(verdicts.pattern, return_inverse=True)
    outcomes = [
        () if number < 0 else tuple(compiled.ends[place].label for place in np.flatnonzero(verdicts.patterns.candidates[number]))
        for number in numbers
    ]
    unique = tuple(dict.fromkeys(outcomes))
    places = np.array([unique.index(outcome) for outcome in outcomes])
    boxes = tuple(
        Box(taxon, _floats(each.get(across)), _floats(each.get(up)))
        for taxon, each in ranges.items()
        if across in each or up in each
    )
    return Slice(
        across,
        up,
        acrosses,
        ups,
        places[region].reshape(len(ups), len(acrosses)),
        unique,
        boxes,
        tuple((name, *value) for name, value in held.items()),
        model,
    )


def _floats(ends):
    return None if ends is None else (float(ends[0]), float(ends[1]))


def _stretch(axis, ranges):
    """Where the key's boundaries on a metric lie, with room around them, and as much of the declared ranges as does not
    drown the boundaries."""
    inner = [edge for edge in axis.edges if axis.low < edge < axis.high]
    ends = [float(end) for each in ranges.values() if axis.names[0] in each for end in each[axis.names[0]]]
    low, high = (min(inner), max(inner)) if inner else (min(ends, default=axis.low), max(ends, default=axis.high))
    if ends:
        widths = sorted(float(each[axis.names[0]][1] - each[axis.names[0]][0]) for each in ranges.values() if axis.names[0] in each)
        # One boundary alone says little of what is worth seeing: then the ranges do.
        room = 0.7 * (high - low) if len(inner) > 3 else 1.5 * widths[len(widths) // 2]
        low, high = min(low, max(min(ends), low - room)), max(high, min(max(ends), high + room))
    room = 0.05 * (high - low) or 1.0
    return max(axis.low, low - room), min(axis.high, high + room)


def _judged(compiled, names, sides, held):
    grid = dict(zip(names, (each.ravel() for each in np.meshgrid(*sides)), strict=True))
    values = dict(grid)
    size = len(grid[names[0]])
    for name, (value, beside) in held.items():
        column = np.full(size, value) if beside is None else grid[beside] + value
        values[name] = np.clip(column, METRICS[name].low, METRICS[name].high)
    values |= {name: np.full(size, np.nan) for name in compiled.metrics if name not in values}
    return evaluate(compiled, values)


def _held(compiled, ranges, usual, shown, sides):
    """(held metrics, taxon): what the metrics that couplets ask for beside those shown are held at.

    They are the middle of one taxon's ranges, so that they go together: of the taxon with which the most calls inside
    declared ranges get a right label. A frequency keeps its distance from the frequency shown. Metrics that the taxon does
    not declare are missing, or at one of a few values, where more calls get a right label so.
    """
    asked = {name for route in compiled.routes if route.meaning is not None for name in f.metrics_of(route.meaning)}
    names = [name for name in compiled.metrics if name in asked and name not in shown and name not in EQUALS]
    beside = next((name for name in shown if kin(name) == "ridge"), None)
    coarse = [side[:: max(1, len(side) // 30)] for side in sides]
    boxes = _boxes_on(compiled, ranges, shown, coarse)

    def rightly(held):
        return _rightly(compiled, _judged(compiled, shown, coarse, held), boxes)

    models = {None: {}}
    for taxon, each in ranges.items():
        models[taxon] = {
            name: (round(_middle(each[name]) - _middle(each[beside]), 1), beside)
            if kin(name) == "ridge" and beside in each
            else (round(_middle(each[name]), 2), None)
            for name in names
            if name in each
        }
    model = max(models, key=lambda taxon: rightly(models[taxon]))
    held = models[model]
    for name in (name for name in names if name not in held):
        low, high = usual.get(name, (METRICS[name].low, METRICS[name].high))
        trials = [(round(low + part * (high - low), 2), None) for part in (0.5, 0.1, 0.9)]
        if kin(name) == "ridge" and beside is not None:
            trials = [(0.0, beside)]
        held = max([held, *(held | {name: trial} for trial in trials)], key=rightly)
    return held, model


def _boxes_on(compiled, ranges, shown, sides):
    """(calls inside the taxon's ranges as far as they are shown, ends that are right for it) of every taxon."""
    grid = dict(zip(shown, (each.ravel() for each in np.meshgrid(*sides)), strict=True))
    boxes = []
    for taxon, each in ranges.items():
        inside = np.ones(len(grid[shown[0]]), bool)
        for name in shown:
            if name in each:
                low, high = map(float, each[name])
                inside &= (grid[name] >= low) & (grid[name] <= high)
        right = np.array([end.label == taxon or (end.kind == GROUP and taxon in end.members) for end in compiled.ends])
        if inside.any() and any(name in each for name in shown):
            boxes.append((inside, right))
    return boxes


def _rightly(compiled, verdicts, boxes):
    """Over all taxa the share of calls inside their ranges that get a right label; a little for one among others."""
    candidates = verdicts.candidates
    count = np.maximum(candidates.sum(axis=1), 1)
    return sum(float(((candidates & right).any(axis=1) / count**2)[inside].mean()) for inside, right in boxes)


def _middle(ends):
    return float(sum(ends)) / 2
