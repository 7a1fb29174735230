"""The noise floor and the quick scan on noise whose density is known."""

import numpy as np
import pytest

from classifier.measure.scan import Scanner, even_fast_length
from classifier.measure.settings import MeasureSettings

RATE = 250_000.0


def _scan(samples):
    scanner = Scanner(sample_rate_hz=RATE, settings=MeasureSettings())
    return scanner, scanner(samples[: len(samples) // scanner.frame * scanner.frame].astype(np.float32))


def test_floor_of_white_noise_is_its_density():
    rng = np.random.default_rng(0)
    scanner, scan = _scan(rng.standard_normal(250_000) * 0.01)
    # one-sided density of white noise: variance over half the sample rate
    assert scan.floor[scanner.band].mean() == pytest.approx(0.01**2 / (RATE / 2), rel=0.03)


def test_few_frames_of_noise_are_let_through_and_a_pulse_is():
    rng = np.random.default_rng(1)
    samples = rng.standard_normal(250_000) * 0.01
    time = np.arange(1250) / RATE
    samples[100_000:101_250] += 0.02 * np.sin(2 * np.pi * 40e3 * time)
    scanner, scan = _scan(samples)
    threshold = 10 ** (MeasureSettings().scan_rise_db / 10)
    assert np.mean(scan.rise > threshold) < 0.05
    inside = slice(100_000 // scanner.frame + 1, 101_250 // scanner.frame)
    assert (scan.rise[inside] > threshold).all()


def test_a_steady_tone_raises_the_floor_at_its_own_frequency_alone():
    rng = np.random.default_rng(2)
    samples = rng.standard_normal(250_000) * 0.001 + 0.05 * np.sin(2 * np.pi * 33e3 * np.arange(250_000) / RATE)
    scanner, scan = _scan(samples)
    at = np.argmin(np.abs(scanner.frequencies_hz - 33e3))
    far = np.argmin(np.abs(scanner.frequencies_hz - 60e3))
    assert scan.floor[at] > 1000 * scan.floor[far]
    assert np.mean(scan.rise > 10) < 0.05


@pytest.mark.parametrize("rate", [96e3, 192e3, 250e3, 256e3, 300e3, 384e3, 500e3, 1e6, 142857.14])
def test_frame_lengths_are_even_and_near_what_was_wanted(rate):
    frame = even_fast_length(1e-3 * rate)
    assert frame % 2 == 0
    assert frame == pytest.approx(1e-3 * rate, rel=0.05)
