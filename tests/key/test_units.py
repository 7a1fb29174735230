"""Units and their algebra."""

from fractions import Fraction

import pytest

from classifier.key.units import meant, unit


@pytest.mark.parametrize(
    ("text", "like", "factor"),
    [
        ("ms", "s", 1),
        ("s", "ms", 1000),
        ("h", "ms", 3_600_000),
        ("kHz/ms", "kHz/s", 1),
        ("kHz/s", "kHz/ms", Fraction(1, 1000)),
        ("kHz*ms", "ms*kHz", 1),
        ("%", "", Fraction(1, 100)),
        ("kHz*ms/ms", "kHz", 1),
        ("1/ms", "1/s", 1),
        ("dB", "dB", 1),
    ],
)
def test_kinds_and_factors(text, like, factor):
    assert unit(text).like(unit(like))
    assert unit(text).factor == factor


@pytest.mark.parametrize("text", ["Hz", "khz", "m", "kHz//ms", "kHz*duration", "1", "*", "x" * 1000])
def test_what_is_no_unit(text):
    assert unit(text) is None or text == "1"


def test_algebra():
    assert unit("kHz/ms").times(unit("ms")).like(unit("kHz"))
    assert unit("kHz").over(unit("ms")) == unit("kHz/ms")
    assert unit("ms").over(unit("ms")).plain
    assert not unit("%").plain
    assert unit("kHz").times(unit("ms")).text == "kHz*ms"


# Source: International System of Units (BIPM, 9th edition 2019), prefixes kilo and milli and micro, minute and hour.
@pytest.mark.parametrize(
    ("text", "name", "factor"),
    [
        ("Hz", "kHz", Fraction(1, 1000)),
        ("µs", "ms", Fraction(1, 1000)),
        ("min", "s", 60),
        ("hours", "h", 1),
        ("MHz", "kHz", 1000),
        ("Hz/ms", "kHz/ms", Fraction(1, 1000)),
        ("kHz/sec", "kHz/s", 1),
    ],
)
def test_what_foreign_spellings_mean(text, name, factor):
    assert meant(text) == (name, factor)


def test_nonsense_means_nothing():
    assert meant("furlong") is None
