"""Quantities as text: read back they are the same quantity, and no bracket is more than it needs."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from classifier.key import forms as f
from classifier.key import parse_key
from classifier.key.text import form_text, short_number

#: By name a unit in which a bare number may be added, since these are counted in the canonical unit of their kind.
NAMES = ("start_frequency", "end_frequency", "peak_frequency", "centre_frequency")


def form_of(quantity):
    """The form that is compared in ``quantity < 1 kHz`` (no constant: that goes to the other side); None if it is refused."""
    reading = parse_key(
        f'key "k" version 1\ntaxon A b\ncouplet 1\n    1a {quantity} < 1 kHz => A b\n    1b otherwise => unidentified "x"\n'
    )
    if reading.key is None:
        return None
    return reading.meanings[id(reading.key.couplets[1].leads[0].condition)].form


def quantities():
    """Quantities in kHz: sums, multiples, absolute values, products with plain ratios."""
    names = st.sampled_from(NAMES)
    factors = st.sampled_from(["2", "0.5", "-3", "0.25"])

    def wider(inner):
        pairs = st.tuples(inner, inner)
        return st.one_of(
            pairs.map(lambda each: f"{each[0]} + ({each[1]})"),
            pairs.map(lambda each: f"{each[0]} - ({each[1]})"),
            st.tuples(factors, inner).map(lambda each: f"{each[0]} * ({each[1]})"),
            inner.map(lambda each: f"abs({each})"),
            # of a name alone: a sum that cancels would leave the constant, whose unit the text leaves out
            names.map(lambda each: f"abs({each} - 5 kHz)"),
            st.tuples(inner, names, names).map(lambda each: f"({each[0]}) * ({each[1]} / {each[2]})"),
            st.tuples(inner, names, names).map(lambda each: f"({each[0]}) / ({each[1]} / {each[2]})"),
            st.tuples(names, inner, inner, names).map(
                lambda each: f"{each[0]} * ({each[1]}) / (10 kHz + abs({each[2]}) + {each[3]})"
            ),
        )

    return st.recursive(names, wider, max_leaves=5)


@given(quantities())
@settings(max_examples=200, deadline=None)
def test_a_quantity_read_back_is_the_same(quantity):
    form = form_of(quantity)
    assume(form is not None)  # sums that cancel leave nothing measured
    # The text leaves the unit of a constant out, and of nothing.
    assume(all(each.terms and not each.constant for each in _inner(form)))
    written = form_text(form)
    assert values(form_of(written)) == pytest.approx(values(form), rel=1e-9)


def _inner(item):
    match item:
        case f.Linear(terms):
            for atom, _ in terms:
                yield from _inner(atom)
                for each in (getattr(atom, name) for name in ("of", "left", "right", "above", "below") if hasattr(atom, name)):
                    yield each
                    yield from _inner(each)


def values(form):
    """The form at a few calls."""
    from classifier.key.walk import _form

    calls = [
        dict(zip(NAMES, ((each, None) for each in row), strict=True)) for row in ((70.0, 31.0, 45.0, 52.0), (33.0, 80.0, 12.0, 9.0))
    ]
    try:
        return [_form(form, call)[0] for call in calls]
    except ZeroDivisionError:
        return [0.0]


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        ("start_frequency - end_frequency", "start_frequency - end_frequency"),
        ("-start_frequency - 2 * end_frequency", "start_frequency + 2 * end_frequency"),  # with the comparison turned round
        ("abs(tail - 2 kHz)", "abs(tail - 2)"),
        ("characteristic_slope * duration", "characteristic_slope * duration"),
        (
            "(start_frequency - end_frequency) / start_frequency * 20 kHz",
            "20 * (start_frequency - end_frequency) / start_frequency",
        ),
        ("(2 * tail) * (tail / end_frequency)", "2 * tail * (tail / end_frequency)"),
        ("(-2 * tail) / (tail / end_frequency)", "(-2 * tail) / (tail / end_frequency)"),
        ("abs(tail) * (start_frequency / end_frequency)", "abs(tail) * (start_frequency / end_frequency)"),
        ("start_frequency * (2 * tail / end_frequency)", "start_frequency * (2 * tail / end_frequency)"),
    ],
)
def test_brackets_stand_where_they_are_needed(quantity, text):
    assert form_text(form_of(quantity)) == text


def test_a_statistic_of_a_pass_shows_its_function_alone():
    assert form_text(f.Linear(((f.Gathered("median", f.Linear(((f.Measured("duration"), 1),))), -1),), 2)) == "-median(…) + 2"


def test_numbers():
    assert [short_number(value) for value in (24.0, 0.3, 1e-7, 1234567.0, -2.5)] == ["24", "0.3", "1e-07", "1234567", "-2.5"]
