"""Splines against scipy's B-splines, and where their knots lie."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from classifier.measure.spline import (
    DEGREE,
    bases_of,
    basis_at,
    basis_rows,
    knots_along,
    polynomial_at,
    polynomials,
    polynomials_along,
)

RATE = 32_000.0


def _knots(rng, pieces=7):
    return np.sort(rng.random(pieces + 2 * DEGREE + 1))


@pytest.mark.parametrize("derivative", [0, 1, 2])
def test_basis_agrees_with_scipy(derivative):
    rng = np.random.default_rng(0)
    knots = _knots(rng)
    count = len(knots) - DEGREE - 1
    row = np.empty(DEGREE + 1)
    for time in rng.uniform(knots[DEGREE], knots[-DEGREE - 1], 40):
        own = np.zeros(count)
        first = basis_at(time, knots, derivative, row)
        own[first : first + DEGREE + 1] = row
        splines = [BSpline(knots, np.eye(count)[i], DEGREE) for i in range(count)]
        expected = [spline.derivative(derivative)(time) if derivative else spline(time) for spline in splines]
        np.testing.assert_allclose(own, expected, atol=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize("derivative", [0, 1, 2])
def test_polynomial_pieces_agree_with_scipy(derivative):
    rng = np.random.default_rng(1)
    knots = _knots(rng)
    coefficients = rng.standard_normal(len(knots) - DEGREE - 1)
    pieces = polynomials(bases_of(knots), coefficients)
    spline = BSpline(knots, coefficients, DEGREE)
    time = rng.uniform(knots[DEGREE], knots[-DEGREE - 1], 40)
    expected = spline.derivative(derivative)(time) if derivative else spline(time)
    own = [polynomial_at(each, knots, pieces, derivative) for each in time]
    np.testing.assert_allclose(own, expected, atol=1e-9 * np.abs(expected).max())


def test_knots_follow_the_density_and_end_at_the_ends():
    passed = np.cumsum(np.where(np.arange(200) < 50, 4.0, 1.0))
    knots = knots_along(passed - passed[0], 0.002, 1 / RATE, 10)
    spacing = np.diff(knots[DEGREE:-DEGREE])
    assert np.all(np.diff(knots) > 0)
    assert spacing[0] < 0.4 * spacing[-1]
    assert knots[DEGREE] == 0.002
    assert knots[-DEGREE - 1] == pytest.approx(0.002 + 199 / RATE)


@pytest.mark.parametrize("count", [1, 7, 300])
def test_even_instants_say_the_same_as_single_ones_inside_and_beyond_the_knots(count):
    rng = np.random.default_rng(4)
    knots = _knots(rng)
    pieces = polynomials(bases_of(knots), rng.standard_normal(len(knots) - DEGREE - 1))
    length = knots[-DEGREE - 1] - knots[DEGREE]
    first, step = knots[DEGREE] - 0.1 * length, 1.2 * length / max(count - 1, 1)
    time = first + step * np.arange(count)
    for derivative in (0, 1, 2):
        single = [polynomial_at(each, knots, pieces, derivative) for each in time]
        along = polynomials_along(first, step, count, knots, pieces, derivative)
        np.testing.assert_allclose(along, single, rtol=1e-9, atol=1e-9 * np.abs(single).max())
    rows, numbers = basis_rows(first, step, count, knots, bases_of(knots))
    row = np.empty(DEGREE + 1)
    for i, each in enumerate(time):
        assert numbers[i] == basis_at(each, knots, 0, row)
        np.testing.assert_allclose(rows[i], row, atol=1e-9 * np.abs(row).max())
