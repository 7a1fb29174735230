import tomllib
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from classifier.survey.toml import toml_text

TEXT = st.text(st.characters(exclude_categories=["Cs"]))
PLAIN = st.one_of(
    TEXT,
    st.booleans(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False),
    st.dates(),
    st.datetimes(timezones=st.just(UTC)),
)
VALUES = st.recursive(st.one_of(PLAIN, st.lists(PLAIN)), lambda inner: st.dictionaries(TEXT, inner, max_size=4), max_leaves=12)


@given(st.dictionaries(TEXT, VALUES, max_size=5))
def test_the_standard_library_reads_the_same_values_back(values):
    # TOML 1.0.0 as the standard library's tomllib understands it.
    assert tomllib.loads(toml_text(values)) == values


def test_layout():
    text = toml_text(
        {
            "survey": {
                "format": 1,
                "at": datetime(2026, 6, 3, 22, 15, tzinfo=UTC),
                "gone": None,
                "part": {"ok": 2},
            },
            "labels": {"the moor": {"day": date(2026, 6, 4), "paths": ("a", "b\\c"), "share": 0.5}},
            "empty": {},
        },
        "Two\nlines",
    )
    assert text == (
        "# Two\n# lines\n"
        "\n[survey]\nformat = 1\nat = 2026-06-03T22:15:00+00:00\n"
        "\n[survey.part]\nok = 2\n"
        '\n[labels."the moor"]\nday = 2026-06-04\npaths = ["a", "b\\\\c"]\nshare = 0.5\n'
        "\n[empty]\n"
    )


def test_other_kinds():
    with pytest.raises(TypeError, match="no form for bytes"):
        toml_text({"a": b""})
