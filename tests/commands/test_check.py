"""`callkey check`: every fault of a key in one run, for people and for programs."""

import json

BAD = """\
key "Sallow Fen" version 1
taxon Examplia grandis
couplet 1
    1a duration < 5            => Examplia grandis
    1b tial > 1 kHz            => Examplia grandis
    1c otherwise               => 7
"""


def test_a_sound_key(field, callkey):
    result = callkey("check", field / "fen.key")
    assert result.exit_code == 0
    assert result.stdout.strip().endswith("fen.key: no faults: 2 couplets, 3 taxa, 1 group")


def test_three_faults_in_one_run_each_with_its_place(tmp_path, callkey):
    path = tmp_path / "bad.key"
    path.write_text(BAD, encoding="utf-8")
    result = callkey("check", path)
    assert result.exit_code == 1
    for line in (4, 5, 6):
        assert f"bad.key:{line}:" in result.stderr
    assert "^" in result.stderr
    assert "help: write `5 ms`" in result.stderr
    assert "did you mean `tail`?" in result.stderr
    assert "3 errors" in result.stdout
    found = json.loads(callkey("check", path, "--json").stdout)
    assert found[0]["sound"] is False
    assert [(each["line"], each["severity"]) for each in found[0]["diagnostics"]] == [
        (4, "error"),
        (5, "error"),
        (6, "error"),
    ]


def test_a_faulty_key_labels_nothing(field, callkey, tmp_path):
    path = tmp_path / "bad.key"
    path.write_text(BAD, encoding="utf-8")
    result = callkey("label", field / "recordings", "--key", path, "-o", tmp_path / "survey")
    assert result.exit_code == 1
    assert "the key has 3 faults, nothing was labelled" in result.stderr
    assert not (tmp_path / "survey").exists()


def test_a_missing_key_is_a_finding(tmp_path, callkey):
    result = callkey("check", tmp_path / "absent.key")
    assert result.exit_code == 1
    assert "absent.key" in result.stderr
    assert "Traceback" not in result.output
