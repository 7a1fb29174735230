"""What pulses at the same time mean for each other."""

import numpy as np

from classifier.measure.echoes import find_echoes
from classifier.measure.neighbours import distortions, harmonics_of_others, overlapped, pieces, without_doubles


def _pulses(rows):
    """rows: (onset s, duration s, first and last frequency Hz, level dB[, clipped share %])"""
    rows = [(*row, 0.0)[:6] for row in rows]
    onset, duration, first, last, level, clipped = (np.array(column, float) for column in zip(*rows, strict=True))
    course = first[:, None] + (last - first)[:, None] * np.linspace(0, 1, 21)
    return {
        "onset": (onset, None),
        "duration": (duration, None),
        "level": (level, None),
        "peak_frequency": (course[:, 10], None),
        "clipped_share": (clipped, None),
        "coherence": (np.full(len(onset), 99.0), None),
        "stillness": np.full(len(onset), 0.99),
        "course": course,
    }


def test_a_weaker_pulse_at_twice_the_frequency_is_a_harmonic():
    found = _pulses([(0.1, 6e-3, 60e3, 40e3, -20), (0.1, 6e-3, 120e3, 80e3, -45)])
    assert harmonics_of_others(found).tolist() == [False, True]


def test_a_bat_that_calls_near_a_ratio_of_another_but_on_its_own_course_is_none():
    found = _pulses([(0.1, 6e-3, 60e3, 40e3, -20), (0.101, 6e-3, 118e3, 92e3, -30)])
    assert not harmonics_of_others(found).any()


def test_what_an_overdriven_recorder_adds_is_a_distortion_and_a_pulse_elsewhere_is_none():
    found = _pulses([(0.1, 6e-3, 60e3, 40e3, 0.0, 20.0), (0.1005, 5e-3, 70e3, 30e3, -25), (0.15, 6e-3, 60e3, 40e3, -25)])
    assert distortions(found).tolist() == [False, True, False]
    found["clipped_share"][0][0] = 0.0
    assert not distortions(found).any()


def test_two_tracks_on_one_ridge_leave_the_stronger():
    found = _pulses([(0.1, 6e-3, 60e3, 40e3, -20), (0.1002, 5.5e-3, 59.5e3, 40.5e3, -24)])
    assert without_doubles(found).tolist() == [True, False]


def test_a_brief_sweep_that_crosses_a_long_call_is_kept():
    found = _pulses([(0.1, 20e-3, 62e3, 60e3, -20), (0.108, 3e-3, 80e3, 35e3, -30)])
    assert without_doubles(found).all()
    assert overlapped(found["onset"][0], found["duration"][0], found["course"]).all()


def test_copies_from_afar_are_told_by_their_steady_delay():
    """A wall 14 m away: 83 ms late each time, while the bat's own intervals vary."""
    onset = np.cumsum([0.0, 0.084, 0.092, 0.087, 0.091, 0.079])
    rows = [(at, 5e-3, 75e3, 45e3, -25) for at in onset]
    rows += [(at + 0.0834, 4.5e-3, 70e3, 45e3, -60) for at in onset]
    rows.sort()
    found = _pulses(rows)
    assert find_echoes(found).tolist() == [level == -60 for *_, level in rows]


def test_a_faint_bat_with_a_rhythm_of_its_own_is_no_copy_from_afar():
    rows = [(0.09 * k, 5e-3, 75e3, 45e3, -25) for k in range(8)]
    rows += [(0.05 + 0.1037 * k, 5e-3, 74e3, 46e3, -45) for k in range(7)]
    rows.sort()
    assert not find_echoes(_pulses(rows)).any()


def test_of_two_pieces_of_one_faint_call_the_longer_is_left_and_loud_calls_that_follow_each_other_both():
    rows = [(0.1, 4e-3, 44.6e3, 44.5e3, -60), (0.1045, 9e-3, 44.5e3, 44.4e3, -60), (0.2, 4e-3, 60e3, 50e3, -60)]
    found = _pulses(rows) | {"snr": (np.array([9.0, 10.0, 9.0]), None)}
    assert pieces(found).tolist() == [True, False, False]
    assert not pieces(found | {"snr": (np.full(3, 20.0), None)}).any()
    found = _pulses([(0.1, 4e-3, 44.6e3, 44.5e3, -60), (0.1045, 9e-3, 49.0e3, 47e3, -60)])
    assert not pieces(found | {"snr": (np.full(2, 9.0), None)}).any()


def test_calls_that_run_into_each_other_on_one_ridge_are_one():
    found = _pulses([(0.1, 12e-3, 41.2e3, 41.2e3, -60), (0.108, 22e-3, 41.3e3, 41.2e3, -58)])
    assert without_doubles(found).tolist() == [False, True]
