"""`callkey plan`: tables, JSON, the figure, and what is said of input that cannot be."""

import json
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EAST = ROOT / "keys" / "south-east-australia.key"
SITE = ("--latitude", -33.87, "--longitude", 151.21, "--timezone", "Australia/Sydney", "--first-night", "2025-11-03")
PAGE = (ROOT / "docs" / "planning.md").read_text(encoding="utf-8")


def test_the_worked_example_of_the_page_is_what_the_command_prints(callkey, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.chdir(ROOT)
    block = PAGE.split("<!-- worked example -->\n")[1]
    command = block.split("```sh\n")[1].split("```")[0].replace("\\\n", " ")
    printed = block.split("```text\n")[1].split("```")[0]
    import shlex

    result = callkey(*shlex.split(command)[1:])
    assert result.exit_code == 0
    assert "\n".join(line.rstrip() for line in result.stdout.strip("\n").split("\n")) + "\n" == printed


@pytest.mark.parametrize("columns", ["80", "120"])
def test_tables_keep_to_the_terminal(callkey, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    result = callkey("plan", EAST, *SITE, "--sample-rate-khz", 192, "--shortest-event-ms", 5)
    assert result.exit_code == 0
    assert max(len(line.rstrip()) for line in result.stdout.splitlines()) <= int(columns)
    for word in ("Phoniscus papuensis *", "Sample rates beside each other", "Advice", "does not prove", "ISO 9613-1"):
        assert word in " ".join(result.stdout.split())


def test_json_holds_the_plan(callkey):
    result = callkey("plan", EAST, *SITE, "--last-night", "2025-11-05", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert found["key"] == "South-east Australia" and len(found["taxa"]) == 33 and len(found["nights"]) == 3
    first = found["taxa"][0]
    assert first["taxon"] == "Austronomus australis" and first["strongest_khz"] == [10, 15]
    assert first["misses"]["below_band"] == pytest.approx(0.2, abs=0.01)
    assert found["taxa"][-1]["misses"]["cut"] is None  # no start declared: not known, not nothing
    assert found["settings"]["first_night"] == "2025-11-03"
    assert {"topic", "sentences"} == set(found["advice"][0]) and found["cautions"]


def test_taxa_and_groups_limit_the_plan(callkey):
    result = callkey("plan", EAST, "--taxon", "golden-tipped bat", "--taxon", "long-eared bats", "--json")
    genera = [each["taxon"].split()[0] for each in json.loads(result.stdout)["taxa"]]
    assert genera == ["Nyctophilus"] * 4 + ["Phoniscus"]


def test_options_go_before_the_file(callkey, tmp_path):
    (tmp_path / "recorder.toml").write_text("sample_rate_khz = 384\ntrigger_floor_khz = 17\n")
    result = callkey("plan", EAST, "--settings", tmp_path / "recorder.toml", "--trigger-floor-khz", 9, "--json")
    found = json.loads(result.stdout)["settings"]
    assert (found["sample_rate_khz"], found["trigger_floor_khz"]) == (384, 9)


def test_a_figure(callkey, tmp_path):
    result = callkey("plan", EAST, "-o", tmp_path / "a.svg")
    assert result.exit_code == 0
    assert f"drawn: {tmp_path / 'a.svg'}" in result.stderr
    assert "Phoniscus" not in (tmp_path / "a.svg").read_text()[:200] and (tmp_path / "a.svg").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--sample-rate-khz", "-256"], "`sample_rate_khz` must be a number from 8 to 2000 kHz, not -256.0"),
        (["--passes-per-night", "-5"], "`passes_per_night` must be a number from 0"),
        (["--first-night", "2025-11-03"], "the site is not known: give `latitude` and `longitude`, or clock times"),
        (["--latitude", "-34"], "has a latitude and no longitude; give both"),
        (["--trigger-floor-khz", "200"], "lower the floor"),
        (["--taxon", "Phoniscus papua"], "no taxon or group `Phoniscus papua`; did you mean `Phoniscus papuensis`?"),
        (["-o", "figure.jpg"], "figure.jpg: a figure ends in .pdf, .svg or .png"),
        (["-o", "nowhere/figure.png"], "there is no folder nowhere; make it or name another"),
        (["--recording", "now and then"], "`recording` must be triggered or continuous"),
        (["--starts", "dusk"], "`starts` must be written as in 'sunset - 30 min'"),
        (["--settings", "none.toml"], "none.toml: cannot be read"),
    ],
)
def test_what_cannot_be_is_one_sentence(callkey, monkeypatch, tmp_path, words, sentence):
    monkeypatch.chdir(tmp_path)
    result = callkey("plan", EAST, *words)
    assert result.exit_code == 1
    assert sentence in result.stderr and len(result.stderr.strip().splitlines()) == 1
    assert result.stdout == "" and "Traceback" not in result.output
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("sample_rte_khz = 256\n", ":1: there is no setting `sample_rte_khz`; did you mean `sample_rate_khz`?"),
        ("sample_rate_khz = -256\n", "recorder.toml: `sample_rate_khz` must be a number from 8"),
        ('[source_level_db]\n"Phoniscus" = 100\n', "source_level_db: the key knows no taxon or group `Phoniscus`"),
    ],
)
def test_faults_of_the_settings_file_name_it(callkey, tmp_path, text, sentence):
    (tmp_path / "recorder.toml").write_text(text)
    result = callkey("plan", EAST, "--settings", tmp_path / "recorder.toml")
    assert result.exit_code == 1
    assert sentence in result.stderr
    assert (tmp_path / "recorder.toml").read_text() == text


@pytest.mark.parametrize(
    "words",
    [["--sample-rate", "256"], ["--sample-rate-khz", "fast"], ["--first-night", "3.11.2025"], ["--bits", "twelve"]],
)
def test_a_wrong_command_line_ends_with_2(callkey, words):
    result = callkey("plan", EAST, *words)
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_a_key_with_faults_is_not_planned_with(callkey, tmp_path):
    (tmp_path / "bad.key").write_text('key "Bad" version 1\ncouplet 1\n    1a durration < 3 ms => Examplia vespera\n')
    result = callkey("plan", tmp_path / "bad.key")
    assert result.exit_code == 1
    assert "durration" in result.stderr and "mend what is marked above" in result.stderr
    assert result.stdout == ""


def test_a_key_that_is_not_there(callkey, tmp_path):
    result = callkey("plan", tmp_path / "none.key")
    assert result.exit_code == 1 and "none.key" in result.stderr and "Traceback" not in result.output


def test_the_page_lists_every_setting_with_its_default():
    from classifier.plan import SETTINGS

    for name, about in SETTINGS.items():
        row = next(line for line in PAGE.splitlines() if line.startswith(f"| `{name}` |"))
        default = about.default
        assert about.metadata["meaning"] in row
        shown = "" if default is None else f"{default:g}" if isinstance(default, int | float) else default
        assert row.split("|")[2].strip().startswith(shown)


def test_the_settings_file_of_the_page_is_one(callkey, tmp_path):
    (tmp_path / "recorder.toml").write_text(PAGE.split("```toml\n")[1].split("```")[0])
    result = callkey("plan", EAST, "--settings", tmp_path / "recorder.toml", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert len(found["nights"]) == 14 and found["taxa"][1]["source_level_db"] == [125, 130, 135]
