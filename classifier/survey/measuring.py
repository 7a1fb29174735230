"""Recordings into a survey folder: look at each, measure what has not been measured, write the tables."""

import contextlib
import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from classifier.errors import InputError, ParameterError
from classifier.recordings import DEFAULT_NAME_PATTERN, ClockSettings, checked, inspect, search
from classifier.survey.cache import PULSES_NAME, Cache, recording_key, settings_digest, settings_values
from classifier.survey.folder import RECORDINGS_NAME, Survey, open_survey
from classifier.survey.provenance import (
    SETTINGS_NAME,
    description,
    moment,
    read_settings,
    settings_bytes,
    storable,
    write_settings,
)
from classifier.survey.storage import locked, make_folder, remove_temporary, write_together
from classifier.survey.tables import RECORDING_SCHEMA, parquet_bytes
from classifier.survey.tasks import Receipt, Task, run_task
from classifier.survey.workers import core_count, run_tasks


@dataclass(frozen=True)
class Progress:
    """How far a run is: recordings done of all that are to be measured in it, seconds of sound likewise; the
    name and status of the recording that was done last (None before the first)."""

    done: int
    total: int
    seconds_done: float
    seconds_total: float
    path: str | None = None
    status: str | None = None


@dataclass(frozen=True)
class SurveyResult:
    """What a run did.

    ``recordings`` is the whole table, ``faulty`` its rows whose status is not "ok", ``pulses`` the number of
    pulses. ``measured`` counts the recordings measured now, ``reused`` those unchanged since an earlier run,
    ``failed`` those that could not be measured though they can be read, ``removed`` those of the last run
    that are no longer among the recordings. ``notices`` are sentences on the whole.
    """

    survey: Survey
    recordings: pl.DataFrame
    pulses: int
    measured: int
    reused: int
    failed: int
    removed: int
    notices: tuple[str, ...]

    @property
    def faulty(self) -> pl.DataFrame:
        """The rows of recordings with a fault."""
        return self.recordings.filter(pl.col("status") != "ok")


def measure_survey(
    paths,
    folder,
    *,
    site=None,
    time_expansion=None,
    timezone=None,
    name_pattern=DEFAULT_NAME_PATTERN,
    settings=None,
    measure=None,
    workers=None,
    progress: Callable[[Progress], None] | None = None,
) -> SurveyResult:
    """Measure recordings into a survey folder, new or old.

    The survey then holds just the recordings found under ``paths``. Those unchanged since an earlier run,
    also one that was killed, are not measured again. The tables have the same bytes whatever the number of
    workers. Recordings are named by their path below a root: the folder that holds them all, and the root of
    an earlier run as long as they all lie below it, so that names stay.

    Parameters
    ----------
    paths : files and folders, see ``classifier.recordings.search``
    folder : the survey folder; made if it is not there
    site, time_expansion, timezone, name_pattern : see ``classifier.recordings.inspect``
    settings : MeasureSettings, or None for the defaults
    measure : callable ``(blocks, *, sample_rate_hz, settings) -> polars.DataFrame`` with the columns of
        ``PULSE_SCHEMA`` but ``recording``, importable by name; None: ``classifier.measure.measure_blocks``
    workers : int >= 1, processes that measure; None: as many as there are cores. They are spawned: a script
        that calls this must do so under ``if __name__ == "__main__":``.
    progress : called once before the first and after each recording that is measured

    Returns
    -------
    SurveyResult. A recording that cannot be read or measured does not stop the run: its row tells.
    Raises
    ------
    ParameterError : an option is out of range
    InputError : no recording is found, the folder cannot be written to, or another run is writing to it; what
        was measured is kept, and another run goes on from there
    """
    if workers is not None and workers < 1:
        raise ParameterError(f"workers must be at least 1, not {workers}")
    options = {
        "site": site,
        "time_expansion": time_expansion,
        "timezone": timezone,
        "name_pattern": name_pattern,
    }
    ClockSettings(timezone, name_pattern)
    if measure is None:
        from classifier.measure import measure_blocks as measure
    if settings is None and measure.__module__.startswith("classifier.measure"):
        from classifier.measure import MeasureSettings

        settings = MeasureSettings()
    found = search(paths)
    if not found.files:
        raise InputError("; ".join(found.notices) or "no recording was named: give files or folders")
    folder = Path(folder)
    make_folder(folder)
    with locked(folder):
        before = _settings_before(folder)
        root = _root(found.files, paths, before)
        told = description(paths, root, folder, options, settings_values(settings))
        if before is None:
            write_settings(folder, told)  # so that a run that is killed can be told from an empty folder
        remove_temporary(folder)
        run = _Run(folder, root, options, settings, measure)
        run.look(found.files)
        run.measure_missing(workers or core_count(), progress or (lambda _: None))
        return run.finish(told, before, found.notices)


class _Run:
    """One run: the recordings by name, the keys of those that can be measured, and what became of them."""

    def __init__(self, folder, root, options, settings, measure):
        self.folder, self.root, self.options = folder, root, options
        self.settings, self.measure = settings, measure
        self.digest = settings_digest(measure, settings)
        self.cache = Cache(folder)
        self.recordings, self.keys, self.readings, self.failures = {}, {}, {}, {}
        self.measured = self.reused = 0

    def look(self, files):
        """Look at every file, and find out which are measured already."""
        for path in files:
            recording = inspect(path, **self.options)
            name = _name(path, self.root)
            if storable(name) != name:
                name = storable(name)
                text = "Its name holds bytes that are no UTF-8 text: rename it."
                recording = replace(recording, status="unsupported", message=text)
            self.recordings[name] = recording
            if recording.readable:
                try:
                    mtime_ns = path.stat().st_mtime_ns
                    self.keys[name] = recording_key(name, recording, mtime_ns, self.digest)
                except OSError as error:
                    self.failures[name] = f"It could no longer be read ({error.strerror}): check the card."

    def measure_missing(self, workers, progress):
        """Measure what is not measured yet."""
        missing = []
        for name, key in self.keys.items():
            reading = self.cache.reading(name, key)
            if reading is None:
                missing.append(name)
            else:
                self.readings[name] = reading
                self.reused += 1
        seconds = {name: self.recordings[name].seconds for name in missing}
        missing.sort(key=lambda name: (-seconds[name], name))  # long ones first, so that workers end together
        at = Progress(0, len(missing), 0.0, sum(seconds.values()))
        progress(at)
        if not missing:
            return
        self.cache.open()
        tasks = [Task(self.recordings[name], self.cache.part(self.keys[name]), self.measure, self.settings) for name in missing]
        with contextlib.closing(run_tasks(run_task, tasks, workers, _lost)) as receipts:
            for index, receipt in receipts:
                name = missing[index]
                if receipt.stop:
                    raise InputError(receipt.stop)
                if receipt.failure:
                    self.failures[name] = receipt.failure
                    del self.keys[name]
                else:
                    self.readings[name] = receipt.reading
                    self.measured += 1
                at = replace(
                    at,
                    done=at.done + 1,
                    seconds_done=at.seconds_done + seconds[name],
                    path=name,
                    status=self._as_measured(name).status,
                )
                progress(at)

    def finish(self, told, before, notices):
        """Write the tables and survey.toml."""
        pulses = self.cache.pulses(self.keys)
        removed = len(_names_before(self.folder) - set(self.recordings))
        rows = [_row(name, self._as_measured(name)) for name in sorted(self.recordings)]
        table = pl.DataFrame(rows, schema=RECORDING_SCHEMA, orient="row")
        data = {PULSES_NAME: parquet_bytes(pulses), RECORDINGS_NAME: parquet_bytes(table)}
        digests = {name: hashlib.sha256(content).hexdigest() for name, content in data.items()}
        told["survey"] |= {
            "finished_at": moment(),
            "recordings": table.height,
            "pulses": pulses.height,
            "status": dict(table.group_by("status").len().sort("status").iter_rows()),
        }
        told["tables"] = {
            "recordings_sha256": digests[RECORDINGS_NAME],
            "pulses_sha256": digests[PULSES_NAME],
        }
        if before and "labels" in before:
            told["labels"] = before["labels"]
        index, content = self.cache.index(digests[PULSES_NAME], self.keys, self.readings)
        write_together(
            {
                index: content,
                **{self.folder / name: content for name, content in data.items()},
                self.folder / SETTINGS_NAME: settings_bytes(told),
            }
        )
        self.cache.tidy(index)
        unknown = sum(not recording.offset_known for recording in self.recordings.values())
        if unknown:
            notices = (
                *notices,
                f"{unknown} of {table.height} recordings tell no UTC offset; their times were taken as UTC. "
                "Give --timezone if the recorder's clock ran on local time.",
            )
        return SurveyResult(
            open_survey(self.folder),
            table,
            pulses.height,
            self.measured,
            self.reused,
            len(self.failures),
            removed,
            tuple(notices),
        )

    def _as_measured(self, name):
        """The recording as it is known after measuring."""
        recording = self.recordings[name]
        if name in self.failures:
            message = " ".join(part for part in (recording.message, self.failures[name]) if part)
            return replace(recording, status="damaged", message=message)
        return checked(recording, self.readings[name]) if name in self.readings else recording


def _lost(how):
    return Receipt(
        failure=f"The worker that measured it died ({how}), often for want of memory; the file may be sound: "
        "run again, with fewer --workers, to try once more."
    )


def _settings_before(folder):
    """What survey.toml says, None where there is none; refuses a folder whose tables are of something
    else."""
    if (folder / SETTINGS_NAME).is_file():
        return read_settings(folder)
    for name in (RECORDINGS_NAME, PULSES_NAME):
        if (folder / name).exists():
            raise InputError(f"{folder}: holds a {name} but no {SETTINGS_NAME}, so it is no survey folder; give another with -o")
    return None


def _names_before(folder):
    """Names of the recordings in the table as it stands."""
    if not (folder / RECORDINGS_NAME).is_file():
        return set()
    try:
        return set(pl.read_parquet(folder / RECORDINGS_NAME, columns=["path"])["path"])
    except (pl.exceptions.PolarsError, OSError):
        return set()


def _root(files, paths, before):
    """Folder below which recordings are named; None where they have none in common (drives of their own)."""
    below = [os.path.abspath(path) for path in files]
    if before:
        root = before["recordings"]["root"]
        if root and all(Path(path).is_relative_to(root) for path in below):
            return root
    tops = [os.path.abspath(path) for path in paths]
    with contextlib.suppress(ValueError):
        return os.path.commonpath([top if os.path.isdir(top) else os.path.dirname(top) for top in tops])
    return ""


def _name(path, root):
    absolute = Path(os.path.abspath(path))
    return (absolute.relative_to(root) if root else absolute).as_posix()


def _row(name, recording):
    """A row of the table of recordings."""
    known_rate = recording.sample_rate_hz > 0
    starts_at = recording.starts_at
    if starts_at is not None:
        starts_at = starts_at.isoformat(timespec="milliseconds" if starts_at.microsecond else "seconds")
    return (
        name,
        recording.bytes,
        recording.true_sample_rate_hz if known_rate else None,
        recording.channels if known_rate else None,
        recording.seconds if known_rate else None,
        recording.time_expansion if known_rate else None,
        starts_at,
        recording.night,
        recording.site,
        recording.latitude,
        recording.longitude,
        recording.recorder,
        recording.status,
        recording.message,
    )
