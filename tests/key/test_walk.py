"""One call through a key, step by step, worked by hand."""

import math

import pytest

from classifier.key import read_key, walk


@pytest.fixture(scope="module")
def wetlands(request):
    return read_key(request.path.parent / "wetlands.key").key


def test_a_worked_call(wetlands):
    way = walk(
        wetlands,
        {
            "characteristic_frequency": (24.0, 0.2),
            "characteristic_slope": -0.1,
            "duration": (9.5, 0.1),
            "snr": 20.0,
            "knee_frequency": 26.0,
            "start_frequency": 30.0,
            "end_frequency": 23.0,
        },
    )
    assert way.gated_by is None
    assert [(step.label, step.truth) for step in way.gate] == [("gate", "yes"), ("gate", "yes"), ("gate", "unsure")]
    assert [(step.label, step.truth) for step in way.steps] == [
        ("1a", "no"),
        ("1b", "no"),
        ("1c", "yes"),
        ("2a", "unsure"),
        ("2b", "yes"),
    ]
    assert way.trail == "1c 2a | 1c 2b"
    assert way.parted_by == 2
    assert {end.label: cap for end, cap in way.candidates.items()} == {
        "Examplia vespera": 1,
        "Examplia matutina": 0,
    }
    assert way.reason == ""
    # 1b: 16 kHz ± 0.5 kHz, widened by two standard errors of 0.2 kHz: half-width 0.9, distance 8.
    (low,) = way.steps[1].comparisons
    assert low.text == "characteristic_frequency < 16 kHz ± 0.5 kHz"
    assert low.measured == (("characteristic_frequency", 24.0, 0.2),)
    assert (low.boundary, low.unit, low.truth) == (16.0, "kHz", "no")
    assert low.half_width == pytest.approx(0.9)
    assert low.clearance == pytest.approx(8 / 0.9)
    # 2a: the slope is sure (0.2 from the edge of 0.05), the duration is not: 0.5 off 10 ms with 1 ms + 0.2 ms.
    slope, duration = way.steps[3].comparisons
    assert (slope.truth, slope.clearance) == ("yes", pytest.approx(4))
    assert (duration.truth, duration.clearance) == ("unsure", pytest.approx(0.5 / 1.2))
    # 2b: from 23 to 25 kHz ± 0.5 kHz; 1 kHz from both ends with 0.9 kHz: sure on both sides.
    assert [(each.truth, each.clearance) for each in way.steps[4].comparisons] == [("yes", pytest.approx(1 / 0.9))] * 2
    assert way.clearance == min(step.clearance for step in way.steps)


def test_the_gate_stops_a_call(wetlands):
    way = walk(wetlands, {"snr": 5.0})
    assert way.gated_by == "snr >= 12 dB"
    assert (way.steps, way.trail, dict(way.candidates)) == ((), "", {})
    assert math.isnan(way.clearance)


def test_a_call_of_which_nothing_is_known_may_be_anything(wetlands):
    way = walk(wetlands, {})
    assert way.parted_by == 1
    assert {end.label for end in way.candidates} == {
        "long-eared bats",
        "Examplia grandis",
        "Examplia vespera",
        "Examplia matutina",
        "not a bat",
        "unidentified",
    }
    assert way.clearance == 0


def test_targets_and_texts_are_the_keys_own(wetlands):
    way = walk(wetlands, {"characteristic_slope": -5.0, "start_frequency": 60.0, "end_frequency": 25.0})
    assert way.steps[0].text == "characteristic_slope < -2.5 kHz/ms and sweep > 20 kHz"
    assert way.steps[0].target == '"long-eared bats"'
    assert way.steps[0].comparisons[1].text == "start_frequency - end_frequency > 20 kHz"
    assert way.steps[0].comparisons[1].value == 35.0
