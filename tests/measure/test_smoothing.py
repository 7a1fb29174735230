"""The penalised splines against dense linear algebra, and their fit against a known course."""

import numpy as np
import pytest
from scipy import linalg, stats
from scipy.interpolate import BSpline

from classifier.measure.smoothing import (
    cholesky,
    deviation_at,
    fit,
    freedom,
    roughness,
    solve_back,
    solve_forward,
)
from classifier.measure.spline import DEGREE, bases_of, basis_rows, knots_along, polynomial_at, polynomials

RATE = 32_000.0


def _dense(band):
    """The symmetric matrix that a lower band stands for."""
    k = len(band)
    out = np.zeros((k, k))
    for i in range(k):
        for d in range(min(DEGREE + 1, k - i)):
            out[i + d, i] = out[i, i + d] = band[i, d]
    return out


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


@pytest.mark.parametrize("order", [2, 3, 4])
def test_roughness_costs_nothing_for_polynomials_of_less_degree_and_something_for_others(order):
    knots = knots_along(np.arange(200.0), 0.0, 1 / RATE, 8)
    count = len(knots) - DEGREE - 1
    time = np.linspace(knots[DEGREE], knots[-DEGREE - 1], 200)
    design = BSpline.design_matrix(np.clip(time, None, knots[-DEGREE - 1] - 1e-12), knots, DEGREE).toarray()
    penalty = _dense(roughness(knots, order))
    assert penalty.shape == (count, count)
    along = 2 * (time - time[0]) / np.ptp(time) - 1
    for degree in range(5):
        coefficients = np.linalg.lstsq(design, along**degree, rcond=None)[0]
        cost = coefficients @ penalty @ coefficients
        assert (cost < 1e-9 * coefficients @ coefficients * np.trace(penalty)) == (degree < order)


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
    rows, pieces = basis_rows(0.0, 1 / RATE, n, knots, bases_of(knots))
    errors, stated = [], []
    for _ in range(40):
        noisy = turns + deviation * rng.standard_normal(n)
        coefficients, root, spent, _ = fit(rows, pieces, noisy, np.full(n, deviation**-2), knots, 4, -5)
        assert 3.0 <= spent <= len(coefficients)
        curve = polynomials(bases_of(knots), coefficients)
        inner = time[10:-10:7]
        errors.append([polynomial_at(at, knots, curve, 1) for at in inner] - frequency[10:-10:7])
        stated.append([deviation_at(at, knots, root, 1) for at in inner])
    errors, stated = np.array(errors), np.array(stated)
    assert np.median(np.abs(errors)) < 60.0
    # the posterior knows of noise and not of what is smoothed away
    assert 0.8 < np.mean(np.abs(errors) < 2 * stated) <= 1.0


@pytest.mark.parametrize("begin", [-10, -4, 2])
def test_the_search_for_the_penalty_ends_where_no_neighbour_is_better(begin):
    n, deviation = 200, 0.01
    time = np.arange(n) / RATE
    noisy = _sweep(time)[0] + deviation * np.random.default_rng(2).standard_normal(n)
    knots = knots_along(np.cumsum(1 + 3 * np.exp(-time / 1e-3)), 0.0, 1 / RATE, 12)
    rows, pieces = basis_rows(0.0, 1 / RATE, n, knots, bases_of(knots))
    weights = np.full(n, deviation**-2)
    *_, found = fit(rows, pieces, noisy, weights, knots, 4, begin)
    *_, again = fit(rows, pieces, noisy, weights, knots, 4, found)
    assert again == found
    *_, elsewhere = fit(rows, pieces, noisy, weights, knots, 4, -5)
    assert found == elsewhere


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize("deviation", [0.003, 0.03, 0.3])
def test_the_penalty_is_the_one_under_which_the_values_are_likeliest(order, deviation):
    """Restricted likelihood: that of what is left of the values once polynomials are taken out, by scipy's multivariate normal
    of the covariance that noise and a spline as rough as the penalty has it give together."""
    n = 120
    time = np.arange(n) / RATE
    noisy = (_sweep(time)[0] - 45_000.0 * time) / 36 + deviation * np.random.default_rng(4).standard_normal(n)
    knots = knots_along(np.arange(float(n)), 0.0, 1 / RATE, 9)
    rows, pieces = basis_rows(0.0, 1 / RATE, n, knots, bases_of(knots))
    *_, found = fit(rows, pieces, noisy, np.full(n, deviation**-2), knots, order, -3)
    design = np.zeros((n, len(knots) - DEGREE - 1))
    for i in range(n):
        design[i, pieces[i] : pieces[i] + DEGREE + 1] = rows[i]
    information = design.T @ design / deviation**2
    free = linalg.null_space(np.polynomial.polynomial.polyvander(np.arange(n) / n, order - 1).T)
    sizes, directions = linalg.eigh(_dense(roughness(knots, order)))
    rough = directions[:, order:] / sizes[order:] @ directions[:, order:].T
    likelihood = {}
    for exponent in range(found - 3, min(found + 3, 5) + 1):
        weight = 10.0**exponent * np.trace(information) / len(information)
        covariance = deviation**2 * np.eye(n) + design @ rough @ design.T / weight
        likelihood[exponent] = stats.multivariate_normal(cov=free.T @ covariance @ free).logpdf(free.T @ noisy)
    assert found == max(likelihood, key=likelihood.get)


def test_what_may_be_straight_is_fitted_straight_and_is_as_unsure_as_if_it_need_not_be():
    """A tone's phase is a straight line: a fit free to bend is three times less sure of its frequency at the ends."""
    n, deviation = 200, 0.05
    rng = np.random.default_rng(3)
    time = np.arange(n) / RATE
    knots = knots_along(np.arange(200.0), 0.0, 1 / RATE, 8)
    rows, pieces = basis_rows(0.0, 1 / RATE, n, knots, bases_of(knots))
    straight, errors, stated = 0, [], []
    for _ in range(60):
        noisy = 40_000.0 * time + deviation * rng.standard_normal(n)
        coefficients, root, spent, _ = fit(rows, pieces, noisy, np.full(n, deviation**-2), knots, 4, -5)
        curve = polynomials(bases_of(knots), coefficients)
        ends = polynomial_at(time[5], knots, curve, 1), polynomial_at(time[-5], knots, curve, 1)
        straight += abs(ends[1] - ends[0]) < 1.0
        errors.append(ends[0] - 40_000.0)
        stated.append(deviation_at(time[5], knots, root, 1))
    # a parameter of the two that bend is kept where it saves more than 3: one time in six or so
    assert 36 <= straight <= 57
    assert np.median(np.abs(errors)) < 0.3 * np.median(stated)
    free = np.polynomial.polynomial.polyvander(time, 3)
    covariance = np.linalg.inv(free.T @ free) * deviation**2
    slope = np.array([0.0, 1.0, 2 * time[5], 3 * time[5] ** 2])
    assert np.median(stated) == pytest.approx(np.sqrt(slope @ covariance @ slope), rel=0.1)
