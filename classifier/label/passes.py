"""The facts of each pass that come before its label: where and when it was, how many pulses, medians of its
metrics."""

from datetime import UTC, datetime, timedelta

import polars as pl

from classifier.metrics import MEASURED, METRICS

#: Metrics whose median over the pass stands in the table. The median of the onsets would mean nothing.
MEDIANS = tuple(metric for metric in (*MEASURED, METRICS["interval"]) if metric.name != "onset")
ONSET, DURATION = METRICS["onset"].column, METRICS["duration"].column


def pass_facts(pulses: pl.DataFrame, recordings: pl.DataFrame, followed: pl.DataFrame) -> pl.DataFrame:
    """A row a pass, ordered by pass.

    Parameters
    ----------
    pulses : DataFrame, a row a pulse of a pass: the pulses' own columns and pass, interval_ms, usable (bool),
        in_buzz
    recordings : DataFrame as recordings.parquet
    followed : DataFrame, a row a pass, with pass and alternation_khz, as classifier.passes.follow gives it

    Returns
    -------
    DataFrame with columns pass, recording, recordings, channel, site, night, starts_at, onset_s, end_s,
    pulses, usable_pulses, feeding_buzz, alternation (kHz or null), start (datetime of its first pulse or
    null), latitude, longitude, and the column of each metric in MEDIANS: its median over the usable pulses,
    null without any
    """
    pulses = pulses.with_columns(_starts(recordings, pulses))
    # Seconds from the start of the first recording, also in the recordings that the pass runs on into.
    pulses = (
        pulses.with_columns(pl.col("file_start").min().over("pass").alias("pass_start"))
        .with_columns(((pl.col("file_start") - pl.col("pass_start")).dt.total_microseconds() / 1e6).fill_null(0.0).alias("shift_s"))
        .with_columns((pl.col("shift_s") + pl.col(ONSET)).alias("since_s"))
    )
    usable = pl.col("usable")
    ends = pl.col("since_s") + pl.col(DURATION).fill_null(0.0) / 1000.0
    facts = (
        pulses.sort("pass", "since_s", nulls_last=True)
        .group_by("pass", maintain_order=True)
        .agg(
            pl.col("recording").first(),
            pl.col("recording").n_unique().cast(pl.Int32).alias("recordings"),
            pl.col("channel").first(),
            pl.col("since_s").min().alias("onset_s"),
            ends.max().alias("end_s"),
            pl.len().cast(pl.Int32).alias("pulses"),
            usable.sum().cast(pl.Int32).alias("usable_pulses"),
            pl.col("in_buzz").any().alias("feeding_buzz"),
            *(pl.col(metric.column).filter(usable).median().cast(pl.Float64) for metric in MEDIANS),
        )
    )
    about = recordings.select(
        pl.col("path").alias("recording"),
        "site",
        "night",
        pl.col("starts_at").alias("began"),
        "latitude",
        "longitude",
    )
    facts = facts.join(about, on="recording", how="left", maintain_order="left").join(
        followed.select("pass", pl.col("alternation_khz").alias("alternation")),
        on="pass",
        how="left",
        maintain_order="left",
    )
    moments = [_moment(began, onset) for began, onset in facts.select("began", "onset_s").iter_rows()]
    return facts.with_columns(
        pl.Series("start", moments, pl.Object),
        pl.Series("starts_at", [at and at.isoformat(timespec="milliseconds") for at in moments], pl.String),
    )


def _starts(recordings, pulses):
    """When the recording of each pulse began; null where its clock is unknown."""
    began = [at and datetime.fromisoformat(at).astimezone(UTC) for at in recordings["starts_at"]]
    clock = pl.DataFrame({"recording": recordings["path"], "file_start": pl.Series(began, dtype=pl.Datetime("us", "UTC"))})
    return pulses.select("recording").join(clock, on="recording", how="left", maintain_order="left")["file_start"]


def _moment(began, onset_s):
    """The clock time of a pass with its recording's offset, to the millisecond; None where unknown."""
    if began is None:
        return None
    return datetime.fromisoformat(began) + timedelta(seconds=onset_s or 0.0)
