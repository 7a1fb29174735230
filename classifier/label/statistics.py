"""Medians by pass with their standard errors: √(π/2) s / √n of n values with standard deviation s (n - 1
below)."""

import numpy as np


def median(values, pass_index, *, passes):
    """Medians and their standard errors, (P,) each; NaN values are left out, a single value has no error
    (NaN)."""
    good = ~np.isnan(values)
    x, of = values[good], pass_index[good]
    count = np.bincount(of, minlength=passes)
    has = np.flatnonzero(count)
    first = (np.cumsum(count) - count)[has]
    ordered = x[np.lexsort((x, of))]
    middle = np.full(passes, np.nan)
    middle[has] = (ordered[first + (count[has] - 1) // 2] + ordered[first + count[has] // 2]) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(of, weights=x, minlength=passes) / count
        squares = np.bincount(of, weights=(x - mean[of]) ** 2, minlength=passes)
        deviation = np.sqrt(squares / np.where(count > 1, count - 1, np.nan))
        return middle, np.sqrt(np.pi / 2) * deviation / np.sqrt(count)
