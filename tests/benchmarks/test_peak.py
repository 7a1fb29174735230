"""The peak frequency's own benchmark in small: its bound, its truth, and that measuring beats the plainest reading."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from peak import NOISE, RATE_HZ, compare, least_error_khz, peak_hz, summary
from scoring import bound

from classifier.simulate import Call, Envelope, Heard, draw_call, metrics_of


def test_of_a_steady_even_tone_the_bound_is_that_of_its_frequency():
    """An even envelope makes the frequency in the middle independent of slope and curvature: then what is left is the bound of a
    tone of known shape (Rife & Boorstyn 1974, weighted with the envelope)."""
    even = Call("QCF", 10e-3, 40e3, 40e3, curvature=0.0, envelope=Envelope(0.3, 0.3, 0.0))
    tone = bound(Heard(even, 0.1, -30.0), rate_hz=RATE_HZ, noise=NOISE)["frequency"]
    assert least_error_khz(even, -30.0, NOISE, RATE_HZ) == pytest.approx(tone, rel=0.02)


def test_the_bound_falls_as_the_noise_does():
    call = draw_call("FM hyperbolic", np.random.default_rng(3), sample_rate_hz=RATE_HZ, harmonics=False)
    loud, faint = (least_error_khz(call, level, NOISE, RATE_HZ) for level in (-20.0, -40.0))
    assert faint / loud == pytest.approx(10.0, rel=1e-6)


def test_the_true_peak_is_that_of_the_truth_table():
    for shape in ("QCF", "FM linear", "CF-FM"):
        call = draw_call(shape, np.random.default_rng(5), sample_rate_hz=RATE_HZ, harmonics=False)
        stated = metrics_of(Heard(call, 0.1, -30.0), sample_rate_hz=RATE_HZ)["peak_frequency_khz"]
        assert peak_hz(call) / 1e3 == pytest.approx(stated, abs=5e-4)


def test_measuring_comes_nearer_than_the_plainest_reading_but_not_past_the_bound():
    rows = compare(6, shapes=("QCF", "FM hyperbolic", "noctule-like"), snrs=(20.0, 40.0))
    assert rows["measured"].null_count() == 0
    whole = summary(rows).filter(shape="all").row(0, named=True)
    # 36 calls know a median to some 30 %
    assert 0.6 * whole["least"] < whole["measured"] < 0.7 * whole["plain"]
