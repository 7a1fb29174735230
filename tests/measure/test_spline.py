"""The phase spline against scipy's B-splines, and its fit against phases of known course."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from classifier.measure.spline import DEGREE, basis_rows, fit_phase, place_knots

RATE = 32_000.0


@pytest.mark.parametrize("derivative", [0, 1, 2])
def test_basis_agrees_with_scipy(derivative):
    rng = np.random.default_rng(0)
    pieces = 7
    knots = np.sort(rng.random((3, pieces + 2 * DEGREE + 1)), axis=1)
    first, last = knots[:, [DEGREE]], knots[:, [-DEGREE - 1]]
    time = first + (last - first) * rng.random((3, 40))
    rows = basis_rows(time, knots, derivative)
    for pulse in range(3):
        for number in range(pieces + DEGREE):
            spline = BSpline(knots[pulse], np.eye(pieces + DEGREE)[number], DEGREE)
            expected = spline.derivative(derivative)(time[pulse]) if derivative else spline(time[pulse])
            np.testing.assert_allclose(rows[pulse, :, number], expected, atol=1e-6 * np.abs(expected).max() + 1e-12)


def _sweep(n):
    """Phase in turns, frequency and slope of a course that falls steeply and then flattens."""
    time = np.arange(n) / RATE
    fall, decay = 30_000.0, 1.2e-3
    frequency = 45_000.0 + fall * np.exp(-time / decay)
    turns = 45_000.0 * time + fall * decay * (1 - np.exp(-time / decay))
    return turns, frequency, -fall / decay * np.exp(-time / decay)


def test_fit_recovers_a_bending_sweep_within_its_own_errors():
    n, deviation = 200, 0.01
    turns, frequency, slope = _sweep(n)
    rng = np.random.default_rng(1)
    many = 40
    noisy = turns + deviation * rng.standard_normal((many, n))
    knots = place_knots(np.tile(slope, (many, 1)), np.zeros(many, int), np.full(many, n - 1), RATE)
    fit = fit_phase(noisy, np.full((many, n), deviation**-2), knots, rate_hz=RATE)
    time = np.tile(np.arange(10, n - 10) / RATE, (many, 1))
    error = fit.frequency_hz(time) - frequency[10:-10]
    rows = fit.basis(time, 1)
    stated = np.sqrt(np.sum(np.matmul(rows, fit.root) ** 2, axis=2))
    assert np.median(np.abs(error)) < 60.0
    assert 0.85 < np.mean(np.abs(error) < 2 * stated) <= 1.0


def test_knots_lie_closer_where_the_sweep_is_steep():
    slope = np.tile(_sweep(200)[2], (1, 1))
    knots = place_knots(slope, np.array([0]), np.array([199]), RATE)[0]
    spacing = np.diff(knots[DEGREE:-DEGREE])
    assert np.all(spacing > 0)
    assert spacing[0] < 0.6 * spacing[-1]
    assert knots[DEGREE] == 0.0
    assert knots[-DEGREE - 1] == pytest.approx(199 / RATE)
