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
from classifier.key.check.relations import EQUALS
from classifier.key.vocabulary import NAMES, PASS, PULSE, SUMMARIES, TIER

PLAIN, SUM, RATIO, BENT, OPAQUE = "plain", "sum", "ratio", "bent", "opaque"
#: Most abs( ) in one sum whose signs are told apart; with more the sum is opaque.
_MOST_BENDS = 4
FLIPPED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "=": "="}


@dataclass
class Axis:
    """One quantity. ``form`` gives it in terms of metrics (None where opaque); ``low`` and ``high`` bound its values.

    cuts : sorted exact fractions
    edges : the same as floats
    every : all cells; measured : those that calls can have
    domain : the same, with the bit ``missing`` where the value may be missing
    names : the metrics (or statistics) it is made of
    """

    index: int
    kind: str
    atom: object
    form: f.Linear | None
    unit: str
    resolution: float
    low: float
    high: float
    whole: bool
    names: tuple[str, ...]
    cuts: list = field(default_factory=list)
    edges: list = field(default_factory=list)
    domain: int = 0
    missing: int = 0
    every: int = 0
    measured: int = 0
    comparisons: list = field(default_factory=list)

    def at(self, cut) -> int:
        """The cell of a cut."""
        return 2 * bisect_left(self.cuts, cut) + 1

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
            return [self.low, self.high, (self.low + self.high) / 2]
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
        self._pending = []  # (axis, cut)
        self.may_be_missing = set()
        self._placed = {}
        self._sides = {}

    # ---------------------------------------------------------------------------------------------------- taking in

    def take(self, condition: f.Condition) -> None:
        """Make axes and cuts for everything that a condition compares."""
        stack = [condition]
        while stack:
            match stack.pop():
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
                    stack.extend(parts)

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
        edges = (comparison.boundary - comparison.zone, comparison.boundary + comparison.zone)
        terms = comparison.form.terms
        if len(terms) == 1 and isinstance(terms[0][0], f.Absolute):
            inner, outer = terms[0][0].of, terms[0][1]
            if outer > 0 and all(isinstance(atom, f.Measured | f.Gathered) for atom, _ in inner.terms):
                axis, factor = self._line(f.Linear(inner.terms))
                return Placed(axis, comparison.sense, *(edge / outer for edge in edges), inner.constant, factor)
        axis, factor = self._line(comparison.form)
        if factor < 0:
            return Placed(axis, FLIPPED[comparison.sense], edges[1] / factor, edges[0] / factor)
        return Placed(axis, comparison.sense, edges[0] / factor, edges[1] / factor)

    def _line(self, form):
        """(axis, factor) so that form = factor * axis; forms that differ by a factor share their axis."""
        if len(form.terms) == 1:
            return self._axis(form.terms[0][0]), form.terms[0][1]
        terms = sorted(form.terms, key=lambda term: repr(term[0]))
        first = terms[0][1]
        shared = tuple((atom, coefficient / first) for atom, coefficient in terms)
        if shared not in self._by_key:
            self._by_key[shared] = self._axis(f.Linear(form.terms)), first
        axis, own = self._by_key[shared]
        return axis, first / own

    def _axis(self, key):
        if key not in self._by_key:
            self._by_key[key] = _make_axis(len(self.all), key, self.level)
            self.all.append(self._by_key[key])
        return self._by_key[key]

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
        return self._by_key.get(f.Measured(name))

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


def _holds_whole(axis, cell):
    if cell % 2:
        return axis.cuts[cell // 2].denominator == 1
    low = axis.cuts[cell // 2 - 1] if cell else None
    high = axis.cuts[cell // 2] if cell // 2 < len(axis.cuts) else None
    if low is None or high is None:
        return True
    return math.floor(low) + 1 < high


# ------------------------------------------------------------------------------------------------------ what axes are


def _make_axis(index, key, level):
    if isinstance(key, f.Measured):
        quality = _quality(key.name, level)
        form = (
            f.Linear(tuple((f.Measured(name), Fraction(each)) for name, each in EQUALS[key.name].items()))
            if key.name in EQUALS
            else f.Linear(((key, Fraction(1)),))
        )
        return Axis(
            index,
            PLAIN,
            key,
            form,
            quality.unit,
            quality.resolution,
            quality.low,
            quality.high,
            quality.whole,
            (key.name,),
        )
    names = f.metrics_of(key)
    low, high = interval(key)
    if isinstance(key, f.Gathered):
        return Axis(
            index,
            PLAIN,
            key,
            None,
            _summary_unit(key),
            resolution(key),
            low,
            high,
            key.function == "count",
            (),
        )
    if isinstance(key, f.Linear):
        kind = _kind_of_sum(key)
    elif isinstance(key, f.Ratio):
        kind = RATIO if _is_sum(key.above) and _is_sum(key.below) and _one_sided(key.below) else OPAQUE
    else:
        kind = (
            BENT
            if isinstance(key, f.Absolute) and _bends(f.Linear(((key, Fraction(1)),))) is not None
            else OPAQUE
        )
    form = key if isinstance(key, f.Linear) else f.Linear(((key, Fraction(1)),))
    return Axis(
        index, kind, key, None if kind == OPAQUE else form, "", resolution(key), low, high, False, names
    )


def _quality(name, level):
    return next(NAMES[each][name] for each in (level, PULSE, PASS, TIER) if name in NAMES[each])


def _summary_unit(gathered):
    return SUMMARIES[gathered.function].unit or ""


def _is_sum(form):
    return all(isinstance(atom, f.Measured) for atom, _ in form.terms)


def _one_sided(form):
    low, high = interval(form)
    return low > 0 or high < 0


def _kind_of_sum(form):
    if _is_sum(form):
        return SUM
    return BENT if _bends(form) is not None else OPAQUE


def _bends(form):
    """The linear forms inside abs( ) of a sum; None if the sum holds anything else that is not linear."""
    bends = []
    for atom, _ in form.terms:
        if isinstance(atom, f.Measured):
            continue
        if not isinstance(atom, f.Absolute) or not _is_sum(atom.of):
            return None
        bends.append(atom.of)
    return bends if len(bends) <= _MOST_BENDS else None


def resolution(item) -> float:
    """The finest difference of a quantity that measuring can vouch for: squares add up over independent metrics."""
    match item:
        case f.Measured(name):
            return _quality(name, PULSE).resolution
        case f.Gathered(_, of):
            return resolution(of) if isinstance(of, f.Linear) else 1.0
        case f.Linear():
            return math.sqrt(sum((float(each) * resolution(atom)) ** 2 for atom, each in item.terms))
        case f.Absolute(of):
            return resolution(of)
    return 0.0


def interval(item) -> tuple[float, float]:
    """Bounds of a quantity over all calls, from those of its metrics alone (they may be wider than need be)."""
    match item:
        case f.Measured(name):
            quality = _quality(name, PULSE)
            return quality.low, quality.high
        case f.Gathered(function, of):
            if function == "share":
                return 0.0, 100.0
            if function == "count":
                return 0.0, math.inf
            low, high = interval(of)
            return (0.0, (high - low) / 2) if function == "spread" else (low, high)
        case f.Absolute(of):
            low, high = interval(of)
            return (0.0 if low <= 0 <= high else min(abs(low), abs(high))), max(abs(low), abs(high))
        case f.Product(left, right):
            return _corners(interval(left), interval(right))
        case f.Ratio(above, below):
            low, high = interval(below)
            if low <= 0 <= high:
                return -math.inf, math.inf
            return _corners(interval(above), (1 / high, 1 / low))
        case f.Linear():
            low = high = float(item.constant)
            for atom, coefficient in item.terms:
                ends = [float(coefficient) * end for end in interval(atom)]
                low, high = low + min(ends), high + max(ends)
            return low, high
    raise TypeError(f"no quantity: {item!r}")


def _corners(one, other):
    products = [a * b if a and b else 0.0 for a in one for b in other]
    return min(products), max(products)
