"""Drawn calls keep the bounds that they promise."""

import numpy as np
import pytest

from classifier.simulate import SHAPES, draw_call


@pytest.mark.parametrize("shape", [*SHAPES, "tone"])
def test_drawn_calls_keep_their_bounds(shape):
    for seed in range(60):
        call = draw_call(shape, np.random.default_rng(seed), sample_rate_hz=192e3)
        time = np.linspace(0, call.duration_s, 2001)
        course = call.course(time)[0]
        slope = np.abs(np.gradient(course, time))
        assert call.duration_s >= 1.5e-3
        assert call.duration_s <= 60e-3
        assert course.min() > 9e3
        assert course.max() < 0.97 * 96e3
        # A rounded bend makes the sweep's far end a little steeper than its mean slope, which is what is
        # bounded.
        assert slope.max() < 1.3 * 20e6
    again = [draw_call(shape, np.random.default_rng(7), sample_rate_hz=256e3) for _ in range(2)]
    assert again[0] == again[1]
