"""The audit of a small labelled survey worked by hand."""

import polars as pl
import pytest

from classifier.judge.audit import audit

A, B, C = "Examplia minor", "Examplia major", "Auritia ripae"

PULSES = pl.DataFrame(
    [
        (1, A, A, "1a", None),
        (1, A, A, "1a", None),
        (1, "unidentified", f"{A}; {B}", "1a | 1b", None),
        (2, "unidentified", f"{A}; {B}", "1a | 1b", None),
        (2, "unidentified", f"{A}; {B}", "1a | 1b", None),
        (2, "unidentified", f"{B}; {C}", "1b 2a | 1b 2b", None),
        (2, "unidentified", f"{A}; {B}; {C}", "1a | 1b 2a | 1b 2b", None),
        (3, "unidentified", "unidentified", "1c", None),
        (3, None, None, None, "snr >= 12 dB"),
        (3, None, None, None, "snr >= 12 dB"),
        (None, None, None, None, "echo"),
        (4, "not a bat", "not a bat", "1d", None),
    ],
    schema={
        "pass": pl.Int32,
        "label": pl.String,
        "candidates": pl.String,
        "trail": pl.String,
        "gated_by": pl.String,
    },
    orient="row",
)

PASSES = pl.DataFrame(
    [
        (1, A, f"{A} 83 %; {B} 17 %", "definite", "1a × 2; 1a | 1b × 1"),
        (2, "examples", f"{B} 46 %; {A} 33 %; {C} 21 %", "probable", "1a | 1b × 2"),
        (3, "unidentified", "unidentified 100 %", None, "too few usable pulses: 1, the key asks for 3"),
        (4, "not a bat", "not a bat 100 %", "definite", "1d × 1"),
        (5, "unidentified", f"{A} 50 %; {C} 50 %", None, "no candidate leads"),
        (6, "unidentified", "unidentified 100 %", None, "1c × 4"),
        (7, C, f"{C} 60 %; {B} 40 %", "possible", "1b 2b × 3"),
    ],
    schema={
        "pass": pl.Int32,
        "label": pl.String,
        "candidates": pl.String,
        "tier": pl.String,
        "trail": pl.String,
    },
    orient="row",
)


def test_every_pulse_and_pass_falls_into_one_kind():
    found = audit(PASSES, PULSES, groups=["examples"])
    assert dict(found.pulses.select("kind", "count").iter_rows()) == {
        "clear": 3,
        "ambiguous": 5,
        "unidentified": 1,
        "gated": 3,
    }
    assert dict(found.passes.select("kind", "count").iter_rows()) == {
        "named": 1,
        "possible": 1,
        "group": 1,
        "undecided": 1,
        "unidentified": 1,
        "too few": 1,
        "not a bat": 1,
    }
    assert round(found.ambiguous_pulses, 6) == round(100 * 5 / 9, 6)
    assert round(found.ambiguous_passes, 6) == round(100 * 2 / 7, 6)


def test_couplets_come_worst_first():
    found = audit(PASSES, PULSES, groups=["examples"])
    assert found.couplets.drop("percent").rows() == [("1", 4, 1, f"{A}; {B}"), ("2", 2, 1, f"{B}; {C}")]


def test_pairs_come_worst_first():
    found = audit(PASSES, PULSES, groups=["examples"])
    assert found.pairs.drop("percent").rows() == [
        (B, A, 4, 1, "1, 2"),
        (C, B, 2, 1, "2, 1"),
        (C, A, 1, 1, "1, 2"),
    ]


def test_gates():
    gates = audit(PASSES, PULSES).gates
    assert gates.select("gated_by", "pulses").rows() == [("snr >= 12 dB", 2), ("echo", 1)]
    assert gates["percent"].to_list() == pytest.approx([100 * 2 / 12, 100 / 12])


def test_an_empty_survey_keeps_its_tables():
    found = audit(PASSES.clear(), PULSES.clear())
    assert found.pulses["count"].to_list() == [0, 0, 0, 0]
    assert found.ambiguous_pulses is None
    assert found.ambiguous_passes is None
    assert (found.couplets.height, found.pairs.height, found.gates.height) == (0, 0, 0)
    assert found.couplets.columns == ["couplet", "pulses", "percent", "passes", "between"]
