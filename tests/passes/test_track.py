"""The model of one bat: what speaks for a pulse being its next."""

import math

import numpy as np
import pytest

from classifier.passes.gains import gain as gain_compiled
from classifier.passes.gains import rhythm
from classifier.passes.settings import PassSettings
from classifier.passes.track import PULSE, TRACK, numbers, start
from classifier.passes.track import extend as extend_compiled

NUMBER = numbers(PassSettings())


def pulse(time, khz=45.0, level=-40.0, duration=0.005, era=0, harmonic=0.0, crossed=0):
    made = np.zeros(1, PULSE)[0]
    made["value"] = [100 * math.log(x) for x in (khz, 1.03 * khz, 0.98 * khz, 1.6 * khz, 5.0)]
    made["weight"], made["lift"] = (4.0, 3.0, 2.0, 0.1, 0.015), (4.0, 3.5, 3.0, 2.0, 2.0)
    made["time"], made["duration"], made["level"], made["era"] = time, duration, level, era
    made["harmonic"], made["echo"], made["new"], made["crossed"] = harmonic, -np.inf, -5.3, crossed
    return made


def begin(first):
    made = np.zeros(1, TRACK)[0]
    start(made, first, 0, NUMBER)
    return made


def add(made, new):
    place, square, values, shift, spans, misfit, moment, weights = gain_compiled(made, new, NUMBER)[1:]
    extend_compiled(made, new, 0, int(place), square, int(values), shift, int(spans), misfit, moment, weights, NUMBER)


def track(count, interval=0.1, **rest):
    made = begin(pulse(0.0, **rest))
    for index in range(1, count):
        add(made, pulse(index * interval, **rest))
    return made


def gain(made, **rest):
    return gain_compiled(made, pulse(**rest), NUMBER)[0]


def test_the_expected_pulse_speaks_for_the_track():
    made = track(10)
    best = gain(made, time=1.0)
    assert best > 10
    assert best > gain(made, time=1.06) + 1
    assert best > gain(made, time=1.0, khz=47.0) + 3
    assert best > gain(made, time=1.0, level=-70.0) + 2


def test_missed_pulses_cost_less_than_a_broken_rhythm():
    made = track(10)
    assert gain(made, time=1.1) > gain(made, time=1.05)
    assert gain(made, time=1.2) > gain(made, time=1.25)


def test_one_mouth_cannot_make_two_pulses_at_once():
    made = track(5, duration=0.05)
    assert gain(made, time=0.42) == -np.inf
    assert gain(track(5), time=0.4015) == -np.inf


def test_far_frequencies_are_not_weighed_unless_an_octave_by_harmonic():
    made = track(8)
    assert gain(made, time=0.8, khz=120.0) == -np.inf
    assert gain(made, time=0.8, khz=90.0, harmonic=100 * math.log(2)) > 5
    assert gain(made, time=0.8, khz=90.0) < 0


def test_a_change_of_some_khz_is_unlikely_but_possible_and_is_learned():
    made = track(10)
    first = gain(made, time=1.0, khz=48.0)
    assert -2 < first < gain(made, time=1.0) - 3
    for index in range(10, 14):
        add(made, pulse(index * 0.1, khz=48.0))
    assert gain(made, time=1.4, khz=48.0) > first + 3


def test_two_call_types_in_turn_are_learned():
    made = begin(pulse(0.0, khz=22.0))
    for index in range(1, 12):
        add(made, pulse(index * 0.2, khz=26.0 if index % 2 else 22.0))
    assert made["types"] == 2
    assert gain(made, time=2.4, khz=22.0) > 5
    assert gain(made, time=2.4, khz=22.0) > gain(made, time=2.4, khz=29.0) + 3


def test_the_time_between_files_of_a_coarse_clock_says_nothing():
    made = track(10)
    assert rhythm(made, pulse(0.95, era=1), NUMBER) == (0.0, 0, 0.0)
    density, spans, misfit = rhythm(made, pulse(1.0), NUMBER)
    assert (spans, misfit) == (1, pytest.approx(0.0, abs=1e-6))
    assert density > 2


def test_a_crossed_pulse_counts_where_its_frequencies_agree_and_teaches_none_where_they_are_torn():
    made = track(10)
    assert gain(made, time=1.0, khz=45.0, crossed=1) > gain(made, time=1.0, khz=45.0) - 0.3
    before = made["mean"].copy()
    extend_compiled(made, pulse(1.0, khz=49.0), 0, 0, 9.0, 3, 0.0, 1, 0.0, 0.0, 0.0, NUMBER)
    assert (made["mean"] == before).all()
    assert made["count"] == 11


def test_after_a_buzz_the_bat_goes_back_to_its_search_calls():
    made = track(10)
    now = 0.9
    for step, khz in zip((0.06, 0.045, 0.03, 0.02, 0.012, *[0.006] * 10), (45, 45, 44, 43, 42, *[32] * 10), strict=True):
        now += step
        add(made, pulse(now, khz=khz, duration=min(0.005, 0.4 * step)))
    # Better than a new bat, in the search calls of before only.
    assert gain(made, time=now + 0.12, khz=45.0) > -5.3
    assert gain(made, time=now + 0.12, khz=45.0) > gain(made, time=now + 0.12, khz=80.0) + 3
