"""Smooth curves through what was measured of a pulse, with their covariance.

Phase and amplitude of a demodulated pulse are fitted by penalised splines; the weight of the penalty is chosen pulse
by pulse. So a loud steep sweep keeps its bends and a faint flat call is averaged along its length. The posterior
covariance of the fit says how sure the curve is (intervals of a smoothing spline, Nychka 1988; penalised splines,
Eilers & Marx 1996). All matrices are banded, and are kept as their lower bands: ``band[i, d]`` stands for the entries
(i + d, i) and (i, i + d).
"""

import numpy as np

from classifier.compiled import compiled

#: Degree of the splines: the second derivative of a phase, the slope, is then still a smooth curve.
DEGREE = 4
#: What a parameter costs, in units of the noise. Mallows' 2 leaves too much freedom one time in six; 3 hardly bends less.
PRICE = 3.0
#: Exponents of ten of the penalties tried, relative to the information in the values; then the best one's neighbours.
_EXPONENTS = (-10, -7, -4, -1, 2, 5)


@compiled
def basis_at(time_s, knots, derivative, out):
    """The DEGREE + 1 B-splines alive at an instant, or their derivative; returns the number of the first.

    The Cox-de Boor recursion. Outside the knots the end pieces are carried on.

    Parameters
    ----------
    knots : float64, shape (k + DEGREE + 1,), rising
    derivative : 0, 1 or 2
    out : float64, shape (DEGREE + 1,), filled
    """
    last = len(knots) - DEGREE - 2
    piece = np.searchsorted(knots[DEGREE + 1 : last + 1], time_s, side="right")
    at = piece + DEGREE
    out[0] = 1.0
    for degree in range(1, DEGREE + 1):
        out[degree] = 0.0
        taken = degree > DEGREE - derivative
        for i in range(degree - 1, -1, -1):
            left, right = knots[at + i + 1 - degree], knots[at + i + 1]
            part = out[i] / (right - left)
            if taken:
                out[i + 1] += degree * part
                out[i] = -degree * part
            else:
                out[i + 1] += (time_s - left) * part
                out[i] = (right - time_s) * part
    return piece


@compiled
def basis_rows(first_s, step_s, count, knots):
    """The B-splines alive at ``count`` even instants: (count, DEGREE + 1), and the number of the first of each."""
    rows = np.empty((count, DEGREE + 1))
    pieces = np.empty(count, np.int64)
    for i in range(count):
        pieces[i] = basis_at(first_s + i * step_s, knots, 0, rows[i])
    return rows, pieces


@compiled
def polynomials(knots, coefficients):
    """A spline's pieces as polynomials of the time since the piece's first knot: (pieces, DEGREE + 1), lowest power first.

    Made once, they are many times faster to evaluate than the basis.
    """
    pieces = len(knots) - 2 * DEGREE - 1
    out = np.empty((pieces, DEGREE + 1))
    below = np.empty(DEGREE + 1)
    for piece in range(pieces):
        at = piece + DEGREE
        start = knots[at]
        for a in range(DEGREE + 1):
            below[a] = coefficients[piece + a]
        factorial = 1.0
        for order in range(DEGREE + 1):
            # value at the knot of the order-th derivative, a spline of degree DEGREE - order (de Boor)
            degree = DEGREE - order
            work = below.copy()
            for level in range(1, degree + 1):
                for a in range(degree, level - 1, -1):
                    left = knots[piece + order + a]
                    right = knots[at + 1 + a - level]
                    share = (start - left) / (right - left)
                    work[a] = (1 - share) * work[a - 1] + share * work[a]
            out[piece, order] = work[degree] / factorial
            factorial *= order + 1
            for a in range(degree):
                left, right = knots[piece + order + a + 1], knots[at + 1 + a]
                below[a] = degree * (below[a + 1] - below[a]) / (right - left)
    return out


@compiled
def piece_of(time_s, knots):
    """Number of the polynomial piece that an instant falls into; the end pieces reach on without end."""
    return np.searchsorted(knots[DEGREE + 1 : len(knots) - DEGREE - 1], time_s, side="right")


@compiled
def polynomial_at(time_s, knots, pieces, derivative):
    """Value, or derivative up to the second, of a spline given by its polynomials."""
    place = piece_of(time_s, knots)
    t = time_s - knots[place + DEGREE]
    c = pieces[place]
    if derivative == 0:
        return c[0] + t * (c[1] + t * (c[2] + t * (c[3] + t * c[4])))
    if derivative == 1:
        return c[1] + t * (2 * c[2] + t * (3 * c[3] + t * 4 * c[4]))
    return 2 * c[2] + t * (6 * c[3] + t * 12 * c[4])


@compiled
def knots_along(passed, first_s, step_s, pieces):
    """Knots that divide an accumulated density evenly, with DEGREE more beyond either end.

    Parameters
    ----------
    passed : float64, shape (n,), rising from 0, at instants ``first_s + step_s * i``
    pieces : int >= 2

    Returns
    -------
    float64, shape (pieces + 2 DEGREE + 1,), seconds
    """
    n = len(passed)
    knots = np.empty(pieces + 2 * DEGREE + 1)
    place = 0
    for i in range(pieces + 1):
        wanted = passed[n - 1] * i / pieces
        while place < n - 2 and passed[place + 1] < wanted:
            place += 1
        part = (wanted - passed[place]) / max(passed[place + 1] - passed[place], 1e-12)
        knots[DEGREE + i] = first_s + step_s * (place + min(max(part, 0.0), 1.0))
    knots[DEGREE], knots[DEGREE + pieces] = first_s, first_s + step_s * (n - 1)
    early = knots[DEGREE + 1] - knots[DEGREE]
    late = knots[DEGREE + pieces] - knots[DEGREE + pieces - 1]
    for i in range(DEGREE):
        knots[i] = knots[DEGREE] - early * (DEGREE - i)
        knots[DEGREE + pieces + 1 + i] = knots[DEGREE + pieces] + late * (i + 1)
    return knots


@compiled
def roughness(knots):
    """Band of the penalty: squares of the spline's third derivative in units of its own knots.

    Its null space, what costs nothing, are parabolas: of a phase, ridges of one slope.
    """
    k = len(knots) - DEGREE - 1
    band = np.zeros((k, DEGREE + 1))
    rows = np.zeros((k, 4))
    rows[:, 0] = 1.0
    count = k
    for taken in range(3):
        degree = DEGREE - taken
        count -= 1
        for r in range(count):
            scale = degree / (knots[r + 1 + taken + degree] - knots[r + 1 + taken])
            for c in range(3, -1, -1):
                ahead = rows[r + 1, c - 1] if c > 0 else 0.0
                rows[r, c] = scale * (ahead - rows[r, c])
    for r in range(count):
        spacing = (knots[r + DEGREE] - knots[r + DEGREE - 1]) ** 3
        for a in range(4):
            for b in range(a, 4):
                band[r + a, b - a] += spacing**2 * rows[r, a] * rows[r, b]
    return band


@compiled
def cholesky(band):
    """Band of the lower triangular L with L L^T = the positive definite matrix of ``band``."""
    k = len(band)
    out = np.zeros_like(band)
    for j in range(k):
        for d in range(min(DEGREE + 1, k - j)):
            total = band[j, d]
            for m in range(max(0, j + d - DEGREE), j):
                total -= out[m, j + d - m] * out[m, j - m]
            if d == 0:
                out[j, 0] = np.sqrt(max(total, 1e-300))
            else:
                out[j, d] = total / out[j, 0]
    return out


@compiled
def solve_forward(root, values):
    """x with L x = values; its squared length is the variance of values . coefficients."""
    out = values.copy()
    for i in range(len(out)):
        for m in range(max(0, i - DEGREE), i):
            out[i] -= root[m, i - m] * out[m]
        out[i] /= root[i, 0]
    return out


@compiled
def solve_back(root, values):
    """x with L^T x = values; of a standard normal vector, a draw of the coefficients about their mean."""
    k = len(values)
    out = values.copy()
    for i in range(k - 1, -1, -1):
        for d in range(1, min(DEGREE + 1, k - i)):
            out[i] -= root[i, d] * out[i + d]
        out[i] /= root[i, 0]
    return out


@compiled
def freedom(root, information):
    """Trace of (L L^T)^-1 information: how many parameters the fit spends (Takahashi's selected inverse)."""
    k = len(root)
    inverse = np.zeros_like(root)
    for j in range(k - 1, -1, -1):
        reach = min(DEGREE, k - 1 - j)
        for d in range(reach, -1, -1):
            total = 1.0 / root[j, 0] ** 2 if d == 0 else 0.0
            i = j + d
            for m in range(j + 1, j + reach + 1):
                low, high = min(i, m), max(i, m)
                total -= root[j, m - j] / root[j, 0] * inverse[low, high - low]
            inverse[j, d] = total
    out = 0.0
    for j in range(k):
        out += inverse[j, 0] * information[j, 0]
        for d in range(1, min(DEGREE + 1, k - j)):
            out += 2.0 * inverse[j, d] * information[j, d]
    return out


@compiled
def fit(rows, pieces, values, weights, knots):
    """Fit a penalised spline.

    Of the penalties, the one of least risk is taken: misfit + PRICE * freedom, for the noise is known (Mallows' criterion
    with a dearer parameter).

    Parameters
    ----------
    rows, pieces : from ``basis_rows``, n instants
    values : float64, shape (n,)
    weights : float64, shape (n,), 1 / variance of each value; 0 where it is not to be used
    knots : float64, shape (k + DEGREE + 1,)

    Returns
    -------
    coefficients : float64, shape (k,)
    root : float64, shape (k, DEGREE + 1), band of the Cholesky factor of the posterior's precision
    spent : float, the fit's freedom
    """
    k = len(knots) - DEGREE - 1
    information = np.zeros((k, DEGREE + 1))
    moment = np.zeros(k)
    # taking the middle value off keeps large numbers of turns from eating digits
    centre = values[len(values) // 2]
    for i in range(len(values)):
        if weights[i] <= 0.0:
            continue
        for a in range(DEGREE + 1):
            weighted = weights[i] * rows[i, a]
            moment[pieces[i] + a] += weighted * (values[i] - centre)
            for b in range(a, DEGREE + 1):
                information[pieces[i] + a, b - a] += weighted * rows[i, b]
    scale = max(information[:, 0].sum() / k, 1e-12)
    penalty = roughness(knots)
    best, middle = np.inf, 0
    coefficients, root, spent = np.zeros(k), np.zeros((k, DEGREE + 1)), 0.0
    for attempt in range(len(_EXPONENTS) + 2):
        if attempt < len(_EXPONENTS):
            exponent = _EXPONENTS[attempt]
        else:
            exponent = middle + (1 if attempt == len(_EXPONENTS) else -1)
        system = information + 10.0**exponent * scale * penalty
        system[:, 0] += 1e-11 * scale
        this_root = cholesky(system)
        c = solve_back(this_root, solve_forward(this_root, moment))
        free = freedom(this_root, information)
        risk = PRICE * free
        for j in range(k):
            risk += c[j] * (c[j] * information[j, 0] - 2.0 * moment[j])
            for d in range(1, min(DEGREE + 1, k - j)):
                risk += 2.0 * c[j] * c[j + d] * information[j, d]
        if risk < best:
            best = risk
            coefficients, root, spent = c, this_root, free
            if attempt < len(_EXPONENTS):
                middle = exponent
    return coefficients + centre, root, spent


@compiled
def deviation_at(time_s, knots, root, derivative):
    """Standard deviation of the spline, or of its derivative, at an instant."""
    row = np.empty(DEGREE + 1)
    piece = basis_at(time_s, knots, derivative, row)
    wanted = np.zeros(len(root))
    wanted[piece : piece + DEGREE + 1] = row
    return length_of(solve_forward(root, wanted))


@compiled
def length_of(values):
    """Root of the sum of squares."""
    total = 0.0
    for value in values:
        total += value * value
    return np.sqrt(total)
