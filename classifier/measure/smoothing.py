"""Smooth curves through noisy values: penalised splines with their covariance.

The weight of the penalty is chosen curve by curve. So a loud steep sweep keeps its bends and a faint flat call is
averaged along its length. The posterior covariance of the fit says how sure the curve is (intervals of a smoothing
spline, Nychka 1988; penalised splines, Eilers & Marx 1996). All matrices are banded, and are kept as their lower bands:
``band[i, d]`` stands for the entries (i + d, i) and (i, i + d).
"""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.spline import DEGREE, basis_at

#: The least and the greatest exponent of ten of the penalty, relative to the information in the values.
_LEAST, _GREATEST = -10, 5
#: Where the search for it begins when nothing is known: the risk may have two hollows, one of a curve with a bend and one of
#: a curve without.
EVERYWHERE = np.array([-8, -5, -2, 3])
#: Polynomials of one degree less than this are the simplest that a curve is taken for.
SIMPLEST = 2


@compiled
def roughness(knots, order):
    """Band of the penalty: squares of the spline's derivative of an order in units of its own knots.

    Its null space, what costs nothing, are polynomials of a degree less: of a phase and order 4, ridges whose slope changes
    evenly.
    """
    k = len(knots) - DEGREE - 1
    band = np.zeros((k, DEGREE + 1))
    rows = np.zeros((k, order + 1))
    rows[:, 0] = 1.0
    count = k
    for taken in range(order):
        degree = DEGREE - taken
        count -= 1
        for r in range(count):
            scale = degree / (knots[r + 1 + taken + degree] - knots[r + 1 + taken])
            for c in range(order, -1, -1):
                ahead = rows[r + 1, c - 1] if c > 0 else 0.0
                rows[r, c] = scale * (ahead - rows[r, c])
    for r in range(count):
        spacing = (knots[r + DEGREE] - knots[r + DEGREE - 1]) ** order
        for a in range(order + 1):
            for b in range(a, order + 1):
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
    share = np.empty(DEGREE + 1)
    for j in range(k - 1, -1, -1):
        reach = min(DEGREE, k - 1 - j)
        own = 1.0 / root[j, 0]
        for d in range(1, reach + 1):
            share[d] = root[j, d] * own
        for d in range(reach, -1, -1):
            total = own * own if d == 0 else 0.0
            for m in range(1, reach + 1):
                total -= share[m] * inverse[j + min(d, m), abs(d - m)]
            inverse[j, d] = total
    out = 0.0
    for j in range(k):
        out += inverse[j, 0] * information[j, 0]
        for d in range(1, min(DEGREE + 1, k - j)):
            out += 2.0 * inverse[j, d] * information[j, d]
    return out


@compiled
def fit(rows, pieces, values, weights, knots, order, price, begins):
    """Fit a penalised spline.

    Of the penalties, the one of least risk is taken: misfit + price * freedom, for the noise is known. At a price of 2 that
    is Mallows' criterion, which leaves too much freedom one time in six.

    Parameters
    ----------
    rows, pieces : from ``basis_rows``, n instants
    values : float64, shape (n,)
    weights : float64, shape (n,), 1 / variance of each value; 0 where it is not to be used
    knots : float64, shape (k + DEGREE + 1,)
    order : int, of the derivative that is penalised
    price : float, what a parameter costs, in units of the noise
    begins : int array, exponents of the penalty; from the best of them the best of all is searched for, downhill

    Returns
    -------
    coefficients : float64, shape (k,)
    root : float64, shape (k, DEGREE + 1), band of the Cholesky factor of the posterior's precision
    spent : float, the fit's freedom
    exponent : int, of the penalty
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
    penalty = roughness(knots, order)
    exponent = begins[0]
    coefficients, root, spent, best = _penalised(information, moment, penalty, scale, price, exponent)
    for here in begins[1:]:
        c, this_root, free, risk = _penalised(information, moment, penalty, scale, price, here)
        if risk < best:
            coefficients, root, spent, best, exponent = c, this_root, free, risk, here
    middle = exponent
    for step in (1, -1):
        here = exponent + step
        while exponent + step == here and _LEAST <= here <= _GREATEST:
            c, this_root, free, risk = _penalised(information, moment, penalty, scale, price, here)
            if risk < best:
                coefficients, root, spent, best, exponent = c, this_root, free, risk, here
            here += step
        if exponent != middle:
            break
    # nearly a polynomial: one of less degree may do. How sure it is stays what it was, for the others were possible too.
    for lower in range(order - 1, SIMPLEST - 1, -1):
        if spent > order + 1:
            break
        c, _, _, risk = _penalised(information, moment, roughness(knots, lower), scale, price, _GREATEST)
        if risk < best:
            coefficients, best = c, risk
    return coefficients + centre, root, spent, exponent


@compiled
def _penalised(information, moment, penalty, scale, price, exponent):
    """One fit: (coefficients, root, freedom, risk)."""
    k = len(moment)
    system = information + 10.0**exponent * scale * penalty
    system[:, 0] += 1e-11 * scale
    root = cholesky(system)
    c = solve_back(root, solve_forward(root, moment))
    free = freedom(root, information)
    risk = price * free
    for j in range(k):
        risk += c[j] * (c[j] * information[j, 0] - 2.0 * moment[j])
        for d in range(1, min(DEGREE + 1, k - j)):
            risk += 2.0 * c[j] * c[j + d] * information[j, d]
    return c, root, free, risk


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
