"""``callkey measure``: recordings to pulses."""

import typer

from classifier.commands import options, show
from classifier.commands.measuring import MeasuringOptions, measure_into

EXAMPLE = "callkey measure recordings --site millpond --timezone Europe/Dublin -o survey"


def measure(
    paths: options.Recordings,
    output: options.OutputSurvey,
    site: options.Site = None,
    time_expansion: options.TimeExpansion = None,
    timezone: options.Timezone = None,
    name_pattern: options.NamePattern = None,
    workers: options.Workers = None,
    json: options.Json = False,
) -> None:
    """Measure the pulses of recordings into a survey folder.

    Unchanged recordings are not measured again, and a run that was stopped goes on where it stopped.
    Originals are only read. A recording with a fault is named, kept in the table of recordings, and does not
    stop the run.
    """
    wanted = MeasuringOptions(site, time_expansion, timezone, name_pattern, workers)
    result = measure_into(paths, output, wanted)
    if json:
        show.as_json(
            {
                "survey": str(output),
                "recordings": result.recordings,
                "measured": result.measured,
                "reused": result.reused,
                "faults": result.faulty.height,
                "pulses": result.pulses,
            }
        )
    else:
        _summary(result)
        show.say(f"Next: callkey label {output} --key KEY")
    if result.faulty.height:
        raise typer.Exit(1)


def _summary(result):
    """A line a site and night: recordings, time listened, pulses, recordings with faults."""
    import polars as pl

    pulses = result.survey.pulses().group_by("recording").agg(pl.len().alias("pulses"))
    nights = (
        result.recordings.join(pulses, left_on="path", right_on="recording", how="left")
        .group_by("site", "night")
        .agg(
            pl.len().alias("recordings"),
            pl.col("seconds").sum(),
            pl.col("pulses").sum(),
            (pl.col("status") != "ok").sum().alias("faults"),
        )
        .sort("site", "night", nulls_last=True)
    )
    show.table(
        ["site", "night", "recordings>", "listened>", "pulses>", "with faults>"],
        [
            (site, night, count, listened(seconds), found, faults or None)
            for site, night, count, seconds, found, faults in nights.iter_rows()
        ],
    )


def listened(seconds: float) -> str:
    """A stretch of time as people say it: ``42 s``, ``12 min``, ``7.5 h``."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
