"""Splines: their basis, their pieces as polynomials, and where their knots lie.

Phase and amplitude of a demodulated pulse are splines (``smoothing`` fits them).
"""

import numpy as np

from classifier.compiled import compiled

#: Degree of the splines: the second derivative of a phase, the slope, is then still a smooth curve.
DEGREE = 4


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
def bases_of(knots):
    """The B-splines alive on each piece as polynomials of the time since the piece's first knot.

    Returns
    -------
    float64, shape (pieces, DEGREE + 1, DEGREE + 1): piece, power (lowest first), spline
    """
    out = np.zeros((len(knots) - 2 * DEGREE - 1, DEGREE + 1, DEGREE + 1))
    part = np.empty(DEGREE + 1)
    for piece in range(len(out)):
        here = out[piece]
        at = piece + DEGREE
        start = knots[at]
        here[0, 0] = 1.0
        for degree in range(1, DEGREE + 1):
            for i in range(degree - 1, -1, -1):
                left, right = knots[at + i + 1 - degree], knots[at + i + 1]
                for power in range(DEGREE + 1):
                    part[power] = here[power, i] / (right - left)
                for power in range(DEGREE + 1):
                    lower = part[power - 1] if power else 0.0
                    here[power, i + 1] += (start - left) * part[power] + lower
                    here[power, i] = (right - start) * part[power] - lower
    return out


@compiled
def basis_rows(first_s, step_s, count, knots, bases):
    """The B-splines alive at ``count`` even instants: (count, DEGREE + 1), and the number of the first of each."""
    rows = np.empty((count, DEGREE + 1))
    pieces = np.empty(count, np.int64)
    begin = 0
    for piece in range(len(bases)):
        end = _end_of_piece(piece, begin, first_s, step_s, count, knots)
        c, start = bases[piece], knots[piece + DEGREE]
        for i in range(begin, end):
            t = first_s + i * step_s - start
            pieces[i] = piece
            for a in range(DEGREE + 1):
                rows[i, a] = c[0, a] + t * (c[1, a] + t * (c[2, a] + t * (c[3, a] + t * c[4, a])))
        begin = end
    return rows, pieces


@compiled
def _end_of_piece(piece, begin, first_s, step_s, count, knots):
    """The first of ``count`` even instants that lies beyond a piece; what lies beyond the last one belongs to it."""
    if piece == len(knots) - 2 * DEGREE - 2:
        return count
    ahead = knots[piece + DEGREE + 1]
    end = min(max(int((ahead - first_s) / step_s), begin), count)
    while end < count and first_s + end * step_s < ahead:
        end += 1
    while end > begin and first_s + (end - 1) * step_s >= ahead:
        end -= 1
    return end


@compiled
def polynomials(bases, coefficients):
    """A spline's pieces as polynomials of the time since the piece's first knot: (pieces, DEGREE + 1), lowest power first.

    Made once, they are many times faster to evaluate than the basis.

    Parameters
    ----------
    bases : from ``bases_of``
    coefficients : float64, shape (k,)
    """
    out = np.zeros((len(bases), DEGREE + 1))
    for piece in range(len(bases)):
        for power in range(DEGREE + 1):
            for a in range(DEGREE + 1):
                out[piece, power] += bases[piece, power, a] * coefficients[piece + a]
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
def polynomials_along(first_s, step_s, count, knots, pieces, derivative):
    """``polynomial_at`` at ``count`` even instants: float64, shape (count,)."""
    out = np.empty(count)
    begin = 0
    for piece in range(len(pieces)):
        end = _end_of_piece(piece, begin, first_s, step_s, count, knots)
        since = first_s - knots[piece + DEGREE]
        c = pieces[piece]
        if derivative == 0:
            for i in range(begin, end):
                t = since + i * step_s
                out[i] = c[0] + t * (c[1] + t * (c[2] + t * (c[3] + t * c[4])))
        elif derivative == 1:
            for i in range(begin, end):
                t = since + i * step_s
                out[i] = c[1] + t * (2 * c[2] + t * (3 * c[3] + t * 4 * c[4]))
        else:
            for i in range(begin, end):
                t = since + i * step_s
                out[i] = 2 * c[2] + t * (6 * c[3] + t * 12 * c[4])
        begin = end
    return out


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
