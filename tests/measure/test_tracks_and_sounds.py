"""From regions to sounds: one track for one sweep, pieces joined, harmonics counted, bursts of noise left out."""

import numpy as np
import pytest

from classifier.measure.coherence import coherent_sounds
from classifier.measure.regions import Region, _believed, lay_out
from classifier.measure.ridge import Baseband
from classifier.measure.settings import MeasureSettings
from classifier.measure.sounds import sounds_of
from classifier.measure.tracks import TrackFinder

RATE = 256_000.0
SETTINGS = MeasureSettings()
BASEBAND = Baseband(sample_rate_hz=RATE)
BINS = 129
BIN_HZ = RATE / 256
NOISE = 1e-3
FINDER = TrackFinder(
    sample_rate_hz=RATE,
    settings=SETTINGS,
    step=BASEBAND.node,
    floor_frequencies_hz=np.arange(BINS) * BIN_HZ,
)


def _region(*sounds, seconds=0.03, seed=0):
    """Noise with sounds in it, each (begin s, frequency as a function of time, length s, amplitude)."""
    rng = np.random.default_rng(seed)
    samples = NOISE * rng.standard_normal(round(seconds * RATE))
    for begin, course, length, amplitude in sounds:
        time = np.arange(round(length * RATE)) / RATE
        wave = amplitude * np.hanning(len(time)) * np.cos(2 * np.pi * np.cumsum(course(time)) / RATE)
        at = round(begin * RATE)
        samples[at : at + len(time)] += wave
    floor = np.full(BINS, 2 * NOISE**2 / RATE, np.float32)
    return Region(start=0, samples=samples.astype(np.float32), look=slice(0, len(samples)), floor=floor)


def _sounds(regions):
    laid = lay_out(regions, FINDER.gap)
    found = sounds_of(FINDER(laid), node=BASEBAND.node, sample_rate_hz=RATE, settings=SETTINGS)
    return [sound for sound, _ in coherent_sounds(found, regions, laid, baseband=BASEBAND, floor_bin_hz=BIN_HZ)]


def _falling(start, end, length):
    return lambda time: start + (end - start) * time / length


def test_one_sweep_is_one_sound_on_its_course():
    (sound,) = _sounds([_region((0.01, _falling(70e3, 40e3, 0.005), 0.005, 0.05))])
    at = (sound.time + np.arange(len(sound.frequency_hz)) * BASEBAND.node) / RATE - 0.01
    exact = 70e3 - 6e6 * at
    assert np.median(np.abs(sound.frequency_hz - exact)) < 400.0
    assert sound.harmonic == 1


def test_harmonics_count_to_one_sound_and_another_bat_does_not():
    course = _falling(45e3, 38e3, 0.008)
    together = _region(
        (0.01, course, 0.008, 0.05),
        (0.01, lambda time: 2 * course(time), 0.008, 0.01),
        (0.0115, _falling(71e3, 66e3, 0.007), 0.007, 0.03),
    )
    found = _sounds([together])
    assert len(found) == 2
    assert sorted(round(float(np.median(sound.frequency_hz)), -3) for sound in found) == pytest.approx([41e3, 68e3], abs=1500)


def test_a_sweep_with_a_hole_is_joined():
    def holed(time):
        return 60e3 - 3e6 * time

    region = _region((0.01, holed, 0.008, 0.05))
    begin = round(0.0137 * RATE)
    region.samples[begin : begin + round(0.0006 * RATE)] *= 0.002
    (sound,) = _sounds([region])
    assert len(sound.frequency_hz) * BASEBAND.node / RATE > 0.006


def test_a_faint_long_call_is_heard_beside_a_loud_one_and_across_a_loud_sweep():
    faint = (0.006, lambda time: 45e3 + 0 * time, 0.022, 0.02)
    beside = (0.006, lambda time: 53e3 + 0 * time, 0.022, 0.3)
    across = (0.015, _falling(75e3, 30e3, 0.004), 0.004, 0.3)
    for loud in (beside, across):
        found = _sounds([_region(faint, loud)])
        assert any(np.median(np.abs(sound.frequency_hz - 45e3)) < 200.0 for sound in found)


def test_two_like_calls_side_by_side_do_not_hide_each_other():
    region = _region((0.006, _falling(58e3, 53e3, 0.016), 0.016, 0.05), (0.009, _falling(64e3, 59e3, 0.014), 0.014, 0.05))
    assert len(_sounds([region])) == 2


def test_bursts_of_noise_are_no_sounds():
    rng = np.random.default_rng(3)
    region = _region()
    for begin in (0.004, 0.014, 0.022):
        at, count = round(begin * RATE), round(0.004 * RATE)
        region.samples[at : at + count] += (0.05 * rng.standard_normal(count)).astype(np.float32)
    assert _sounds([region]) == []


def test_regions_laid_together_are_seen_apart():
    regions = [_region((0.01, _falling(70e3, 40e3, 0.005), 0.005, 0.05), seed=seed) for seed in range(3)]
    found = _sounds(regions)
    assert [sound.region for sound in found] == [0, 1, 2]
    alone = [_sounds([region])[0] for region in regions]
    for one, other in zip(found, alone, strict=True):
        # frames lie on one grid over all regions, so that they may fall a step apart
        assert abs(one.time - other.time) <= 2 * BASEBAND.node
        assert np.median(one.frequency_hz) == pytest.approx(np.median(other.frequency_hz), abs=600)


def test_a_lonely_frame_must_stand_out_more_than_one_in_company():
    rise = np.full(40, 2.0)
    rise[5], rise[15:17], rise[30] = 11.0, 11.0, 20.0
    assert np.flatnonzero(_believed(rise, 10.0, 14.0)).tolist() == [15, 16, 30]
