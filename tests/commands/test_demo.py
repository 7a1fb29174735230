"""`callkey demo`, the first command of the README: the whole chain on calls whose bats are known."""

import json
from pathlib import Path

import polars as pl

KEY = Path(__file__).parents[2] / "keys" / "britain-and-ireland.key"


def test_every_bat_of_the_demo_is_found_and_none_is_named_wrong(callkey, tmp_path):
    result = callkey("demo", "-o", tmp_path / "demo", "--key", KEY, "--json")
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    outcomes = [row["outcome"] for row in found["truth"]]
    assert "missed" not in outcomes
    assert "wrong" not in outcomes
    assert outcomes.count("right") + outcomes.count("group") == len(outcomes) == 19
    # Most of each bat's pulses are in its pass.
    assert all(row["shared_pulses"] > row["true_pulses"] / 2 for row in found["truth"])
    folder = tmp_path / "demo" / "survey" / "labels" / found["labels"]
    assert pl.read_parquet(folder / "passes.parquet").height == len(found["passes"])
    again = callkey("demo", "-o", tmp_path / "demo", "--key", KEY)
    assert again.exit_code == 0
    text = " ".join(again.stdout.split())
    assert "Against the truth: 19 of 19 passes found" in text
    assert "Where pulses become ambiguous" in text
    assert "its calls synthetic" in text
    assert "0 measured, 19 unchanged" in again.stderr
    assert "Open next:" in again.stderr
    assert "callkey explain" in again.stderr
