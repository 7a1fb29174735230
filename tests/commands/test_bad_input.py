"""Bad recordings among good ones: each is named with its sentence, the run goes on, and a row says what
happened."""

import struct

import numpy as np
import polars as pl
import pytest
import soundfile


@pytest.fixture(scope="module")
def mixed(field, tmp_path_factory):
    """One good recording and one of each fault."""
    folder = tmp_path_factory.mktemp("mixed") / "pond"
    folder.mkdir()
    good = (field / "recordings" / "fen" / "20240603_220000.wav").read_bytes()
    (folder / "good.wav").write_bytes(good)
    (folder / "empty.wav").write_bytes(b"")
    (folder / "text.wav").write_text("Dear diary, no bats tonight.\n")
    (folder / "cut.wav").write_bytes(good[: len(good) // 2])
    data = good.index(b"data")
    (folder / "lies.wav").write_bytes(good[: data + 4] + struct.pack("<I", 0xFFFFFFF0) + good[data + 8 :])
    samples = np.zeros(100_000, np.float32)
    samples[500:600] = np.nan
    soundfile.write(folder / "nan.wav", samples, 256_000, subtype="FLOAT")
    soundfile.write(folder / "slow.wav", np.zeros(44_100, np.float32), 44_100)
    return folder


def test_every_fault_is_named_and_the_good_one_labelled(mixed, field, callkey, tmp_path):
    before = {path.name: path.read_bytes() for path in mixed.iterdir()}
    result = callkey("label", mixed, "--key", field / "fen.key", "-o", tmp_path / "survey", "--workers", 1)
    assert result.exit_code == 1
    assert "Traceback" not in result.output
    recordings = pl.read_parquet(tmp_path / "survey" / "recordings.parquet")
    status = dict(recordings.select("path", "status").iter_rows())
    assert set(status) == set(before)
    assert status["good.wav"] == "ok"
    assert (status["empty.wav"], status["text.wav"], status["slow.wav"]) == (
        "empty",
        "unsupported",
        "unsupported",
    )
    assert status["cut.wav"] == status["lies.wav"] == status["nan.wav"] == "damaged"
    for name, what in status.items():
        line = next((line for line in result.stderr.splitlines() if f"{name}: {what}: " in line), None)
        assert (line is None) == (what == "ok"), name
        assert line is None or len(line.split(f"{what}: ")[1]) > 15
    passes = pl.read_parquet(tmp_path / "survey" / "labels" / "sallow-fen" / "passes.parquet")
    # What could be read of the cut file and of the one whose header lies is measured and labelled too.
    labels = dict(passes.select("recording", "label").iter_rows())
    assert labels["good.wav"] == labels["cut.wav"] == labels["lies.wav"] == "Examplia grandis"
    assert {path.name: path.read_bytes() for path in mixed.iterdir()} == before


def test_a_folder_without_recordings(field, callkey, tmp_path):
    (tmp_path / "barren").mkdir()
    (tmp_path / "barren" / "notes.txt").write_text("nothing\n")
    result = callkey("label", tmp_path / "barren", "--key", field / "fen.key", "-o", tmp_path / "survey")
    assert result.exit_code == 1
    assert "barren" in result.stderr
    assert "Traceback" not in result.output
    assert not (tmp_path / "survey" / "labels").exists()


def test_a_place_that_cannot_be_written(field, callkey, tmp_path):
    (tmp_path / "taken").write_text("a file stands here\n")
    recording = field / "recordings" / "fen" / "20240603_220000.wav"
    result = callkey("label", recording, "--key", field / "fen.key", "-o", tmp_path / "taken", "--workers", 1)
    assert result.exit_code == 1
    assert "taken" in result.stderr
    assert "Traceback" not in result.output
    assert (tmp_path / "taken").read_text() == "a file stands here\n"
