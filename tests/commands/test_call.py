"""A call as a person writes it, and its way through a key."""

import pytest

from classifier.commands.call import parse_call
from classifier.errors import InputError


def test_values_units_and_errors():
    assert parse_call(
        "characteristic_frequency = 47 kHz, duration 5.6 ms ± 0.1 ms, mean_slope=-2.5 kHz/ms"
    ) == {"characteristic_frequency": (47.0, None), "duration": (5.6, 0.1), "mean_slope": (-2.5, None)}


def test_units_of_one_kind_are_converted():
    assert parse_call("duration 0.0056 s +/- 0.1 ms")["duration"] == (pytest.approx(5.6), pytest.approx(0.1))
    assert parse_call("strongest_harmonic = 2") == {"strongest_harmonic": (2.0, None)}


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "no value is given"),
        ("duration", "does not read as a value"),
        ("duration = 5,6 ms", "decimals by a point|needs its unit"),
        ("duration = 5.6", "write `duration = 5.6 ms`"),
        ("duration = 5.6 kHz", "duration is counted in ms"),
        ("duraton = 5.6 ms", "did you mean `duration`"),
        ("duration = 5 ms, duration = 6 ms", "given twice"),
        ("strongest_harmonic = 2 kHz", "is a plain number"),
    ],
)
def test_what_does_not_read(text, sentence):
    with pytest.raises(InputError, match=sentence):
        parse_call(text)


def test_explain_takes_a_call_through_a_key(field, callkey):
    result = callkey("explain", field / "fen.key", "--call", "characteristic_frequency = 22 kHz ± 0.5 kHz")
    assert result.exit_code == 0
    text = " ".join(result.stdout.split())
    # 30 ± (1 + 2 · 0.5) kHz; (30 - 22) / 2 = 4.
    assert "1a characteristic_frequency < 22 ± 0.5 30 ± 2 kHz 4.00 yes" in text
    assert "ends Examplia grandis" in text


def test_a_call_beside_a_pass_is_a_wrong_command_line(field, callkey):
    assert callkey("explain", field / "fen.key", 3, "--call", "duration = 5 ms").exit_code == 2
