"""`callkey demo`, the first command of the README: the whole chain on calls whose bats are known."""

import re
from pathlib import Path

import polars as pl

KEY = Path(__file__).parents[2] / "keys" / "britain-and-ireland.key"


def test_every_bat_of_the_demo_is_found_and_none_is_named_wrong(callkey, tmp_path):
    result = callkey("demo", "-o", tmp_path / "demo", "--key", KEY)
    assert result.exit_code == 0, result.stderr
    text = " ".join(result.stdout.split())
    assert "Against the truth: 19 of 19 passes found" in text
    counts = re.search(r"(\d+) right, (\d+) right as a group, (\d+) left unidentified, (\d+) wrong", text)
    right, as_group, unidentified, wrong = map(int, counts.groups())
    assert right + as_group == 19
    assert unidentified == wrong == 0
    # Most of each bat's pulses are in its pass: the column says "35/41".
    shares = re.findall(r"(\d+)/(\d+)", text)
    assert len(shares) == 19
    assert all(int(shared) > int(true) / 2 for shared, true in shares)
    assert "Where pulses become ambiguous" in text
    assert "its calls synthetic" in text
    survey = tmp_path / "demo" / "survey"
    passes = pl.read_parquet(survey / "labels" / "britain-and-ireland" / "passes.parquet")
    assert passes.height >= 19
    assert "Open next:" in result.stderr
    assert f"callkey explain {survey}" in result.stderr
