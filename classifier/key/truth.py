"""Three-valued conditions over whole columns at once (numpy).

A condition is made ready once (``ready``) and then judged on any set of rows. Its answer is three arrays: *yes*, *unsure*
(None where no row is) and the *clearance*; what is neither yes nor unsure is no. docs/key-language.md states the rules;
``walk.py`` follows them one pulse at a time in plain Python and is the oracle for this module.
"""

from collections.abc import Mapping

import numpy as np

from classifier.key import forms as f
from classifier.key.vocabulary import NAMES, PASS, PULSE, TIER

_RESOLUTIONS = {
    name: quality.resolution for level in (TIER, PASS, PULSE) for name, quality in NAMES[level].items()
}


class Columns:
    """Values and widths of overlap zones of one block of rows.

    Parameters
    ----------
    values, errors : float64 arrays of one length, by name (or by ``forms.Gathered`` for summaries), in the metric's
        unit; NaN is missing. Of a name that is absent nothing is known in any row; an error that is absent, NaN or not
        positive counts as 0.
    standard_errors : how many standard errors widen a zone
    rows : number of rows
    """

    def __init__(self, values: Mapping, errors: Mapping, standard_errors: float, rows: int):
        self.rows = rows
        self.standard_errors = standard_errors
        self._values = values
        self._errors = errors if standard_errors else {}
        self._missing = {}
        self._cleaned = {}

    def value(self, name):
        return self._values.get(name)

    def missing(self, name) -> bool:
        """Whether any row lacks the value."""
        if name not in self._missing:
            self._missing[name] = bool(np.isnan(self._values[name]).any())
        return self._missing[name]

    def error(self, name):
        """The standard errors with every odd one set to 0, or None where there are none."""
        if name not in self._cleaned:
            errors = self._errors.get(name)
            self._cleaned[name] = None if errors is None else np.where(errors > 0, errors, 0.0)
        return self._cleaned[name]

    def count(self, rows):
        return self.rows if rows is None else len(rows)

    def taken(self, column, rows):
        return column if rows is None else column.take(rows)


def ready(condition: f.Condition):
    """The condition as an object with ``judge(columns, rows) -> (yes, unsure | None, clearance)``.

    ``rows`` are row numbers of the block, or None for all of them in order.
    """
    match condition:
        case f.Comparison():
            return _comparison(condition)
        case f.Presence():
            return _Presence(condition)
        case f.Fact():
            return _Fact(condition)
        case f.Not(inner):
            return _Not(ready(inner))
        case f.All(parts):
            return _All([ready(part) for part in parts])
        case f.Any(parts):
            return _Any([ready(part) for part in parts])
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
        # The edges are taken from exact numbers: 0.3 ± 0.1 begins at 0.2 and not beside it.
        self.low = float(comparison.boundary - comparison.zone)
        self.high = float(comparison.boundary + comparison.zone)

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
        self.resolution = _resolution_of(atom)

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
            value, slopes = _form(self.form, columns, rows)
        except KeyError:
            return _nothing_known(columns.count(rows))
        with np.errstate(all="ignore"):
            widening = columns.standard_errors * _carried(slopes, columns, rows)
            resolution = sum(abs(slope) * _resolution_of(name) for name, slope in slopes.items())
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


def _carried(slopes, columns, rows):
    """Standard error of a form: root of the sum of squares of slope * error."""
    scaled = []
    for name, slope in slopes.items():
        error = columns.error(name)
        if error is not None:
            scaled.append(abs(slope) * columns.taken(error, rows))
    if not scaled:
        return 0.0
    if len(slopes) == 1:
        return scaled[0]
    variance = 0.0
    for each in scaled:
        variance = variance + each * each
    return np.sqrt(variance)


def _form(form, columns, rows):
    """(value, slope by name) of a linear form. KeyError if something in it is missing in every row."""
    value, slopes = None, {}
    for atom, coefficient in form.terms:
        factor = float(coefficient)
        part, part_slopes = _atom(atom, columns, rows)
        scaled = part if factor == 1.0 else part * factor
        value = scaled if value is None else value + scaled
        for name, slope in part_slopes.items():
            slopes[name] = slopes.get(name, 0.0) + (slope if factor == 1.0 else slope * factor)
    constant = float(form.constant)
    if value is None:
        return np.full(columns.count(rows), constant), slopes
    return (value + constant if constant else value), slopes


def _atom(atom, columns, rows):
    with np.errstate(all="ignore"):
        match atom:
            case f.Measured(name):
                return _column(name, columns, rows)
            case f.Gathered():
                return _column(atom, columns, rows)
            case f.Absolute(of):
                value, slopes = _form(of, columns, rows)
                sign = np.where(value < 0, -1.0, 1.0)
                return np.abs(value), {name: slope * sign for name, slope in slopes.items()}
            case f.Product(one, other):
                left, left_slopes = _form(one, columns, rows)
                right, right_slopes = _form(other, columns, rows)
                return left * right, _joined(left_slopes, right, right_slopes, left)
            case f.Ratio(one, other):
                above, above_slopes = _form(one, columns, rows)
                below, below_slopes = _form(other, columns, rows)
                below = np.where(below == 0, np.nan, below)  # a quotient by zero is not known
                value = above / below
                return value, _joined(above_slopes, 1.0 / below, below_slopes, -value / below)
    raise TypeError(f"no atom: {atom!r}")


def _joined(slopes, factor, others, other_factor):
    result = {name: slope * factor for name, slope in slopes.items()}
    for name, slope in others.items():
        result[name] = result.get(name, 0.0) + slope * other_factor
    return result


def _column(name, columns, rows):
    column = columns.value(name)
    if column is None:
        raise KeyError(name)
    return columns.taken(column, rows), {name: 1.0}


def _resolution_of(name):
    """Resolution of a metric or a statistic; of a summary, that of what it gathers (shares: 1 %, counts: 1)."""
    if isinstance(name, f.Measured):
        name = name.name
    if isinstance(name, f.Gathered):
        if not isinstance(name.of, f.Linear):
            return 1.0
        return sum(abs(float(coefficient)) * _resolution_of(atom) for atom, coefficient in name.of.terms)
    if isinstance(name, f.Absolute):
        return sum(abs(float(coefficient)) * _resolution_of(atom) for atom, coefficient in name.of.terms)
    return _RESOLUTIONS.get(name, 1.0) if isinstance(name, str) else 1.0


def _nothing_known(count):
    return np.zeros(count, bool), np.ones(count, bool), np.zeros(count)


class _Presence:
    def __init__(self, presence):
        self.name, self.measured = presence.name, presence.measured

    def judge(self, columns, rows):
        column = columns.value(self.name)
        count = columns.count(rows)
        if column is None:
            return _nothing_known(count)
        missing = np.isnan(columns.taken(column, rows))
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


def form_values(form: f.Linear, columns: Columns):
    """(values, standard errors) of a quantity in every row; NaN where something in it is missing."""
    try:
        value, slopes = _form(form, columns, None)
    except KeyError:
        return np.full(columns.rows, np.nan), np.zeros(columns.rows)
    with np.errstate(all="ignore"):
        error = _carried(slopes, columns, None)
    return value, np.broadcast_to(error, value.shape)
