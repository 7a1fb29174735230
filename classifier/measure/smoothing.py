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
#: Polynomials of one degree less than this are the simplest that a curve is taken for; and what a parameter more must save of
#: the misfit, in units of the noise, or the simpler one is taken.
SIMPLEST, PRICE = 2, 3.0


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
def fit(rows, pieces, values, weights, knots, order, begin):
    """Fit a penalised spline.

    The penalty is the one under which the values are likeliest (restricted maximum likelihood, Patterson & Thompson 1971; of
    smoothing splines Wahba 1985; from memory), for the noise is known.

    Parameters
    ----------
    rows, pieces : from ``basis_rows``, n instants
    values : float64, shape (n,)
    weights : float64, shape (n,), 1 / variance of each value; 0 where it is not to be used
    knots : float64, shape (k + DEGREE + 1,)
    order : int, of the derivative that is penalised
    begin : int, exponent of the penalty from which the best is searched for, downhill

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
    exponent = begin
    coefficients, root, least = _penalised(information, moment, penalty, order, scale, exponent)
    for step in (1, -1):
        here = exponent + step
        while exponent + step == here and _LEAST <= here <= _GREATEST:
            c, this_root, unlikely = _penalised(information, moment, penalty, order, scale, here)
            if unlikely < least:
                coefficients, root, least, exponent = c, this_root, unlikely, here
            here += step
        if exponent != begin:
            break
    spent = freedom(root, information)
    if spent <= order + 1:
        coefficients = _simplest(information, moment, coefficients, spent, knots, order, scale)
    return coefficients + centre, root, spent, exponent


@compiled
def _penalised(information, moment, penalty, order, scale, exponent):
    """One fit: (coefficients, root, minus twice the logarithm of the values' likelihood but for a constant).

    Of coefficients whose roughness is as likely as exp(-weight * roughness / 2), their polynomial part left open.
    """
    k = len(moment)
    weight = 10.0**exponent * scale
    system = information + weight * penalty
    system[:, 0] += 1e-11 * scale
    root = cholesky(system)
    c = solve_back(root, solve_forward(root, moment))
    unlikely = -(k - order) * np.log(weight)
    for j in range(k):
        unlikely += 2.0 * np.log(root[j, 0]) - c[j] * moment[j]
    return c, root, unlikely


@compiled
def _simplest(information, moment, coefficients, spent, knots, order, scale):
    """Of a curve that is nearly a polynomial, one of less degree may do: the one of least misfit + PRICE * parameters.

    How sure the curve is stays what it was, for the others were possible too.
    """
    least = _misfit(information, moment, coefficients) + PRICE * spent
    for lower in range(order - 1, SIMPLEST - 1, -1):
        c, _, _ = _penalised(information, moment, roughness(knots, lower), lower, scale, _GREATEST)
        risk = _misfit(information, moment, c) + PRICE * lower
        if risk < least:
            coefficients, least = c, risk
    return coefficients


@compiled
def _misfit(information, moment, c):
    """Sum of the squares of what a curve misses, in units of the noise, but for a constant."""
    total = 0.0
    for j in range(len(c)):
        total += c[j] * (c[j] * information[j, 0] - 2.0 * moment[j])
        for d in range(1, min(DEGREE + 1, len(c) - j)):
            total += 2.0 * c[j] * c[j + d] * information[j, d]
    return total


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
