"""Demodulation along a sweep against closed formulas and scipy's analytic signal."""

import numpy as np
import pytest
from scipy.signal import hilbert

from classifier.measure.ridge import NODE, Baseband, averaging_window, demodulate, refine, smooth

RATE = 256_000.0


def _sweep(start_hz, slope_hz_per_s, seconds, amplitude=0.5):
    time = np.arange(round(seconds * RATE)) / RATE
    turns = start_hz * time + slope_hz_per_s * time**2 / 2
    return (amplitude * np.cos(2 * np.pi * turns)).astype(np.float32), time


@pytest.mark.parametrize("rate", [192e3, 250e3, 256e3, 300e3, 384e3, 500e3])
def test_the_low_pass_keeps_what_is_constant(rate):
    band = Baseband(sample_rate_hz=rate)
    assert 25e3 < band.rate_hz < 40e3
    assert band.kernel.sum() == pytest.approx(1.0)


def test_a_sweep_along_its_own_ridge_becomes_half_its_amplitude_at_rest():
    band = Baseband(sample_rate_hz=RATE)
    samples, _ = _sweep(80e3, -8e6, 0.005)
    nodes = 80e3 - 8e6 * np.arange(24) * band.node / RATE
    signal, ridge = demodulate(samples, 0, nodes, band.kernel, band.decimation, RATE)
    middle = slice(8, 100)
    np.testing.assert_allclose(np.abs(signal[middle]), 0.25, rtol=5e-3)
    np.testing.assert_allclose(np.angle(signal[middle]), 0.0, atol=5e-3)
    # the ridge is told at the middle of each baseband sample
    at = (np.arange(len(signal)) + 0.5) * band.decimation / RATE - 0.5 / RATE
    np.testing.assert_allclose(ridge, 80e3 - 8e6 * at, atol=1.0)


def test_beyond_the_ends_of_the_audio_there_is_silence():
    band = Baseband(sample_rate_hz=RATE)
    samples, _ = _sweep(50e3, 0.0, 0.002)
    nodes = np.full(40, 50e3)
    signal, _ = demodulate(samples, -10 * band.node, nodes, band.kernel, band.decimation, RATE)
    assert np.all(np.abs(signal[: 10 * NODE - 3]) == 0.0)
    assert np.abs(signal[12 * NODE]) == pytest.approx(0.25, rel=0.01)
    assert np.all(np.abs(signal[-10 * NODE :]) == 0.0)


def test_refining_finds_the_ridge_from_one_that_is_off():
    """Against the instantaneous frequency of scipy's analytic signal."""
    band = Baseband(sample_rate_hz=RATE)
    samples, _ = _sweep(75e3, -5e6, 0.006)
    nodes = 75e3 - 5e6 * np.arange(30) * band.node / RATE + np.linspace(-1_500, 1_200, 30)
    signal, ridge = demodulate(samples, 0, nodes, band.kernel, band.decimation, RATE)
    refine(signal, ridge, np.full(len(ridge), 1e-9), 0, len(ridge) - 1, band.rate_hz, RATE / 2)
    phase = np.unwrap(np.angle(hilbert(samples.astype(float))))
    exact = np.gradient(phase) * RATE / (2 * np.pi)
    at = ((np.arange(len(ridge)) + 0.5) * band.decimation - 0.5).astype(int)
    inner = slice(20, 150)
    assert np.median(np.abs(ridge[inner] - exact[at[inner]])) < 30.0


def test_smooth_is_a_convolution():
    rng = np.random.default_rng(0)
    values = rng.standard_normal(50) + 1j * rng.standard_normal(50)
    window = averaging_window(13)
    assert window.sum() == pytest.approx(1.0)
    np.testing.assert_allclose(smooth(values, window), np.convolve(values, window, mode="same"))
