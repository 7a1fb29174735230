"""`callkey check`: findings, exit codes, JSON, rule pages, the coverage table and the figure."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from classifier.commands.application import application
from classifier.key.rules import RULES

RUNNER = CliRunner()
KEYS = Path(__file__).parents[2] / "keys"
SOUND = """\
key "Two bats" version 1
taxon Examplia grandis
    characteristic_frequency 12 to 18 kHz
taxon Examplia vespera
    characteristic_frequency 22 to 30 kHz
couplet 1
    1a characteristic_frequency < 20 kHz ± 1 kHz => Examplia grandis
    1b otherwise                                  => Examplia vespera
passes
    definite when support >= 90 % and clear >= 5
    possible otherwise
"""


@pytest.fixture
def sound(tmp_path):
    path = tmp_path / "two-bats.key"
    path.write_text(SOUND, encoding="utf-8")
    return path


@pytest.fixture
def unsafe(tmp_path):
    path = tmp_path / "unsafe.key"
    path.write_text(SOUND.replace("20 kHz ± 1", "25 kHz ± 1"), encoding="utf-8")
    return path


def run(*words):
    return RUNNER.invoke(application, ["check", *map(str, words)])


def test_a_sound_key(sound):
    result = run(sound)
    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout.splitlines()[-1] == f"{sound}: no faults: 1 couplet, 2 taxa, 0 groups"
    assert [line.split() for line in result.stdout.splitlines() if line.startswith("Examplia")] == [
        ["Examplia", "grandis", "definite", "100", "%", "–", "–", "–"],
        ["Examplia", "vespera", "definite", "100", "%", "–", "–", "–"],
    ]


def test_an_unsafe_key_ends_with_1_and_a_call_to_walk(unsafe):
    result = run(unsafe)
    assert result.exit_code == 1
    assert "error K410 definite-unsafe: lead 1a makes calls of `Examplia vespera` `definite` as `Examplia grandis`" in result.stderr
    assert f"{unsafe}: 1 error: " in result.stdout
    line = next(line for line in result.stderr.splitlines() if line.startswith("walk such a call: "))
    assert line == f'walk such a call: callkey explain {unsafe} --call "characteristic_frequency = 23 kHz"'
    walked = RUNNER.invoke(application, ["explain", str(unsafe), "--call", "characteristic_frequency = 23 kHz"])
    assert walked.exit_code == 0
    assert "Examplia grandis" in walked.stdout


def test_warnings_and_notes_end_with_0(sound):
    sound.write_text(SOUND.replace("± 1 kHz", "± 0.01 kHz"), encoding="utf-8")
    result = run(sound)
    assert (result.exit_code, "1 warning" in result.stdout) == (0, True)


def test_form_comes_first(sound):
    sound.write_text(SOUND.replace("20 kHz ± 1 kHz", "25 ± 1"), encoding="utf-8")
    result = run(sound)
    assert result.exit_code == 1
    assert "K203" in result.stderr
    assert "K410" not in result.stderr
    assert result.stderr.splitlines()[-1] == "the key is proven once it has no such errors; check again then"


def test_json(unsafe, sound):
    result = run(unsafe, sound, "--json")
    assert result.exit_code == 1
    bad, good = json.loads(result.stdout)
    assert (bad["sound"], good["sound"], good["proven"]) == (False, True, True)
    (found,) = bad["diagnostics"]
    assert found["code"] == "K410"
    assert found["witness"] == {"characteristic_frequency": 23.0}
    assert found["line"] == 7
    assert good["coverage"][0] == {
        "taxon": "Examplia grandis",
        "label": "Examplia grandis",
        "tier": "definite",
        "share_percent": 100.0,
        "parted_by_couplet": None,
        "verdict": "right",
    }


def test_every_way_of_coverage(unsafe):
    lines = run(unsafe, "--coverage").stdout.splitlines()
    assert any(line.split()[:6] == ["Examplia", "grandis", "(wrong)", "definite"][:4] + line.split()[4:6] for line in lines) or any(
        "Examplia grandis (wrong)" in line for line in lines
    )


@pytest.mark.parametrize(("rate", "code"), [("192kHz", 1), ("192000", 1), ("192000 Hz", 1), ("256 kHz", 0)])
def test_sample_rates(sound, rate, code):
    sound.write_text(SOUND.replace("22 to 30 kHz", "22 to 110 kHz"), encoding="utf-8")
    result = run(sound, "--sample-rate", rate)
    assert result.exit_code == 0
    assert ("K406" in result.stderr) == bool(code)


@pytest.mark.parametrize("rate", ["fast", "192", "-3kHz", ""])
def test_no_sample_rate(sound, rate):
    assert run(sound, "--sample-rate", rate).exit_code == 2


@pytest.mark.parametrize("rule", ["K410", "k410", "definite-unsafe"])
def test_a_rule_explained(rule):
    result = run("--explain", rule)
    assert result.exit_code == 0
    assert result.stdout.startswith("# K410 definite-unsafe\n\n*error*: ")


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_every_rule_can_be_explained_by_number_and_by_name(rule):
    page = (KEYS.parent / "docs" / "rules" / f"{rule.code}.md").read_text(encoding="utf-8").strip()
    for word in (rule.code, rule.code.lower(), rule.name, rule.name.upper()):
        result = run("--explain", word)
        assert (result.exit_code, result.stdout, result.stderr) == (0, f"{page}\n", "")


def test_a_rule_that_there_is_not():
    result = run("--explain", "definite-unsave")
    assert (result.exit_code, result.stderr) == (1, "fault  there is no rule `definite-unsave`; did you mean `definite-unsafe`?\n")


def test_nothing_to_check():
    assert run().exit_code == 2


def test_a_figure(sound, unsafe, tmp_path):
    path = tmp_path / "key.svg"
    assert run(sound, "--figure", path).exit_code == 0
    assert path.read_text(encoding="utf-8").startswith("<?xml")
    assert run(sound, unsafe, "--figure", path).exit_code == 2
    wrong = run(sound, "--figure", tmp_path / "key.doc")
    assert (wrong.exit_code, "ends in .pdf, .svg or .png" in wrong.stderr) == (1, True)


def test_the_keys_that_come_along_have_no_proven_fault():
    for path in sorted(KEYS.glob("*.key")):
        found = json.loads(run(path, "--json").stdout)[0]
        assert [
            each["message"] for each in found["diagnostics"] if each["code"].startswith("K4") and each["severity"] == "error"
        ] == []
