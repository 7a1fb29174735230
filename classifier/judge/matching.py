"""True passes beside found passes, matched pulse by pulse: for recordings whose every pulse is known."""

import numpy as np
import polars as pl
from scipy.optimize import linear_sum_assignment

from classifier.judge.compare import outcome_of
from classifier.metrics import METRICS

#: A found pulse can be a true one if it lies no further off than this in time and frequency (chosen: some ten
#: times the error of measuring, well under the distance of two pulses of one bat).
NEAR_S = 0.004
NEAR_KHZ = 6.0

MATCH_SCHEMA = {
    "true_pass": pl.Int64,
    "taxon": pl.String,
    "recording": pl.String,
    "true_pulses": pl.Int64,
    "found_pulses": pl.Int64,
    "pass": pl.Int32,
    "shared_pulses": pl.Int64,
    "label": pl.String,
    "tier": pl.String,
    "outcome": pl.String,
}


def match_passes(truth: pl.DataFrame, pulses: pl.DataFrame, passes: pl.DataFrame, *, groups) -> pl.DataFrame:
    """For every true pass the found pass that shares most pulses with it.

    Parameters
    ----------
    truth : DataFrame, a row a true pulse: recording, pass, taxon, echo (bool), onset_s, peak_frequency_khz
    pulses : DataFrame, a row a found pulse: recording, pass (null for echoes), onset_s, peak_frequency_khz
    passes : DataFrame of found passes: pass, label, tier
    groups : mapping from a group's label to the taxa it holds

    Returns
    -------
    DataFrame with the columns of MATCH_SCHEMA, a row a true pass in their order. ``found_pulses``: its pulses
    that were found at all; ``shared_pulses``: those in the found pass. A pass with no pulse found has pass
    null and the outcome 'missed'; the other outcomes are those of compare().
    """
    truth = truth.filter(~pl.col("echo").fill_null(False))
    of = _passes_of(truth, pulses)
    called = {number: (label, tier) for number, label, tier in passes.select("pass", "label", "tier").iter_rows()}
    rows = []
    true_passes = truth["pass"].to_numpy()
    for number in dict.fromkeys(sorted(true_passes.tolist())):
        mine = np.flatnonzero(true_passes == number)
        taxon, recording = truth["taxon"][int(mine[0])], truth["recording"][int(mine[0])]
        met = of[mine]
        best = np.bincount(met[met > 0]).argmax() if (met > 0).any() else None
        found = int((met >= 0).sum())
        if best is None:
            rows.append((number, taxon, recording, len(mine), found, None, 0, None, None, "missed"))
            continue
        label, tier = called[int(best)]
        rows.append(
            (
                number,
                taxon,
                recording,
                len(mine),
                found,
                int(best),
                int((met == best).sum()),
                label,
                tier,
                outcome_of(taxon, label, groups),
            )
        )
    return pl.DataFrame(rows, schema=MATCH_SCHEMA, orient="row")


def _passes_of(truth, pulses):
    """The found pass of each true pulse: 0 if the pulse was found in no pass, -1 if it was not found."""
    onset, peak = METRICS["onset"].column, METRICS["peak_frequency"].column
    found = np.full(truth.height, -1)
    places = truth.with_row_index("place")
    for (recording,), true in places.group_by("recording", maintain_order=True):
        here = pulses.filter((pl.col("recording") == recording) & pl.col(onset).is_not_null())
        if not here.height:
            continue
        late = np.abs(true[onset].to_numpy()[:, None] - here[onset].to_numpy()) / NEAR_S
        off = np.abs(true[peak].to_numpy()[:, None] - here[peak].to_numpy()) / NEAR_KHZ
        cost = np.where((late <= 1) & (off <= 1), late + off, 1e6)
        for one, other in zip(*linear_sum_assignment(cost), strict=True):
            if cost[one, other] < 1e6:
                found[true["place"][int(one)]] = here["pass"][int(other)] or 0
    return found
