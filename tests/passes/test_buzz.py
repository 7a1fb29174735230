"""Feeding buzzes. Facts: intervals of 5 to 10 ms (Kalko 1995, from memory); 160 to 190 calls a second, so 5.3 to
6.3 ms (Elemans et al. 2011, Science, as reported in the press)."""

import numpy as np
import pytest

from classifier.passes.buzz import capture, home_of_buzz, in_buzz
from classifier.passes.settings import PassSettings

SETTINGS = PassSettings()


def flags(times):
    return in_buzz(np.asarray(times, float), np.zeros(len(times)), SETTINGS)


@pytest.mark.parametrize("rate", [100, 160, 190, 200])
def test_published_buzz_rates_are_buzzes(rate):
    assert flags(np.arange(20) / rate).all()


@pytest.mark.parametrize("interval", [0.02, 0.05, 0.08])
def test_approach_and_search_intervals_are_none(interval):
    assert not flags(np.arange(20) * interval).any()


def test_a_run_must_be_long_enough_and_may_lose_a_pulse():
    assert not flags([0, 0.006, 0.012, 0.018]).any()
    lost = np.delete(np.arange(12) * 0.007, 6)
    assert flags(lost).all()


def test_two_passes_do_not_make_a_buzz_between_them():
    times = np.arange(10) * 0.006
    assert not in_buzz(times, np.arange(10) // 3, SETTINGS).any()


def test_search_calls_around_a_buzz_stay_outside():
    times = np.r_[0, 0.09, 0.18, 0.18 + np.cumsum([0.06, 0.04, 0.025, 0.017]), 0.33 + np.arange(12) * 0.006, 0.55, 0.64]
    found = flags(times)
    assert found[7:19].all()
    assert not found[:6].any()
    assert not found[19:].any()
    taken = capture(times, found, SETTINGS)
    assert taken[3:19].all()
    assert not taken[:2].any()


def home(buzz, others, pitch_of, gap_s=1.0):
    """Times per track; returns what home_of_buzz says."""
    times = np.concatenate([buzz, *others])
    edges = np.cumsum([0, len(buzz), *map(len, others)])
    tracks = [np.arange(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    pitch = np.concatenate([np.full(len(t), 100 * np.log(khz)) for t, khz in zip(tracks, pitch_of, strict=True)])
    return home_of_buzz(
        tracks[0], np.ones(len(buzz), bool), tracks[1:], times, times + 0.001, pitch, gap_s=gap_s, settings=SETTINGS
    )


def test_a_lone_buzz_goes_to_the_bat_that_was_silent_meanwhile():
    buzz = np.arange(12) * 0.007
    later = 0.3 + np.arange(10) * 0.09
    during = 0.03 + np.arange(10) * 0.09
    assert home(buzz, [during, later], [33, 45, 45]) == 1
    assert home(buzz, [later + 2], [33, 45]) is None
    assert home(buzz, [later], [90, 45]) is None
    assert home(buzz, [later], [15, 45]) is None
