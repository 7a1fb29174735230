"""Statistics of a whole pass beside those that a key spells out: medians, and how far two call types lie
apart.

Both are taken over the usable pulses of the pass (gated pulses, echoes and feeding buzzes are kept out), n
values x:

    median       median,                        se = √(π/2) s / √n, s the standard deviation (n - 1 below)
    alternation  how far two call types that take turns lie apart in characteristic frequency: √(near² -
                 far²), not below 0, with near = median |x[i+1] - x[i]| and far = median |x[i+2] - x[i]|

A statistic is missing (NaN) where the pass has too few values for it; a comparison with it is then unsure.
"""

import numpy as np

#: Fewest values that an alternation is taken from (chosen).
ALTERNATION_NEEDS = 5


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


def alternation(values, pass_index, *, passes):
    """How far two call types that take turns lie apart, and its standard error, (P,) each.

    Steps from pulse to next hold the distance of the two types; steps to the next but one hold none of it. A
    caller of one type has both alike and so about 0, however much its calls wander. ``values`` are in order
    of onset within each pass. NaN with fewer than ALTERNATION_NEEDS values.
    """
    good = ~np.isnan(values)
    order = np.flatnonzero(good)[np.argsort(pass_index[good], kind="stable")]
    x, of = values[order], pass_index[order]
    medians = []
    for lag in (1, 2):
        same = of[lag:] == of[:-lag]
        step = np.abs(x[lag:] - x[:-lag])[same]
        medians.append(median(step, of[lag:][same], passes=passes))
    (near, near_se), (far, far_se) = medians
    count = np.bincount(of, minlength=passes)
    # Wander adds to both kinds of step by squares, so that it drops out of their difference.
    distance = np.where(count >= ALTERNATION_NEEDS, np.sqrt(np.maximum(near**2 - far**2, 0.0)), np.nan)
    least = np.hypot(near_se, far_se)
    with np.errstate(invalid="ignore", divide="ignore"):
        error = np.hypot(near * near_se, far * far_se) / np.maximum(distance, least)
    return distance, np.where(least > 0, error, 0.0)
