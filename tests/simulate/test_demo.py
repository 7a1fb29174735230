"""Recipes: the demo's own, the one of demo_calls/, and faulty ones."""

import filecmp
import tomllib
from importlib import resources
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

from classifier.errors import InputError
from classifier.metrics import METRICS
from classifier.simulate import make_demo
from classifier.simulate.__main__ import main

DEMO_CALLS = Path(__file__).parents[2] / "demo_calls"
SMALL = """
[survey]
name = "Test"
timezone = "Europe/London"
utc_offset = "+01:00"
seed = 1
gap_s = 1.0
weather = { temperature_c = 14.0, humidity_percent = 85.0 }
[recorders.pond]
sample_rate_hz = 200000
make = "Invented"
model = "recorder"
serial = "1"
latitude = 51.0
longitude = -2.0
[calls.low]
source = "chosen"
taxon = "Examplia vespera"
shape = "QCF"
duration_s = 8e-3
start_hz = 30e3
end_hz = 27e3
[[recordings]]
recorder = "pond"
starts_at = "2026-08-15T01:00:00"
seconds = 2.0
files_end_s = [1.0]
noises = [{ kind = "white", level_db = -90 }]
[[recordings.flights]]
calls = ["low"]
interval_s = 0.1
level_db = -20
[[recordings]]
recorder = "pond"
starts_at = "2026-08-15T22:00:00"
seconds = 1.0
keep = 0.5
time_expansion = 10
noises = [{ kind = "white", level_db = -90 }]
[[recordings.flights]]
calls = ["low"]
interval_s = 0.1
level_db = -20
"""


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    return make_demo(folder / "made", recipe=folder / "small.toml")


def test_files_lie_by_recorder_and_start(small):
    names = [path.relative_to(small.folder).as_posix() for path in small.recordings]
    assert names == ["pond/20260815_010000.wav", "pond/20260815_010001.wav", "pond/20260815_220000.wav"]
    assert small.timezone == "Europe/London"


def test_a_pass_over_a_file_end_is_one_pass_with_two_rows(small):
    passes = pl.read_csv(small.truth)
    assert passes["pass"].to_list() == [1, 1, 2]
    assert passes["recording"].n_unique() == 3
    assert (passes["start_s"] >= 0).all()
    assert (passes["end_s"] <= 1.0).all()  # files of one second, one of them cut in half
    assert passes["end_s"][2] <= 0.5
    # Nights run from noon to noon: one in the morning belongs to the evening before.
    assert passes["date"].to_list() == ["2026-08-14", "2026-08-14", "2026-08-15"]
    assert passes["taxon"].unique().to_list() == ["Examplia vespera"]


def test_pulses_stand_in_their_file_at_their_time(small):
    pulses = pl.read_csv(small.pulses)
    for name, part in pulses.group_by("recording"):
        samples, rate = soundfile.read(small.folder / name[0]) if "22" not in name[0] else (None, None)
        if samples is None:
            continue
        for row in part.filter(~pl.col("cut")).iter_rows(named=True):
            first = int(row[METRICS["onset"].column] * rate)
            last = first + int(row[METRICS["duration"].column] / 1e3 * rate)
            assert np.max(np.abs(samples[first:last])) == pytest.approx(10 ** (row["level_db"] / 20), rel=0.02)


def test_truth_of_a_cut_file_ends_where_it_was_cut(small):
    pulses = pl.read_csv(small.pulses).filter(pl.col("recording") == "pond/20260815_220000.wav")
    assert pulses["onset_s"].max() < 0.5
    assert 4 <= len(pulses) <= 6


def test_same_recipe_same_bytes(small, tmp_path):
    again = make_demo(tmp_path / "again", recipe=small.folder.parent / "small.toml")
    for first, second in zip(
        (*small.recordings, small.truth, small.pulses),
        (*again.recordings, again.truth, again.pulses),
        strict=True,
    ):
        assert filecmp.cmp(first, second, shallow=False)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[survey]", "[survey", "not valid TOML"),
        ("seed = 1\n", "", "needs 'seed'"),
        ('calls = ["low"]', 'calls = ["high"]', "needs 'high'"),
        ('kind = "white"', 'kind = "grey"', "needs 'grey'"),
        ('shape = "QCF"', 'shape = "bow"', "shape must be one of"),
        ("interval_s = 0.1", "interval = 0.1", "makes no sense"),
    ],
)
def test_faulty_recipes_are_named(tmp_path, old, new, words):
    (tmp_path / "bad.toml").write_text(SMALL.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=words) as caught:
        make_demo(tmp_path / "out", recipe=tmp_path / "bad.toml")
    assert "bad.toml" in str(caught.value)


def test_missing_recipe_is_named(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.toml.*cannot be read"):
        make_demo(tmp_path, recipe=tmp_path / "nowhere.toml")


def test_every_call_of_the_demo_says_where_it_comes_from():
    plan = tomllib.loads(resources.files("classifier.simulate").joinpath("demo.toml").read_text(encoding="utf-8"))
    assert all(len(call["source"]) > 20 for call in plan["calls"].values())
    used = {name for entry in plan["recordings"] for flight in entry.get("flights", ()) for name in flight["calls"]}
    assert used == set(plan["calls"])
    # The places where the demo is meant to be hard.
    entries = plan["recordings"]
    assert any("files_end_s" in entry for entry in entries)
    assert any(entry.get("keep", 1) < 1 for entry in entries)
    assert any(entry.get("time_expansion", 1) == 10 for entry in entries)
    assert any(len(entry.get("flights", ())) == 3 for entry in entries)
    assert any("buzz" in flight for entry in entries for flight in entry.get("flights", ()))
    assert len({entry["recorder"] for entry in entries}) == 2
    nights = {entry["starts_at"][:10] for entry in entries}
    assert len(nights) == 3  # two nights, the second past midnight


def test_committed_files_are_what_their_recipe_makes(tmp_path):
    """To one step of the 16-bit scale: another processor may round the last bit of a sine the other way."""
    made = make_demo(tmp_path, recipe=DEMO_CALLS / "recipe.toml")
    for path in made.recordings:
        mine, rate = soundfile.read(path, dtype="int16")
        theirs, their_rate = soundfile.read(DEMO_CALLS / path.relative_to(tmp_path), dtype="int16")
        assert rate == their_rate
        assert np.max(np.abs(mine.astype(int) - theirs)) <= 1
    assert made.truth.read_text(encoding="utf-8") == (DEMO_CALLS / "truth.csv").read_text(encoding="utf-8")
    sounds = [path for path in DEMO_CALLS.rglob("*") if path.suffix in (".wav", ".flac")]
    assert {path.relative_to(DEMO_CALLS) for path in sounds} == {path.relative_to(tmp_path) for path in made.recordings}
    assert sum(path.stat().st_size for path in DEMO_CALLS.rglob("*") if path.is_file()) < 5e6


def test_module_runs_as_a_command(tmp_path, capsys):
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    assert main([str(tmp_path / "small.toml"), str(tmp_path / "out")]) == 0
    assert "3 recordings" in capsys.readouterr().out
    assert main([]) == 2
    assert main([str(tmp_path / "nowhere.toml"), str(tmp_path / "out")]) == 1
    assert "nowhere.toml" in capsys.readouterr().err
