"""Sets of calls in words."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planting import reading_of

from classifier.key import compile_key, walk
from classifier.key.check.axes import Axes
from classifier.key.check.ground import Ground
from classifier.key.check.words import axis_name, described, listed
from classifier.key.vocabulary import PASS


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("duration < 5 ms", "duration below 5 ms"),
        ("duration <= 5 ms", "duration of 5 ms or less"),
        ("duration > 5 ms", "duration above 5 ms"),
        ("duration >= 5 ms", "duration of 5 ms or more"),
        ("duration from 5 to 6.5 ms", "duration from 5 to 6.5 ms"),
        ("duration from 5 to 5 ms", "duration exactly 5 ms"),
        ("not (duration from 5 to 6 ms)", "duration below 5 ms or above 6 ms"),
        ("knee_frequency is missing", "knee_frequency missing"),
        ("abs(characteristic_slope) < 1 kHz/ms", "characteristic_slope from -1 to 1 kHz/ms"),
        ("2 * start_frequency - end_frequency > 5 kHz", "2 * start_frequency - end_frequency above 5 kHz"),
        ("bandwidth / duration > 5 kHz/ms", "bandwidth / duration above 5 kHz/ms"),
        ("duration < 5 ms and characteristic_slope < -1 kHz/ms", "duration below 5 ms and characteristic_slope below -1 kHz/ms"),
    ],
)
def test_conditions_come_back_in_words(condition, words):
    reading = reading_of(f"couplet 1\n    1a {condition} => Examplia a\n    1b otherwise => Examplia b\n")
    ground = Ground(compile_key(reading.key, reading.meanings))
    case = ground.narrow(ground.everywhere, ground.terms(ground.compiled.routes[0]).yes)
    assert described(ground.axes, case.cells) == words


def test_lists():
    assert listed(["a"]) == "a"
    assert listed(["a", "b"], "or") == "a or b"
    assert listed("abcdef", most=2) == "a, b and 4 more"


@given(st.floats(0.5, 40), st.floats(0.5, 40), st.sampled_from(["<", "<=", ">", ">="]), st.booleans())
@settings(max_examples=150, deadline=None)
def test_words_say_the_set_that_was_meant(first, second, sense, negated):
    """Read back by hand, the words hold for exactly the values for which the condition holds."""
    low, high = sorted((round(first, 2), round(second, 2)))
    condition = f"duration {sense} {low} ms" if low == high else f"duration from {low} to {high} ms"
    condition = f"not ({condition})" if negated else condition
    reading = reading_of(f"couplet 1\n    1a {condition} => Examplia a\n    1b otherwise => Examplia b\n")
    compiled = compile_key(reading.key, reading.meanings)
    ground = Ground(compiled)
    words = described(ground.axes, ground.narrow(ground.everywhere, ground.terms(compiled.routes[0]).yes).cells)
    for value in (low - 0.01, low, low + 0.001, (low + high) / 2, high - 0.001, high, high + 0.01):
        assert held(words, value) == (walk(compiled, {"duration": value}).steps[0].truth == "yes"), (words, value)


def held(words, value):
    """What a reader of ``duration from 2 to 5 ms or above 7 ms`` takes it to mean for a duration."""
    words = words.removeprefix("duration ").replace(" ms", "")
    for part in re.sub(r" of (\S+) or (less|more)", r" \2 \1", f" {words}").strip().split(" or "):
        match part.split():
            case ["below", limit] if value < float(limit):
                return True
            case ["above", limit] if value > float(limit):
                return True
            case ["less", limit] if value <= float(limit):
                return True
            case ["more", limit] if value >= float(limit):
                return True
            case ["exactly", limit] if value == float(limit):
                return True
            case ["from", low, "to", high] if float(low) < value < float(high) or value in (float(low), float(high)):
                return True
    return False


def test_long_descriptions_are_cut_and_say_so():
    names = [("snr", "dB"), ("duration", "ms"), ("flat_share", "%"), ("coherence", "%"), ("second_harmonic", "dB")]
    condition = " and ".join(f"{name} > 5 {unit}" for name, unit in names)
    reading = reading_of(f"couplet 1\n    1a {condition} => Examplia a\n    1b otherwise => Examplia b\n")
    compiled = compile_key(reading.key, reading.meanings)
    ground = Ground(compiled)
    words = described(ground.axes, ground.narrow(ground.everywhere, ground.terms(compiled.routes[0]).yes).cells)
    assert words.endswith(" and more")
    assert words.count("above 5") == 3


def test_nothing_narrowed_has_no_words():
    reading = reading_of("couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia b\n")
    ground = Ground(compile_key(reading.key, reading.meanings))
    assert described(ground.axes, ground.everywhere.cells) == ""


def test_statistics_show_their_function():
    axes = Axes(PASS)
    body = (
        "couplet 1\n    1a otherwise => Examplia a\nrefine Examplia a | Examplia b\n"
        "    a median(duration) < 5 ms => Examplia b\n    b otherwise => stays\n"
    )
    reading = reading_of(body)
    axes.take(reading.meanings[id(reading.key.refines[0].leads[0].condition)])
    axes.close()
    assert [axis_name(axis) for axis in axes.all] == ["median(…)"]
