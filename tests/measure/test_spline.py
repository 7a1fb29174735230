"""The penalised splines against scipy's B-splines and dense linear algebra, and their fit against a known course."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from classifier.measure.spline import (
    DEGREE,
    basis_at,
    basis_rows,
    cholesky,
    deviation_at,
    fit,
    freedom,
    knots_along,
    polynomial_at,
    polynomials,
    roughness,
    solve_back,
    solve_forward,
)

RATE = 32_000.0


def _knots(rng, pieces=7):
    return np.sort(rng.random(pieces + 2 * DEGREE + 1))


def _dense(band):
    """The symmetric matrix that a lower band stands for."""
    k = len(band)
    out = np.zeros((k, k))
    for i in range(k):
        for d in range(min(DEGREE + 1, k - i)):
            out[i + d, i] = out[i, i + d] = band[i, d]
    return out


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
    pieces = polynomials(knots, coefficients)
    spline = BSpline(knots, coefficients, DEGREE)
    time = rng.uniform(knots[DEGREE], knots[-DEGREE - 1], 40)
    expected = spline.derivative(derivative)(time) if derivative else spline(time)
    own = [polynomial_at(each, knots, pieces, derivative) for each in time]
    np.testing.assert_allclose(own, expected, atol=1e-9 * np.abs(expected).max())


def test_banded_algebra_agrees_with_dense():
    rng = np.random.default_rng(2)
    information = np.zeros((12, DEGREE + 1))
    rows = rng.standard_normal((40, DEGREE + 1))
    for row in rows:
        first = rng.integers(0, 12 - DEGREE)
        for a in range(DEGREE + 1):
            for b in range(a, DEGREE + 1):
                information[first + a, b - a] += row[a] * row[b]
    system = information.copy()
    system[:, 0] += 0.5
    root = cholesky(system)
    inverse = np.linalg.inv(_dense(system))
    values = rng.standard_normal(12)
    np.testing.assert_allclose(solve_back(root, solve_forward(root, values)), inverse @ values, rtol=1e-9)
    assert np.sum(solve_forward(root, values) ** 2) == pytest.approx(values @ inverse @ values)
    assert freedom(root, information) == pytest.approx(np.trace(inverse @ _dense(information)))


def test_roughness_costs_nothing_for_a_ridge_of_one_slope_and_something_for_a_bend():
    knots = knots_along(np.arange(200.0), 0.0, 1 / RATE, 8)
    count = len(knots) - DEGREE - 1
    time = np.linspace(knots[DEGREE], knots[-DEGREE - 1], 200)
    design = BSpline.design_matrix(np.clip(time, None, knots[-DEGREE - 1] - 1e-12), knots, DEGREE).toarray()
    penalty = _dense(roughness(knots))
    assert penalty.shape == (count, count)
    for course, is_free in ((3 + 40 * time - 5e3 * time**2, True), (1e6 * time**3, False)):
        coefficients = np.linalg.lstsq(design, course, rcond=None)[0]
        cost = coefficients @ penalty @ coefficients
        assert (cost < 1e-9 * coefficients @ coefficients * np.trace(penalty)) == is_free


def _sweep(time):
    """Phase in turns and frequency of a course that falls steeply and then flattens."""
    fall, decay = 30_000.0, 1.2e-3
    return 45_000.0 * time + fall * decay * (1 - np.exp(-time / decay)), 45_000.0 + fall * np.exp(-time / decay)


def test_fit_recovers_a_bending_sweep_within_its_own_errors():
    n, deviation = 200, 0.01
    rng = np.random.default_rng(1)
    time = np.arange(n) / RATE
    turns, frequency = _sweep(time)
    knots = knots_along(np.cumsum(1 + 3 * np.exp(-time / 1e-3)), 0.0, 1 / RATE, 12)
    rows, pieces = basis_rows(0.0, 1 / RATE, n, knots)
    errors, stated = [], []
    for _ in range(40):
        noisy = turns + deviation * rng.standard_normal(n)
        coefficients, root, spent = fit(rows, pieces, noisy, np.full(n, deviation**-2), knots)
        assert 3.0 <= spent <= len(coefficients)
        curve = polynomials(knots, coefficients)
        inner = time[10:-10:7]
        errors.append([polynomial_at(at, knots, curve, 1) for at in inner] - frequency[10:-10:7])
        stated.append([deviation_at(at, knots, root, 1) for at in inner])
    errors, stated = np.array(errors), np.array(stated)
    assert np.median(np.abs(errors)) < 60.0
    # the posterior knows of noise and not of what is smoothed away
    assert 0.8 < np.mean(np.abs(errors) < 2 * stated) <= 1.0


def test_knots_follow_the_density_and_end_at_the_ends():
    passed = np.cumsum(np.where(np.arange(200) < 50, 4.0, 1.0))
    knots = knots_along(passed - passed[0], 0.002, 1 / RATE, 10)
    spacing = np.diff(knots[DEGREE:-DEGREE])
    assert np.all(np.diff(knots) > 0)
    assert spacing[0] < 0.4 * spacing[-1]
    assert knots[DEGREE] == 0.002
    assert knots[-DEGREE - 1] == pytest.approx(0.002 + 199 / RATE)
