"""Echoes told from calls of a second bat and from feeding buzzes."""

import numpy as np

from classifier.measure.echoes import find_echoes


def _pulses(rows):
    """rows: (onset s, level dB, coherence %, lowest and highest frequency Hz, duration s[, stillness])"""
    rows = [(*row, 0.99)[:7] for row in rows]
    onset, level, coherence, low, high, duration, stillness = (
        np.array(column, float) for column in zip(*rows, strict=True)
    )
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
