import os
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

from classifier.errors import InputError, ParameterError
from classifier.recordings import inspect
from classifier.survey import PULSE_SCHEMA, RECORDING_SCHEMA, measure_survey, open_survey
from classifier.survey.storage import locked


@pytest.fixture
def run(tmp_path, calls, stub, settings):
    """Measure the recordings into a survey with the stub."""

    def run(*paths, folder="survey", measure=stub.measure, workers=1, settings=settings, **options):
        options.setdefault("timezone", "Europe/Dublin")
        return measure_survey(
            paths or [calls],
            tmp_path / folder,
            settings=settings,
            measure=measure,
            workers=workers,
            **options,
        )

    return run


def tables(folder):
    return [(Path(folder) / name).read_bytes() for name in ("recordings.parquet", "pulses.parquet")]


def test_tables(run, tmp_path):
    result = run()
    recordings, pulses = result.survey.recordings(), result.survey.pulses()
    assert recordings.schema == RECORDING_SCHEMA
    assert pulses.schema == PULSE_SCHEMA
    assert recordings.equals(result.recordings)
    assert recordings["path"].to_list() == [
        "hedge/20260603_221500.wav",
        "hedge/20260604_031500.wav",
        "pond/20260603_231500.flac",
        "pond/20260603_232000.wav",
        "pond/20260603_232500.wav",
        "pond/slow.wav",
    ]
    assert recordings["status"].to_list() == ["ok", "ok", "ok", "empty", "unsupported", "unsupported"]
    first = recordings.row(0, named=True)
    assert first["starts_at"] == "2026-06-03T22:15:00+01:00"
    assert (first["sample_rate"], first["channels"], first["seconds"]) == (256_000, 1, 0.01)
    assert recordings["night"].cast(str).to_list()[:2] == ["2026-06-03", "2026-06-03"]
    assert recordings["site"].to_list() == ["hedge"] * 2 + ["pond"] * 4
    assert pulses["recording"].to_list() == (
        ["hedge/20260603_221500.wav"] * 2 + ["hedge/20260604_031500.wav"] * 4 + ["pond/20260603_231500.flac"] * 2
    )
    assert pulses["level_db"].to_list() == [0.25] * 2 + [0.125] * 4 + [0.5] * 2
    assert pulses["channel"].to_list() == [1, 1, 1, 1, 2, 2, 1, 1]
    assert (result.measured, result.reused, result.failed, result.removed, result.pulses) == (3, 0, 0, 0, 8)
    assert result.faulty["path"].to_list() == recordings["path"].to_list()[3:]
    left = sorted(name for name in os.listdir(tmp_path / "survey") if not name.startswith(".measured-"))
    assert left == ["pulses.parquet", "recordings.parquet", "survey.toml"]


def test_same_bytes_whatever_the_workers_and_the_way_there(run, calls, record, tmp_path):
    run(workers=1)
    run(workers=3, folder="other")
    assert tables(tmp_path / "survey") == tables(tmp_path / "other")
    # Measured in two goes, out of order.
    run(calls / "pond", folder="steps", workers=2)
    shutil.rmtree(tmp_path / "steps")
    later = shutil.move(calls / "hedge" / "20260603_221500.wav", tmp_path)
    run(folder="steps")
    shutil.move(later, calls / "hedge")
    run(folder="steps")
    assert tables(tmp_path / "survey") == tables(tmp_path / "steps")


def test_unchanged_recordings_are_not_measured_again(run, stub, settings, calls, tmp_path):
    run()
    before = tables(tmp_path / "survey")
    assert stub.calls(settings) == 3
    result = run()
    assert (result.measured, result.reused) == (0, 3)
    assert stub.calls(settings) == 3
    assert tables(tmp_path / "survey") == before


def test_what_changed_is_measured_again(run, record, calls, stub, settings):
    run()
    record(calls / "hedge" / "20260603_221500.wav", 0.75)
    result = run()
    assert (result.measured, result.reused) == (1, 2)
    assert result.survey.pulses()["level_db"].to_list()[:2] == pytest.approx([0.75, 0.75])
    os.utime(calls / "hedge" / "20260603_221500.wav", (0, 0))
    assert run().measured == 1
    # Another rate, other settings, other code: everything.
    assert run(time_expansion=2).measured == 3
    assert run().measured == 3
    louder = type(settings)(settings.log, gain=2.0)
    assert run(settings=louder).survey.pulses()["level_db"].to_list()[-1] == 1.0
    assert run(settings=louder).measured == 0
    assert run(settings=louder, timezone="UTC").measured == 0


def test_a_change_of_the_measuring_code_measures_again(run, tmp_path, monkeypatch):
    source = tmp_path / "passing_measure.py"
    source.write_text(
        "from stub_measures import measure as inner\ndef measure(blocks, **rest):\n    return inner(blocks, **rest)\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    import passing_measure

    assert run(measure=passing_measure.measure).measured == 3
    assert run(measure=passing_measure.measure).measured == 0
    source.write_text(source.read_text() + "# changed\n")
    assert run(measure=passing_measure.measure).measured == 3


def test_removed_recordings_vanish_and_new_ones_come(run, calls, record):
    run()
    (calls / "hedge" / "20260604_031500.wav").unlink()
    record(calls / "brook" / "20260605_221500.wav", 0.0625)
    result = run()
    assert (result.measured, result.reused, result.removed) == (1, 2, 1)
    assert result.recordings["path"][0] == "brook/20260605_221500.wav"
    assert set(result.survey.pulses()["recording"]) == {
        "brook/20260605_221500.wav",
        "hedge/20260603_221500.wav",
        "pond/20260603_231500.flac",
    }


def test_a_table_that_somebody_changed_is_not_trusted(run, tmp_path):
    run()
    before = tables(tmp_path / "survey")
    path = tmp_path / "survey" / "pulses.parquet"
    pl.read_parquet(path).with_columns(level_db=pl.lit(9.0)).write_parquet(path)
    assert run().measured == 3
    assert tables(tmp_path / "survey") == before


@pytest.mark.parametrize("lost", ["pulses.parquet", "recordings.parquet", ".measured"])
def test_lost_files_come_back(run, tmp_path, lost):
    run()
    before = tables(tmp_path / "survey")
    for name in os.listdir(tmp_path / "survey"):
        if name.startswith(lost):
            (tmp_path / "survey" / name).unlink()
    run()
    assert tables(tmp_path / "survey") == before


def test_a_killed_run_goes_on_where_it_stopped(tmp_path, record, stub, settings):
    """Killed without warning: nothing is measured twice, and the tables are those of one go."""
    root = tmp_path / "many"
    for number in range(8):
        record(root / f"{number}.wav", number / 10)
    code = (
        "import sys\nsys.path.insert(0, sys.argv[4])\nimport stub_measures as stub\n"
        "from classifier.survey import measure_survey\n"
        "if __name__ == '__main__':\n"
        "    measure_survey([sys.argv[1]], sys.argv[2], settings=stub.StubSettings(sys.argv[3]),\n"
        "                   measure=stub.measure_slowly, workers=1,\n"
        "                   progress=lambda at: print(at.done, flush=True))\n"
    )
    script = tmp_path / "script.py"
    script.write_text(code)
    survey = tmp_path / "killed"
    arguments = [sys.executable, script, root, survey, settings.log, Path(stub.__file__).parent]
    with subprocess.Popen(arguments, stdout=subprocess.PIPE) as process:
        for line in process.stdout:
            if line == b"3\n":
                process.send_signal(signal.SIGKILL)
    assert not (survey / "pulses.parquet").exists()
    with pytest.raises(InputError, match="is missing; measure or label again"):
        open_survey(survey).pulses()
    # The worker ends with the task in its hands; how long that takes depends on the machine.
    seen = []
    while len(seen) < 6 or len(set(seen[-6:])) > 1 or seen[-1][0] != seen[-1][1]:
        seen.append((stub.calls(settings), len(list((survey / ".parts").glob("*.part")))))
        assert len(seen) < 300
        time.sleep(0.2)
    done = seen[-1][0]
    assert 3 <= done < 8
    result = measure_survey([root], survey, settings=settings, measure=stub.measure_slowly, workers=2)
    assert result.reused == done
    assert stub.calls(settings) == 8
    other = measure_survey([root], tmp_path / "whole", settings=settings, measure=stub.measure_slowly, workers=2)
    assert tables(survey) == tables(other.survey.folder)


def test_a_worker_that_dies_costs_only_its_recording(run, calls, record, stub, settings):
    loud = record(calls / "hedge" / "20260603_230000.wav", 0.9)
    result = run(measure=stub.measure_or_die, workers=2)
    assert (result.measured, result.failed) == (3, 1)
    row = result.faulty.row(0, named=True)
    assert (row["path"], row["status"]) == ("hedge/20260603_230000.wav", "damaged")
    assert row["message"].startswith("The worker that measured it died (stopped by SIGKILL)")
    assert result.pulses == 8
    # It is tried again, the others are not.
    record(loud, 0.1)
    again = run(measure=stub.measure_or_die)
    assert (again.measured, again.reused, again.failed) == (1, 3, 0)


def test_a_fault_of_the_program_costs_only_its_recording(run, calls, record, stub):
    record(calls / "hedge" / "20260603_230000.wav", 0.9)
    result = run(measure=stub.measure_or_raise)
    assert (result.measured, result.failed) == (3, 1)
    assert "ZeroDivisionError: loud" in result.faulty["message"][0]


def test_samples_that_are_no_numbers_are_told_and_kept_in_mind(run, calls):
    samples = np.full(2560, 0.5, np.float32)
    samples[7] = np.nan
    soundfile.write(calls / "pond" / "20260603_235900.wav", samples, 256_000, subtype="FLOAT")
    for _ in range(2):
        row = run().recordings.filter(pl.col("path") == "pond/20260603_235900.wav").row(0, named=True)
        assert row["status"] == "damaged"
        assert row["message"] == "1 sample was no number (NaN or infinite) and taken as 0."


def test_damaged_recordings_are_measured_as_far_as_they_go(run, calls):
    path = calls / "hedge" / "20260603_221500.wav"
    os.truncate(path, 44 + 2560)
    result = run()
    row = result.recordings.row(0, named=True)
    assert (row["status"], row["seconds"]) == ("damaged", 0.005)
    assert "promises 0.01 s of samples but only 0.005 s are there" in row["message"]
    assert result.survey.pulses()["snr_db"][0] == 0.005


def test_libraries_have_one_thread_in_workers(run, stub):
    assert set(run(measure=stub.thread_counts).survey.pulses()["snr_db"]) == {1.0}


def test_progress(run):
    seen = []
    run(progress=seen.append)
    assert [(at.done, at.total) for at in seen] == [(0, 3), (1, 3), (2, 3), (3, 3)]
    assert seen[-1].seconds_done == pytest.approx(seen[0].seconds_total) == pytest.approx(0.04)
    assert seen[0].path is None
    assert {at.path for at in seen[1:]} == {
        "hedge/20260603_221500.wav",
        "hedge/20260604_031500.wav",
        "pond/20260603_231500.flac",
    }
    seen.clear()
    run(progress=seen.append)
    assert [(at.done, at.total) for at in seen] == [(0, 0)]


def test_survey_toml_is_enough_to_run_it_again(run, tmp_path, calls, settings):
    run(site="Ash Lane", time_expansion=1)
    told = tomllib.loads((tmp_path / "survey" / "survey.toml").read_text())
    assert told["survey"]["recordings"] == 6
    assert told["survey"]["status"] == {"empty": 1, "ok": 3, "unsupported": 2}
    assert told["survey"]["started_at"] <= told["survey"]["finished_at"]
    assert told["measure"] == {"log": settings.log, "gain": 1.0}
    assert set(told["machine"]) == {"system", "python", "numpy", "scipy", "polars", "soundfile", "libsndfile"}
    made = told["recordings"]
    assert Path(tmp_path, "survey", made["root_from_survey"]).resolve() == calls
    again = run(
        *made["paths"],
        folder="again",
        **{name: made[name] for name in ("site", "time_expansion", "timezone", "name_pattern")},
    )
    assert tables(tmp_path / "survey") == tables(again.survey.folder)


def test_names_stay_when_less_is_measured(run, calls, tmp_path):
    run()
    assert run(calls / "pond").recordings["path"][0] == "pond/20260603_231500.flac"
    assert run(calls / "pond", folder="other").recordings["path"][0] == "20260603_231500.flac"


def test_names_of_single_files(run, calls):
    result = run(calls / "hedge" / "20260603_221500.wav")
    assert result.recordings["path"].to_list() == ["20260603_221500.wav"]


def test_notices(run, calls, tmp_path):
    (tmp_path / "nothing").mkdir()
    result = run(calls, tmp_path / "nothing", timezone=None)
    assert result.notices[0].endswith("nothing: holds no recording (no file that ends in .wav or .flac)")
    assert result.notices[1].startswith("5 of 6 recordings tell no UTC offset; their times were taken as UTC.")


@pytest.mark.skipif(sys.platform != "linux", reason="names are text elsewhere")
def test_a_name_that_is_no_text(run, calls):
    shutil.copy(calls / "hedge" / "20260603_221500.wav", os.fsencode(calls / "pond") + b"/\xff.wav")
    row = run().faulty.filter(pl.col("path").str.contains("udcff")).row(0, named=True)
    assert (row["status"], row["message"]) == (
        "unsupported",
        "Its name holds bytes that are no UTF-8 text: rename it.",
    )


def test_two_runs_in_one_folder(run, tmp_path):
    (tmp_path / "survey").mkdir()
    with (
        locked(tmp_path / "survey"),
        pytest.raises(InputError, match="another run is writing to this survey"),
    ):
        run()


def test_a_full_disk_loses_nothing(run, tmp_path, monkeypatch, record, calls, stub, settings):
    run()
    before = tables(tmp_path / "survey")
    record(calls / "pond" / "20260604_010000.wav")
    with monkeypatch.context() as patched:

        def full(*_):
            raise OSError(28, "No space left on device")

        patched.setattr(os, "replace", full)
        with pytest.raises(InputError, match="the disk is full; make room and run again"):
            run()
    assert tables(tmp_path / "survey") == before
    assert stub.calls(settings) == 4
    assert run().reused == 4
    assert stub.calls(settings) == 4


def test_foreign_folders_are_refused(run, tmp_path):
    (tmp_path / "survey").mkdir()
    (tmp_path / "survey" / "pulses.parquet").write_bytes(b"mine")
    with pytest.raises(InputError, match=r"holds a pulses\.parquet but no survey\.toml"):
        run()
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="a file stands where a folder is needed"):
        run(folder="file")


def test_nothing_to_measure(run, tmp_path):
    (tmp_path / "nothing").mkdir()
    with pytest.raises(InputError, match="holds no recording"):
        run(tmp_path / "nothing")
    assert not (tmp_path / "survey").exists()


def test_only_bad_recordings(run, calls, tmp_path):
    result = run(calls / "pond" / "slow.wav")
    assert result.pulses == 0
    assert result.survey.pulses().schema == PULSE_SCHEMA
    assert result.faulty.height == 1


@pytest.mark.parametrize("options", [{"workers": 0}, {"time_expansion": 0.1}, {"timezone": "Moon"}, {"name_pattern": "hour"}])
def test_options_out_of_range(run, tmp_path, options):
    with pytest.raises(ParameterError):
        run(**options)


def test_originals_are_left_alone(run, calls):
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in calls.rglob("*.*")}
    run()
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in calls.rglob("*.*")} == before


def test_the_sound_behind_a_row(run, calls, tmp_path):
    survey = run(time_expansion=1).survey
    recording = survey.recording("pond/20260603_231500.flac")
    assert recording == inspect(calls / "pond" / "20260603_231500.flac", timezone="Europe/Dublin", time_expansion=1)
    # Recordings and survey moved together.
    (tmp_path / "moved").mkdir()
    shutil.move(calls, tmp_path / "moved")
    shutil.move(tmp_path / "survey", tmp_path / "moved")
    survey = open_survey(tmp_path / "moved" / "survey")
    assert survey.recording("pond/20260603_231500.flac").readable
    with pytest.raises(InputError, match="the recording is no longer there"):
        survey.recording("pond/missing.wav")
