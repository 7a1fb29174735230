"""The model of one bat: what speaks for a pulse being its next."""

import math

import pytest

from classifier.passes.settings import PassSettings
from classifier.passes.track import Model, Pulse

MODEL = Model(PassSettings())


def pulse(index, time, khz=45.0, level=-40.0, duration=0.005, era=0, harmonic=0.0):
    value = tuple(100 * math.log(x) for x in (khz, 1.03 * khz, 0.98 * khz, 1.6 * khz, 5.0))
    return Pulse(index, time, duration, era, value, (4.0, 3.0, 2.0, 0.1, 0.015), (4.0, 3.5, 3.0, 2.0, 2.0), level, 0.0,
                 harmonic, None, -5.3, 0.0)


def track(count, interval=0.1, **rest):
    made = MODEL.start(pulse(0, 0.0, **rest))
    for index in range(1, count):
        new = pulse(index, index * interval, **rest)
        made = MODEL.extend(made, new, MODEL.gain(made, new)[1])
    return made


def gain(made, **rest):
    found = MODEL.gain(made, pulse(99, **rest))
    return None if found is None else found[0]


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
    assert gain(made, time=0.42) is None
    assert gain(track(5), time=0.4015) is None


def test_far_frequencies_are_not_weighed_unless_an_octave_by_harmonic():
    made = track(8)
    assert gain(made, time=0.8, khz=120.0) is None
    assert gain(made, time=0.8, khz=90.0, harmonic=100 * math.log(2)) > 5
    assert gain(made, time=0.8, khz=90.0) < 0


def test_a_change_of_some_khz_is_unlikely_but_possible_and_is_learned():
    made = track(10)
    first = gain(made, time=1.0, khz=48.0)
    assert -2 < first < gain(made, time=1.0) - 3
    for index in range(10, 14):
        new = pulse(index, index * 0.1, khz=48.0)
        made = MODEL.extend(made, new, MODEL.gain(made, new)[1])
    assert gain(made, time=1.4, khz=48.0) > first + 3


def test_two_call_types_in_turn_are_learned():
    made = MODEL.start(pulse(0, 0.0, khz=22.0))
    for index in range(1, 12):
        new = pulse(index, index * 0.2, khz=26.0 if index % 2 else 22.0)
        made = MODEL.extend(made, new, MODEL.gain(made, new)[1])
    assert len(made.types) == 2
    assert gain(made, time=2.4, khz=22.0) > 5
    assert gain(made, time=2.4, khz=22.0) > gain(made, time=2.4, khz=29.0) + 3


def test_the_time_between_files_of_a_coarse_clock_says_nothing():
    made = track(10)
    assert MODEL.rhythm(made, pulse(99, 0.95, era=1)) == (0.0, 0, 0.0)
    density, spans, misfit = MODEL.rhythm(made, pulse(99, 1.0))
    assert (spans, misfit) == (1, pytest.approx(0.0, abs=1e-6))
    assert density > 2
