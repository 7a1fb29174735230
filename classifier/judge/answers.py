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
    )
    gated = pl.Series("gated_by", keyed.gated_by, pl.String)
    found = call_columns(keyed, labelling).with_columns(
        pl.col("label").fill_null(UNIDENTIFIED),
        pl.when(gated.is_not_null()).then(pl.concat_str(pl.lit("gated by "), gated)).otherwise(pl.col("trail")).alias("trail"),
    )
    return _beside_the_truth(calls, found)


def _arrays(rows, metrics):
    """Dictionaries of a row each to one array a metric, also for the metrics that no row has: NaN where
    missing."""
    return {name: np.array([row.get(name, np.nan) for row in rows], float) for name in metrics}


def _beside_the_truth(calls, found):
    truth = pl.DataFrame(
        [(call.line, call.taxon, call.about.get("individual")) for call in calls],
        schema={name: ANSWER_SCHEMA[name] for name in ("line", "taxon", "individual")},
        orient="row",
    )
    return pl.concat([truth, found], how="horizontal").select(pl.col(name).cast(dtype) for name, dtype in ANSWER_SCHEMA.items())


def answer_recordings(references: References, paths, pulses: pl.DataFrame, recordings: pl.DataFrame, compiled) -> pl.DataFrame:
    """The key's answer to each stretch of a recording: the label of one pass, by its pulses in that stretch.

    Which pass: the one with most usable pulses in the stretch. Where stretches of several rows overlap,
    several bats fly there at once: each row then gets a pass of its own, so that stretches and passes agree
    best in time. Where no pass is found the answer is 'unidentified', and the trail says so.

    Parameters
    ----------
    paths : sequence of str, for each reference call its recording as `pulses.recording` names it
    pulses, recordings : tables as in a survey folder

    Returns
    -------
    DataFrame with the columns of ANSWER_SCHEMA, in the order of the table
    """
    from classifier.label import label
    from classifier.passes import Followed, follow

    followed = follow(pulses, recordings, gap_s=compiled.gap_s)
    voting = label(pulses, recordings, followed, compiled).pulses["gated_by"].is_null()
    both = pulses.with_columns(
        followed.pulses["pass"],
        followed.pulses["interval_ms"],
        followed.pulses["in_buzz"],
        voting.alias("voting"),
    )
    chosen = _passes_for(references.calls, paths, both)
    parts, rows = [], []
    for place, (call, path) in enumerate(zip(references.calls, paths, strict=True)):
        stretch = f"{place:09d}"
        mine = both.filter(_inside(call, path) & (pl.col("pass") == chosen.get(place, -1)))
        parts.append(mine.with_columns(pl.lit(stretch).alias("recording"), pl.lit(place + 1, pl.Int32).alias("pass")))
        rows.append(recordings.filter(pl.col("path") == path).with_columns(pl.lit(stretch).alias("path")))
    cut, stretches = pl.concat(parts), pl.concat(rows)
    kinds = followed.passes.select("pass", "alternation_khz")
    alternation = dict(kinds.iter_rows())
    passes = pl.DataFrame(
        {
            "pass": [place + 1 for place in chosen],
            "alternation_khz": [alternation[at] for at in chosen.values()],
        },
        schema=kinds.schema,
    )
    labels = label(cut.select(pulses.columns), stretches, Followed(cut, passes), compiled)
    found = pl.DataFrame({"pass": pl.Series(range(1, len(rows) + 1), dtype=pl.Int32)}).join(
        labels.passes, on="pass", how="left", maintain_order="left"
    )
    found = found.select(
        pl.col("label").fill_null(UNIDENTIFIED),
        "tier",
        "candidates",
        "clearance",
        pl.when(pl.col("pulses").is_null()).then(pl.lit("no pass found")).otherwise(pl.col("trail")).alias("trail"),
    )
    return _beside_the_truth(references.calls, found)


def _inside(call, path):
    """Whether a pulse lies in the stretch of a reference call."""
    onset = pl.col(METRICS["onset"].column)
    inside = pl.col("recording") == path
    if call.start_s is not None:
        inside &= onset >= call.start_s
    if call.end_s is not None:
        inside &= onset < call.end_s
    return inside


def _passes_for(calls, paths, pulses) -> dict[int, int]:
    """The pass of each reference call by its place; calls in whose stretch nothing was found are left out."""
    chosen = {}
    for path in dict.fromkeys(paths):
        places = [place for place, each in enumerate(paths) if each == path]
        for together in _overlapping(places, calls):
            if len(together) == 1:
                mine = pulses.filter(_inside(calls[together[0]], path) & pl.col("pass").is_not_null())
                best = (
                    mine.group_by("pass")
                    .agg(pl.col("voting").sum(), pl.len())
                    .sort("voting", "len", "pass", descending=[True, True, False])
                )
                if best.height:
                    chosen[together[0]] = best["pass"][0]
            else:
                chosen |= _share_out(together, calls, pulses.filter(pl.col("recording") == path))
    return chosen


def _overlapping(places, calls):
    """Calls of one recording in runs whose stretches overlap one another."""
    spans = sorted((calls[place].start_s or 0.0, calls[place].end_s or np.inf, place) for place in places)
    runs, until = [], -np.inf
    for start, end, place in spans:
        if start < until:
            runs[-1].append(place)
        else:
            runs.append([place])
        until = max(until, end)
    return runs


def _share_out(places, calls, pulses):
    """Give each of several calls a pass of its own: most time in common of stretch and pass over time in
    either."""
    from scipy.optimize import linear_sum_assignment

    onset = pl.col(METRICS["onset"].column)
    spans = (
        pulses.filter(pl.col("pass").is_not_null())
        .group_by("pass")
        .agg(onset.min().alias("first"), onset.max().alias("last"))
        .drop_nulls()
        .sort("pass")
    )
    if not spans.height:
        return {}
    first, last = spans["first"].to_numpy(), spans["last"].to_numpy()
    start = np.array([[calls[place].start_s or 0.0] for place in places])
    end = np.array([[np.inf if calls[place].end_s is None else calls[place].end_s] for place in places])
    end = np.minimum(end, last.max())
    common = np.maximum(np.minimum(end, last) - np.maximum(start, first), 0.0)
    agreement = common / np.maximum(np.maximum(end, last) - np.minimum(start, first), 1e-9)
    rows, columns = linear_sum_assignment(-agreement)
    return {
        places[row]: spans["pass"][int(column)] for row, column in zip(rows, columns, strict=True) if agreement[row, column] > 0
    }
