"""Axes: every quantity that a key compares, cut into cells at the numbers it is compared with.

A metric's line of values is cut at each boundary and at each edge of an overlap zone. The cuts and the open stretches
between them are its *cells*; within a cell no comparison of the key changes its answer. So a set of values is a set of
cells, kept as the bits of one integer, and a comparison is three such sets: yes, no and unsure. One more bit stands
for "missing". Cell 2k is the stretch below cut k, cell 2k + 1 is cut k itself.

Cuts are exact fractions. Sums of metrics, ratios, and sums with abs( ) in them have axes of their own; how their
values hang on those of the metrics is kept for ``polytope.py``. What is not linear is an *opaque* axis: its cells
are known, but not which of them go with which metric values.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass, field
from fractions import Fraction

from classifier.key import forms as f
from classifier.key.check.kinds import Nature, nature_of
from classifier.key.vocabulary import PULSE

FLIPPED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "=": "="}


@dataclass
class Axis:
    """One quantity, numbered; what is known of it stands in ``nature`` and is passed on under the same names.

    cuts : sorted exact fractions; edges : the same as floats
    every : all cells; measured : those that calls can have
    domain : the same, with the bit ``missing`` where the value may be missing
    unit : as authors count it
    comparisons : those on it that stand in a text
    """

    index: int
    atom: object
    nature: Nature
    unit: str
    cuts: list = field(default_factory=list)
    edges: list = field(default_factory=list)
    every: int = 0
    measured: int = 0
    domain: int = 0
    missing: int = 0
    comparisons: list = field(default_factory=list)

    def __post_init__(self):
        nature = self.nature
        self.kind, self.form, self.names, self.whole = nature.kind, nature.form, nature.names, nature.whole
        self.low, self.high, self.resolution = nature.low, nature.high, nature.resolution

    def at(self, cut) -> int:
        """The cell of a cut."""
        place = bisect_left(self.edges, float(cut))
        while self.cuts[place] != cut:  # different cuts that are one float
            place += 1
        return 2 * place + 1

    def above(self, cut, strict) -> int:
        """Cells of values > cut, or >= cut."""
        return self.every & ~((1 << (self.at(cut) + strict)) - 1)

    def below(self, cut, strict) -> int:
        """Cells of values < cut, or <= cut."""
        return (1 << (self.at(cut) + 1 - strict)) - 1

    def cell_of(self, value: float) -> int:
        """The bit of the cell in which a value lies."""
        place = bisect_left(self.edges, value)
        exact = place < len(self.edges) and self.edges[place] == value
        return 1 << (2 * place + exact)

    def runs(self, mask) -> list[tuple[float, bool, float, bool]]:
        """The unbroken stretches of a set of cells: (low, low is open, high, high is open); ends of the line are
        those of the axis."""
        found = []
        mask &= self.every
        cell = 0
        while mask:
            skip = (mask & -mask).bit_length() - 1
            cell += skip
            mask >>= skip
            length = (~mask & (mask + 1)).bit_length() - 1
            found.append((*self._start(cell), *self._stop(cell + length - 1)))
            cell += length
            mask >>= length
        return found

    def _start(self, cell):
        if cell % 2:
            return self.edges[cell // 2], False
        if not cell:
            return self.low, False
        edge = self.edges[cell // 2 - 1]
        return (math.floor(edge) + 1, False) if self.whole else (edge, True)

    def _stop(self, cell):
        if cell % 2:
            return self.edges[cell // 2], False
        if cell // 2 == len(self.edges):
            return self.high, False
        edge = self.edges[cell // 2]
        return (math.ceil(edge) - 1, False) if self.whole else (edge, True)


@dataclass(frozen=True)
class Placed:
    """How a comparison lies on its axis: ``quantity sense boundary`` with the zone from ``low`` to ``high``, where the
    quantity is the axis itself or, with ``factor``, |factor * axis + constant|."""

    axis: Axis
    sense: str
    low: Fraction
    high: Fraction
    constant: Fraction = Fraction(0)
    factor: Fraction | None = None

    def cuts(self) -> list[Fraction]:
        if self.factor is None:
            return [self.low] if self.low == self.high else [self.low, self.high]
        return [cut for edge in (self.low, self.high) if edge >= 0 for cut in self._ends(edge)]

    def below(self, strict) -> int:
        """Cells where the quantity is at most (or, strictly, below) the low edge."""
        if self.factor is None:
            return self.axis.below(self.low, strict)
        if self.low < 0:
            return 0
        start, stop = self._ends(self.low)
        return self.axis.above(start, strict) & self.axis.below(stop, strict)

    def above(self, strict) -> int:
        """Cells where the quantity is at least (or, strictly, above) the high edge."""
        if self.factor is None:
            return self.axis.above(self.high, strict)
        if self.high < 0:
            return self.axis.every
        start, stop = self._ends(self.high)
        return self.axis.below(start, strict) | self.axis.above(stop, strict)

    def _ends(self, edge):
        ends = (-edge - self.constant) / self.factor, (edge - self.constant) / self.factor
        return min(ends), max(ends)


@dataclass(frozen=True)
class Side:
    """A comparison on an axis: the cells of yes, no and unsure (with the missing bit in the last)."""

    axis: Axis
    yes: int
    no: int
    unsure: int


class Axes:
    """All axes of a set of conditions.

    Take in every condition first (``take``), and every further number that should be a cut (``cut``); then ``close``; then ask for
    sides. ``may_be_missing`` are names whose absence the key speaks of: only they may be missing in the calls that the
    proofs are about.
    """

    def __init__(self, level: str = PULSE):
        self.level = level
        self.all = []
        self._by_key = {}
        self._named = {}
        self._pending = []  # (axis, cut)
        self.may_be_missing = set()
        self._taken = {}
        self._placed = {}
        self._sides = {}

    # ---------------------------------------------------------------------------------------------------- taking in

    def take(self, condition: f.Condition) -> None:
        """Make axes and cuts for everything that a condition compares."""
        stack = [condition]
        while stack:
            condition = stack.pop()
            if id(condition) in self._taken:
                continue
            self._taken[id(condition)] = condition  # kept, so that its id stays its own
            match condition:
                case f.Comparison() as comparison:
                    self._take_comparison(comparison)
                case f.Presence(name):
                    self.may_be_missing.add(name)
                    self.plain(name)
                case f.Fact(name):
                    self.cut(name, Fraction(0))
                    self.cut(name, Fraction(1))
                case f.Not(inner):
                    stack.append(inner)
                case f.All(parts) | f.Any(parts):
                    stack.extend(reversed(parts))

    def plain(self, name) -> Axis:
        """The axis of a metric or statistic."""
        return self._axis(f.Measured(name))

    def cut(self, name: str, number: Fraction) -> Axis:
        """Ask for a cut of a metric's axis."""
        axis = self.plain(name)
        self._pending.append((axis, number))
        return axis

    def _take_comparison(self, comparison):
        placed = self.placed(comparison)
        if comparison.span is not None:
            placed.axis.comparisons.append(comparison)
        placed.axis.unit = placed.axis.unit or comparison.unit
        self._pending.extend((placed.axis, cut) for cut in placed.cuts())

    def placed(self, comparison: f.Comparison) -> Placed:
        """How a comparison lies on its axis."""
        known = self._placed.get(id(comparison))
        if known is None:
            known = self._placed[id(comparison)] = (comparison, self._lay(comparison))
        return known[1]

    def _lay(self, comparison):
        boundary, zone = comparison.boundary, comparison.zone
        edges = (boundary - zone, boundary + zone) if zone else (boundary, boundary)
        terms = comparison.form.terms
        if len(terms) == 1 and isinstance(terms[0][0], f.Absolute):
            inner, outer = terms[0][0].of, terms[0][1]
            if outer > 0 and all(isinstance(atom, f.Measured | f.Gathered) for atom, _ in inner.terms):
                axis, factor = self._line(f.Linear(inner.terms))
                return Placed(axis, comparison.sense, *(edge / outer for edge in edges), inner.constant, factor)
        axis, factor = self._line(comparison.form)
        if factor == 1:
            return Placed(axis, comparison.sense, *edges)
        if factor < 0:
            return Placed(axis, FLIPPED[comparison.sense], edges[1] / factor, edges[0] / factor)
        return Placed(axis, comparison.sense, edges[0] / factor, edges[1] / factor)

    def _line(self, form):
        """(axis, factor) so that form = factor * axis; forms that differ by a factor share their axis."""
        if len(form.terms) == 1:
            return self._axis(form.terms[0][0]), form.terms[0][1]
        terms = _in_one_order(form.terms)
        first = terms[0][1]
        shared = tuple((atom, coefficient / first) for atom, coefficient in terms)
        if shared not in self._by_key:
            self._by_key[shared] = self._axis(f.Linear(form.terms)), first
        axis, own = self._by_key[shared]
        return axis, first / own

    def _axis(self, key):
        if isinstance(key, f.Measured):
            known = self._named.get(key.name)
            if known is None:
                known = self._named[key.name] = self._new(key)
            return known
        if key not in self._by_key:
            self._by_key[key] = self._new(key)
        return self._by_key[key]

    def _new(self, atom):
        nature = nature_of(atom, self.level)
        self.all.append(Axis(len(self.all), atom, nature, nature.unit))
        return self.all[-1]

    def close(self) -> None:
        """Cut the axes; afterwards nothing can be taken in."""
        cuts = {axis.index: set() for axis in self.all}
        for axis, cut in self._pending:
            cuts[axis.index].add(cut)
        for axis in self.all:
            for bound in (axis.low, axis.high):
                if math.isfinite(bound):
                    cuts[axis.index].add(Fraction(bound))
            axis.cuts = sorted(cuts[axis.index])
            axis.edges = [float(cut) for cut in axis.cuts]
            axis.missing = 1 << (2 * len(axis.cuts) + 1)
            axis.every = axis.missing - 1
            axis.domain = axis.measured = self._inside(axis)
            if any(name in self.may_be_missing for name in axis.names):
                axis.domain |= axis.missing

    def _inside(self, axis):
        mask = axis.every
        if math.isfinite(axis.low):
            mask &= axis.above(Fraction(axis.low), False)
        if math.isfinite(axis.high):
            mask &= axis.below(Fraction(axis.high), False)
        if not axis.whole:
            return mask
        for cell in range(2 * len(axis.cuts) + 1):
            if not _holds_whole(axis, cell):
                mask &= ~(1 << cell)
        return mask

    # ------------------------------------------------------------------------------------------------------- asking

    def named(self, name: str) -> Axis | None:
        """The axis of a metric, if the conditions speak of it."""
        return self._named.get(name)

    def side(self, comparison: f.Comparison | f.Presence | f.Fact) -> Side:
        """A comparison (or question of presence, or fact) as sets of cells."""
        known = self._sides.get(id(comparison))
        if known is None:
            known = self._sides[id(comparison)] = (comparison, self._make_side(comparison))
        return known[1]

    def _make_side(self, comparison):
        match comparison:
            case f.Presence(name, measured):
                axis = self.named(name)
                yes, no = (axis.every, axis.missing) if measured else (axis.missing, axis.every)
                return Side(axis, yes, no, 0)
            case f.Fact(name):
                axis = self.named(name)
                yes = axis.above(Fraction(1), False)
                return Side(axis, yes, axis.every & ~yes, axis.missing)
        placed = self.placed(comparison)
        axis, sense = placed.axis, placed.sense
        if sense == "=":
            yes = 1 << axis.at(placed.low)
            return Side(axis, yes, axis.every & ~yes, axis.missing)
        # As evaluation has it: both edges of a zone are decided; without a zone the boundary belongs to one side only.
        sharp = placed.low == placed.high
        below = placed.below(sharp and sense in ("<", ">="))
        above = placed.above(sharp and sense in (">", "<="))
        yes, no = (below, above) if sense in ("<", "<=") else (above, below)
        return Side(axis, yes, no, axis.every & ~(yes | no) | axis.missing)


def _in_one_order(terms):
    """Terms in an order that does not hang on how they were written."""
    names = {f.metrics_of(atom): (atom, coefficient) for atom, coefficient in terms}
    if len(names) == len(terms):
        return [names[each] for each in sorted(names)]
    return sorted(terms, key=lambda term: repr(term[0]))


def _holds_whole(axis, cell):
    if cell % 2:
        return axis.cuts[cell // 2].denominator == 1
    low = axis.cuts[cell // 2 - 1] if cell else None
    high = axis.cuts[cell // 2] if cell // 2 < len(axis.cuts) else None
    if low is None or high is None:
        return True
    return math.floor(low) + 1 < high
