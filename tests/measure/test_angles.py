"""Angles and points of the circle against numpy."""

import numpy as np

from classifier.measure.angles import angle, circle, turned


def test_points_of_the_circle_agree_with_numpy_however_many_turns_away():
    for turns in np.random.default_rng(0).uniform(-1e4, 1e4, 500):
        expected = np.exp(2j * np.pi * (turns - np.floor(turns)))
        assert abs(complex(*circle(turns)) - expected) < 1e-9
        assert abs(turned(3 - 4j, turns) - (3 - 4j) * expected) < 1e-8


def test_angles_agree_with_numpy_in_every_quadrant_and_on_the_axes():
    rng = np.random.default_rng(1)
    values = 10.0 ** rng.uniform(-12, 12, 500) * np.exp(2j * np.pi * rng.random(500))
    for value in [*values, 1 + 0j, 1j, -1 + 0j, -1j, 2 + 2j, -2 - 2j]:
        missed = angle(value.real, value.imag) - np.angle(value) / (2 * np.pi)
        assert abs(missed - np.round(missed)) < 1e-9
    assert angle(0.0, 0.0) == 0.0
