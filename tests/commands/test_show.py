"""How results and talk are shown: JSON that every program reads, tables that fit, plain progress without a
terminal."""

import json
from datetime import date

import numpy as np
import polars as pl

from classifier.commands import show


def test_json_has_nulls_dates_and_rows(capsys):
    table = pl.DataFrame({"night": [date(2024, 6, 3)], "support": [float("nan")], "pass": [1]})
    show.as_json({"passes": table, "count": np.int64(3), "kappa": None, "share": np.float64("inf")})
    assert json.loads(capsys.readouterr().out) == {
        "passes": [{"night": "2024-06-03", "support": None, "pass": 1}],
        "count": 3,
        "kappa": None,
        "share": None,
    }


def test_a_table_in_a_pipe_is_whole(capsys, monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)
    show.table(
        ["label", "passes>", "why~"],
        [("Pipistrellus pipistrellus", 12345, "because " * 20), ("unidentified", None, "")],
    )
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["label", "passes", "why"]
    assert lines[2].startswith("Pipistrellus pipistrellus  12 345  because")
    assert all(len(line) <= show.PIPE_WIDTH for line in lines)
    assert "\x1b" not in "".join(lines)
    assert lines[-1].split() == ["unidentified", "–"]


def test_progress_without_a_terminal_is_plain_lines(capsys):
    with show.progress("measuring") as step:
        step(0, 3)
        for done in (1, 2, 3):
            step(done, 3, f"{done}.wav")
    # Lines come every ten seconds and at the end, never one a recording.
    assert capsys.readouterr().err == "measuring: 3 of 3 (3.wav)\n"


def test_percent():
    assert show.percent(12.34) == "12 %"
    assert show.percent(12.34, 1) == "12.3 %"
    assert show.percent(None) is None
