"""Whether sets of cells of several axes can be met by one call, and a call well inside them.

Most axes have nothing to do with each other: then the answer is yes, and the middle of each stretch of cells is the call
(a box, closed form). Axes hang together where a sum, a ratio or a relation of metrics joins them; then the stretches of
their cells are rows over the metrics, a polytope. Bounds are carried through the rows first, which refutes most
impossible ones, then a guess is tried; only what is left is a linear programme.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from classifier.key.check.axes import Axes, Axis
from classifier.key.check.cases import Effort, TooHard
from classifier.key.check.kinds import BENT, OPAQUE, PLAIN, RATIO, SUM
from classifier.key.check.relations import EQUALS, HIGHEST, LOWEST, entangling, joined, kin, order_pairs
from classifier.key.check.rows import AMPLE, FLAT, Row, carry, metrics_in, nearest, row_of, ways, widest
from classifier.key.vocabulary import NAMES, PULSE

#: Most combinations of stretches of cells that are looked at for one set of cells.
_MOST_COMBINATIONS = 256
#: Steps of effort that a linear programme counts for.
_PROGRAMME_STEPS = 1_000
#: ... of carrying bounds through a system of rows, and for each of its rows.
_SYSTEM_STEPS, _ROW_STEPS = 10, 8


@dataclass(frozen=True)
class Inside:
    """A call inside, by metric name (None: missing); ``margin`` is its least distance from an edge in resolutions (0: the set is
    flat)."""

    call: dict
    margin: float


class Polytopes:
    """Feasibility of sets of cells over closed axes.

    ``usual`` gives for a metric the stretch (low, high) in which the key's own numbers lie; witnesses are looked for there
    first, so that they look like calls.
    """

    def __init__(self, axes: Axes, usual: dict | None = None):
        self.axes = axes
        self.usual = usual or {}
        self._answers, self._quick = {}, {}
        self._linear = [axis for axis in axes.all if axis.kind != OPAQUE]
        self._over = {axis.index: metrics_in(axis) for axis in self._linear}
        self._kin = {index: frozenset(map(kin, names)) for index, names in self._over.items()}
        # Families of axes that can contradict each other at all; between families nothing is shared.
        self._families = [family for family in joined(self._linear, self._kin) if self._entangled(family)]
        self._joint = [axis for axis in axes.all if axis.kind != PLAIN]
        self._plain = {axis.names[0]: axis for axis in axes.all if axis.kind == PLAIN and axis.names}
        self._parts = {axis.index: [self._plain[each] for each in axis.names if each in self._plain] for axis in self._joint}
        several = [*self._joint, *(part for parts in self._parts.values() for part in parts)]
        self._in_sums = list({axis.index: axis for axis in several}.values())
        self._bound = {axis.index for axes in (*self._families, self._in_sums) for axis in axes}
        self._ranges = {axis.names[0]: (axis.low, axis.high) for axis in self._plain.values()}
        self._whole = {name for name, axis in self._plain.items() if axis.whole}

    # -------------------------------------------------------------------------------------------------- questions

    def possible(self, cells: Sequence[int], effort: Effort) -> bool:
        """Whether a call can lie in these cells of every axis. An opaque axis is taken to allow all of its cells."""
        return any(
            all(self._group_possible(group, present, effort) for group in self._groups(present))
            for present in self.presences(cells)
        )

    def plausible(self, cells: Sequence[int], effort: Effort) -> bool:
        """A quick first answer: False only where no call can lie there."""
        return all(self._group_plausible(group, cells, effort) for group in self._groups(cells))

    def _group_plausible(self, group, cells, effort):
        key = tuple((axis.index, cells[axis.index]) for axis in group)
        known = self._quick.get(key)
        if known is None:
            effort.spend(_SYSTEM_STEPS + _ROW_STEPS * len(group))
            rows = []
            for axis in group:
                runs = axis.runs(cells[axis.index]) if axis.kind not in (RATIO, BENT) else ()
                if runs:
                    rows.append(row_of(axis, (*runs[0][:2], *runs[-1][2:])))
            known = None not in rows and self._bounded([row for part in rows for row in part]) is not None
            self._quick[key] = known
        return known

    def free(self, axis: int) -> bool:
        """Whether an axis (by number) can lie in any of its cells, whatever the cells of the others are."""
        return axis not in self._bound

    def uses_opaque(self, cells: Sequence[int]) -> bool:
        """Whether cells of an axis that is not linear were narrowed, so that a yes of ``possible`` is not sure."""
        return any(axis.kind == OPAQUE and self._narrowed(axis, cells[axis.index]) for axis in self.axes.all)

    def inside(
        self, cells: Sequence[int], effort: Effort, extra: Sequence[Row] = (), *, full: bool = False, rough: bool = False
    ) -> Inside | None:
        """A call with the widest margin in these cells; None if there is none.

        It has a value for every metric that the cells narrow or that must be measured (all that are if ``full``); what may
        be missing is left out. ``rough`` takes the first call at hand where that saves a linear programme.
        """
        for present in self.presences(cells):
            found = self._inside(present, effort, extra, full, rough)
            if found is not None:
                return found
        return None

    def _inside(self, cells, effort, extra, full, rough):
        chosen, absent = [], {}
        for axis in self._linear:
            mask = cells[axis.index]
            if not mask & axis.every:
                if axis.kind == PLAIN and axis.names:
                    absent[axis.names[0]] = None
                continue
            narrow = mask & axis.every != axis.measured
            needed = axis.domain & axis.missing and not mask & axis.missing
            if not mask & axis.missing and (full or narrow or needed):
                chosen.append(axis)
        call, margin = {}, math.inf
        for group in joined(chosen, self._kin, {name for row in extra for name in row.names}) or ([[]] if extra else []):
            found = self._group_inside(group, cells, effort, extra, rough)
            if found is None:
                return None
            call.update(found.call)
            margin = min(margin, found.margin)
        for name, parts in EQUALS.items():
            if name not in call and all(part in call for part in parts):
                call[name] = sum(factor * call[part] for part, factor in parts.items())
        # Metrics that only helped to carry a relation are no part of the call.
        asked = {name for axis in chosen for name in (axis.names or (axis.index,))}
        asked.update(name for row in extra for name in row.names)
        return Inside({name: value for name, value in call.items() if name in asked} | absent, margin)

    # ----------------------------------------------------------------------------------------------------- presence

    def presences(self, cells) -> Iterator[Sequence[int]]:
        """Which of the metrics in sums are measured and which missing, where a sum says so: a sum is missing if and only
        if one of its metrics is."""
        if not any(cells[axis.index] & axis.missing for axis in self._in_sums):
            yield cells
            return
        joint = [
            axis
            for axis in self._joint
            if cells[axis.index] & axis.missing or any(cells[plain.index] & plain.missing for plain in self._parts[axis.index])
        ]
        yield from self._settle(joint, list(cells))

    def _settle(self, joint, cells):
        absent = []
        for axis in joint:
            if cells[axis.index] & axis.missing:
                if not cells[axis.index] & axis.every:
                    absent.append(axis)
                continue
            for plain in self._parts[axis.index]:
                cells[plain.index] &= ~plain.missing
                if not cells[plain.index]:
                    return
        choices = []
        for axis in absent:
            known = self._parts[axis.index]
            if len(known) < len(axis.names):
                continue  # a metric that nothing else speaks of may be the missing one
            choices.append([plain for plain in known if cells[plain.index] & plain.missing])
        for chosen in product(*choices):
            settled = list(cells)
            for plain in chosen:
                settled[plain.index] = plain.missing
            yield settled

    # ----------------------------------------------------------------------------------------------------- groups

    @staticmethod
    def _narrowed(axis, mask):
        return not mask & axis.missing and mask != axis.measured

    def _groups(self, cells) -> list[list[Axis]]:
        """Axes whose cells must be looked at together: narrowed ones of a family that can contradict each other."""
        groups = []
        for family in self._families:
            group = []
            for axis in family:
                mask = cells[axis.index]
                if not mask & axis.missing and mask != axis.measured:
                    group.append(axis)
            if group and self._entangled(group):
                groups.append(group)
        return groups

    def _entangled(self, group):
        """Whether the axes of a group can contradict each other although each of them can be met."""
        if any(axis.kind in (RATIO, BENT) for axis in group):
            return True
        if len(group) == 1:
            names = set(self._over[group[0].index])
            return group[0].kind == SUM and entangling(names)
        if any(axis.kind != PLAIN or len(self._over[axis.index]) > 1 for axis in group):
            return True
        return entangling({self._over[axis.index][0] for axis in group})

    def _group_possible(self, group, cells, effort):
        key = tuple((axis.index, cells[axis.index]) for axis in group)
        if key not in self._answers:
            self._answers[key] = any(self._feasible(rows, effort) for rows in self._combinations(group, cells, effort))
        return self._answers[key]

    def _group_inside(self, group, cells, effort, extra, rough):
        best = None
        alone = len(group) == 1 and group[0].kind == PLAIN and group[0].names and not extra
        for rows in self._combinations(group, cells, effort):
            if alone:
                rows = [replace(row, names=group[0].names, coefficients=(1.0,)) for row in rows]
            found = self._widest([*rows, *extra], effort, rough)
            if found is not None and (best is None or found.margin > best.margin):
                best = found
                if best.margin >= AMPLE:
                    break
        return best

    def _combinations(self, group, cells, effort):
        """The systems of rows that a group's cells fall apart into, widest stretches first."""
        apart = [ways(axis, cells[axis.index]) for axis in group]
        if math.prod(map(len, apart)) > _MOST_COMBINATIONS:
            raise TooHard
        for chosen in product(*apart):
            effort.spend(_SYSTEM_STEPS + _ROW_STEPS * len(group))
            yield [row for rows in chosen for row in rows]

    # ----------------------------------------------------------------------------------------------------- systems

    def _system(self, rows):
        """(bounds by name, rows that join several names, pairs of names of which the first is never larger)."""
        names = dict.fromkeys(name for row in rows for name in row.names)
        if any(kin(name) == "ridge" for name in names):
            names |= dict.fromkeys((LOWEST, HIGHEST))
        bounds = {name: self._range(name) for name in names}
        wide = [row for row in rows if len(row.names) > 1]
        return bounds, wide, order_pairs(set(names))

    def _range(self, name):
        if name in self._ranges:
            return self._ranges[name]
        quality = NAMES[PULSE].get(name)
        return (quality.low, quality.high) if quality else (-math.inf, math.inf)

    def _bounded(self, rows):
        """(bounds, joining rows, pairs) with all bounds carried through; None where that refutes the rows."""
        bounds, wide, pairs = self._system(rows)
        for row in rows:
            if len(row.names) == 1:
                name, factor = row.names[0], row.coefficients[0]
                ends = sorted((row.low / factor, row.high / factor))
                bounds[name] = max(bounds[name][0], ends[0]), min(bounds[name][1], ends[1])
        return (bounds, wide, pairs) if carry(bounds, wide, pairs) else None

    def _feasible(self, rows, effort):
        bounded = self._bounded(rows)
        if bounded is None:
            return False
        if self._guess(rows, *bounded) is not None:
            return True
        return self._programme(rows, effort, usual=False) is not None

    def _guess(self, rows, bounds, wide, pairs):
        """A call that meets the rows, found by settling one metric after the other; None if this way finds none."""
        call = {}
        for name in list(bounds):
            call[name] = value = self._middle(name, *bounds[name])
            bounds[name] = value, value
            if not carry(bounds, wide, pairs):
                return None
        return call if all(row.holds(call) for row in rows) else None

    def _widest(self, rows, effort, rough):
        """The call with the widest margin (or, ``rough``, one with some)."""
        names = {name for row in rows for name in row.names}
        if not any(len(row.names) > 1 for row in rows) and not (len(names) > 1 and entangling(names)):
            return self._box(rows)
        if rough:
            bounded = self._bounded(rows)
            call = None if bounded is None else self._guess(rows, *bounded)
            if call is not None:
                return Inside(call, min((row.room(call) / row.scale for row in rows if row.scale), default=AMPLE))
        best = self._programme(rows, effort, usual=True)
        return best if best is not None and best.margin > 0 else self._programme(rows, effort, usual=False) or best

    def _box(self, rows):
        """Closed form where nothing joins two metrics."""
        by_name, call, margin = {}, {}, math.inf
        for row in rows:
            by_name.setdefault(row.names[0], []).append(row)
        for name, own in by_name.items():
            least, most = low, high = self._range(name)
            for row in own:
                ends = sorted((row.low / row.coefficients[0], row.high / row.coefficients[0]))
                low, high = max(low, ends[0]), min(high, ends[1])
            value = self._middle(name, low, high)
            if low > high or not all(row.holds({name: value}) for row in own):
                return None
            call[name] = value
            room = min(value - low if low > least else math.inf, high - value if high < most else math.inf)
            scale = max(row.scale / abs(row.coefficients[0]) for row in own)
            margin = min(margin, room / scale if scale and room < math.inf else AMPLE)
        return Inside(call, margin)

    def _middle(self, name, low, high):
        """A value between two ends that looks like a measurement: in the middle of what is usual of the stretch."""
        usual = self.usual.get(name)
        if usual is not None and max(low, usual[0]) < min(high, usual[1]):
            low, high = max(low, usual[0]), min(high, usual[1])
        if math.isinf(high):
            return low + 1.0 if math.isfinite(low) else 0.0
        if math.isinf(low):
            return high - 1.0
        middle = (low + high) / 2
        if name in self._whole:
            middle = math.floor(middle) if math.floor(middle) >= low else math.ceil(middle)
        return middle

    def _programme(self, rows, effort, *, usual):
        effort.spend(_PROGRAMME_STEPS)
        bounds, _, pairs = self._system(rows)
        relations = [Row(pair, (1.0, -1.0), high=0.0) for pair in pairs]
        if usual:
            for name in bounds.keys() & self.usual.keys():
                low, high = max(bounds[name][0], self.usual[name][0]), min(bounds[name][1], self.usual[name][1])
                if low > high:
                    return None
                bounds[name] = low, high
        found = widest(bounds, [*rows, *relations], open_only=False)
        if found is None:
            return None
        if found[1] > FLAT:
            if not usual:
                return Inside(*found)
            effort.spend(_PROGRAMME_STEPS)
            centred = nearest(bounds, [*rows, *relations], room=found[1] / 2)
            return Inside(centred, found[1] / 2) if centred is not None else Inside(*found)
        # Flat: it may still hold calls, on edges that belong to it.
        found = widest(bounds, [*rows, *relations], open_only=True)
        if found is None or (found[1] <= FLAT and any(row.low_open or row.high_open for row in rows)):
            return None
        return Inside(found[0], 0.0)
