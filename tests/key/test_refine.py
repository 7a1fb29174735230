"""Refine blocks and tiers: statistics against plain Python, three values, and what stays."""

import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.errors import ParameterError
from classifier.key import compile_key, evaluate_refine, evaluate_tiers, parse_key

HEAD = 'key "K" version 1\nstandard errors {errors}\ntaxon A a\ntaxon B b\ntaxon C c\ngroup "both" A a, B b\n'
TAIL = 'couplet 1\n1a duration < 5 ms => A a\n1b snr < 3 dB => B b\n1c snr < 9 dB => "both"\n1d otherwise => C c\n'


def compiled(rows, errors=0, extra=""):
    reading = parse_key(HEAD.format(errors=errors) + extra + TAIL + rows)
    assert reading.key is not None, reading.diagnostics
    return compile_key(reading.key)


def labels(key, refined):
    return [key.ends[end].label if end >= 0 else "stays" for end in refined.decision]


def refine(key, pulses, pass_of, given=None, errors=None):
    count = max(pass_of, default=-1) + 1
    return evaluate_refine(
        key,
        pulses={name: np.array(each, float) for name, each in pulses.items()},
        pulse_errors=errors or {},
        pass_of=np.array(pass_of, int),
        statistics=given or {"pulses": np.ones(count)},
    )[0]


@pytest.mark.parametrize("function", ["median", "mean", "spread", "share", "count"])
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_summaries_are_those_of_plain_python(function, data):
    passes = data.draw(st.lists(st.lists(st.floats(1, 20), min_size=0, max_size=7), min_size=1, max_size=5))
    of = [place for place, values in enumerate(passes) for _ in values]
    flat = [value for values in passes for value in values]

    def expected(values):
        if function in ("share", "count"):
            yes = sum(value < 9 for value in values)
            return yes if function == "count" else (100 * yes / len(values) if values else None)
        if not values or (function == "spread" and len(values) < 2):
            return None
        if function == "spread":
            # numpy's own linear quantiles, the reference for ours.
            return float(np.diff(np.quantile(values, [0.16, 0.84]))[0]) / 2
        return getattr(statistics, function)(values)

    asked = {"share": "share(duration < 9 ms)", "count": "count(duration < 9 ms)"}.get(function, f"{function}(duration)")
    unit = {"share": " %", "count": ""}.get(function, " ms")
    for boundary in (0.5, 3, 9, 50):
        key = compiled(f"refine A a | B b\na {asked} >= {boundary}{unit} => A a\nb otherwise => B b\n")
        order = data.draw(st.permutations(range(len(flat))))
        refined = refine(
            key,
            {"duration": [flat[place] for place in order]},
            [of[place] for place in order],
            {"pulses": np.ones(len(passes))},
        )
        for values, label in zip(passes, labels(key, refined), strict=True):
            value = expected(values)
            if value is None:
                assert label == "stays"
            elif abs(value - boundary) > 1e-9:
                assert label == ("A a" if value >= boundary else "B b")


def test_errors_of_summaries_widen_zones():
    # Four durations 4, 5, 6, 7: mean 5.5, sample standard deviation 1.2910, error of the mean 0.6455 (by hand).
    rows = "refine A a | B b\na mean(duration) >= {} ms => A a\nb otherwise => B b\n"
    values, of = {"duration": [4, 5, 6, 7]}, [0, 0, 0, 0]
    assert refine(compiled(rows.format("4.85")), values, of).trail.tolist() == ["a"]
    assert refine(compiled(rows.format("4.85"), errors=1), values, of).trail.tolist() == ["a"]
    assert refine(compiled(rows.format("4.86"), errors=1), values, of).trail.tolist() == ["a | b"]
    assert refine(compiled(rows.format("4.20"), errors=2), values, of).trail.tolist() == ["a"]
    median = "refine A a | B b\na median(duration) >= {} ms => A a\nb otherwise => B b\n"
    # The median's error is sqrt(pi/2) times that: 0.8090 (the large-sample ratio for normal values).
    assert refine(compiled(median.format("4.70"), errors=1), values, of).trail.tolist() == ["a | b"]
    assert refine(compiled(median.format("4.69"), errors=1), values, of).trail.tolist() == ["a"]


def test_a_single_pulse_brings_its_own_error():
    rows = "refine A a | B b\na median(duration) >= 5 ms => A a\nb otherwise => B b\n"
    refined = refine(compiled(rows, errors=2), {"duration": [6.0, 6.0]}, [0, 1], errors={"duration": np.array([0.4, 0.6])})
    assert refined.trail.tolist() == ["a", "a | b"]


def test_what_is_unsure_between_outcomes_stays_and_what_comes_to_the_same_does_not():
    rows = (
        "refine A a | B b\na alternation >= 3 kHz ± 1 kHz => A a\nb feeding_buzz => B b, at most possible\n"
        "c alternation < 1 kHz => stays\nd otherwise => A a, at most probable\n"
    )
    key = compiled(rows)
    refined = evaluate_refine(
        key,
        pulses={},
        pulse_errors={},
        pass_of=np.array([], int),
        statistics={"alternation": np.array([5.0, 3.0, 3.0, 0.5, 1.5, np.nan]), "feeding_buzz": np.array([1.0, 1, 0, 0, 1, 0])},
    )[0]
    assert refined.trail.tolist() == ["a", "a | b", "a | d", "c", "b", "a | c | d"]
    assert labels(key, refined) == ["A a", "stays", "A a", "stays", "B b", "stays"]
    assert refined.cap.tolist() == [0, 0, 0, 0, 2, 0]


def test_lets_and_dates_in_refine():
    key = compiled(
        'refine "both" | C c\na month from 5 to 9 and share(short) > 50 % => A a\n'
        'b hour_after_sunset < 1 h and interval > 0.1 s => B b\nc duty_cycle > 25 % => unidentified "long calls"\n',
        extra="let short = duration < 5 ms\n",
    )
    refined = evaluate_refine(
        key,
        pulses={"duration": np.array([3.0, 9, 9, 9])},
        pulse_errors={},
        pass_of=np.array([0, 1, 2, 3]),
        statistics={
            "month": np.array([6, 6, 12, 12.0]),
            "hour_after_sunset": np.array([2, 0.5, 2, 2.0]),
            "interval": np.array([90, 101, 90, 90.0]),
            "duty_cycle": np.array([10, 10, 40, 10.0]),
        },
    )[0]
    assert labels(key, refined) == ["A a", "B b", "unidentified", "stays"]
    assert refined.trail.tolist() == ["a", "b", "c", ""]
    assert [key.ends[end].label for end in refined.refinement.candidates] == ["both", "C c"]


def test_tiers_are_the_first_that_surely_holds():
    key = compiled(
        "",
        extra="passes\ngap 500 ms\nat least 4 pulses\ndefinite when support >= 90 % and clear >= 5\n"
        "probable when support >= 70 % ± 10 % or clearance > 3\n",
    )
    assert (key.gap_s, key.least_pulses) == (0.5, 4)
    tiers = evaluate_tiers(
        key,
        support=np.array([95, 95, 75, 85, 10.0]),
        clear=np.array([5, 4, 9, 9, 9.0]),
        pulses=np.full(5, 9.0),
        clearance=np.array([1, 1, 1, 1, 3.5]),
    )
    assert tiers.tolist() == [0, 1, -1, 1, 1]


def test_a_key_without_passes_gives_possible():
    key = compiled("")
    assert (key.gap_s, key.least_pulses) == (1.0, 1)
    assert evaluate_tiers(key, support=np.ones(2), clear=np.ones(2), pulses=np.ones(2), clearance=np.ones(2)).tolist() == [2, 2]


def test_misuse_is_refused():
    key = compiled("")
    with pytest.raises(ParameterError, match="one length"):
        evaluate_refine(key, pulses={}, pulse_errors={}, pass_of=np.array([], int), statistics={})
    with pytest.raises(ParameterError, match="alternaton"):
        evaluate_refine(key, pulses={}, pulse_errors={}, pass_of=np.array([], int), statistics={"alternaton": np.ones(1)})
    with pytest.raises(ParameterError, match="between 0 and 0"):
        evaluate_refine(key, pulses={}, pulse_errors={}, pass_of=np.array([1]), statistics={"pulses": np.ones(1)})
