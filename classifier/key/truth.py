"""Three-valued conditions over whole columns at once (numpy).

A condition is made ready once (``ready``) and then judged on any set of rows. Its answer is three arrays: *yes*, *unsure*
(None where no row is) and the *clearance*; what is neither yes nor unsure is no. docs/key-language.md states the rules;
``walk.py`` follows them one pulse at a time in plain Python and is the oracle for this module.
"""

import numpy as np

from classifier.key import forms as f
from classifier.key.columns import carried, resolution_of, value_and_slopes


def ready(condition: f.Condition, made: dict | None = None):
    """The condition as an object with ``judge(columns, rows) -> (yes, unsure | None, clearance)``.

    ``rows`` are row numbers of the block, or None for all of them in order. ``made`` takes what was made ready, by id of the
    condition: conditions that share a let share what is made of it.
    """
    made = {} if made is None else made
    if id(condition) not in made:
        made[id(condition)] = _make(condition, made)
    return made[id(condition)]


def _make(condition, made):
    match condition:
        case f.Comparison():
            return _comparison(condition)
        case f.Presence():
            return _Presence(condition)
        case f.Fact():
            return _Fact(condition)
        case f.Not(inner):
            return _Not(ready(inner, made))
        case f.All(parts):
            return _All([ready(part, made) for part in parts])
        case f.Any(parts):
            return _Any([ready(part, made) for part in parts])
    raise TypeError(f"no condition: {condition!r}")


def _comparison(comparison):
    terms = comparison.form.terms
    plain = len(terms) == 1 and isinstance(terms[0][0], f.Measured | f.Gathered) and terms[0][1] == 1
    return _Single(comparison) if plain else _General(comparison)


class _Comparison:
    def __init__(self, comparison):
        self.sense = comparison.sense
        self.boundary = float(comparison.boundary)
        self.zone = float(comparison.zone)
        self.low, self.high = comparison.edges

    def _sharp(self, value):
        match self.sense:
            case "<":
                return value < self.boundary
            case "<=":
                return value <= self.boundary
            case ">":
                return value > self.boundary
            case ">=":
                return value >= self.boundary
        return value == self.boundary

    def _zoned(self, value, widening):
        """(yes, unsure) with edges that stand off by the zone and the widening (an array, or None)."""
        if self.sense == "=":
            yes = value == self.boundary
            return yes, np.isnan(value)
        low = self.low if widening is None else self.low - widening
        high = self.high if widening is None else self.high + widening
        below, above = value <= low, value >= high
        # Without any width the edges are the boundary itself, which belongs to one side only.
        if not self.low < self.boundary < self.high:
            if self.sense in ("<", ">="):
                below &= value < self.boundary
            else:
                above &= value > self.boundary
        yes = below if self.sense in ("<", "<=") else above
        return yes, ~(below | above)

    def _clearance(self, value, half_width):
        """``half_width``: of the zone, but at least the resolution; a number or an array."""
        clearance = value - self.boundary
        np.abs(clearance, out=clearance)
        clearance /= half_width
        return clearance


class _Single(_Comparison):
    """A comparison of one metric, in its own unit."""

    def __init__(self, comparison):
        super().__init__(comparison)
        self.name = atom = comparison.form.terms[0][0]
        if isinstance(atom, f.Measured):
            self.name = atom.name
        self.resolution = resolution_of(atom)

    def judge(self, columns, rows):
        column = columns.value(self.name)
        if column is None:
            return _nothing_known(columns.count(rows))
        value = columns.taken(column, rows)
        error = columns.error(self.name) if self.sense != "=" else None
        if error is None:
            unsure = None
            half_width = max(self.zone, self.resolution)
            if self.zone and self.sense != "=":
                yes, unsure = self._zoned(value, None)
            else:
                yes = self._sharp(value)
            if self.sense == "=":
                clearance = np.full(len(value), np.inf)
            else:
                clearance = self._clearance(value, half_width)
            if columns.missing(self.name):
                missing = np.isnan(value)
                unsure = missing if unsure is None else unsure
                clearance[missing] = 0.0
            return yes, unsure, clearance
        widening = columns.standard_errors * columns.taken(error, rows)
        yes, unsure = self._zoned(value, widening)
        widening += self.zone
        np.maximum(widening, self.resolution, out=widening)
        clearance = self._clearance(value, widening)
        # A missing value, or one of no known width (inf / inf), stands nowhere.
        clearance[np.isnan(clearance)] = 0.0
        return yes, unsure, clearance


class _General(_Comparison):
    """A comparison of any form; errors are carried through it to first order, as if independent."""

    def __init__(self, comparison):
        super().__init__(comparison)
        self.form = comparison.form

    def judge(self, columns, rows):
        try:
            value, slopes = value_and_slopes(self.form, columns, rows)
        except KeyError:
            return _nothing_known(columns.count(rows))
        with np.errstate(all="ignore"):
            widening = columns.standard_errors * carried(slopes, columns, rows)
            resolution = sum(abs(slope) * resolution_of(name) for name, slope in slopes.items())
            if self.sense == "=":
                widening = 0.0
            yes, unsure = self._zoned(value, widening)
            known = ~(np.isnan(value) | np.isnan(widening))
            unsure = unsure | ~known
            yes = yes & known
            half_width = np.maximum(widening + self.zone, resolution)
            clearance = np.abs(value - self.boundary) / half_width
            clearance[np.isnan(clearance)] = 0.0
        if self.sense == "=":
            clearance = np.where(known, np.inf, 0.0)
        return yes, unsure, clearance


def _nothing_known(count):
    return np.zeros(count, bool), np.ones(count, bool), np.zeros(count)


class _Presence:
    def __init__(self, presence):
        self.name, self.measured = presence.name, presence.measured

    def judge(self, columns, rows):
        column = columns.value(self.name)
        count = columns.count(rows)
        # a table without the column misses the metric everywhere
        missing = np.ones(count, bool) if column is None else np.isnan(columns.taken(column, rows))
        yes = ~missing if self.measured else missing
        return yes, None, np.full(count, np.inf)


class _Fact:
    def __init__(self, fact):
        self.name = fact.name

    def judge(self, columns, rows):
        column = columns.value(self.name)
        count = columns.count(rows)
        if column is None:
            return _nothing_known(count)
        value = columns.taken(column, rows)
        missing = np.isnan(value)
        return (value != 0) & ~missing, missing, np.where(missing, 0.0, np.inf)


class _Not:
    def __init__(self, inner):
        self.inner = inner

    def judge(self, columns, rows):
        yes, unsure, clearance = self.inner.judge(columns, rows)
        return ~yes if unsure is None else ~(yes | unsure), unsure, clearance


class _Joined:
    def __init__(self, parts):
        self.parts = parts

    def judge(self, columns, rows):
        judged = [part.judge(columns, rows) for part in self.parts]
        unsures = [unsure for _, unsure, _ in judged]
        noes = [~yes if unsure is None else ~(yes | unsure) for yes, unsure, _ in judged]
        yeses = [yes for yes, _, _ in judged]
        clearances = [clearance for _, _, clearance in judged]
        decided_by_one, decided_by_all = self._roles(yeses, noes)
        by_one = np.logical_or.reduce(decided_by_one)
        by_all = np.logical_and.reduce(decided_by_all)
        # Where one part alone decides, the best of those parts must fall for the answer to change.
        strongest = np.full(len(by_one), -np.inf)
        for part, clearance in zip(decided_by_one, clearances, strict=True):
            np.maximum(strongest, np.where(part, clearance, -np.inf), out=strongest)
        result = np.where(by_one, strongest, np.minimum.reduce(clearances))
        unsure = None
        if any(each is not None for each in unsures):
            unsure = ~(by_one | by_all)
            weakest = np.full(len(by_one), np.inf)
            for part, clearance in zip(unsures, clearances, strict=True):
                if part is not None:
                    np.minimum(weakest, np.where(part, clearance, np.inf), out=weakest)
            result = np.where(unsure, weakest, result)
        return self._yes(by_one, by_all), unsure, result


class _All(_Joined):
    @staticmethod
    def _roles(yeses, noes):
        return noes, yeses

    @staticmethod
    def _yes(by_one, by_all):
        return by_all


class _Any(_Joined):
    @staticmethod
    def _roles(yeses, noes):
        return yeses, noes

    @staticmethod
    def _yes(by_one, by_all):
        return by_one
