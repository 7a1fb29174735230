"""Measuring from the command line: what `measure`, `label`, `compare` and `demo` share."""

import os
from dataclasses import dataclass
from pathlib import Path

from classifier.commands import show


@dataclass(frozen=True)
class MeasuringOptions:
    """How recordings are to be read, as given on the command line; None where nothing was said."""

    site: str | None = None
    time_expansion: float | None = None
    timezone: str | None = None
    name_pattern: str | None = None
    workers: int | None = None

    def given(self) -> list[str]:
        """The options that were used, as they are written."""
        values = {
            "--site": self.site,
            "--time-expansion": self.time_expansion,
            "--timezone": self.timezone,
            "--name-pattern": self.name_pattern,
            "--workers": self.workers,
        }
        return [name for name, value in values.items() if value is not None]


def measure_into(paths, folder: Path, wanted: MeasuringOptions):
    """Measure recordings into a survey folder, showing how far it is and naming every recording with a fault.

    Returns the SurveyResult. Faulty recordings do not stop the run; the caller turns them into exit code 1.
    """
    from classifier.survey import measure_survey

    options = {
        "site": wanted.site,
        "time_expansion": wanted.time_expansion,
        "timezone": wanted.timezone,
        "workers": wanted.workers,
    }
    if wanted.name_pattern is not None:
        options["name_pattern"] = wanted.name_pattern
    with show.progress("measuring") as step:
        result = measure_survey(
            paths,
            folder,
            progress=lambda at: step(at.done, at.total, Path(at.path).name if at.path else ""),
            **options,
        )
    for notice in result.notices:
        show.say(f"note   {notice}")
    for row in result.faulty.iter_rows(named=True):
        show.fault(f"{where_is(result.survey, row['path'])}: {row['status']}: {row['message']}")
    show.say(_what_was_done(result, folder))
    return result


def where_is(survey, name: str) -> str:
    """The path of a recording as a person here would write it."""
    path = Path(survey.settings["recordings"]["root"], name)
    return os.path.relpath(path) if path.is_relative_to(Path.cwd()) else str(path)


def name_in(survey, path) -> str:
    """What the tables of a survey call a recording."""
    root = survey.settings["recordings"]["root"]
    absolute = Path(os.path.abspath(path))
    return (absolute.relative_to(root) if root else absolute).as_posix()


def _what_was_done(result, folder) -> str:
    total = result.recordings.height
    parts = [f"{result.measured} measured"]
    if result.reused:
        parts.append(f"{result.reused} unchanged since the last run")
    if result.removed:
        parts.append(f"{result.removed} no longer among the recordings and taken out")
    if result.faulty.height:
        parts.append(f"{result.faulty.height} with faults, named above and in recordings.parquet")
    return f"{total} recording{'s' if total != 1 else ''} in {folder}: {', '.join(parts)}."
