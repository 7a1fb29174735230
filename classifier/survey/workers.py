"""Processes that carry out tasks side by side. One that dies costs the task in its hands and nothing else.

The standard library's pool gives up as a whole when one of its processes dies, so a small pool stands here:
each worker has a pipe of its own and one task at a time. Processes are spawned, not forked: a fork of a
process in which a table library runs threads can hang.
"""

import contextlib
import multiprocessing
import os
import signal
from multiprocessing.connection import wait

from classifier.errors import CallkeyError

#: Workers share the cores, so each library in them gets one thread. It also makes sums come out the same to
#: the last bit whatever the number of workers.
_ONE_THREAD = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
    "POLARS_MAX_THREADS",
)
_READY = "ready"


def core_count():
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def run_tasks(function, tasks, workers, lost):
    """Carry out tasks in processes of their own.

    Parameters
    ----------
    function : callable of one task, importable by name
    tasks : list of tasks, which are given out in this order
    workers : int >= 1
    lost : callable that makes the result of a task from a sentence on how its worker died

    Yields
    ------
    (index of the task, its result), in the order in which they are done
    Raises
    ------
    CallkeyError : workers cannot be started at all
    """
    context = multiprocessing.get_context("spawn")
    waiting = iter(enumerate(tasks))
    crew = {}
    try:
        for _ in range(min(workers, len(tasks))):
            _hire(crew, context, function)
        left = len(tasks)
        while left:
            for pipe in wait(list(crew)):
                worker = crew[pipe]
                try:
                    result = pipe.recv()
                except (EOFError, ConnectionError):
                    del crew[pipe]
                    index, how = worker.index, _death(worker.process)
                    pipe.close()
                    if not worker.started:
                        raise CallkeyError(
                            f"workers cannot be started ({how}); a script that measures must stand under "
                            "`if __name__ == '__main__':`"
                        ) from None
                    if index is not None:
                        left -= 1
                        yield index, lost(how)
                    if left > sum(other.index is not None for other in crew.values()):
                        _hire(crew, context, function)
                    continue
                if worker.started:
                    left -= 1
                    yield worker.index, result
                worker.started = True
                worker.index, task = next(waiting, (None, None))
                if worker.index is None:
                    del crew[pipe]
                    _dismiss(pipe, worker.process)
                else:
                    with contextlib.suppress(BrokenPipeError):  # it has died meanwhile: met at the next look
                        pipe.send(task)
    finally:
        for worker in crew.values():
            worker.process.terminate()
        for pipe, worker in crew.items():
            worker.process.join()
            pipe.close()


class _Worker:
    def __init__(self, process):
        self.process = process
        self.started = False
        self.index = None


def _hire(crew, context, function):
    """Start a worker and put it into the crew under its pipe."""
    ours, theirs = context.Pipe()
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        process = context.Process(target=_work, args=(theirs, function), daemon=True)
        process.start()
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
    theirs.close()  # or the end of the worker would not be noticed
    crew[ours] = _Worker(process)


def _dismiss(pipe, process):
    """End an idle worker. All it did is on the disk; unloading its libraries would only cost half a second."""
    process.terminate()
    process.join()
    pipe.close()


def _work(pipe, function):
    """The life of a worker: one task after the other until it is dismissed or the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is interrupted and ends its workers
    pipe.send(_READY)
    with contextlib.suppress(EOFError, ConnectionError):
        while True:
            pipe.send(function(pipe.recv()))


def _death(process):
    """How a process ended, in words."""
    process.join()
    code = process.exitcode
    if code is not None and code < 0:
        try:
            return f"stopped by {signal.Signals(-code).name}"
        except ValueError:
            return f"stopped by signal {-code}"
    return f"exit code {code}"
