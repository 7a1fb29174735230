"""Passes drawn from tables of populations, with the ways in which bats and pulses differ, and how a key labels them.

A table has a row for each call type of each population: figures from the sources named there (keys of docs/sources.md);
what published tables leave out (mostly spreads and slopes) is from memory and says so. A row of form "also" is a
second call type that takes turns with the row above it.

How a pass is drawn. Each bat has its own offset and each pulse another:

    flat    characteristic frequency: mean + N(0, between) + N(0, within); start frequency: the mean's
            distance over the flat part times lognormal factors (20 % between bats, 15 % within); slope of
            the flattest stretch: mean times a lognormal factor (35 %), tail: mean + N(0, 1) + N(0, 0.7)
            kHz; duration times lognormal factors (15 %, 12 %)
    sweep   start frequency times lognormal factors (5 % between bats, 3 % within), end frequency (3 %, 2.5
            %), duration as above; the course is hyperbolic, so the slope at a frequency f is
            mean slope * f² / (start * end), and the flattest stretch lies at the end (times 0.8 to 1.2 for
            other courses)
    tone    as flat, with a level top and short sweeps at its ends

Far bats lose the top of their sweeps: the first part of each sweep is cut off by 0 to 15 % in a pass. All
of this is table-level: measuring and following are tested elsewhere.
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl

from classifier.key import compile_key, read_key
from classifier.label import label
from classifier.metrics import MEASURED, METRICS
from classifier.passes import Followed

KEYS = Path(__file__).parents[2] / "keys"
NAMES = sorted(path.stem for path in KEYS.glob("*.key"))
PASSES = 60
ERRORS = {
    "characteristic_frequency": 0.1,
    "start_frequency": 0.5,
    "end_frequency": 0.3,
    "duration": 0.05,
    "characteristic_slope": 0.05,
    "bandwidth": 0.5,
    "tail": 0.2,
    "peak_frequency": 0.1,
    "initial_slope": 0.5,
    "mean_slope": 0.05,
}


@cache
def rows(table):
    """The rows of a table of populations beside this file."""
    with (Path(__file__).parent / f"{table}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def populations(key, compiled, table):
    """(taxon, its call types) in the order of the table, as far as the key has the taxon, and a variant has it with
    that pitch."""
    found = []
    for row in rows(table):
        if key.startswith(row["key"]):
            if row["form"] == "also":
                found[-1][1].append(row)
            else:
                found.append((row["taxon"], [row]))
    return [(taxon, types) for taxon, types in found if _lives_there(key, types[0], compiled.key.taxa.get(taxon))]


def _lives_there(key, row, taxon):
    pitch = taxon and next((each for each in taxon.ranges if each.metric == "characteristic_frequency"), None)
    if taxon is None or not row["flat_khz"] or pitch is None or key == row["key"]:
        return taxon is not None
    return float(pitch.low.value) <= float(row["flat_khz"]) <= float(pitch.high.value)


def spread(rng, percent, size=None):
    return np.exp(rng.normal(0, percent / 100, size))


def flat_calls(row, rng, count, times):
    flat = float(row["flat_khz"]) + times * (
        rng.normal(0, float(row["between_khz"])) + rng.normal(0, float(row["within_khz"]), count)
    )
    sweep = 8.0 if row["form"] == "tone" else float(row["start_khz"]) - float(row["flat_khz"])
    sweep = sweep * spread(rng, times * 20) * spread(rng, times * 15, count) * (1 - rng.uniform(0, 0.15))
    slope = float(row["slope_khz_per_ms"]) * spread(rng, times * 35) * spread(rng, times * 35, count)
    tail = float(row["tail_khz"] or 0) + times * (rng.normal(0, 1) + rng.normal(0, 0.7, count))
    duration = float(row["duration_ms"]) * spread(rng, times * 15) * spread(rng, times * 12, count)
    start = flat - sweep if row["form"] == "tone" else flat + sweep
    return {
        "characteristic_frequency": flat,
        "start_frequency": start,
        "end_frequency": flat + tail,
        "tail": tail,
        "characteristic_slope": slope,
        "duration": duration,
        "peak_frequency": flat + rng.uniform(0, 1.5, count),
        "initial_slope": -2 * sweep / duration,
    }


def sweep_calls(row, rng, count, times):
    start = float(row["start_khz"]) * spread(rng, times * 5) * spread(rng, times * 3, count)
    end = float(row["end_khz"]) * spread(rng, times * 3) * spread(rng, times * 2.5, count)
    start = start - rng.uniform(0, 0.15) * (start - end)
    duration = float(row["duration_ms"]) * spread(rng, times * 15) * spread(rng, times * 12, count)
    mean = (end - start) / duration
    course = rng.uniform(0.8, 1.2, count)
    flat = end + 0.02 * (start - end)
    return {
        "characteristic_frequency": flat,
        "start_frequency": start,
        "end_frequency": end,
        "tail": end - flat,
        "characteristic_slope": mean * end / start * course,
        "duration": duration,
        "peak_frequency": end + rng.uniform(0.3, 0.5, count) * (start - end),
        # Over the first fifth of such a sweep f² falls by some 40 %: by 20 % on average.
        "initial_slope": 0.8 * mean * start / end / course,
    }


def a_pass(types, rng, times):
    """The metrics of one pass's pulses in time, arrays of shape (n,)."""
    count = int(rng.integers(6, 26))
    drawn = [(sweep_calls if types[0]["form"] == "sweep" else flat_calls)(row, rng, count, times) for row in types]
    turn = np.arange(count) % len(types)
    calls = {name: np.choose(turn, [each[name] for each in drawn]) for name in drawn[0]}
    ends = np.stack([calls["start_frequency"], calls["end_frequency"], calls["characteristic_frequency"]])
    calls |= {
        "bandwidth": ends.max(0) - ends.min(0),
        "max_frequency": ends.max(0),
        "min_frequency": ends.min(0),
        "mean_slope": (calls["end_frequency"] - calls["start_frequency"]) / calls["duration"],
        "interval": float(types[0]["interval_ms"]) * spread(rng, times * 15) * spread(rng, times * 12, count),
        "coherence": 100 - np.abs(rng.normal(0, 4, count)),
        "snr": rng.uniform(12, 40, count),
        "clipped_share": np.zeros(count),
        "level": np.full(count, -20.0),
    }
    for name, error in ERRORS.items():
        calls[name] = calls[name] + rng.normal(0, error, count)
    return calls


def alternation(types):
    """How far the two call types of a population lie apart, kHz; None for one type."""
    if len(types) == 1:
        return None
    return abs(np.subtract(*(float(row["flat_khz"] or row["end_khz"]) for row in types)))


def tables(drawn_from, rng, times):
    """(pulses, recordings, followed, the taxon of each pass) of a survey, each pass a recording."""
    parts, taxa = [], []
    for taxon, types in drawn_from:
        for _ in range(PASSES):
            taxa.append(taxon)
            parts.append(a_pass(types, rng, times))
    of = np.repeat(np.arange(1, len(parts) + 1), [len(each["snr"]) for each in parts])
    joined = {name: np.concatenate([each[name] for each in parts]) for name in parts[0]}
    interval = joined.pop("interval")
    first = np.r_[True, of[1:] != of[:-1]]
    count = len(of)
    within = np.arange(count) - np.flatnonzero(first)[of - 1]
    columns = {
        "recording": [f"{each:05}.wav" for each in of],
        "channel": np.ones(count, np.int16),
        "pulse": (within + 1).astype(np.int32),
    }
    joined["onset"] = within * 0.1
    for name, values in joined.items():
        columns[METRICS[name].column] = values
        if name in ERRORS:
            columns[METRICS[name].error_column] = np.full(count, ERRORS[name])
    for metric in MEASURED:
        columns.setdefault(metric.column, np.full(count, np.nan))
    pulses = (
        pl.DataFrame(columns)
        .with_columns(pl.col(pl.Float64).fill_nan(None))
        .with_columns(pl.lit(False).alias("echo"), pl.lit(False).alias("cut"), pl.lit(False).alias("overlapped"))
    )
    followed = pulses.select("recording", "channel", "pulse").with_columns(
        pl.Series("pass", of, pl.Int32),
        pl.lit(False).alias("in_buzz"),
        pl.Series("interval_ms", np.where(first, np.nan, interval)).fill_nan(None),
    )
    recordings = pl.DataFrame({"path": sorted(set(columns["recording"]))}).with_columns(
        pl.lit("site").alias("site"),
        pl.lit(None, pl.Date).alias("night"),
        pl.lit(None, pl.String).alias("starts_at"),
        pl.lit(None, pl.Float64).alias("latitude"),
        pl.lit(None, pl.Float64).alias("longitude"),
    )
    gap = [alternation(types) for _, types in drawn_from for _ in range(PASSES)]
    facts = pl.DataFrame({"pass": np.arange(1, len(parts) + 1, dtype=np.int32)}).with_columns(
        pl.lit(False).alias("feeding_buzz"),
        pl.Series("alternating", [each is not None for each in gap]),
        pl.Series("alternation_khz", gap, pl.Float64),
    )
    return pulses, recordings, Followed(followed, facts), taxa


@cache
def outcomes(key, table="simulated_populations", *, times=1.0, seed=20):
    """A row a pass: taxon, label, tier, right (the label is the taxon or a group that holds it).

    times : factor on every spread between bats and between pulses
    """
    compiled = compile_key(read_key(KEYS / f"{key}.key").key)
    pulses, recordings, followed, taxa = tables(populations(key, compiled, table), np.random.default_rng(seed), times)
    passes = label(pulses, recordings, followed, compiled).passes.sort("pass")
    members = {group.name: {each.name for each in group.members} for group in compiled.key.groups.values()}
    pairs = zip(taxa, passes["label"], strict=True)
    right = [taxon == called or taxon in members.get(called, ()) for taxon, called in pairs]
    return passes.select("label", "tier").with_columns(pl.Series("taxon", taxa), pl.Series("right", right))
