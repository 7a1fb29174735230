"""The commands of the main chain on a small survey: measure, label, explain, audit."""

import json
import re
import subprocess
import sys

import polars as pl
import pytest


def test_label_measures_labels_and_says_what_to_open(labelled):
    survey, result = labelled
    # One file is a text: the run goes on, names it and ends with 1.
    assert result.exit_code == 1
    assert "20240603_221000.wav: unsupported: " in result.stderr
    assert "3 recordings in" in result.stderr
    assert "2 passes by label and tier" in result.stdout
    assert "fen   2024-06-03  Examplia grandis" in result.stdout.replace("  ", "  ")
    assert "twin bats" in result.stdout
    assert "Examplia grandis is listed (vulnerable (invented list)): have its passes reviewed." in " ".join(result.stdout.split())
    assert "not proof that a species is there" in " ".join(result.stdout.split())
    assert f"callkey audit {survey}" in result.stderr
    assert "Traceback" not in result.output


def test_the_tables_are_there_as_parquet_and_csv(labelled):
    survey, _ = labelled
    folder = survey / "labels" / "sallow-fen"
    passes, as_csv = pl.read_parquet(folder / "passes.parquet"), pl.read_csv(folder / "passes.csv")
    assert passes.columns == as_csv.columns
    assert dict(passes.select("label", "tier").iter_rows()) == {
        "Examplia grandis": "definite",
        "twin bats": "definite",
    }
    assert (folder / "pulses.csv").is_file()
    assert (folder / "key.txt").read_text(encoding="utf-8").startswith('key "Sallow Fen" version 2')
    recordings = pl.read_parquet(survey / "recordings.parquet")
    assert recordings["status"].to_list() == ["ok", "ok", "unsupported"]


def test_a_survey_is_labelled_again_without_measuring(labelled, field, callkey):
    survey, _ = labelled
    revised = field / "revised.key"
    revised.write_text(
        (field / "fen.key").read_text(encoding="utf-8").replace("47 kHz ± 5 kHz", "60 kHz ± 1 kHz"),
        encoding="utf-8",
    )
    result = callkey("label", survey, "--key", revised, "--name", "revised", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert (found["labels"], found["key"], found["key_version"], found["faults"]) == (
        "revised",
        "Sallow Fen",
        "2",
        0,
    )
    assert {row["label"] for row in found["passes"]} == {"Examplia grandis", "Examplia vespera"}
    assert "measur" not in result.stderr
    (field / "survey" / "labels" / "revised" / "key.txt").read_text(encoding="utf-8")
    both = callkey("audit", survey)
    assert both.exit_code == 1
    assert "choose one with --name" in both.stderr


def test_measure_says_what_it_did_and_measures_nothing_twice(labelled, field, callkey):
    again = callkey("measure", field / "recordings", "-o", field / "survey", "--timezone", "+01:00", "--json")
    assert again.exit_code == 1
    found = json.loads(again.stdout)
    assert (found["measured"], found["reused"], found["faults"]) == (0, 2, 1)
    shown = callkey("measure", field / "recordings", "-o", field / "survey", "--timezone", "+01:00")
    assert "fen" in shown.stdout
    assert "Next: callkey label" in shown.stderr


def test_explain_goes_lead_by_lead(labelled, callkey):
    survey, _ = labelled
    passes = pl.read_parquet(survey / "labels" / "sallow-fen" / "passes.parquet")
    twin = passes.filter(pl.col("label") == "twin bats")["pass"][0]
    result = callkey("explain", survey, twin, "--name", "sallow-fen")
    assert result.exit_code == 0
    lines = [" ".join(line.split()) for line in result.stdout.splitlines()]
    assert "label twin bats, definite" in lines
    assert any(line.startswith("1b 2a | 1b 2b ") and "couplet 2 is unsure" in line for line in lines)
    first = next(line for line in lines if line.startswith("1a characteristic_frequency < "))
    # Lead, comparison, measured value ± its error, boundary ± the zone's half-width, clearance, truth.
    assert re.search(r"\b30 ± 1(\.\d)? kHz", first)
    assert first.endswith(" no")
    second = next(line for line in lines if line.startswith("2a characteristic_frequency < "))
    assert re.search(r"\b47 ± 5(\.\d)? kHz", second)
    assert second.endswith(" unsure")
    assert "→ Examplia vespera" in lines
    assert "definite when support >= 90 % and clear >= 5 100 %" in " ".join(lines)


def test_explain_as_json_and_by_pulse(labelled, callkey):
    survey, _ = labelled
    found = json.loads(callkey("explain", survey, 1, "--name", "sallow-fen", "--json").stdout)
    assert found["pass"]["label"] == "Examplia grandis"
    assert found["path"]["candidates"] == [{"label": "Examplia grandis", "at_most": "definite"}]
    assert [step["truth"] for step in found["path"]["steps"] if step["couplet"]] == ["yes"]
    pulse = found["pulse"]
    assert callkey("explain", survey, 1, "--name", "sallow-fen", "--pulse", pulse).exit_code == 0
    none = callkey("explain", survey, 1, "--name", "sallow-fen", "--pulse", 9999)
    assert none.exit_code == 1
    assert "pass 1 has no pulse 9999; it has " in none.stderr


def test_audit_counts_what_is_ambiguous(labelled, callkey):
    survey, _ = labelled
    result = callkey("audit", survey, "--name", "sallow-fen")
    assert result.exit_code == 0
    assert "which of the twins?" in result.stdout
    found = json.loads(callkey("audit", survey, "--name", "sallow-fen", "--json").stdout)
    assert found["couplets"][0]["couplet"] == "2"
    assert (found["pairs"][0]["first"], found["pairs"][0]["second"]) == (
        "Examplia matutina",
        "Examplia vespera",
    )
    assert found["ambiguous_passes"] == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["label", "{field}/survey", "--key", "{field}/absent.key"], "absent.key"),
        (["label", "{field}/nowhere", "--key", "{field}/fen.key", "-o", "{field}/other"], "nowhere"),
        (["audit", "{field}/recordings"], "is no survey folder"),
        (["audit", "{field}/survey", "--name", "absent"], "no labels `absent`"),
        (
            ["explain", "{field}/survey", "999", "--name", "sallow-fen"],
            "there is no pass 999; its passes run from 1 to 2",
        ),
    ],
)
def test_expected_failures_are_sentences(labelled, field, callkey, words, sentence):
    result = callkey(*(word.format(field=field) for word in words))
    assert result.exit_code == 1
    assert sentence in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["label", "{field}/survey", "{field}/recordings", "--key", "{field}/fen.key"], "one survey folder"),
        (
            ["label", "{field}/survey", "--key", "{field}/fen.key", "-o", "{field}/other"],
            "its labels are kept in it",
        ),
        (["label", "{field}/survey", "--key", "{field}/fen.key", "--site", "pond"], "measured already"),
        (["explain", "{field}/survey"], "give the number of a pass"),
    ],
)
def test_command_lines_that_contradict_themselves_end_with_2(labelled, field, callkey, words, sentence):
    result = callkey(*(word.format(field=field) for word in words))
    assert result.exit_code == 2
    assert sentence in " ".join(result.stderr.split())


def test_the_real_command_without_a_survey_folder(labelled, field, tmp_path):
    """One recording and no -o: the folder `survey` here is made, and said so; other recordings do not
    overwrite it."""

    def run(recording):
        words = [
            sys.executable,
            "-m",
            "classifier",
            "label",
            str(field / "recordings" / "fen" / recording),
            "--key",
            str(field / "fen.key"),
            "--workers",
            "1",
        ]
        return subprocess.run(words, capture_output=True, text=True, cwd=tmp_path)

    first = run("20240603_220000.wav")
    assert first.returncode == 0, first.stderr
    assert "keeps everything in ./survey" in first.stderr
    assert "Examplia grandis" in first.stdout
    assert (tmp_path / "survey" / "labels" / "sallow-fen" / "passes.csv").is_file()
    assert run("20240603_220000.wav").returncode == 0
    other = run("20240603_220500.wav")
    assert other.returncode == 1
    assert "holds a survey of other recordings; name another folder with -o" in other.stderr
    assert "Traceback" not in other.stderr
