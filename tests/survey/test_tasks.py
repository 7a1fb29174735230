import os

import pytest

from classifier.errors import InputError
from classifier.recordings import inspect
from classifier.survey import storage
from classifier.survey.parts import Reading, read_part, read_pulses
from classifier.survey.tasks import BLOCK_FRAMES, Task, run_task


@pytest.fixture
def task(tmp_path, record, stub, settings):
    def task(path=None, measure=stub.measure, part="a.part"):
        recording = inspect(path or record(tmp_path / "a.wav"))
        return Task(recording, tmp_path / part, measure, settings)

    return task


def test_part_and_receipt(task):
    one = task()
    receipt = run_task(one)
    assert receipt.reading == Reading(2560)
    assert receipt.failure is receipt.stop is None
    part = read_pulses(one.part)
    assert part["duration_ms"].to_list() == [None, 3.5]
    assert part["level_db"].to_list() == [0.25, 0.25]
    assert "recording" not in part.columns
    assert read_part(one.part) == Reading(2560)


def test_a_part_that_is_there_is_not_measured_again(task, stub, settings):
    one = task()
    assert run_task(one) == run_task(one)
    assert stub.calls(settings) == 1


def test_a_broken_part_is_measured_again(task, stub, settings):
    one = task()
    run_task(one)
    os.truncate(one.part, one.part.stat().st_size - 9)
    assert read_part(one.part) is None
    assert run_task(one).reading == Reading(2560)
    assert stub.calls(settings) == 2


def test_a_garbled_part_is_named_with_a_remedy(task):
    one = task()
    run_task(one)
    content = one.part.read_bytes()
    one.part.write_bytes(content.split(b"\n", 1)[0] + b"\n" + b"\xff" * (len(content) - content.index(b"\n") - 1))
    assert read_part(one.part) == Reading(2560)
    with pytest.raises(InputError, match=r"a\.part: cannot be read .*; remove it and run again"):
        read_pulses(one.part)


def test_a_measure_that_stops_early_does_not_make_a_file_damaged(task, tmp_path, record, stub):
    path = record(tmp_path / "long.wav", frames=BLOCK_FRAMES + 5)
    assert run_task(task(path, stub.measure_first_block)).reading == Reading(BLOCK_FRAMES + 5)


def test_a_fault_of_the_program_is_named(task, tmp_path, record, stub):
    receipt = run_task(task(record(tmp_path / "loud.wav", 0.9), stub.measure_or_raise))
    assert receipt.reading is None
    assert receipt.failure.startswith("Measuring it failed, which is a fault of the program and not of the file: ")
    assert "ZeroDivisionError: loud (stub_measures.py, line " in receipt.failure
    receipt = run_task(task(measure=stub.measure_wrongly, part="other.part"))
    assert "missing ['level_db']" in receipt.failure


def test_a_recording_that_is_gone(task):
    one = task()
    one.recording.path.unlink()
    assert "could not be measured" in run_task(one).failure
    assert "can no longer be opened" in run_task(one).failure


def test_a_full_disk_stops_the_run(task, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(storage.os, "fsync", full)
    receipt = run_task(task())
    assert "the disk is full" in receipt.stop
    assert receipt.reading is None
