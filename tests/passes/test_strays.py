"""Pieces and strays of one bat joined after the search."""

import numpy as np

from classifier.passes.settings import PassSettings
from classifier.passes.strays import adopt_strays, mend, refill_buzzes

SETTINGS = PassSettings()


def arrays(*parts):
    """(tracks, times, pitch) of parts (times, kHz)."""
    edges = np.cumsum([0, *(len(times) for times, _ in parts)])
    tracks = [np.arange(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    return (
        tracks,
        np.concatenate([times for times, _ in parts]),
        np.concatenate([np.full(len(times), 100 * np.log(khz)) for times, khz in parts]),
    )


def adopted(stray_s, khz, level_db=-40.0, unsure_percent=0.0, end_khz=None):
    """Whether a stray is taken in by a bat at 45 kHz, whose end frequency is 40 kHz."""
    beats = np.delete(np.arange(12) * 0.1, 6)
    tracks, times, pitch = arrays((beats, 45.0), (np.array([stray_s]), khz))
    level = np.r_[np.full(11, -40.0), level_db]
    pitches = np.column_stack([pitch, np.full(12, 100 * np.log(40.0))])
    pitches[-1, 1] = np.nan if end_khz is None else 100 * np.log(end_khz)
    unsure = np.zeros((12, 2))
    unsure[-1, 0] = unsure_percent
    return len(adopt_strays(tracks, times, pitches, unsure, level, gap_s=1.0, settings=SETTINGS)) == 1


def test_a_stray_that_fills_a_hole_in_the_rhythm_is_taken_in():
    assert adopted(0.6, 45.5)
    assert not adopted(0.6, 60.0)
    assert not adopted(0.52, 45.5)
    assert not adopted(0.6, 45.5, level_db=-70.0)


def test_a_stray_whose_frequency_is_unsure_may_lie_further_off():
    assert not adopted(0.6, 47.5)
    assert adopted(0.6, 47.5, unsure_percent=2.5)
    assert not adopted(0.6, 60.0, unsure_percent=2.5)


def test_a_stray_that_agrees_in_its_end_is_taken_in_though_its_flattest_stretch_lies_elsewhere():
    assert adopted(0.6, 60.0, end_khz=40.5)
    assert not adopted(0.6, 60.0, end_khz=55.0)
    assert not adopted(0.52, 60.0, end_khz=40.5)


def mended(later, khz, snr=25.0):
    tracks, times, pitch = arrays((np.arange(8) * 0.1, 45.0), (later, khz))
    return sorted(
        map(len, mend(tracks, times, pitch, np.full(len(times), -40.0), np.full(len(times), snr), gap_s=1.0, settings=SETTINGS))
    )


def test_a_break_in_the_middle_of_a_pass_is_mended():
    later = 0.85 + np.arange(6) * 0.1
    assert mended(later, 48.0) == [14]
    # Another species; a fading bat and one that comes; a long silence; two bats at once.
    assert mended(later, 60.0) == [6, 8]
    assert mended(later, 48.0, snr=9.0) == [6, 8]
    assert mended(later + 0.6, 48.0) == [6, 8]
    assert mended(later - 0.5, 48.0) == [6, 8]


def test_a_piece_that_fills_a_hole_is_mended():
    tracks, times, pitch = arrays((np.r_[0:5, 8:14] * 0.1, 45.0), (np.arange(5, 8) * 0.1, 47.0))
    found = mend(tracks, times, pitch, np.full(14, -40.0), np.full(14, 25.0), gap_s=1.0, settings=SETTINGS)
    assert [len(track) for track in found] == [14]
    assert (np.diff(times[found[0]]) > 0).all()


def test_a_pulse_in_the_beat_of_a_buzz_is_no_echo():
    times = np.arange(14) * 0.006
    track = np.delete(np.arange(14), 7)
    tracks, loose = refill_buzzes([track], np.array([7]), times, SETTINGS)
    assert tracks[0].tolist() == list(range(14))
    assert loose.tolist() == []
    times[7] += 0.0025
    assert refill_buzzes([track], np.array([7]), times, SETTINGS)[1].tolist() == [7]
