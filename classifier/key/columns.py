"""Columns of numbers and the quantities that forms make of them, with errors carried along (numpy)."""

from collections.abc import Mapping

import numpy as np

from classifier.key import forms as f
from classifier.key.vocabulary import NAMES, PASS, PULSE, TIER

_RESOLUTIONS = {name: quality.resolution for level in (TIER, PASS, PULSE) for name, quality in NAMES[level].items()}


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


def carried(slopes, columns, rows):
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


def value_and_slopes(form, columns, rows):
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
                value, slopes = value_and_slopes(of, columns, rows)
                sign = np.where(value < 0, -1.0, 1.0)
                return np.abs(value), {name: slope * sign for name, slope in slopes.items()}
            case f.Product(one, other):
                left, left_slopes = value_and_slopes(one, columns, rows)
                right, right_slopes = value_and_slopes(other, columns, rows)
                return left * right, _joined(left_slopes, right, right_slopes, left)
            case f.Ratio(one, other):
                above, above_slopes = value_and_slopes(one, columns, rows)
                below, below_slopes = value_and_slopes(other, columns, rows)
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


def resolution_of(name):
    """Resolution of a metric or a statistic; of a summary, that of what it gathers (shares: 1 %, counts: 1)."""
    if isinstance(name, f.Measured):
        name = name.name
    if isinstance(name, f.Gathered):
        if not isinstance(name.of, f.Linear):
            return 1.0
        return sum(abs(float(coefficient)) * resolution_of(atom) for atom, coefficient in name.of.terms)
    if isinstance(name, f.Absolute):
        return sum(abs(float(coefficient)) * resolution_of(atom) for atom, coefficient in name.of.terms)
    return _RESOLUTIONS.get(name, 1.0) if isinstance(name, str) else 1.0


def form_values(form: f.Linear, columns: Columns):
    """(values, standard errors) of a quantity in every row; NaN where something in it is missing."""
    try:
        value, slopes = value_and_slopes(form, columns, None)
    except KeyError:
        return np.full(columns.rows, np.nan), np.zeros(columns.rows)
    with np.errstate(all="ignore"):
        error = carried(slopes, columns, None)
    return value, np.broadcast_to(error, value.shape)
