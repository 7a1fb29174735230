"""`callkey compare` on recordings and on a table of metrics."""

import json

import pytest


def test_recordings_are_measured_and_held_against_the_truth(field, callkey):
    calls = field / "calls.csv"
    calls.write_text(
        "taxon,recording,start_s,end_s,individual\n"
        "Examplia grandis,recordings/fen/20240603_220000.wav,,,a\n"
        "Examplia vespera,recordings/fen/20240603_220500.wav,0,1.2,b\n"
        "Examplia vespera,recordings/fen/absent.wav,,,c\n",
        encoding="utf-8",
    )
    result = callkey("compare", calls, "--key", field / "fen.key", "--workers", 1, "--json")
    assert result.exit_code == 1
    assert "calls.csv:4: there is no recording" in result.stderr
    found = json.loads(result.stdout)
    assert [(row["line"], row["label"], row["outcome"]) for row in found["calls"]] == [
        (2, "Examplia grandis", "right"),
        (3, "twin bats", "group"),
    ]
    assert found["unit"] == "pass"
    assert found["individuals"] == 2
    assert len(found["faults"]) == 1


def test_a_table_of_metrics(field, callkey):
    calls = field / "metrics.csv"
    calls.write_text(
        "taxon,characteristic_frequency_khz,snr_db\n"
        "Examplia grandis,22,30\n"
        "Examplia vespera,47,30\n"
        "Examplia matutina,55,30\n"
        "Examplia matutina,40,30\n"
        "Examplia ignota,22,30\n"
        "Examplia grandis,22,3\n",
        encoding="utf-8",
    )
    result = callkey("compare", calls, "--key", field / "fen.key")
    assert result.exit_code == 0
    text = " ".join(result.stdout.split())
    assert "6 reference calls" in text
    assert "right 2 of 6" in text
    assert "right, groups counted 3 of 6" in text
    assert "The key does not declare Examplia ignota" in text
    assert "Wrong: 2" in text
    found = json.loads(callkey("compare", calls, "--key", field / "fen.key", "--json").stdout)
    assert [row["label"] for row in found["calls"]] == [
        "Examplia grandis",
        "twin bats",
        "Examplia matutina",
        "Examplia vespera",
        "Examplia grandis",
        "unidentified",
    ]
    assert found["calls"][5]["trail"] == "gated by snr >= 8 dB"
    assert found["unknown"] == ["Examplia ignota"]
    tiers = {tier: share["total"] for tier, share in found["tiers"]}
    assert sum(tiers.values()) == 5


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("species,duration_ms\nA b,3\n", "no column `taxon`"),
        ("taxon,duration_ms\nA b,x\n", "calls.csv:2: `duration_ms` is `x`"),
    ],
)
def test_a_bad_table_is_named(field, callkey, tmp_path, text, sentence):
    path = tmp_path / "calls.csv"
    path.write_text(text, encoding="utf-8")
    result = callkey("compare", path, "--key", field / "fen.key")
    assert result.exit_code == 1
    assert sentence in result.stderr
    assert "Traceback" not in result.output
