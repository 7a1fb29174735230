import os
import sys
import time

import pytest
import stub_tasks

from classifier.survey.workers import core_count, run_tasks

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals")


def run(tasks, workers, function=stub_tasks.square):
    return dict(run_tasks(function, tasks, workers, lambda how: how))


@pytest.mark.parametrize("workers", [1, 3])
def test_every_task_has_its_result(workers):
    assert run(list(range(10)), workers) == {number: number * number for number in range(10)}


def test_nothing_to_do():
    assert run([], 4) == {}


def test_a_worker_that_dies_costs_only_its_task():
    tasks = [1, -1, 2, 13, 3, -1, 4, 5]
    expected = {
        0: 1,
        1: "stopped by SIGKILL",
        2: 4,
        3: "exit code 3",
        4: 9,
        5: "stopped by SIGKILL",
        6: 16,
        7: 25,
    }
    assert run(tasks, 2) == expected
    assert run(tasks, 1) == expected


def test_work_is_shared():
    assert len(set(run([0.3] * 4, 2, stub_tasks.nap).values())) == 2


def test_workers_end_with_the_run():
    results = run_tasks(stub_tasks.nap, [0, 60, 60], 2, str)
    next(results)
    start = time.monotonic()
    results.close()
    assert time.monotonic() - start < 30


def test_environment_is_left_as_it_was(monkeypatch):
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv("MKL_NUM_THREADS", raising=False)
    run([1], 1)
    assert os.environ["OMP_NUM_THREADS"] == "7"
    assert "MKL_NUM_THREADS" not in os.environ


def test_cores():
    assert 1 <= core_count() <= os.cpu_count()
