"""Linear rows over metrics: what sets of cells mean in numbers, and systems of them solved.

Row: sum of coefficient * metric between ``low`` and ``high``, each end closed or open. Bounds are *carried* through rows,
which refutes most impossible systems; ``widest`` asks scipy's HiGHS for the call with the most room.
"""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np

from classifier.key import forms as f
from classifier.key.check.axes import Axis
from classifier.key.check.kinds import BENT, RATIO, interval
from classifier.key.check.relations import EQUALS
from classifier.key.vocabulary import NAMES, PULSE

#: A margin beyond this many resolutions is as good as any.
AMPLE = 60.0
#: A system with less room than this many resolutions is flat (HiGHS's own tolerance is 1e-7).
FLAT = 1e-5


@dataclass(frozen=True)
class Row:
    """``low <= sum of coefficient * metric <= high``. ``scale`` is its resolution, in which room is counted; 0 marks a
    relation of metrics, on whose edge a call may as well lie."""

    names: tuple
    coefficients: tuple[float, ...]
    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    high_open: bool = False
    scale: float = 0.0

    def value(self, call) -> float:
        return sum(each * call[name] for name, each in zip(self.names, self.coefficients, strict=True))

    def holds(self, call) -> bool:
        return self.holds_value(self.value(call))

    def room(self, call) -> float:
        """Distance of a call from the nearer end."""
        value = self.value(call)
        return min(value - self.low, self.high - value)

    def holds_value(self, value) -> bool:
        above = value > self.low if self.low_open else value >= self.low
        return above and (value < self.high if self.high_open else value <= self.high)


def metrics_in(axis: Axis) -> tuple:
    """The names that an axis's rows are over: metrics that are no sums of others, or the axis's number where it stands
    for itself."""
    if axis.form is None:
        return axis.names or (axis.index,)
    return tuple(dict.fromkeys(part for name in f.metrics_of(axis.form) for part in EQUALS.get(name, (name,))))


def _add(sums, form, factor=1.0):
    """Add a sum of metrics, those that are sums of others written out; its constant is left to the caller."""
    for atom, coefficient in form.terms:
        for part, by in EQUALS.get(atom.name, {atom.name: 1}).items():
            sums[part] = sums.get(part, 0.0) + factor * by * float(coefficient)


def _row(sums, low, high, low_open, high_open, scale):
    """[row] of a sum between two ends; [] where it is true whatever the call, None where it is false."""
    kept = {name: each for name, each in sums.items() if each}
    row = Row(tuple(kept), tuple(kept.values()), low, high, low_open, high_open, scale)
    return [row] if kept else [] if row.holds_value(0.0) else None


def row_of(axis, run):
    """The rows that say that a metric or a sum lies in a stretch: one, none if all calls do, None if none does."""
    if axis.form is None:
        return [Row((axis.index,), (1.0,), *run[::2], *run[1::2], axis.resolution)]
    sums = {}
    _add(sums, axis.form)
    return _row(sums, *run[::2], *run[1::2], axis.resolution)


def ways(axis, mask):
    """The ways to be in a set of cells, each a list of rows; the widest stretch first."""
    runs = sorted(axis.runs(mask), key=lambda run: run[0] - run[2])
    if axis.kind == RATIO:
        return [way for run in runs for way in _ratio_ways(axis, run)]
    if axis.kind == BENT:
        return [way for run in runs for way in _bent_ways(axis, run)]
    return [rows for rows in (row_of(axis, run) for run in runs) if rows is not None]


def _ratio_ways(axis, run):
    """above / below in a stretch, where the sign of below is known: above - edge * below has a sign at each edge."""
    low, low_open, high, high_open = run
    ratio = axis.form.terms[0][0]
    sign = 1 if interval(ratio.below)[0] > 0 else -1
    rows = []
    for edge, is_open, direction in ((low, low_open, sign), (high, high_open, -sign)):
        if not math.isfinite(edge):
            continue
        sums = {}
        _add(sums, ratio.above)
        _add(sums, ratio.below, -edge)
        end = edge * float(ratio.below.constant) - float(ratio.above.constant)
        ends = (end, math.inf, is_open, False) if direction > 0 else (-math.inf, end, False, is_open)
        row = _row(sums, *ends, _scale(sums))
        if row is None:
            return []
        rows.extend(row)
    return [rows]


def _scale(sums):
    return math.sqrt(sum((each * NAMES[PULSE][name].resolution) ** 2 for name, each in sums.items()))


def _bent_ways(axis, run):
    """A sum with abs( ) in it, for each choice of signs of what is inside."""
    low, low_open, high, high_open = run
    bends = [(atom.of, float(coefficient)) for atom, coefficient in axis.form.terms if isinstance(atom, f.Absolute)]
    straight = f.Linear(tuple(term for term in axis.form.terms if isinstance(term[0], f.Measured)))
    found = []
    for signs in product((1.0, -1.0), repeat=len(bends)):
        sums, constant, rows = {}, float(axis.form.constant), []
        _add(sums, straight)
        for (inner, coefficient), sign in zip(bends, signs, strict=True):
            _add(sums, inner, sign * coefficient)
            constant += sign * coefficient * float(inner.constant)
            side = {}
            _add(side, inner, sign)
            rows.append(_row(side, -sign * float(inner.constant), math.inf, False, False, 0.0))
        rows.append(_row(sums, low - constant, high - constant, low_open, high_open, axis.resolution))
        if None not in rows:
            found.append([row for part in rows for row in part])
    return found


def carry(bounds, rows, pairs, rounds=6):
    """Carry bounds through rows, and through pairs of which the first is never larger, until nothing changes (or long
    enough); False where a bound lies beyond another."""
    for low, high in bounds.values():
        if low > high:
            return False
    for _ in range(rounds):
        changed = False
        for small, large in pairs:
            low, high = bounds[small]
            least, most = bounds[large]
            if high > most:
                if low > most:
                    return False
                bounds[small] = low, most
                changed = True
            if least < low:
                if low > most:
                    return False
                bounds[large] = low, most
                changed = True
        for row in rows:
            moved = _carry_row(bounds, row)
            if moved is None:
                return False
            changed = changed or moved
        if not changed:
            return True
    return True


def _carry_row(bounds, row):
    """Whether a row moved a bound; None where it cannot hold."""
    parts, least, most = [], 0.0, 0.0
    for name, factor in zip(row.names, row.coefficients, strict=True):
        low, high = bounds[name]
        part = (factor * low, factor * high) if factor > 0 else (factor * high, factor * low)
        parts.append(part)
        least, most = least + part[0], most + part[1]
    slack = 1e-9 * (1.0 + abs(least if math.isfinite(least) else 0.0) + abs(most if math.isfinite(most) else 0.0))
    if least > row.high + slack or most < row.low - slack:
        return None
    if least >= row.low and most <= row.high:
        return False
    moved = False
    for name, factor, (part_low, part_high) in zip(row.names, row.coefficients, parts, strict=True):
        top = row.high - (least - part_low) if math.isfinite(least) else math.inf
        bottom = row.low - (most - part_high) if math.isfinite(most) else -math.inf
        new = (bottom / factor, top / factor) if factor > 0 else (top / factor, bottom / factor)
        low, high = bounds[name]
        if new[0] > low + 1e-12 or new[1] < high - 1e-12:
            low, high = max(low, new[0]), min(high, new[1])
            if low > high:
                if low > high + slack:
                    return None
                low = high = (low + high) / 2
            bounds[name] = low, high
            moved = True
    return moved


def widest(bounds, rows, *, open_only):
    """(call, t) of the linear programme; None where it is infeasible. With ``open_only`` only open ends need room."""
    goal = np.zeros(len(bounds) + 1)
    goal[-1] = -1.0
    answer = _solved(goal, *_system(bounds, rows, open_only, 1), [*bounds.values(), (0.0, AMPLE)])
    return None if answer is None else (dict(zip(bounds, answer.tolist(), strict=False)), float(answer[-1]))


def nearest(bounds, rows, *, room):
    """The call nearest to the middle of all bounds (each distance in shares of its bounds) that has some room in each row."""
    count = len(bounds)
    matrix, limits, equal, equals = _system(bounds, rows, False, count + 1)
    matrix[:, count] *= room
    limits = limits - matrix[:, count]
    matrix[:, count] = 0.0
    # distance[i] >= |x[i] - middle[i]|
    extra, bound = [], []
    for place, (low, high) in enumerate(bounds.values()):
        for sign in (1.0, -1.0):
            line = np.zeros(2 * count + 1)
            line[place], line[count + 1 + place] = sign, -1.0
            extra.append(line)
            bound.append(sign * (low + high) / 2)
    goal = np.zeros(2 * count + 1)
    goal[count + 1 :] = [1.0 / max(high - low, 1e-9) for low, high in bounds.values()]
    answer = _solved(
        goal,
        np.vstack([matrix, extra]),
        np.concatenate([limits, bound]),
        equal,
        equals,
        [*bounds.values(), (0.0, 0.0), *[(0.0, None)] * count],
    )
    return None if answer is None else dict(zip(bounds, answer.tolist(), strict=False))


def _system(bounds, rows, open_only, more):
    """Rows as a matrix over the names of ``bounds``, then t, then further columns of zeros (``more`` in all)."""
    place = {name: number for number, name in enumerate(bounds)}
    width = len(bounds) + more
    matrix, limits, equal, equals = [], [], [], []
    for row in rows:
        line = np.zeros(width)
        for name, coefficient in zip(row.names, row.coefficients, strict=True):
            line[place[name]] = coefficient
        if row.low == row.high:
            equal.append(line)
            equals.append(row.high)
            continue
        for sign, limit, is_open in ((1.0, row.high, row.high_open), (-1.0, -row.low, row.low_open)):
            if math.isfinite(limit):
                side = sign * line
                side[len(bounds)] = row.scale if is_open or not open_only else 0.0
                matrix.append(side)
                limits.append(limit)
    return (
        np.array(matrix).reshape(len(matrix), width),
        np.array(limits),
        np.array(equal).reshape(len(equal), width),
        np.array(equals),
    )


def _solved(goal, matrix, limits, equal, equals, bounds):
    from scipy.optimize import linprog

    answer = linprog(goal, A_ub=matrix, b_ub=limits, A_eq=equal, b_eq=equals, bounds=bounds, method="highs")
    return answer.x if answer.status == 0 else None
