"""A smooth curve through the phase of each pulse: the ridge with its covariance.

The phase of a demodulated pulse, put back on the phase of its ridge, is fitted by a penalised spline. Its knots lie
close together where the sweep is steep and far apart where it is flat; the weight of the penalty is chosen pulse by
pulse. So a loud steep sweep keeps its bends and a faint flat call is averaged along its length. Frequency and slope
are the spline's derivatives; the posterior covariance of the fit says how sure they are (intervals of a smoothing
spline, Nychka 1988; penalised splines, Eilers & Marx 1996).
"""

from dataclasses import dataclass

import numpy as np

#: Degree of the phase spline: its second derivative, the slope, is then still a smooth curve.
DEGREE = 4
#: Spacing of knots: KNOT_S at a slope of KNOT_SLOPE, going with the root of the slope, within bounds.
KNOT_S = 1.2e-3
KNOT_SLOPE_HZ_PER_S = 1e6
CLOSEST_KNOTS_S, WIDEST_KNOTS_S = 0.3e-3, 3.5e-3
FEWEST_PIECES, MOST_PIECES = 5, 40
#: Penalties tried, relative to the information in the phase.
PENALTIES = 10.0 ** np.array([-9.0, -7.0, -5.0, -3.0, -1.0])


@dataclass
class PhaseFit:
    """Phase splines of a batch.

    coefficients : float64, shape (n_pulses, k)
    root : float64, shape (n_pulses, k, k); root @ root.T is the posterior covariance of the coefficients
    knots : float64, shape (n_pulses, k + DEGREE + 1), seconds on the clock of the pulse's row
    """

    coefficients: np.ndarray
    root: np.ndarray
    knots: np.ndarray

    def basis(self, time_s, derivative):
        """Rows that turn coefficients into the ``derivative``-th derivative of phase, in turns / s^derivative.

        time_s : float64, shape (n_pulses, n); outside the knots the end pieces are carried on
        Returns float64, shape (n_pulses, n, k)
        """
        return basis_rows(time_s, self.knots, derivative)

    def frequency_hz(self, time_s):
        """Ridge at given instants, shape (n_pulses, n)."""
        return np.matmul(self.basis(time_s, 1), self.coefficients[:, :, None])[:, :, 0]


def place_knots(slope_hz_per_s, begin, end, rate_hz):
    """Knots of each pulse between samples ``begin`` and ``end``, with DEGREE more beyond either end.

    Parameters
    ----------
    slope_hz_per_s : float64, shape (m, n), a first idea of the slope
    begin, end : int, shape (m,)

    Returns
    -------
    float64, shape (m, pieces + 2 DEGREE + 1), seconds; all rows have as many pieces as the row that needs most
    """
    m, n = slope_hz_per_s.shape
    spacing = KNOT_S * np.sqrt(KNOT_SLOPE_HZ_PER_S / np.maximum(np.abs(slope_hz_per_s), 1.0))
    dense = 1.0 / np.clip(spacing, CLOSEST_KNOTS_S, WIDEST_KNOTS_S)
    index = np.arange(n)
    inside = (index >= begin[:, None]) & (index < end[:, None])
    # knots may not jump from close to wide within a piece: let density fade over half a millisecond
    reach = max(1, round(0.4e-3 * rate_hz))
    spread = dense.copy()
    for shift in (reach, 2 * reach):
        spread[:, shift:] = np.maximum(spread[:, shift:], 0.5 * dense[:, :-shift])
        spread[:, :-shift] = np.maximum(spread[:, :-shift], 0.5 * dense[:, shift:])
    passed = np.cumsum(np.where(inside, spread, 0.0), axis=1) / rate_hz
    pieces = int(np.clip(np.ceil(passed[:, -1].max()), FEWEST_PIECES, MOST_PIECES))
    knots = np.empty((m, pieces + 2 * DEGREE + 1))
    for row in range(m):
        part = slice(begin[row], end[row])
        wanted = np.linspace(0, passed[row, -1], pieces + 1)
        at = np.arange(begin[row], end[row] + 1) / rate_hz
        inner = np.interp(wanted, np.concatenate([[0.0], passed[row, part]]), at)
        first, last = inner[1] - inner[0], inner[-1] - inner[-2]
        knots[row, DEGREE:-DEGREE] = inner
        knots[row, :DEGREE] = inner[0] - first * np.arange(DEGREE, 0, -1)
        knots[row, -DEGREE:] = inner[-1] + last * np.arange(1, DEGREE + 1)
    return knots


def basis_rows(time_s, knots, derivative):
    """B-splines of DEGREE over ``knots``, or their derivative, at times of shape (m, n): (m, n, k).

    The Cox-de Boor recursion, for all rows at once, of the splines alive in each time's piece.
    """
    m, n = time_s.shape
    k = knots.shape[1] - DEGREE - 1
    inner = knots[:, DEGREE + 1 : -DEGREE - 1]
    piece = np.zeros((m, n), int)
    for j in range(inner.shape[1]):
        piece += time_s >= inner[:, j, None]
    rows = np.arange(m)[:, None]
    # near[d] is the knot d places from the left end of the piece
    near = {d: knots[rows, piece + DEGREE + d] for d in range(1 - DEGREE, DEGREE + 1)}
    alive = [np.ones((m, n))]
    for degree in range(1, DEGREE - derivative + 1):
        raised = [0.0] * (degree + 1)
        for i, value in enumerate(alive):
            left, right = near[i + 1 - degree], near[i + 1]
            part = value / (right - left)
            raised[i] = raised[i] + (right - time_s) * part
            raised[i + 1] = raised[i + 1] + (time_s - left) * part
        alive = raised
    for degree in range(DEGREE - derivative + 1, DEGREE + 1):
        raised = [0.0] * (degree + 1)
        for i, value in enumerate(alive):
            part = degree * value / (near[i + 1] - near[i + 1 - degree])
            raised[i] = raised[i] - part
            raised[i + 1] = raised[i + 1] + part
        alive = raised
    out = np.zeros((m, n, k))
    np.put_along_axis(out, piece[..., None] + np.arange(DEGREE + 1), np.stack(alive, axis=-1), axis=-1)
    return out


def fit_phase(turns, weight, knots, *, rate_hz):
    """Fit penalised splines to phases.

    Parameters
    ----------
    turns : float64, shape (m, n), phase in turns, unwrapped
    weight : float64, same shape, 1 / variance of each phase in turns^2; 0 where it is not to be used
    knots : float64, shape (m, k + DEGREE + 1), from place_knots
    rate_hz : float, samples a second along a row

    Returns
    -------
    PhaseFit
    """
    time = np.broadcast_to(np.arange(turns.shape[1]) / rate_hz, turns.shape)
    rows = basis_rows(np.clip(time, knots[:, DEGREE, None], knots[:, -DEGREE - 1, None]), knots, 0)
    weighted = (rows * weight[:, :, None]).transpose(0, 2, 1)
    # taking the middle value off keeps large numbers of turns from eating digits
    centre = turns[:, turns.shape[1] // 2][:, None]
    information = np.matmul(weighted, rows)
    moment = np.matmul(weighted, (turns - centre)[:, :, None])[:, :, 0]
    penalty = _penalty(knots)
    k = rows.shape[2]
    scale = np.maximum(np.trace(information, axis1=1, axis2=2) / k, 1e-6)
    total = np.sum(weight * (turns - centre) ** 2, axis=1)
    best = np.full(len(turns), np.inf)
    chosen = np.zeros((len(turns), k, k))
    for value in PENALTIES:
        system = information + (value * scale)[:, None, None] * penalty
        system += (1e-13 * scale)[:, None, None] * np.eye(k)
        both = np.linalg.solve(system, np.concatenate([moment[:, :, None], information], axis=2))
        c = both[:, :, 0]
        free = np.trace(both[:, :, 1:], axis1=1, axis2=2)
        misfit = total - 2 * np.sum(c * moment, axis=1) + np.einsum("mi,mij,mj->m", c, information, c)
        # Mallows: the noise is known, so misfit + 2 * freedom estimates the risk
        risk = misfit + 2.0 * free
        better = risk < best
        best[better] = risk[better]
        chosen[better] = system[better]
    inverse_factor = np.linalg.inv(np.linalg.cholesky(chosen))
    root = inverse_factor.transpose(0, 2, 1)
    c = np.matmul(root, np.matmul(inverse_factor, moment[:, :, None]))[:, :, 0]
    return PhaseFit(coefficients=c + centre, root=root, knots=knots)


def _penalty(knots):
    """Squares of the spline's third derivative (bends of the ridge), in units of its own knots: (m, k, k)."""
    m, k = len(knots), knots.shape[1] - DEGREE - 1
    derive = np.broadcast_to(np.eye(k), (m, k, k)).copy()
    for degree in range(DEGREE, DEGREE - 3, -1):
        taken = DEGREE - degree
        reach = knots[:, 1 + taken + degree : 1 + taken + degree + derive.shape[1] - 1] - knots[
            :, 1 + taken : 1 + taken + derive.shape[1] - 1
        ]
        derive = np.diff(derive, axis=1) * (degree / reach)[:, :, None]
    spacing = np.diff(knots, axis=1)[:, 3 : 3 + derive.shape[1]]
    derive *= spacing[:, :, None] ** 3
    return np.matmul(derive.transpose(0, 2, 1), derive)
