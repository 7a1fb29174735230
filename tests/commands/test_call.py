"""A call as a person types it behind --call, and its way through a key."""

import json

import pytest


@pytest.fixture
def explained(field, callkey):
    return lambda text, *more: callkey("explain", field / "fen.key", "--call", text, *more)


@pytest.mark.parametrize(
    ("text", "place", "message", "help"),
    [
        ("", 1, "a call is one list of values", "write it as in duration = 5.6 ms"),
        ("duration", 1, "the call cannot be read from here on", "write metric, value and unit, parted by commas"),
        ("duration = 5.6", 12, "`5.6` has no unit; `duration` is counted in ms", "write `5.6 ms`"),
        ("duration = 5.6 kHz", 12, "kHz", ""),
        ("duraton = 5.6 ms", 1, "`duraton` is not a metric", "did you mean `duration`?"),
        ("duration = 5 ms, duration = 6 ms", 18, "`duration` is given twice", "keep one of them"),
    ],
)
def test_what_does_not_read_is_marked(explained, text, place, message, help):
    result = explained(text)
    assert result.exit_code == 1
    first, *_, last = result.stderr.splitlines()
    assert first.startswith(f"call:1:{place}: error K")
    assert message in first
    assert help in result.stderr
    assert last == "fault  the call behind --call does not read; mend what is marked above"


def test_units_of_one_kind_are_converted_and_metrics_may_be_called_missing(explained):
    told = json.loads(
        explained("characteristic_frequency 22 kHz +/- 0.5 kHz, duration 0.0056 s, knee_frequency missing", "--json").stdout
    )
    (step,) = [each for each in told["steps"] if each["lead"] == "1a"]
    ((comparison),) = step["comparisons"]
    assert (comparison["value"], comparison["error"]) == (22.0, 0.5)


def test_explain_takes_a_call_through_a_key(field, callkey):
    result = callkey("explain", field / "fen.key", "--call", "characteristic_frequency = 22 kHz ± 0.5 kHz")
    assert result.exit_code == 0
    text = " ".join(result.stdout.split())
    # 30 ± (1 + 2 · 0.5) kHz; (30 - 22) / 2 = 4.
    assert "1a characteristic_frequency < 22 ± 0.5 30 ± 2 kHz 4.00 yes" in text
    assert "ends Examplia grandis" in text


def test_a_call_beside_a_pass_is_a_wrong_command_line(field, callkey):
    assert callkey("explain", field / "fen.key", 3, "--call", "duration = 5 ms").exit_code == 2
