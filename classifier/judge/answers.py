"""What a key says of reference calls: the answers that compare() holds against the truth."""

import numpy as np
import polars as pl

from classifier.judge.references import References
from classifier.label.text import UNIDENTIFIED
from classifier.metrics import METRICS

ANSWER_SCHEMA = {
    "line": pl.Int64,
    "taxon": pl.String,
    "individual": pl.String,
    "label": pl.String,
    "tier": pl.String,
    "candidates": pl.String,
    "clearance": pl.Float64,
    "trail": pl.String,
}


def answer_calls(references: References, compiled) -> pl.DataFrame:
    """The key's answer to each call of a table of metrics, one call a row.

    A metric that the table does not have is missing; without a standard error, a value counts as exact. A
    call that the gate keeps out is 'unidentified', and its trail says by what.

    Returns
    -------
    DataFrame with the columns of ANSWER_SCHEMA, in the order of the table
    """
    from classifier.label.calls import call_columns, key_calls, labelling_of

    calls = references.calls
    labelling = labelling_of(compiled)
    keyed = key_calls(
        compiled,
        labelling,
        _arrays([call.values for call in calls], compiled.metrics),
        _arrays([call.errors for call in calls], compiled.metrics),
        size=len(calls),
    )
    gated = pl.Series("gated_by", keyed.gated_by, pl.String)
    found = call_columns(keyed, labelling).with_columns(
        pl.col("label").fill_null(UNIDENTIFIED),
        pl.when(gated.is_not_null())
        .then(pl.concat_str(pl.lit("gated by "), gated))
        .otherwise(pl.col("trail"))
        .alias("trail"),
    )
    return _beside_the_truth(calls, found)


def _arrays(rows, metrics):
    """Dictionaries of a row each to one array a metric, also for the metrics that no row has: NaN where missing."""
    return {name: np.array([row.get(name, np.nan) for row in rows], float) for name in metrics}


def _beside_the_truth(calls, found):
    truth = pl.DataFrame(
        [(call.line, call.taxon, call.about.get("individual")) for call in calls],
        schema={name: ANSWER_SCHEMA[name] for name in ("line", "taxon", "individual")},
        orient="row",
    )
    return pl.concat([truth, found], how="horizontal").select(
        pl.col(name).cast(dtype) for name, dtype in ANSWER_SCHEMA.items()
    )


def answer_recordings(
    references: References, paths, pulses: pl.DataFrame, recordings: pl.DataFrame, compiled
) -> pl.DataFrame:
    """The key's answer to each stretch of a recording: the label of the pass with most usable pulses in it.

    Each row of the table is labelled by itself, as if it were a recording of its own. Where nothing is found
    in it the answer is 'unidentified', and the trail says so.

    Parameters
    ----------
    paths : sequence of str, for each reference call its recording as `pulses.recording` names it
    pulses, recordings : tables as in a survey folder

    Returns
    -------
    DataFrame with the columns of ANSWER_SCHEMA, in the order of the table
    """
    from classifier.label import label
    from classifier.passes import follow

    parts, rows = [], []
    onset = pl.col(METRICS["onset"].column)
    for place, (call, path) in enumerate(zip(references.calls, paths, strict=True)):
        stretch = f"{place:09d}"
        mine = pulses.filter(pl.col("recording") == path)
        if call.start_s is not None:
            mine = mine.filter(onset >= call.start_s)
        if call.end_s is not None:
            mine = mine.filter(onset < call.end_s)
        parts.append(mine.with_columns(pl.lit(stretch).alias("recording")))
        # Without a time of its own no stretch can be the continuation of another.
        rows.append(
            recordings.filter(pl.col("path") == path).with_columns(
                pl.lit(stretch).alias("path"), pl.lit(None, recordings.schema["starts_at"]).alias("starts_at")
            )
        )
    stretches, cut = pl.concat(rows), pl.concat(parts)
    labels = label(cut, stretches, follow(cut, stretches, gap_s=compiled.gap_s), compiled)
    best = labels.passes.sort(["usable_pulses", "pulses", "pass"], descending=[True, True, False]).unique(
        "recording", keep="first"
    )
    found = pl.DataFrame({"recording": [f"{place:09d}" for place in range(len(rows))]}).join(
        best, on="recording", how="left", maintain_order="left"
    )
    found = found.select(
        pl.col("label").fill_null(UNIDENTIFIED),
        "tier",
        "candidates",
        "clearance",
        pl.when(pl.col("pass").is_null())
        .then(pl.lit("no pass found"))
        .otherwise(pl.col("trail"))
        .alias("trail"),
    )
    return _beside_the_truth(references.calls, found)
