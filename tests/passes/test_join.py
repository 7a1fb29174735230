"""Alternating callers, echo trains, lone buzzes."""

import numpy as np
import pytest

from classifier.passes.join import alternation, settle
from classifier.passes.settings import PassSettings

SETTINGS = PassSettings()


def test_alternation_is_the_difference_of_two_types_in_turn():
    rng = np.random.default_rng(0)
    turns = 100 * np.log(np.where(np.arange(20) % 2, 26.0, 22.0)) + rng.normal(0, 0.5, 20)
    assert abs(alternation(turns, SETTINGS) - 100 * np.log(26 / 22)) < 1
    # One change half-way through is none, and neither is scatter.
    assert alternation(np.sort(turns), SETTINGS) is None
    assert alternation(rng.normal(380, 3, 40), SETTINGS) is None
    assert alternation(turns[:5], SETTINGS) is None


def two_tracks(a, b, khz, levels=(-40.0, -40.0)):
    times = np.r_[a, b]
    pitch = np.r_[np.full(len(a), 100 * np.log(khz[0])), np.full(len(b), 100 * np.log(khz[1]))]
    level = np.r_[np.full(len(a), levels[0]), np.full(len(b), levels[1])]
    pulses = times, times + 0.005, pitch, pitch[:, None], np.zeros((len(times), 1)), level, level + 65
    tracks, echoes = settle([range(len(a)), range(len(a), len(times))], [], *pulses, gap_s=1.0, settings=SETTINGS)
    return sorted(map(len, tracks)), len(echoes)


def test_tracks_in_one_rhythm_half_a_period_apart_are_one_bat():
    a = np.arange(8) * 0.4
    assert two_tracks(a, a + 0.2, (22, 26)) == ([16], 0)
    # Short and long turns in equal number, so that no turn lies near the middle of them.
    assert two_tracks(a, a + 0.05, (22, 26)) == ([8, 8], 0)
    # The same two bats apart in rhythm, or an octave apart, are two.
    assert two_tracks(a, np.arange(9) * 0.33 + 0.05, (22, 26)) == ([8, 9], 0)
    assert two_tracks(a, a + 0.2, (22, 45)) == ([8, 8], 0)


@pytest.mark.filterwarnings("error")
def test_calls_at_one_moment_are_two_bats():
    a = np.arange(12) * 0.4
    b = a + 0.2
    assert two_tracks(a, b, (22, 26)) == ([24], 0)
    b[5] = a[6]
    assert two_tracks(a, b, (22, 26)) == ([12, 12], 0)


def test_a_train_at_a_steady_delay_is_an_echo():
    a = np.cumsum(np.random.default_rng(1).uniform(0.07, 0.12, 12))
    assert two_tracks(a, a + 0.008, (45, 45.1), (-40, -50)) == ([12], 12)
    # As loud, at another frequency, or at any delay: not an echo.
    assert two_tracks(a, a + 0.008, (45, 45.1), (-40, -40)) == ([12, 12], 0)
    assert two_tracks(a, a + 0.008, (45, 49), (-40, -50)) == ([12, 12], 0)
    wild = a + np.random.default_rng(2).uniform(0.001, 0.025, 12)
    assert two_tracks(a, wild, (45, 45.1), (-40, -50)) == ([12, 12], 0)
