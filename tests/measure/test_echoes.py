"""Echoes told from calls of a second bat and from feeding buzzes."""

import numpy as np

from classifier.measure.echoes import find_echoes, find_forks


def _pulses(rows):
    """rows: (onset s, level dB, coherence %, lowest and highest frequency Hz, duration s[, stillness])"""
    rows = [(*row, 0.99)[:7] for row in rows]
    onset, level, coherence, low, high, duration, stillness = (np.array(column, float) for column in zip(*rows, strict=True))
    course = high[:, None] + (low - high)[:, None] * np.linspace(0, 1, 21)
    return {
        "onset": (onset, None),
        "level": (level, None),
        "coherence": (coherence, None),
        "peak_frequency": (low + 1000, None),
        "duration": (duration, None),
        "course": course,
        "stillness": stillness,
    }


def test_a_weaker_copy_soon_after_each_call_is_an_echo():
    rows = []
    for k in range(5):
        rows.append((0.1 * k, -20, 99, 45e3, 75e3, 5e-3))
        # the air has taken the high start, so that the copy begins later on the same course
        rows.append((0.1 * k + 0.0095, -30, 99, 45e3, 72e3, 4.5e-3))
    assert find_echoes(_pulses(rows)).tolist() == [False, True] * 5


def test_a_torn_sound_within_the_band_of_the_call_before_it_is_an_echo():
    rows = []
    for k in range(5):
        rows.append((0.1 * k, -20, 99, 45e3, 75e3, 5e-3))
        rows.append((0.1 * k + 0.009, -30, 85, 47e3, 52e3, 8e-3, 0.9))
    assert find_echoes(_pulses(rows)).tolist() == [False, True] * 5


def test_a_whole_call_of_another_course_soon_after_a_louder_one_is_none():
    rows = []
    for k in range(5):
        rows.append((0.1 * k, -20, 99, 45e3, 75e3, 5e-3))
        rows.append((0.1 * k + 0.009, -30, 99, 44e3, 50e3, 6e-3))
    assert not find_echoes(_pulses(rows)).any()


def test_calls_of_a_feeding_buzz_are_none():
    rows = [(0.5 + 0.0065 * k, -20 - 0.8 * k, 98, 35e3, 55e3, 1.2e-3) for k in range(12)]
    assert not find_echoes(_pulses(rows)).any()


def test_whole_calls_of_a_second_bat_heard_elsewhere_too_are_none():
    rows = [(0.090 * k, -20, 99, 45e3, 75e3, 5e-3) for k in range(10)]
    rows += [(0.050 + 0.075 * k, -28, 99, 46e3, 74e3, 5e-3) for k in range(10)]
    rows.sort()
    assert not find_echoes(_pulses(rows)).any()


def test_a_call_in_another_band_is_none():
    rows = [(0.0, -20, 99, 45e3, 75e3, 5e-3), (0.01, -35, 99, 20e3, 25e3, 10e-3)]
    assert not find_echoes(_pulses(rows)).any()


def _shaped(rows):
    """rows: (onset s, duration s, level dB, corners of the course as (share of the duration, Hz))"""
    onset, duration, level = (np.array(column, float) for column in list(zip(*rows, strict=True))[:3])
    share = np.linspace(0, 1, 21)
    course = np.array([np.interp(share, *np.transpose(corners)) for *_, corners in rows])
    return {
        "onset": (onset, None),
        "level": (level, None),
        "coherence": (np.full(len(rows), 99.0), None),
        "peak_frequency": (np.median(course, axis=1), None),
        "duration": (duration, None),
        "course": course,
        "stillness": np.full(len(rows), 0.99),
    }


HORSESHOE = ((0, 72e3), (0.06, 80e3), (0.93, 80e3), (1, 65e3))


def test_an_echo_whose_start_its_long_pulse_drowns_is_known_by_its_end():
    """A pulse of 45 ms, an echo 10 ms late: heard for itself only from where the pulse sweeps away."""
    rows = []
    for k in range(6):
        rows.append((0.1 * k, 45e-3, -20, HORSESHOE))
        rows.append((0.1 * k + 0.0425, 12.5e-3, -30, ((0, 80e3), (0.75, 80e3), (1, 65e3))))
    assert find_echoes(_shaped(rows)).tolist() == [False, True] * 6
    # a second horseshoe bat has a frequency of its own
    for k in range(6):
        rows[2 * k + 1] = (0.1 * k + 0.0425, 12.5e-3, -30, ((0, 83e3), (0.75, 83e3), (1, 68e3)))
    assert not find_echoes(_shaped(rows)).any()


def test_the_echo_of_another_harmonic_is_an_echo():
    rows = []
    for k in range(4):
        rows.append((0.1 * k, 14e-3, -20, ((0, 25e3), (1, 23e3))))
        rows.append((0.1 * k + 0.008, 13e-3, -45, ((0, 50e3), (1, 46e3))))
    assert find_echoes(_shaped(rows)).tolist() == [False, True] * 4
    # as loud as the calls themselves it is a bat
    rows = [(at, length, -20, corners) for at, length, _, corners in rows]
    assert not find_echoes(_shaped(rows)).any()


def test_calls_that_drift_against_another_bats_are_no_echoes_and_steady_copies_are():
    """The delay behind the other bat's call tells, where like calls without any copy are heard nearby."""

    def rows(delays):
        out = [(0.1 * k, 5e-3, -20, ((0, 75e3), (1, 45e3))) for k in range(len(delays))]
        out += [(0.1 * k + delay, 5e-3, -26, ((0, 75e3), (1, 45e3))) for k, delay in enumerate(delays)]
        # heard alone
        out += [(0.1 * k + 0.06, 5e-3, -26, ((0, 75e3), (1, 45e3))) for k in range(len(delays))]
        return sorted(out)

    assert not find_echoes(_shaped(rows([0.008, 0.012, 0.016, 0.020, 0.024, 0.028]))).any()
    assert find_echoes(_shaped(rows([0.012] * 6))).sum() == 6


def test_the_end_of_a_call_whose_ridge_was_followed_into_its_echo_is_no_pulse_of_its_own():
    long = (0.1, 55e-3, -20, ((0, 72e3), (0.06, 80e3), (1 - 3 / 55, 80e3), (1, 65e3)))
    end = (0.1 + 0.042, 3e-3, -24, ((0, 80e3), (1, 65e3)))
    assert find_forks(_shaped([long, end])).tolist() == [False, True]
    # a sweep that comes from elsewhere, or that nothing repeats, is another bat's
    across = (0.1 + 0.040, 5e-3, -24, ((0, 95e3), (1, 65e3)))
    assert not find_forks(_shaped([long, across])).any()
    earlier = (0.1 + 0.010, 3e-3, -24, ((0, 80e3), (1, 65e3)))
    assert not find_forks(_shaped([long, earlier])).any()
