"""The metrics of a pulse from its fitted shape, each with a standard error.

Where a metric is a smooth function of the fit and of the span's ends, its error follows from their covariance. The
flattest stretch and the knee may jump along a pulse, which no derivative tells: there the ridge and the ends are
drawn a few times within their uncertainty, and the scatter of what comes out is the error.
"""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.smoothing import length_of, solve_back, solve_forward
from classifier.measure.spline import DEGREE, bases_of, basis_at, piece_of, polynomial_at, polynomials, polynomials_along

#: Instants along the span at which the ridge is looked at, and those of each draw.
GRID, DRAWN_GRID = 101, 51
#: Pairs of draws from the posterior, one the mirror of the other; the same for every pulse, so that results repeat.
PAIRS = 8
_NORMAL = np.random.default_rng(20260101).standard_normal((PAIRS, 128))
#: The fit's covariance is narrower than its curves are sure: draws are spread so much wider.
WIDER = 2.0
FLATTEST_SHARE = 0.15
FLATTEST_LEAST_S = 0.3e-3
FLAT_HZ_PER_S = 1e6

#: Where the flattest stretch jumps this far along the band from draw to draw there is none. (Chosen.)
JUMPING_SHARE, JUMPING_LEAST_HZ = 0.08, 7_500.0
#: The highest of many values that each err is further off than one of them. (Measured, as all factors here.)
OF_MANY = 1.8
#: By how much errors are larger than the fit's covariance says: splines smooth away what it does not know of, echoes and
#: other bats bend what it takes for true. Measured (tests/benchmarks/measure.py, one bat with and without echo, flying by,
#: with pauses; 15 to 40 dB), so that 95 % of true values lie within two standard errors. Pulses that stand well over the
#: noise get less of it (pulses.FAINT_DB).
INFLATION = {
    "onset": 1.1,
    "duration": 1.3,
    "start_frequency": 1.2,
    "end_frequency": 1.55,
    "max_frequency": 1.1,
    "min_frequency": 1.45,
    "bandwidth": 1.25,
    "mean_slope": 1.5,
    "initial_slope": 1.35,
    "characteristic_frequency": 1.05,
    "characteristic_slope": 0.95,
    "tail": 0.85,
    "knee_frequency": 0.9,
    "knee_time": 0.65,
    "centre_frequency": 1.1,
}
#: Share of a knot's spacing by which a knee is off.
KNEE_RESOLUTION = 0.4
#: The metrics in the order of the columns that ``describe`` returns; in Hz, s, Hz/s and percent.
NAMES = (
    "duration",
    "start_frequency",
    "end_frequency",
    "max_frequency",
    "min_frequency",
    "bandwidth",
    "mean_slope",
    "initial_slope",
    "flat_share",
    "characteristic_frequency",
    "characteristic_slope",
    "tail",
    "knee_frequency",
    "knee_time",
)
_DRAWN = 5  # the last ones, whose errors are drawn


@compiled
def describe(shape):
    """Metrics of a pulse.

    Returns
    -------
    values, errors : float64, shape (len(NAMES),), in SI units; NaN where a metric is missing (of flat_share the error)
    ridge_hz : float64, shape (GRID,), the ridge at even steps of the span
    """
    begin, duration = shape.begin_s, max(shape.end_s - shape.begin_s, 1e-6)
    values, errors = np.full(len(NAMES), np.nan), np.full(len(NAMES), np.nan)
    time = begin + duration * np.linspace(0.0, 1.0, GRID)
    ridge, slope = _courses(begin, duration, GRID, shape.knots, shape.turns)
    high, low = np.argmax(ridge), np.argmin(ridge)
    fifth = (GRID - 1) // 5
    values[0] = duration
    values[1] = ridge[0]
    values[2] = ridge[-1]
    values[3] = ridge[high]
    values[4] = ridge[low]
    values[5] = ridge[high] - ridge[low]
    values[6] = (ridge[-1] - ridge[0]) / duration
    values[7] = (ridge[fifth] - ridge[0]) / (duration / 5)
    values[8] = 100.0 * np.mean(np.abs(slope) < FLAT_HZ_PER_S)
    values[9:] = _jumping(ridge, slope, duration)

    first, last = shape.begin_error_s, shape.end_error_s
    early = _carried(shape, shape.sure_first_s, begin - shape.sure_first_s)
    late = _carried(shape, shape.sure_last_s, shape.end_s - shape.sure_last_s)
    errors[0] = np.sqrt(first**2 + last**2)
    errors[1] = np.hypot(_error(shape, time[0], 1.0, time[0], 0.0, slope[0] * first, 0.0), early)
    errors[2] = np.hypot(_error(shape, time[-1], 1.0, time[0], 0.0, 0.0, slope[-1] * last), late)
    for which, at in ((3, high), (4, low)):
        errors[which] = _error(shape, time[at], 1.0, time[0], 0.0, *_moved(at, slope, first, last))
        if 0 < at < GRID - 1:
            errors[which] *= OF_MANY
        else:
            errors[which] = np.hypot(errors[which], early if at == 0 else late)
    high_first, high_last = _moved(high, slope, first, last)
    low_first, low_last = _moved(low, slope, first, last)
    errors[5] = _error(shape, time[high], 1.0, time[low], -1.0, high_first - low_first, high_last - low_last)
    errors[6] = _error(
        shape,
        time[-1],
        1 / duration,
        time[0],
        -1 / duration,
        (values[6] - slope[0]) / duration * first,
        (slope[-1] - values[6]) / duration * last,
    )
    errors[7] = _error(
        shape,
        time[fifth],
        5 / duration,
        time[0],
        -5 / duration,
        ((0.8 * slope[fifth] - slope[0]) * 5 + values[7]) / duration * first,
        (slope[fifth] - values[7]) / duration * last,
    )
    errors[5] = np.sqrt(errors[5] ** 2 + early**2 + late**2)
    errors[6] = np.sqrt(errors[6] ** 2 + (early**2 + late**2) / duration**2)
    errors[7] = np.hypot(errors[7], early * 5 / duration)
    errors[9:] = _drawn_errors(shape, begin, duration)
    if errors[9] > JUMPING_SHARE * max(values[5], JUMPING_LEAST_HZ):
        # no stretch is flatter than the others: there is no characteristic frequency
        values[9:12] = np.nan
    if values[13] == values[13]:
        # a bend is seen no finer than the knots lie
        at = begin + values[13]
        place = piece_of(at, shape.knots) + DEGREE
        resolved = KNEE_RESOLUTION * (shape.knots[place + 1] - shape.knots[place])
        errors[12] = np.hypot(errors[12], resolved * polynomial_at(at, shape.knots, shape.turns, 2))
        errors[13] = np.hypot(errors[13], resolved)
    return values, errors, ridge


@compiled
def _carried(shape, from_s, by_s):
    """What a ridge may be off that is carried on by ``by_s`` beyond ``from_s``, the last instant it was read at (else 0):
    its slope may go on to change as it did over as long a stretch before."""
    outward = by_s if abs(by_s) > 0.0 else 0.0
    if (outward < 0.0) != (from_s < 0.5 * (shape.begin_s + shape.end_s)):
        return 0.0
    slope = polynomial_at(from_s, shape.knots, shape.turns, 2)
    before = polynomial_at(from_s - 2 * outward, shape.knots, shape.turns, 2)
    return abs(slope - before) * abs(outward)


@compiled
def _courses(begin_s, duration_s, count, knots, turns):
    """Ridge and slope at ``count`` even instants of a span."""
    step_s = duration_s / (count - 1)
    return (
        polynomials_along(begin_s, step_s, count, knots, turns, 1),
        polynomials_along(begin_s, step_s, count, knots, turns, 2),
    )


@compiled
def _moved(at, slope, first, last):
    """What the errors of the span's ends do to a frequency at place ``at``: something at the ends alone."""
    return (slope[0] * first if at == 0 else 0.0), (slope[-1] * last if at == GRID - 1 else 0.0)


@compiled
def _error(shape, time, factor, other_time, other_factor, by_first, by_last):
    """Standard error of factor * ridge(time) + other_factor * ridge(other_time), the ends' own shares added."""
    wanted = np.zeros(len(shape.root))
    row = np.empty(5)
    for at, times in ((time, factor), (other_time, other_factor)):
        if times != 0.0:
            piece = basis_at(at, shape.knots, 1, row)
            for a in range(5):
                wanted[piece + a] += times * row[a]
    return np.sqrt(length_of(solve_forward(shape.root, wanted)) ** 2 + by_first**2 + by_last**2)


@compiled
def _drawn_errors(shape, begin, duration):
    """Scatter of the metrics that may jump, over draws of the ridge and of the ends."""
    share = np.linspace(0.0, 1.0, DRAWN_GRID)
    k, bases = len(shape.root), bases_of(shape.knots)
    centre_ridge, centre_slope = _courses(begin, duration, DRAWN_GRID, shape.knots, shape.turns)
    centre = _jumping(centre_ridge, centre_slope, duration)
    squares, counts = np.zeros(_DRAWN), np.zeros(_DRAWN)
    ridge, slope = np.empty(DRAWN_GRID), np.empty(DRAWN_GRID)
    for pair in range(PAIRS):
        wobble = polynomials(bases, solve_back(shape.root, WIDER * _NORMAL[pair, :k]))
        change, bend = _courses(begin, duration, DRAWN_GRID, shape.knots, wobble)
        for sign in (1.0, -1.0):
            first = sign * _NORMAL[pair, 126] * shape.begin_error_s
            last = sign * _NORMAL[pair, 127] * shape.end_error_s
            for i in range(DRAWN_GRID):
                # moving the ends: the ridge keeps its course in time
                stretch = first * (1 - share[i]) + last * share[i]
                ridge[i] = centre_ridge[i] + sign * change[i] + centre_slope[i] * stretch
                slope[i] = centre_slope[i] + sign * bend[i]
            drawn = _jumping(ridge, slope, max(duration + last - first, 1e-6))
            for j in range(_DRAWN):
                if not np.isnan(drawn[j]):
                    squares[j] += (drawn[j] - centre[j]) ** 2
                    counts[j] += 1
    return np.sqrt(squares / counts)


@compiled
def _jumping(ridge, slope, duration):
    """Characteristic frequency and slope, tail, knee frequency and knee time of a ridge on an even grid."""
    out = np.full(_DRAWN, np.nan)
    n = len(ridge)
    step = duration / (n - 1)
    width = min(max(FLATTEST_SHARE, FLATTEST_LEAST_S / duration), 1.0) * (n - 1)
    travelled = np.zeros(n)
    for i in range(1, n):
        travelled[i] = travelled[i - 1] + 0.5 * abs(slope[i] + slope[i - 1]) * step
    best, late = np.inf, n - 1
    for i in range(int(np.ceil(width - 1e-9)), n):
        covered = travelled[i] - _between(travelled, max(i - width, 0.0))
        if covered <= best:  # of equals the latest
            best, late = covered, i
    early = _between(ridge, max(late - width, 0.0))
    out[0] = ridge[late]
    out[1] = (ridge[late] - early) / (width * step)
    out[2] = ridge[-1] - ridge[late]
    out[3], out[4] = _knee(ridge, slope, step, max(int(np.ceil(width)), 1))
    return out


@compiled
def _between(curve, position):
    """Linear interpolation at a fractional index."""
    left = min(int(position), len(curve) - 2)
    return curve[left] + (curve[left + 1] - curve[left]) * (position - left)


@compiled
def _knee(ridge, slope, step, need):
    """Ridge and time of the greatest curvature between a steep start and the first flat stretch; NaN without one.

    Curvature is that of the ridge drawn with 1 kHz as long as 1 ms: |f''| / (1 + f'^2)^1.5.
    """
    n = len(ridge)
    gentle = slope / FLAT_HZ_PER_S
    if abs(gentle[0]) < 1.0:
        return np.nan, np.nan
    start, run = 0, 0
    for i in range(n):
        if abs(gentle[i]) < 1.0:
            run += 1
        elif run > need:
            break
        else:
            start, run = i + 1, 0
    if run <= need:
        return np.nan, np.nan
    towards = -1.0 if gentle[0] > 0 else 1.0
    best, place = -1.0, 0
    for i in range(1, min(start + run // 2, n - 2) + 1):
        bend = (gentle[i + 1] - gentle[i - 1]) / (2 * step * 1e3)
        if towards * bend > 0:
            steepness = 1 + gentle[i] ** 2
            curvature = abs(bend) / (steepness * np.sqrt(steepness))
            if curvature > best:
                best, place = curvature, i
    return ridge[place], place * step
