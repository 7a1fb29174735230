"""Peak and centre frequency of whole pulses against scipy's periodogram of the same samples, nearly without noise."""

import numpy as np
import pytest
from scipy.signal import periodogram

from classifier.measure import measure_blocks
from classifier.measure.shape import nothing
from classifier.measure.smoothing import fit
from classifier.measure.spectrum import _fade
from classifier.measure.spline import bases_of, basis_rows, knots_along, polynomials

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


@pytest.mark.parametrize("outward", [-1.0, 1.0])
def test_beyond_its_span_a_pulse_fades_as_a_raised_cosine_does_and_its_noise_is_gone(outward):
    rate, n = 32_000.0, 320
    time = np.arange(n) / rate
    place = (time - 0.001) / 0.008
    true = np.where((place > 0) & (place < 1), np.sin(np.pi * np.clip(place, 0, 1)) ** 2, 0.0)
    noisy = true + 0.01 * np.random.default_rng(5).standard_normal(n)
    knots = knots_along(np.arange(float(n)), 0.0, 1 / rate, 16)
    rows, pieces = basis_rows(0.0, 1 / rate, n, knots, bases_of(knots))
    curve, *_ = fit(rows, pieces, noisy, np.full(n, 1e4), knots, 3, -2)
    shape = nothing()._replace(amplitude_knots=knots, amplitude=polynomials(bases_of(knots), curve))
    # a raised cosine is at a tenth of its peak where its sine squared is one
    edge = np.arcsin(np.sqrt(0.1)) / np.pi
    end_s = 0.001 + 0.008 * (edge if outward < 0 else 1 - edge)
    fitted = np.einsum("ij,ij->i", rows, curve[pieces[:, None] + np.arange(5)])
    faded = fitted.copy()
    _fade(faded, 0.0, 1 / rate, end_s, outward, 0.002, shape)
    beyond = outward * (time - end_s) > 0
    np.testing.assert_array_equal(faded[~beyond], fitted[~beyond])
    assert np.all(np.diff(faded[beyond]) * outward <= 0) and np.all(faded[beyond] >= 0)
    assert np.abs(faded - true)[beyond].max() < 0.02
    assert faded[0 if outward < 0 else -1] == 0.0
