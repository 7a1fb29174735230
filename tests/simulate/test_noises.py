"""Noises: their power against Welch's estimate, and what each should sound like."""

import numpy as np
import pytest
from scipy import signal

from classifier.simulate import (
    BirdSong,
    BushCrickets,
    PinkNoise,
    Rain,
    RecorderNoise,
    Rubbing,
    Tones,
    WhiteNoise,
    Wind,
)

RATE = 256e3
EVERY = (
    WhiteNoise(),
    PinkNoise(),
    RecorderNoise(),
    Rain(),
    Wind(),
    BushCrickets(),
    Tones(),
    BirdSong(),
    Rubbing(),
)


def sound(noise, seconds=4.0, seed=3):
    samples = np.zeros(int(seconds * RATE))
    noise.add(samples, RATE, np.random.default_rng(seed))
    return samples


def spectrum(samples, size=4096):
    return signal.welch(samples, RATE, nperseg=size)


@pytest.mark.parametrize("noise", [WhiteNoise(-70.0), PinkNoise(-70.0), RecorderNoise(-70.0, hum_hz=0, spurs_hz=())])
def test_stated_density_is_the_real_one(noise):
    axis, density = spectrum(sound(noise))
    inside = (axis > 3e3) & (axis < 125e3)
    ratio = 10 * np.log10(density[inside] / noise.density(axis[inside], RATE))
    # 500 averages scatter by 0.2 dB a bin; the mean over 1900 bins is far tighter.
    assert abs(np.mean(ratio)) < 0.02
    assert np.std(ratio) < 0.3


@pytest.mark.parametrize("noise", [WhiteNoise(-70.0), PinkNoise(-70.0)])
def test_level_is_the_power_in_1_khz_at_40_khz(noise):
    power = 1000.0 * noise.density(np.array([40e3]), RATE)[0]
    assert 10 * np.log10(power / 0.5) == pytest.approx(-70.0, abs=0.05)


def test_pink_noise_falls_by_3_db_an_octave():
    density = PinkNoise().density(np.array([10e3, 20e3, 40e3, 80e3]), RATE)
    np.testing.assert_allclose(np.diff(10 * np.log10(density)), -3.01, atol=0.1)


def test_recorder_noise_hums_and_whistles():
    axis, density = spectrum(sound(RecorderNoise(-80.0, spurs_hz=(48e3,))), size=1 << 16)
    near = density[np.abs(axis - 48e3) < 20].max()
    beside = np.median(density[np.abs(axis - 48e3) < 2000])
    assert near > 20 * beside
    assert density[np.abs(axis - 50) < 8].max() > 100 * np.median(density[(axis > 1000) & (axis < 2000)])


@pytest.mark.parametrize(
    ("noise", "low", "high", "share"),
    [
        (Wind(), 0, 3e3, 0.9),
        (BirdSong(phrases_per_s=2.0), 1.8e3, 12e3, 0.95),
        (BushCrickets(centre_hz=25e3, width_hz=14e3), 12e3, 40e3, 0.85),
        (BushCrickets(centre_hz=45e3, width_hz=16e3), 30e3, 62e3, 0.8),
        (Tones((40e3,), wander_hz=20.0), 39.5e3, 40.5e3, 0.99),
    ],
)
def test_energy_lies_where_it_should(noise, low, high, share):
    axis, density = spectrum(sound(noise))
    inside = density[(axis >= low) & (axis <= high)].sum()
    assert inside > share * density.sum()


def test_rain_is_short_and_wide():
    """Common practice, no source: a drop is a click of a millisecond, from the audible far up."""
    samples = sound(Rain(rate_per_s=3.0, level_db=-20.0, spread_db=0.0))
    top = int(np.argmax(np.abs(samples)))
    around = samples[top - 200 : top + 1000]
    energy = np.cumsum(around**2) / np.sum(around**2)
    assert (np.searchsorted(energy, 0.95) - np.searchsorted(energy, 0.05)) / RATE < 1.5e-3
    axis, density = signal.periodogram(around, RATE)
    assert density[axis > 40e3].sum() > 0.02 * density.sum()


def test_crickets_sing_in_syllables_at_their_rate():
    noise = BushCrickets(rate_per_s=14.0, song_s=60.0, pause_s=0.05)
    envelope = np.abs(signal.hilbert(sound(noise)))
    slow = signal.decimate(signal.decimate(envelope, 16), 16)
    axis, density = signal.periodogram(slow - slow.mean(), RATE / 256)
    inside = (axis > 5) & (axis < 40)
    assert axis[inside][np.argmax(density[inside])] == pytest.approx(14.0, abs=1.0)


@pytest.mark.parametrize("noise", EVERY, ids=lambda noise: type(noise).__name__)
def test_same_generator_same_noise_and_never_silent(noise):
    first, again, other = sound(noise, seed=1), sound(noise, seed=1), sound(noise, seed=2)
    np.testing.assert_array_equal(first, again)
    assert np.any(first != other)
    assert np.all(np.isfinite(first))
    assert np.max(np.abs(first)) < 1.0


def test_what_comes_and_goes_has_no_steady_density():
    assert not Rain().density(np.array([40e3]), RATE).any()
