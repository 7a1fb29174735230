"""Where the curves of a pulse may bend: knots lie close where much happens and far apart where little does."""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.spline import knots_along

#: Spacing of the phase's knots: KNOT_S at a slope of KNOT_SLOPE, going with the root of the slope, within bounds.
KNOT_S = 1.2e-3
KNOT_SLOPE_HZ_PER_S = 1e6
#: And at a bend (change of slope), going with its third root; it is read over so long on either side. Of a ridge as it was
#: followed, whose noise looks like bends, only strong ones count.
ROUGH_BEND_HZ_PER_S2, ROUGH_BEND_S = 1e9, 0.5e-3
SMOOTH_BEND_HZ_PER_S2, SMOOTH_BEND_S = 1e8, 0.2e-3
CLOSEST_KNOTS_S, WIDEST_KNOTS_S = 0.2e-3, 3.5e-3
FEWEST_PIECES, MOST_PIECES = 5, 48
#: Knots may not jump from close to wide within a piece: their density fades over this long.
KNOT_FADE_S = 0.4e-3
#: The ridge is read for its knots once in so many samples.
SAMPLES_A_READING = 3
#: Of the amplitude's knots: how many pieces in the first and in the last fifth (or so long a stretch, if that is less),
#: where it comes and goes, and how many between, within bounds.
AMPLITUDE_END_PIECES, AMPLITUDE_END_S, AMPLITUDE_MIDDLE_PIECES = 4, 3e-3, 12
CLOSEST_AMPLITUDE_KNOTS_S, WIDEST_AMPLITUDE_KNOTS_S = 0.1e-3, 3e-3


@compiled
def phase_knots(ridge_hz, fitted, first, last, rate_hz, first_s):
    """Knots that lie close where the ridge is steep or bends and far apart where it is flat, and none before the sample
    ``first`` or after ``last``, so that what is known there is carried on over the ends.

    ``fitted`` says whether the ridge is a fitted curve, or as it was followed.
    """
    n = len(ridge_hz)
    least_bend, bend_s = (SMOOTH_BEND_HZ_PER_S2, SMOOTH_BEND_S) if fitted else (ROUGH_BEND_HZ_PER_S2, ROUGH_BEND_S)
    lag = max(1, round(bend_s * rate_hz))
    # knots lie further apart than samples: the ridge is read at some of them alone
    steps = max(round((n - 1) / SAMPLES_A_READING), 1)
    places, dense = np.arange(steps + 1) * (n - 1) // steps, np.empty(steps + 1)
    for k in range(steps + 1):
        i = places[k]
        before, after = max(i - 1, 0), min(i + 1, n - 1)
        slope = abs(ridge_hz[after] - ridge_hz[before]) * rate_hz / (after - before)
        per_knot = max(np.sqrt(slope / KNOT_SLOPE_HZ_PER_S), KNOT_S / WIDEST_KNOTS_S)
        if first + lag <= i < last - lag:
            bend = abs(ridge_hz[i - lag] - 2 * ridge_hz[i] + ridge_hz[i + lag]) * (rate_hz / lag) ** 2
            # a root is taken only where the bend counts for more than the slope
            if bend > least_bend * per_knot**3:
                per_knot = (bend / least_bend) ** (1 / 3)
        dense[k] = min(per_knot / KNOT_S, 1.0 / CLOSEST_KNOTS_S)
    step_s = (n - 1) / steps / rate_hz
    reach = max(1, round(KNOT_FADE_S / step_s))
    passed = np.zeros(steps + 1)
    for k in range(steps):
        most = dense[k]
        for away in (-2 * reach, -reach, reach, 2 * reach):
            if 0 <= k + away <= steps:
                most = max(most, 0.5 * dense[k + away])
        passed[k + 1] = passed[k] + (most * step_s if first <= places[k] < last else 0.0)
    pieces = min(max(int(np.ceil(passed[steps])), FEWEST_PIECES), MOST_PIECES)
    return knots_along(passed, first_s, step_s, pieces)


@compiled
def amplitude_knots_of(first, last, count, rate_hz, first_s):
    """Knots that lie close near both ends, where the amplitude comes and goes."""
    length = max(last - first, 8)
    end = min(0.2 * length, AMPLITUDE_END_S * rate_hz)
    closest = CLOSEST_AMPLITUDE_KNOTS_S * rate_hz
    at_ends = 1.0 / max(end / AMPLITUDE_END_PIECES, closest)
    widest = WIDEST_AMPLITUDE_KNOTS_S * rate_hz
    between = 1.0 / min(max((length - 2 * end) / AMPLITUDE_MIDDLE_PIECES, closest), widest)
    passed = np.zeros(count)
    for i in range(count - 1):
        inner = first + end < i < last - end
        passed[i + 1] = passed[i] + (between if inner else at_ends)
    pieces = min(max(int(np.ceil(passed[count - 1])), FEWEST_PIECES), MOST_PIECES)
    return knots_along(passed, first_s, 1.0 / rate_hz, pieces)
