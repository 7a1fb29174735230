"""`callkey new`: the key to start from is without fault, canonical, and never written over another."""

import pytest
from typer.testing import CliRunner

from classifier.commands.application import application
from classifier.key import parse_key, run_examples

RUNNER = CliRunner()


def run(*words):
    return RUNNER.invoke(application, [str(word) for word in words])


@pytest.fixture
def key(tmp_path):
    path = tmp_path / "mill-lane.key"
    result = run("new", path)
    assert (result.exit_code, result.stdout) == (0, f"{path}: a key to start from; open it in any text editor\n")
    assert result.stderr == f"next: callkey check {path}\n"
    return path


def test_it_is_without_fault_warning_or_note(key):
    result = run("check", key, "--sample-rate", "256kHz")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[-1] == f"{key}: no faults: 2 couplets, 3 taxa, 1 group"


def test_it_is_canonical(key):
    assert run("format", key, "--check").output == ""


def test_it_holds_every_kind_of_statement_that_a_first_key_needs(key):
    reading = parse_key(key.read_text(encoding="utf-8"))
    found = reading.key
    assert (found.name, found.version) == ("Mill lane", "1")
    assert all((found.sources, found.taxa, found.groups, found.lets, found.gate, found.couplets, found.passes, found.examples))
    assert run_examples(found) == []
    assert any(lead.at_most for couplet in found.couplets.values() for lead in couplet.leads)


def test_every_number_has_its_source_and_the_cautions_are_there(key):
    text = key.read_text(encoding="utf-8")
    for taxon in parse_key(text).key.taxa.values():
        assert all(entry.citations for entry in taxon.entries if hasattr(entry, "metric"))
    header = " ".join(text.split("\nkey ")[0].replace("#", " ").split())
    for words in ("invented", "not proof", "qualified person", "local codes and licences", "vaccinated", "roosts disturbs"):
        assert words in header


def test_a_file_that_is_there_is_left_alone(key):
    key.write_text("mine\n")
    result = run("new", key)
    assert (result.exit_code, key.read_text()) == (1, "mine\n")
    assert result.stderr == f"fault  {key}: is there already and was left as it is; give the new key another name\n"


def test_a_link_to_nowhere_is_not_followed(tmp_path):
    link = tmp_path / "link.key"
    try:
        link.symlink_to(tmp_path / "elsewhere.key")
    except OSError:
        pytest.skip("no links here")
    assert run("new", link).exit_code == 1
    assert not (tmp_path / "elsewhere.key").exists()


@pytest.mark.parametrize(
    ("name", "remedy"), [("bats", "bats.key`"), ("bats.txt", "bats.txt.key`"), ("no/bats.key", "make it first")]
)
def test_a_name_that_does_not_do(tmp_path, name, remedy):
    result = run("new", tmp_path / name)
    assert result.exit_code == 1
    assert remedy in result.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("stem", "title"), [("ein_tal", "Ein tal"), ('say "bats"', "Say bats"), ("__", "New key"), ("Ö-land", "Ö land")]
)
def test_what_the_key_calls_itself(tmp_path, stem, title):
    assert run("new", tmp_path / f"{stem}.key").exit_code == 0
    reading = parse_key((tmp_path / f"{stem}.key").read_text(encoding="utf-8"))
    assert (reading.diagnostics, reading.key.name) == ((), title)
