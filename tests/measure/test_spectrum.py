"""Peak and centre frequency of whole pulses against scipy's periodogram of the same samples, nearly without noise."""

import numpy as np
import pytest
from scipy.signal import periodogram

from classifier.measure import measure_blocks

RATE = 256_000.0


def _measured(course, seconds):
    rng = np.random.default_rng(0)
    time = np.arange(round(seconds * RATE)) / RATE
    wave = 0.3 * np.hanning(len(time)) * np.cos(2 * np.pi * np.cumsum(course(time)) / RATE)
    samples = 1e-5 * rng.standard_normal(round(0.1 * RATE))
    at = round(0.04 * RATE)
    samples[at : at + len(time)] += wave
    table = measure_blocks([samples.astype(np.float32)[:, None]], sample_rate_hz=RATE)
    assert len(table) == 1
    return wave, table.row(0, named=True)


@pytest.mark.parametrize(
    ("course", "seconds"),
    [
        (lambda t: 40e3 + 0 * t, 0.010),
        (lambda t: 28e3 - 3e3 * t / 0.015, 0.015),
        (lambda t: 45e3 + 30e3 * np.exp(-t / 1.2e-3), 0.006),
        (lambda t: 85e3 / (1 + 1.2 * t / 0.004), 0.004),
    ],
    ids=["constant", "nearly constant", "bending", "hyperbolic"],
)
def test_peak_and_centre_agree_with_a_periodogram(course, seconds):
    wave, row = _measured(course, seconds)
    frequency, power = periodogram(wave, RATE, nfft=1 << 19)
    running = np.cumsum(power) / power.sum()
    # the spectrum of a wide sweep is flat at its top: there a thousandth of the amplitude moves the maximum this far
    flat_hz = 0.005 * np.ptp(course(np.linspace(0, seconds, 99)))
    assert row["peak_frequency_khz"] * 1e3 == pytest.approx(frequency[power.argmax()], abs=25.0 + flat_hz)
    assert row["centre_frequency_khz"] * 1e3 == pytest.approx(np.interp(0.5, running, frequency), abs=40.0)
    assert row["level_db"] == pytest.approx(20 * np.log10(0.3), abs=0.15)
