"""Sets of calls in words."""

import pytest
from planting import reading_of

from classifier.key import compile_key
from classifier.key.check.ground import Ground
from classifier.key.check.words import described, listed, number


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


def test_lists_and_numbers():
    assert listed(["a"]) == "a"
    assert listed(["a", "b"], "or") == "a or b"
    assert listed("abcdef", most=2) == "a, b and 4 more"
    assert [number(value) for value in (24.0, 0.3, 1e-7, 1234567.0)] == ["24", "0.3", "1e-07", "1234567"]
