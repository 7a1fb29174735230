"""Feasibility and witnesses of sets of cells, against systems solved by hand and by fractions."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planting import reading_of

from classifier.key import compile_key
from classifier.key.check.ground import Ground
from classifier.key.check.kinds import BENT, RATIO
from classifier.key.check.rows import Row, widest


def ground_of(*conditions):
    """A ground whose couplet n has the n-th condition as its first lead."""
    lines = []
    for number, condition in enumerate(conditions, start=1):
        onward = number + 1 if number < len(conditions) else "Examplia b"
        lines += [f"couplet {number}", f"    {number}a {condition} => Examplia a", f"    {number}b otherwise => {onward}"]
    reading = reading_of("\n".join(lines) + "\n")
    return Ground(compile_key(reading.key, reading.meanings))


def together(ground):
    """A call to which all conditions are yes, or None."""
    case = ground.everywhere
    for station in ground.compiled.stations:
        case = ground.narrow(case, ground.terms(station.routes[0]).yes)
    found = ground.find([case])
    assert bool(found) == ground.any_call(case)
    return found[0].inside.call if found else None


IMPOSSIBLE = [
    ("max_frequency < 20 kHz", "min_frequency > 20 kHz"),
    ("max_frequency < 20 kHz", "start_frequency > 20 kHz"),
    ("min_frequency > 20 kHz", "characteristic_frequency < 20 kHz"),
    ("min_frequency > 20 kHz", "peak_frequency <= 20 kHz"),
    ("max_frequency < 40 kHz", "bandwidth > 39 kHz"),
    ("bandwidth < 5 kHz", "start_frequency - end_frequency > 5 kHz"),
    ("bandwidth < 5 kHz", "start_frequency > 60 kHz", "end_frequency < 50 kHz"),
    ("tail > 3 kHz", "end_frequency < 30 kHz", "characteristic_frequency > 28 kHz"),
    ("knee_time > 8 ms", "duration < 8 ms"),
    ("knee_frequency > 50 kHz", "max_frequency < 50 kHz"),
    ("start_frequency - end_frequency > 10 kHz", "end_frequency - start_frequency > -5 kHz"),
    ("start_frequency + end_frequency < 40 kHz", "start_frequency > 25 kHz", "end_frequency > 16 kHz"),
    ("bandwidth / duration > 10 kHz/ms", "bandwidth < 20 kHz", "duration > 2 ms"),
    ("abs(tail) + bandwidth < 4 kHz", "tail < -4 kHz"),
    ("abs(tail) - abs(characteristic_frequency - 30 kHz) > 5 kHz", "tail from -5 kHz to 5 kHz"),
    ("tail + characteristic_frequency > 40 kHz", "end_frequency < 40 kHz"),
    ("bandwidth - max_frequency + min_frequency > 0.1 kHz",),
    ("strongest_harmonic > 1", "strongest_harmonic < 2"),
    ("flat_share > 99 %", "flat_share < 99 %"),
]
POSSIBLE = [
    ("max_frequency <= 20 kHz", "min_frequency >= 20 kHz"),
    ("max_frequency < 40 kHz", "bandwidth > 38 kHz"),
    ("bandwidth < 5 kHz", "start_frequency - end_frequency > 4.5 kHz", "characteristic_frequency > 60 kHz"),
    ("tail < -3 kHz", "end_frequency < 30 kHz", "characteristic_frequency > 28 kHz"),
    ("start_frequency + end_frequency < 40 kHz", "start_frequency > 25 kHz", "end_frequency > 14.5 kHz"),
    ("bandwidth / duration > 10 kHz/ms", "bandwidth < 20 kHz", "duration > 1.9 ms"),
    ("abs(tail) + bandwidth < 4 kHz", "tail < -1.5 kHz"),
    ("start_frequency >= 30 kHz", "start_frequency <= 30 kHz"),
    ("start_frequency - end_frequency >= 7 kHz", "end_frequency - start_frequency >= -7 kHz"),
    ("strongest_harmonic >= 2", "strongest_harmonic < 3"),
]


@pytest.mark.parametrize("conditions", IMPOSSIBLE)
def test_calls_that_cannot_be(conditions):
    assert together(ground_of(*conditions)) is None


@pytest.mark.parametrize("conditions", POSSIBLE)
def test_calls_that_can_be(conditions):
    assert together(ground_of(*conditions)) is not None


def test_kinds_in_these_lists_are_what_they_are_for():
    kinds = {axis.kind for conditions in IMPOSSIBLE for axis in ground_of(*conditions).axes.all}
    assert {RATIO, BENT} <= kinds


@settings(deadline=None, max_examples=60)
@given(st.integers(-6, 6), st.integers(1, 5), st.integers(-6, 6), st.integers(1, 5))
def test_stretches_of_a_difference_and_of_its_parts(low, width, boundary, more):
    """x in [30, 30 + width], y in [30 + boundary, ... + more] and x - y > low: possible iff the widest difference is more."""
    ground = ground_of(
        f"start_frequency from 30 to {30 + width} kHz",
        f"end_frequency from {30 + boundary} to {30 + boundary + more} kHz",
        f"start_frequency - end_frequency > {low} kHz",
    )
    assert (together(ground) is not None) == (width - boundary > low)


def test_a_witness_stands_in_the_middle():
    call = together(ground_of("duration from 4 to 8 ms", "start_frequency from 60 to 70 kHz"))
    assert call == {"duration": 6.0, "start_frequency": 65.0}


def test_a_flat_set_is_found():
    ground = ground_of("start_frequency - end_frequency >= 7 kHz", "end_frequency - start_frequency >= -7 kHz")
    case = ground.everywhere
    for station in ground.compiled.stations:
        case = ground.narrow(case, ground.terms(station.routes[0]).yes)
    (found,) = ground.find([case])
    assert abs(found.inside.call["start_frequency"] - found.inside.call["end_frequency"] - 7) < 1e-6


def test_widest_is_the_centre_of_the_largest_ball_in_resolutions():
    # x + y <= 10, x >= 0, y >= 0 with scales 1, 1 and 2: the room t solves t + t + 2t = 10.
    rows = [
        Row(("x", "y"), (1.0, 1.0), high=10.0, scale=2.0),
        Row(("x",), (1.0,), low=0.0, scale=1.0),
        Row(("y",), (1.0,), low=0.0, scale=1.0),
    ]
    call, room = widest({"x": (-50.0, 50.0), "y": (-50.0, 50.0)}, rows, open_only=False)
    assert room == pytest.approx(2.5)
    assert call == pytest.approx({"x": 2.5, "y": 2.5})
