"""Pulses of a survey to passes: the entrance of this package."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from classifier.errors import ParameterError
from classifier.metrics import METRICS
from classifier.passes.across_files import places
from classifier.passes.buzz import in_buzz
from classifier.passes.join import alternation, settle
from classifier.passes.search import find_tracks
from classifier.passes.settings import PassSettings
from classifier.passes.track import PULSE
from classifier.passes.track import numbers as model
from classifier.passes.traits import column, echo_scores, traits

INTERVAL = METRICS["interval"].column


@dataclass(frozen=True)
class Followed:
    """Which pass each pulse is in.

    pulses : DataFrame, a row a pulse in the order given: recording, channel, pulse, pass (Int32; null for echoes),
        interval_ms (null on the first of a pass, and across files whose clocks are too coarse), in_buzz (bool)
    passes : DataFrame, a row a pass ordered by pass: pass, recording (its first), recordings (how many), channel,
        pulses, feeding_buzz (bool), alternating (bool: two call types in turn), alternation_khz (the difference of
        their median characteristic frequencies; null if not alternating)
    """

    pulses: pl.DataFrame
    passes: pl.DataFrame


def follow(pulses: pl.DataFrame, recordings: pl.DataFrame, *, gap_s: float, settings: PassSettings = PassSettings()) -> Followed:
    """Follow each bat's pulses through time and frequency; one pass for each bat going by.

    Each channel is followed on its own. Passes are numbered from 1 by site and recorder, start, file and channel.
    The order of the rows plays no part. A stray pulse is a pass of its own, so that nothing vanishes; flagged
    echoes, and pulses found here to be echoes, belong to none.

    Parameters
    ----------
    pulses : DataFrame as pulses.parquet; recording, channel, pulse and onset_s must be there, other metrics may
        be missing in part or altogether
    recordings : DataFrame as recordings.parquet; path, seconds, starts_at, site, recorder are read
    gap_s : float > 0, a longer silence (end of a pulse to the next onset) ends a pass, s
    settings : PassSettings

    Returns
    -------
    Followed
    Raises
    ------
    ParameterError : gap_s is not above 0; a pulse's recording is not in ``recordings``; a pulse or a path occurs
        twice
    """
    if not gap_s > 0:
        raise ParameterError(f"gap_s must be above 0 s, not {gap_s}")
    where = places(recordings, gap_s=gap_s, settings=settings)
    table = _in_order(pulses, where)
    numbers = np.zeros(table.height, np.int64)
    if table.height:
        numbers = _follow_sorted(table, gap_s, settings)
    return _results(table, numbers, settings)


def _in_order(pulses, where):
    """The pulses by run of recordings, channel and time, with row (where they stood), run, time, era and edge."""
    pulses = pulses.with_columns(pl.col("recording").cast(pl.String))
    paths = pulses["recording"].unique().sort().to_list()
    lost = [path for path in paths if path not in where]
    if lost:
        raise ParameterError(f"{lost[0]}: there are pulses of this recording, but it is not in the table of recordings")
    if pulses.select("recording", "channel", "pulse").is_duplicated().any():
        raise ParameterError("a pulse (recording, channel, pulse) occurs twice in the table of pulses")
    about = pl.DataFrame(
        {
            "recording": paths,
            "run": [where[p].run for p in paths],
            "offset": [where[p].offset_s for p in paths],
            "era": [where[p].era for p in paths],
            "seconds": [where[p].seconds for p in paths],
            "file": [where[p].order for p in paths],
        },
        schema={
            "recording": pl.String,
            "run": pl.Int64,
            "offset": pl.Float64,
            "era": pl.Int64,
            "seconds": pl.Float64,
            "file": pl.Int64,
        },
    )
    onset = METRICS["onset"].column
    table = pulses.with_columns(pl.col(onset).cast(pl.Float64).fill_nan(None)).with_row_index("row")
    table = table.join(about, on="recording", how="left", maintain_order="left")
    # A pulse cut by its file's edge has no onset: the first of its file starts with the file, another where the
    # pulse before it did.
    table = table.sort("file", "channel", "pulse")
    near = pl.col(onset).forward_fill().over("file", "channel").fill_null(0.0)
    table = table.with_columns(near.alias("near"))
    table = table.with_columns((pl.col("near") + pl.col("offset")).alias("time"))
    return table.sort("run", "channel", "time", "file", "pulse")


def _follow_sorted(table, gap_s, settings):
    """The number of each pulse's track, from 1; 0 for echoes."""
    numbers = np.zeros(table.height, np.int64)
    flagged = table["echo"].fill_null(False).to_numpy() if "echo" in table.columns else np.zeros(table.height, bool)
    kept = np.flatnonzero(~flagged)
    table = table[kept]
    found = traits(table, settings)
    series = table.select(pl.struct("run", "channel").rle_id()).to_series().to_numpy()
    pulses = _as_pulses(table, found, series, settings)
    time, ends = pulses["time"], pulses["time"] + pulses["duration"]
    edges = _stretches(series, time, ends, gap_s)
    labels = find_tracks(pulses, edges, model(settings), float(gap_s))
    pitches, unsure, pitch = _pitches(found)
    made = 0
    for start, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        own = labels[start:stop]
        most = own.max()
        if most < 2 and own.min() > 0:
            numbers[kept[start:stop]] = made + 1
            made += most
            continue
        order = np.argsort(own, kind="stable")
        cuts = np.searchsorted(own[order], np.arange(1, most + 2))
        tracks = [start + order[low:high] for low, high in zip(cuts[:-1], cuts[1:], strict=True)]
        settled, _ = settle(
            tracks,
            start + np.flatnonzero(own == 0),
            time,
            ends,
            pitch,
            pitches,
            unsure,
            found.level,
            found.snr,
            gap_s=gap_s,
            settings=settings,
        )
        for track in settled:
            made += 1
            numbers[kept[track]] = made
    return numbers


def _pitches(found):
    """Characteristic, end and peak frequency of each pulse as log in per cent, NaN where missing; their standard errors (both
    of shape (n, 3)); and the first of them that is known."""
    order = [0, 2, 1]
    pitches = np.where(found.weight[:, order] > 0, found.value[:, order], np.nan)
    first = np.argmax(np.isfinite(pitches), axis=1)
    return pitches, found.error[:, order], pitches[np.arange(len(pitches)), first]


def _stretches(series, time, ends, gap_s):
    """Edges of stretches of pulses between which every bat has been silent for more than gap_s; int array."""
    if not len(time):
        return np.zeros(1, np.int64)
    starts = np.flatnonzero(np.r_[True, series[1:] != series[:-1]])
    reach = np.concatenate([np.maximum.accumulate(part) for part in np.split(ends, starts[1:])])
    cut = np.r_[True, (series[1:] != series[:-1]) | (time[1:] - reach[:-1] > gap_s)]
    return np.flatnonzero(np.r_[cut, True])


def _as_pulses(table, found, series, settings):
    """The pulses as the search reads them: array of PULSE."""
    pulses = np.zeros(table.height, PULSE)
    duration = column(table, "duration") / 1e3
    pulses["time"], pulses["era"] = table["time"].to_numpy(), table["era"].to_numpy()
    pulses["duration"] = np.where(np.isnan(duration), 0.003, duration)
    for name in ("value", "weight", "lift", "level", "missed", "harmonic"):
        pulses[name] = getattr(found, name)
    if "overlapped" in table.columns:
        pulses["crossed"] = table["overlapped"].fill_null(False).to_numpy()
    pulses["echo"] = echo_scores(pulses["time"], found, settings, series)
    inside = table["near"].to_numpy()
    left = table["seconds"].to_numpy() - inside
    over = np.minimum(np.maximum(found.snr - settings.edge_snr_db, 0.0) / settings.edge_scale_db, settings.edge_most)
    pulses["new"] = np.log(settings.new_bat) - np.where(inside < settings.edge_s, 0.0, over)
    pulses["edge"] = -np.where(left < settings.edge_s, 0.0, over)
    return pulses


def _results(table, numbers, settings):
    """Number the tracks in the order promised and work out intervals, buzzes and call types."""
    onset = METRICS["onset"].column
    table = table.with_columns(pl.Series("track", numbers))
    firsts = (
        table.filter(pl.col("track") > 0)
        .sort("file", "near", "channel", "pulse")
        .unique("track", keep="first", maintain_order=True)
    )
    firsts = firsts.select("track", pl.int_range(1, pl.len() + 1, dtype=pl.Int32).alias("pass"))
    table = table.join(firsts, on="track", how="left", maintain_order="left")
    table = table.sort("pass", "time", "file", "channel", "pulse", nulls_last=True)
    number = table["pass"].fill_null(0).to_numpy()
    time, era = table["time"].to_numpy(), table["era"].to_numpy()
    known = table[onset].is_not_null().to_numpy()
    interval = np.full(table.height, np.nan)
    if table.height:
        usable = (number[1:] == number[:-1]) & (number[1:] > 0) & (era[1:] == era[:-1]) & known[1:] & known[:-1]
        interval[1:] = np.where(usable, 1e3 * np.diff(time), np.nan)
    lone = np.where(number > 0, number, -np.arange(1, table.height + 1))
    buzz = in_buzz(time, lone, settings) & (number > 0)
    table = table.with_columns(pl.Series(INTERVAL, interval).fill_nan(None), pl.Series("in_buzz", buzz))
    given = table.sort("row").select("recording", "channel", "pulse", "pass", INTERVAL, "in_buzz")
    return Followed(given, _pass_table(table.filter(pl.col("pass").is_not_null()), settings))


def _pass_table(table, settings):
    """A row a pass; ``table`` holds its pulses ordered by pass and time."""
    facts = table.group_by("pass", maintain_order=True).agg(
        pl.col("recording").first(),
        pl.col("recording").n_unique().cast(pl.Int32).alias("recordings"),
        pl.col("channel").first(),
        pl.len().cast(pl.Int32).alias("pulses"),
        pl.col("in_buzz").any().alias("feeding_buzz"),
    )
    frequency = column(table, "characteristic_frequency")
    usable = np.isfinite(frequency) & (frequency > 0) & ~table["in_buzz"].to_numpy()
    number = table["pass"].to_numpy()[usable]
    frequency = frequency[usable]
    edges = np.searchsorted(number, np.r_[facts["pass"].to_numpy(), np.iinfo(np.int32).max])
    apart = [_apart_khz(frequency[start:stop], settings) for start, stop in zip(edges[:-1], edges[1:], strict=True)]
    return facts.with_columns(
        pl.Series("alternating", [each is not None for each in apart], pl.Boolean), pl.Series("alternation_khz", apart, pl.Float64)
    )


def _apart_khz(frequency, settings):
    """Difference of the medians of two call types used in turn, kHz; None without."""
    if len(frequency) < 6:
        return None
    pitch = 100.0 * np.log(frequency)
    if alternation(pitch, settings) is None:
        return None
    ordered = np.sort(frequency)
    cut = np.argmax(np.diff(ordered)[2:-2]) + 3 if len(ordered) > 5 else 3
    return float(np.median(ordered[cut:]) - np.median(ordered[:cut]))
