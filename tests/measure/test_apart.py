"""Sounds heard at once are drawn and taken away; what is left is the other one, as it was."""

import numpy as np
import pytest

from classifier.measure.apart import neighbours_in_band, without, without_each_other
from classifier.measure.regions import Region
from classifier.measure.ridge import Baseband
from classifier.measure.sounds import Sound, Sounds

RATE = 256_000.0
BASEBAND = Baseband(sample_rate_hz=RATE)
BINS, BIN_HZ = 129, RATE / 256
NOISE = 1e-4


def _call(begin, course, length, amplitude, count=8192):
    """Samples of a call whose frequency is ``course`` of the time from its beginning, and its track."""
    time = np.arange(round(length * RATE)) / RATE
    wave = np.zeros(count)
    at = round(begin * RATE)
    wave[at : at + len(time)] = amplitude * np.hanning(len(time)) ** 0.5 * np.cos(2 * np.pi * np.cumsum(course(time)) / RATE)
    nodes = np.arange(0.08 * length, 0.92 * length, BASEBAND.node / RATE)
    track = Sound(0, (begin + nodes[0]) * RATE, course(nodes), 1, amplitude**2 * len(nodes))
    return wave, track


def _sounds(*sounds):
    """Sounds, given in order of region and time, as arrays."""
    fields = {name: np.array([getattr(sound, name) for sound in sounds]) for name in ("region", "time", "harmonic", "strength")}
    first = np.concatenate([[0], np.cumsum([len(sound.frequency_hz) for sound in sounds])])
    return Sounds(first=first, frequency_hz=np.concatenate([sound.frequency_hz for sound in sounds]), **fields)


def _region(*waves):
    rng = np.random.default_rng(1)
    samples = sum(waves) + NOISE * rng.standard_normal(len(waves[0]))
    floor = np.full(BINS, 2 * NOISE**2 / RATE, np.float32)
    return Region(start=0, samples=samples.astype(np.float32), look=slice(0, len(samples)), floor=floor)


def _left(region, wanted, wave, others):
    """What is left of the others, in dB of the wanted call."""
    rest = without(region, wanted, others, baseband=BASEBAND, floor_bin_hz=BIN_HZ).samples - wave
    return 10 * np.log10(np.sum(rest**2) / np.sum(wave**2))


def test_a_call_beside_another_is_left_alone_with_itself():
    one, track = _call(0.006, lambda time: 58e3 - 3e5 * time, 0.016, 0.05)
    other, other_track = _call(0.009, lambda time: 65e3 - 3e5 * time, 0.014, 0.05)
    assert _left(_region(one, other), track, one, [other_track]) < -20.0
    assert _left(_region(one, other), other_track, other, [track]) < -20.0


def test_a_pair_is_taken_apart_as_each_of_the_two_by_itself():
    one, track = _call(0.006, lambda time: 45e3 + 0 * time, 0.020, 0.01)
    other, other_track = _call(0.014, lambda time: 75e3 - 1e7 * time, 0.0045, 0.1)
    region = _region(one, other)
    pair = without_each_other(region, track, other_track, baseband=BASEBAND, floor_bin_hz=BIN_HZ)
    for found, wanted, left in zip(pair, (track, other_track), (other_track, track), strict=True):
        alone = without(region, wanted, [left], baseband=BASEBAND, floor_bin_hz=BIN_HZ)
        np.testing.assert_array_equal(found.samples, alone.samples)
        assert np.abs(found.samples - region.samples).max() > 0.005


def test_a_far_louder_sweep_across_a_call_is_taken_away():
    faint, track = _call(0.006, lambda time: 45e3 + 0 * time, 0.020, 0.01)
    loud, loud_track = _call(0.014, lambda time: 75e3 - 1e7 * time, 0.0045, 0.1)
    before = 10 * np.log10(np.sum(loud**2) / np.sum(faint**2))
    assert before > 10.0
    assert _left(_region(faint, loud), track, faint, [loud_track]) < before - 18.0


def test_what_is_taken_out_stays_known_as_it_was_recorded():
    """Whether a pulse was clipped is asked of the recording, not of what is left of it."""
    one, track = _call(0.006, lambda time: 58e3 - 3e5 * time, 0.016, 0.05)
    other, other_track = _call(0.009, lambda time: 65e3 - 3e5 * time, 0.014, 0.05)
    region = _region(one, other)
    left = without(region, track, [other_track], baseband=BASEBAND, floor_bin_hz=BIN_HZ)
    assert not np.array_equal(left.samples, region.samples)
    assert left.recorded is region.samples


def test_a_sound_on_the_same_ridge_stays_in():
    """Two tracks of one call must not take it away from each other."""
    one, track = _call(0.006, lambda time: 58e3 - 3e5 * time, 0.016, 0.05)
    twin = Sound(0, track.time, track.frequency_hz + 500.0, 1, 0.9 * track.strength)
    assert _left(_region(one), track, one, [twin]) < -20.0


def test_neighbours_are_those_heard_at_the_same_time_in_the_same_band_and_not_far_fainter():
    def sound(time, hz, strength=1.0, region=0):
        return Sound(region, time, np.full(20, hz), 1, strength)

    sounds = _sounds(
        sound(0, 50e3),
        sound(100, 58e3),
        sound(200, 95e3),
        sound(300, 52e3, 1e-4),
        sound(90_000, 50e3),
        sound(0, 50e3, region=1),
    )
    disturbed, other = neighbours_in_band(sounds, BASEBAND.node)
    pairs = set(zip(disturbed.tolist(), other.tolist(), strict=True))
    # a faint one does not disturb a loud one, but is disturbed by it
    assert pairs == {(0, 1), (1, 0), (3, 0), (3, 1)}


def test_a_harmonic_is_not_taken_from_its_call():
    _, low = _call(0.006, lambda time: 30e3 - 6e5 * time, 0.014, 0.05)
    _, high = _call(0.006, lambda time: 60e3 - 12e5 * time, 0.014, 0.03)
    assert len(neighbours_in_band(_sounds(low, high), BASEBAND.node)[0]) == 0
    _, others = _call(0.006, lambda time: 53e3 - 12e5 * time, 0.014, 0.03)
    assert len(neighbours_in_band(_sounds(low, others), BASEBAND.node)[0]) == 2


def test_a_lone_call_has_no_neighbours():
    _, track = _call(0.006, lambda time: 58e3 - 3e5 * time, 0.016, 0.05)
    disturbed, other = neighbours_in_band(_sounds(track), BASEBAND.node)
    assert len(disturbed) == len(other) == 0
    assert track.frequency_hz[0] == pytest.approx(58e3, abs=1e3)
