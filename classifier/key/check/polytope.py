"""Whether sets of cells of several axes can be met by one call, and a call well inside them.

Most axes have nothing to do with each other: then the answer is yes, and the middle of each stretch of cells is the call
(a box, closed form). Axes hang together where a sum, a ratio or a relation of metrics joins them; then the stretches of
their cells are linear rows over the metrics, a polytope. Bounds are carried through the rows first, which refutes most
impossible ones, then a guess is tried; scipy's HiGHS decides what is left and finds the call with the widest margin.

Row: sum of coefficient * metric between ``low`` and ``high``, each end closed or open.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from classifier.key import forms as f
from classifier.key.check.axes import BENT, OPAQUE, PLAIN, RATIO, SUM, Axes, Axis
from classifier.key.check.cases import Effort, TooHard
from classifier.key.check.relations import EQUALS, HIGHEST, LOWEST, kin, order_rows
from classifier.key.vocabulary import NAMES, PULSE

#: Most combinations of stretches of cells that are looked at for one set of cells.
_MOST_COMBINATIONS = 256
#: A polytope thinner than this many resolutions of its rows is taken to be flat (HiGHS's own tolerance is 1e-7).
FLAT = 1e-5
#: Work that one linear programme counts for.
_PROGRAMME_STEPS = 200
#: A margin beyond this many resolutions is as good as any.
_AMPLE = 60.0


@dataclass(frozen=True)
class Row:
    """low <= sum of coefficient * metric <= high, with open ends where said. ``scale`` is its resolution; 0 marks a
    relation, on whose edge a call may as well lie. ``soft`` ends (of the range of a metric) need no margin."""

    names: tuple[str, ...]
    coefficients: tuple[float, ...]
    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    high_open: bool = False
    scale: float = 0.0

    def value(self, call) -> float:
        return sum(each * call[name] for name, each in zip(self.names, self.coefficients, strict=True))

    def holds(self, call) -> bool:
        value = self.value(call)
        return (
            (value > self.low if self.low_open else value >= self.low)
            and (value < self.high if self.high_open else value <= self.high)
        )


@dataclass(frozen=True)
class Inside:
    """A call inside, by metric name; ``margin`` is its least distance from an edge in resolutions (0 where the set is
    flat)."""

    call: dict[str, float]
    margin: float


class Polytopes:
    """Feasibility of sets of cells over closed axes.

    ``usual`` gives for a metric the stretch (low, high) in which the key's own numbers lie; witnesses are looked for there
    first, so that they look like calls.
    """

    def __init__(self, axes: Axes, usual: dict[str, tuple[float, float]] | None = None):
        self.axes = axes
        self.usual = usual or {}
        self._answers = {}
        self._kin = {}
        for axis in axes.all:
            self._kin[axis.index] = frozenset(map(kin, _names(axis))) if axis.kind != OPAQUE else frozenset()

    # -------------------------------------------------------------------------------------------------- questions

    def possible(self, cells: Sequence[int], effort: Effort) -> bool:
        """Whether a call can lie in these cells of every axis. Opaque axes are taken to allow all of theirs."""
        return all(self._group_possible(group, cells, effort) for group in self._groups(cells))

    def plausible(self, cells: Sequence[int]) -> bool:
        """A quick first answer: False only where no call can lie there."""
        return not any(
            self._refuted(rows, {}) for group in self._groups(cells) for rows in self._hulls(group, cells)
        )

    def uses_opaque(self, cells: Sequence[int]) -> bool:
        """Whether the cells of an axis that is not linear were narrowed, so that a yes of ``possible`` is not sure."""
        return any(axis.kind == OPAQUE and cells[axis.index] != axis.domain for axis in self.axes.all)

    def inside(self, cells: Sequence[int], effort: Effort, extra: Sequence[Row] = ()) -> Inside | None:
        """A call with the widest margin in these cells, giving a value to every metric that they narrow; None if
        there is none. Metrics that may be missing are measured where the cells allow it, else left out."""
        narrowed = [
            axis for axis in self.axes.all
            if axis.kind != OPAQUE and (cells[axis.index] != axis.domain) and cells[axis.index] & axis.every
            and cells[axis.index] & axis.every != axis.domain & axis.every | 0
            or self._must_be_measured(axis, cells)
        ]
        call, margin = {}, math.inf
        for group in _joined(narrowed, self._kin, extra):
            found = self._group_inside(group, cells, effort, extra)
            if found is None:
                return None
            call.update(found.call)
            margin = min(margin, found.margin)
        return Inside(call, margin)

    @staticmethod
    def _must_be_measured(axis, cells):
        mask = cells[axis.index]
        return axis.kind != OPAQUE and axis.domain & axis.missing and not mask & axis.missing

    # ----------------------------------------------------------------------------------------------------- groups

    def _groups(self, cells) -> list[list[Axis]]:
        """Axes whose cells must be looked at together."""
        active = [
            axis for axis in self.axes.all
            if axis.kind != OPAQUE and self._kin[axis.index] and self._narrowed(axis, cells[axis.index])
        ]
        return [group for group in _joined(active, self._kin) if self._entangled(group)]

    @staticmethod
    def _narrowed(axis, mask):
        return not mask & axis.missing and mask & axis.every != axis.domain & axis.every

    @staticmethod
    def _entangled(group):
        """Whether the axes of a group can contradict each other although each of them can be met."""
        if len(group) == 1:
            return group[0].kind in (RATIO, BENT)
        if any(axis.kind != PLAIN or len(_names(axis)) > 1 for axis in group):
            return True
        names = {axis.names[0] for axis in group}
        return bool(names & {LOWEST, HIGHEST}) or {"knee_time", "duration"} <= names

    def _group_possible(self, group, cells, effort):
        key = tuple((axis.index, cells[axis.index]) for axis in group)
        if key not in self._answers:
            self._answers[key] = any(
                self._feasible(rows, effort) for rows in self._combinations(group, cells, effort)
            )
        return self._answers[key]

    def _group_inside(self, group, cells, effort, extra):
        best = None
        for rows in self._combinations(group, cells, effort):
            found = self._widest([*rows, *extra], effort)
            if found is not None and (best is None or found.margin > best.margin):
                best = found
                if best.margin >= _AMPLE:
                    break
        return best

    def _combinations(self, group, cells, effort) -> Iterator[list[Row]]:
        """The polytopes that a group's cells fall apart into, widest stretches first."""
        ways = [_ways(axis, cells[axis.index]) for axis in group]
        if math.prod(map(len, ways)) > _MOST_COMBINATIONS:
            raise TooHard
        for chosen in product(*ways):
            effort.spend(4)
            yield [row for rows in chosen for row in rows]

    def _hulls(self, group, cells):
        """One system of rows that holds all of the group's polytopes."""
        rows = []
        for axis in group:
            if axis.kind in (PLAIN, SUM):
                runs = axis.runs(cells[axis.index])
                if runs:
                    rows.append(_row(axis, (*runs[0][:2], *runs[-1][2:])))
        return [rows]

    # ----------------------------------------------------------------------------------------------------- systems

    def _feasible(self, rows, effort):
        if self._refuted(rows, {}):
            return False
        if self._guess(rows) is not None:
            return True
        return self._programme(rows, effort) is not None

    def _system(self, rows):
        """(names, bounds by name, rows over several metrics): rows on one metric are bounds; relations are added."""
        names = dict.fromkeys(name for row in rows for name in row.names)
        if any(kin(name) == "ridge" for name in names):
            names |= dict.fromkeys((LOWEST, HIGHEST))
        bounds = {name: self._range(name) for name in names}
        wide = [row for row in rows if len(row.names) > 1]
        for row in rows:
            if len(row.names) == 1:
                name, factor = row.names[0], row.coefficients[0]
                ends = sorted((row.low / factor, row.high / factor))
                low, high = bounds[name]
                bounds[name] = max(low, ends[0]), min(high, ends[1])
        wide.extend(Row((small, large), (1.0, -1.0), high=0.0) for small, large in order_rows(set(names)))
        return list(names), bounds, wide

    @staticmethod
    def _range(name):
        quality = NAMES[PULSE].get(name)
        return (quality.low, quality.high) if quality else (-math.inf, math.inf)

    def _refuted(self, rows, fixed):
        names, bounds, wide = self._system(rows)
        bounds.update({name: (value, value) for name, value in fixed.items()})
        return not _carry(bounds, wide)

    def _guess(self, rows):
        """A call that meets the rows, found by settling one metric after the other; None if this way finds none."""
        names, bounds, wide = self._system(rows)
        if not _carry(bounds, wide):
            return None
        call = {}
        for name in names:
            low, high = bounds[name]
            call[name] = value = _middle(low, high, self.usual.get(name))
            bounds[name] = value, value
            if not _carry(bounds, wide):
                return None
        return call if all(row.holds(call) for row in (*rows, *wide)) else None

    def _widest(self, rows, effort):
        """The call inside with the widest margin."""
        names, bounds, wide = self._system(rows)
        if not wide:
            return self._box(rows, bounds)
        return self._programme(rows, effort, usual=True) or self._programme(rows, effort)

    def _box(self, rows, bounds):
        """Closed form where no row joins two metrics."""
        call, margin = {}, math.inf
        for name, (low, high) in bounds.items():
            own = [row for row in rows if row.names == (name,)]
            scale = max((row.scale / abs(row.coefficients[0]) for row in own), default=0.0)
            value = _middle(low, high, self.usual.get(name))
            if low > high or not all(row.holds({name: value}) for row in own):
                return None
            call[name] = value
            least, most = self._range(name)
            room = min(value - low if low > least else math.inf, high - value if high < most else math.inf)
            margin = min(margin, room / scale if scale else math.inf)
        return Inside(call, margin)

    def _programme(self, rows, effort, usual=False):
        """Linear programme: the largest t so that every row has t * scale to spare at its ends; None if empty."""
        effort.spend(_PROGRAMME_STEPS)
        names, bounds, wide = self._system([row for row in rows if len(row.names) > 1])
        wanted = [*rows, *wide[len([row for row in rows if len(row.names) > 1]):]]
        for row in rows:
            for name in row.names:
                if name not in bounds:
                    names.append(name)
                    bounds[name] = self._range(name)
        if usual:
            for name in names:
                if name in self.usual:
                    low, high = bounds[name]
                    bounds[name] = max(low, self.usual[name][0]), min(high, self.usual[name][1])
                    if bounds[name][0] > bounds[name][1]:
                        return None
        found = _solve(names, bounds, wanted, open_only=False)
        if found is None:
            return None
        if found[1] > FLAT:
            return Inside(found[0], found[1])
        # Flat: it may still hold calls, on edges that belong to it.
        found = _solve(names, bounds, wanted, open_only=True)
        if found is None or (found[1] <= FLAT and any(row.low_open or row.high_open for row in rows)):
            return None
        return Inside(found[0], 0.0)


# ------------------------------------------------------------------------------------------------------------ helpers


def _names(axis):
    return f.metrics_of(axis.form) if axis.form is not None else axis.names


def _joined(axes, kins, extra=()):
    """Axes put together that share a family of metrics."""
    groups = []
    linked = [frozenset(kin(name) for row in extra for name in row.names)] if extra else []
    for axis in axes:
        mine = kins[axis.index] or frozenset((axis.index,))
        for link in linked:
            if link & mine:
                mine = mine | link
        touching = [group for group in groups if group[0] & mine]
        merged = mine.union(*(group[0] for group in touching))
        members = [each for group in touching for each in group[1]] + [axis]
        groups = [group for group in groups if group not in touching] + [(merged, members)]
    return [members for _, members in groups]


def _row(axis, run):
    """The row that says that an axis lies in a stretch."""
    low, low_open, high, high_open = run
    if axis.form is None:
        names, coefficients = (axis.index,), (1.0,)
    else:
        names = tuple(atom.name for atom, _ in axis.form.terms)
        coefficients = tuple(float(each) for _, each in axis.form.terms)
    return Row(names, coefficients, low, high, low_open, high_open, axis.resolution)


def _ways(axis, mask):
    """The ways to be in a set of cells, each a list of rows; the widest stretch first."""
    runs = sorted(axis.runs(mask), key=lambda run: run[0] - run[2])
    if axis.kind == RATIO:
        return [way for run in runs for way in _ratio_ways(axis, run)]
    if axis.kind == BENT:
        return [way for run in runs for way in _bent_ways(axis, run)]
    return [[_row(axis, run)] for run in runs]


def _ratio_ways(axis, run):
    """above / below in a stretch, where the sign of below is known: above - edge * below has a sign at each edge."""
    low, low_open, high, high_open = run
    ratio = axis.form.terms[0][0]
    sign = 1.0 if _least(ratio.below) > 0 else -1.0
    rows = []
    for edge, is_open, direction in ((low, low_open, sign), (high, high_open, -sign)):
        if not math.isfinite(edge):
            continue
        names, coefficients, constant = _linear(ratio.above, ratio.below, edge)
        scale = _scale(names, coefficients)
        if direction > 0:
            rows.append(Row(names, coefficients, low=-constant, low_open=is_open, scale=scale))
        else:
            rows.append(Row(names, coefficients, high=-constant, high_open=is_open, scale=scale))
    return [[row for row in rows if row.names]]


def _linear(above, below, edge):
    """above - edge * below as (names, coefficients, constant)."""
    sums = {}
    for form, factor in ((above, 1.0), (below, -edge)):
        for atom, coefficient in form.terms:
            sums[atom.name] = sums.get(atom.name, 0.0) + factor * float(coefficient)
    constant = float(above.constant) - edge * float(below.constant)
    kept = {name: each for name, each in sums.items() if each}
    return tuple(kept), tuple(kept.values()), constant


def _scale(names, coefficients):
    return math.sqrt(sum(
        (each * NAMES[PULSE][name].resolution) ** 2 for name, each in zip(names, coefficients, strict=True)
    ))


def _bent_ways(axis, run):
    """A sum with abs( ) in it, for each choice of signs of what is inside."""
    bends = [(atom.of, coefficient) for atom, coefficient in axis.form.terms if isinstance(atom, f.Absolute)]
    straight = {atom.name: float(each) for atom, each in axis.form.terms if isinstance(atom, f.Measured)}
    ways = []
    for signs in product((1.0, -1.0), repeat=len(bends)):
        sums, constant, rows = dict(straight), float(axis.form.constant), []
        for (inner, coefficient), sign in zip(bends, signs, strict=True):
            factor = sign * float(coefficient)
            for atom, each in inner.terms:
                sums[atom.name] = sums.get(atom.name, 0.0) + factor * float(each)
            constant += factor * float(inner.constant)
            names = tuple(atom.name for atom, _ in inner.terms)
            parts = tuple(sign * float(each) for _, each in inner.terms)
            rows.append(Row(names, parts, low=-sign * float(inner.constant)))
        low, low_open, high, high_open = run
        sums = {name: each for name, each in sums.items() if each}
        if sums:
            rows.append(Row(tuple(sums), tuple(sums.values()), low - constant, high - constant, low_open, high_open,
                            axis.resolution))
        elif not (low < constant or low == constant and not low_open) or not (
            constant < high or constant == high and not high_open
        ):
            continue
        ways.append(rows)
    return ways


def _least(form):
    from classifier.key.check.axes import interval

    return interval(form)[0]


def _middle(low, high, usual):
    """A value between two ends that looks like a measurement: the middle of what is usual of the stretch, if any is."""
    if usual is not None:
        within = max(low, usual[0]), min(high, usual[1])
        if within[0] < within[1]:
            low, high = within
    if math.isinf(low) or math.isinf(high):
        return low + 1.0 if math.isinf(high) and math.isfinite(low) else high - 1.0 if math.isfinite(high) else 0.0
    return (low + high) / 2


def _carry(bounds, rows, rounds=6):
    """Carry bounds through rows until nothing changes (or long enough); False where a bound lies beyond another."""
    for low, high in bounds.values():
        if low > high:
            return False
    for _ in range(rounds):
        changed = False
        for row in rows:
            parts = []
            for name, factor in zip(row.names, row.coefficients, strict=True):
                low, high = bounds[name]
                parts.append((factor * low, factor * high) if factor > 0 else (factor * high, factor * low))
            least, most = sum(part[0] for part in parts), sum(part[1] for part in parts)
            slack = 1e-9 * (1.0 + abs(row.low if math.isfinite(row.low) else 0.0)
                            + abs(row.high if math.isfinite(row.high) else 0.0))
            if least > row.high + slack or most < row.low - slack:
                return False
            for name, factor, (part_low, part_high) in zip(row.names, row.coefficients, parts, strict=True):
                top = row.high - (least - part_low) if math.isfinite(least) else math.inf
                bottom = row.low - (most - part_high) if math.isfinite(most) else -math.inf
                new = (bottom / factor, top / factor) if factor > 0 else (top / factor, bottom / factor)
                low, high = bounds[name]
                if new[0] > low + 1e-12 or new[1] < high - 1e-12:
                    low, high = max(low, new[0]), min(high, new[1])
                    if low > high:
                        if low > high + slack:
                            return False
                        low = high = (low + high) / 2
                    bounds[name] = low, high
                    changed = True
        if not changed:
            return True
    return True


def _solve(names, bounds, rows, open_only):
    """(call, t) of the linear programme; None where it is infeasible. With ``open_only`` only open ends need room."""
    from scipy.optimize import linprog

    place = {name: number for number, name in enumerate(names)}
    width = len(names) + 1
    matrix, limits = [], []
    equal, equals = [], []
    for row in rows:
        line = np.zeros(width)
        for name, coefficient in zip(row.names, row.coefficients, strict=True):
            line[place[name]] = coefficient
        if row.low == row.high and not open_only:
            equal.append(line)
            equals.append(row.high)
            continue
        for sign, limit, is_open in ((1.0, row.high, row.high_open), (-1.0, -row.low, row.low_open)):
            if math.isfinite(limit):
                side = sign * line
                side[-1] = row.scale if is_open or not open_only else 0.0
                matrix.append(side)
                limits.append(limit)
    goal = np.zeros(width)
    goal[-1] = -1.0
    answer = linprog(
        goal, A_ub=np.array(matrix) if matrix else None, b_ub=limits or None,
        A_eq=np.array(equal) if equal else None, b_eq=equals or None,
        bounds=[*(bounds[name] for name in names), (0.0, _AMPLE)], method="highs",
    )
    if answer.status != 0:
        return None
    return {name: float(answer.x[number]) for name, number in place.items()}, float(answer.x[-1])
