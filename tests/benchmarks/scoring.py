"""Scores of one measured scene against its truth: a row per true pulse, and counts of errors reported."""

import numpy as np
import polars as pl
from scipy.optimize import linear_sum_assignment
from sklearn.metrics import adjusted_rand_score

from classifier.metrics import METRICS

C = {name: metric.column for name, metric in METRICS.items()}
#: Metrics whose error is reported.
ERRORS = (
    "onset",
    "duration",
    "start_frequency",
    "end_frequency",
    "max_frequency",
    "min_frequency",
    "bandwidth",
    "peak_frequency",
    "centre_frequency",
    "characteristic_frequency",
    "characteristic_slope",
    "knee_frequency",
    "knee_time",
    "initial_slope",
    "mean_slope",
    "tail",
    "flat_share",
    "second_harmonic",
    "third_harmonic",
    "strongest_harmonic",
    "level",
    "snr",
    "clipped_share",
)
#: Two pulses can be the same if their likeness is at least this, and their bands lie this near (kHz).
LEAST_FIT, BAND_SLACK_KHZ = 0.02, 1.5


def _times(table):
    start = table[C["onset"]].to_numpy()
    length = np.nan_to_num(table[C["duration"]].cast(pl.Float64).fill_null(0.0).to_numpy(), nan=0.0)
    return start, start + np.maximum(length, 0.1) / 1e3


def _band(table, factor=1.0):
    peak = table[C["peak_frequency"]].cast(pl.Float64).to_numpy()
    low = table[C["min_frequency"]].cast(pl.Float64).fill_null(np.nan).to_numpy()
    high = table[C["max_frequency"]].cast(pl.Float64).fill_null(np.nan).to_numpy()
    return np.where(np.isnan(low), peak, low) * factor, np.where(np.isnan(high), peak, high) * factor


def likeness(truth, measured, factor=1.0):
    """How well each measured pulse fits each true one: shared time over joint time, 0 where bands lie
    apart.

    ``factor`` 2 or 3 asks whether what was measured is a harmonic of the truth. Shape (true, measured).
    """
    start, stop = _times(truth)
    low, high = _band(truth, factor)
    other_start, other_stop = _times(measured)
    other_low, other_high = _band(measured)
    shared = np.minimum(stop[:, None], other_stop) - np.maximum(start[:, None], other_start)
    joint = np.maximum(stop[:, None], other_stop) - np.minimum(start[:, None], other_start)
    near = (other_low <= high[:, None] + BAND_SLACK_KHZ) & (other_high >= low[:, None] - BAND_SLACK_KHZ)
    # Of two pulses at one time the one with the nearer band is meant.
    width = np.maximum(high[:, None], other_high) - np.minimum(low[:, None], other_low) + BAND_SLACK_KHZ
    common = np.minimum(high[:, None], other_high) - np.maximum(low[:, None], other_low) + BAND_SLACK_KHZ
    return np.where(near & (shared > 0), shared / joint * np.clip(common / width, 0.05, 1.0), 0.0)


def match(truth, measured, floor=LEAST_FIT):
    """(true rows, measured rows) of the best one-to-one assignment."""
    fit = likeness(truth, measured)
    rows, columns = linear_sum_assignment(-fit)
    good = fit[rows, columns] > floor
    return rows[good], columns[good]


def score(truth, pulses, measured, *, rate_hz, noise):
    """Rows and counts of a scene.

    Returns
    -------
    rows : DataFrame, a row per direct pulse of the truth that is not cut: found, called_echo, overlapped,
        in_buzz, pass, shape of the call, measured (row number or -1), the truth's snr, error of each metric and its standard
        error (null where either is missing), and the Cramér–Rao bounds of frequency and slope
    counts : dict: reported, false, of these echo, harmonic, other
    """
    truth_rows, measured_rows = match(truth, measured)
    partner = np.full(len(truth), -1)
    partner[truth_rows] = measured_rows
    called_echo = measured["echo"].to_numpy() if len(measured) else np.zeros(0, bool)
    is_echo = truth["echo"].to_numpy()
    kept = ~called_echo
    matched = np.zeros(len(measured), bool)
    matched[measured_rows[~is_echo[truth_rows]]] = True
    on_echo = np.zeros(len(measured), bool)
    on_echo[measured_rows[is_echo[truth_rows]]] = True
    stray = kept & ~matched
    harmonic = np.zeros(len(measured), bool)
    if len(truth) and len(measured):
        for number in (2.0, 3.0):
            harmonic |= likeness(truth, measured, number).max(axis=0) > LEAST_FIT
    counts = {
        "reported": int(kept.sum()),
        "false": int(stray.sum()),
        "false_echo": int((stray & on_echo).sum()),
        "false_harmonic": int((stray & ~on_echo & harmonic).sum()),
        "false_other": int((stray & ~on_echo & ~harmonic).sum()),
    }
    wanted = np.flatnonzero(~is_echo & ~truth["cut"].to_numpy())
    other = partner[wanted]
    found = other >= 0
    as_echo = np.zeros(len(wanted), bool)
    as_echo[found] = called_echo[other[found]]
    columns = {
        "found": found & ~as_echo,
        "called_echo": as_echo,
        "measured": np.where(found, other, -1),
        "overlapped": truth["overlapped"].to_numpy()[wanted],
        "in_buzz": truth["in_buzz"].to_numpy()[wanted],
        "pass": truth["pass"].to_numpy()[wanted],
        "shape": [pulses[row].call.shape for row in wanted],
        "true_snr": truth[C["snr"]].to_numpy()[wanted],
        "true_duration": truth[C["duration"]].to_numpy()[wanted],
    }
    for name in ERRORS:
        true = truth[C[name]].cast(pl.Float64).fill_null(np.nan).to_numpy()[wanted]
        value, error = np.full(len(wanted), np.nan), np.full(len(wanted), np.nan)
        if len(measured) and C[name] in measured.columns:
            value[found] = measured[C[name]].cast(pl.Float64).fill_null(np.nan).to_numpy()[other[found]]
            column = METRICS[name].error_column
            if column and column in measured.columns:
                error[found] = measured[column].cast(pl.Float64).fill_null(np.nan).to_numpy()[other[found]]
        difference = value - true
        if name == "duration":
            columns["share_duration"] = 100 * difference / true
        columns[f"error_{name}"], columns[f"se_{name}"] = difference, error
        columns[f"known_{name}"] = found & ~np.isnan(true)
    bounds = [bound(pulses[row], rate_hz=rate_hz, noise=noise) for row in wanted]
    for name in ("frequency", "end", "slope"):
        columns[f"bound_{name}"] = np.array([one[name] for one in bounds], dtype=float)
    return pl.DataFrame(columns), counts


def bound(pulse, *, rate_hz, noise):
    """Cramér–Rao bounds for one pulse (classifier.simulate.Heard) in steady noise.

    For a real signal a(t) cos φ(t) with the phase 2π(φ0 + f t [+ s t²/2]) in noise of one-sided density N0,
    the information of the parameters is ∫ a² g gᵀ dt / N0, where g holds the derivatives of φ; the envelope
    need not be known, amplitude and phase are independent. With a constant amplitude that is Rife &
    Boorstyn (1974) for frequency alone and Djurić & Kay (1990) for a chirp. N0 is taken at the pulse's own
    frequency, moment by moment.

    Returns
    -------
    dict: least standard deviations of ``frequency`` (kHz; no slope in the model) and, in the chirp model,
    of the frequency at the late ``end`` of the −20 dB span and of the ``slope`` (kHz, kHz/ms)
    """
    first, last = pulse.interval_s
    time = np.linspace(first, last, 2001)
    amplitude, _, frequency = pulse.parts(time, rate_hz)
    strongest = int(np.argmax(np.sum(amplitude**2, axis=1)))
    weight = amplitude[strongest] ** 2 / noise.density(frequency[strongest], rate_hz)
    inside = np.flatnonzero(amplitude[strongest] >= 0.1 * amplitude[strongest].max())
    time = time - time.mean()
    rows = 2 * np.pi * np.stack([np.ones_like(time), time, time**2 / 2])
    information = np.trapezoid(weight * rows[:, None, :] * rows[None, :, :], time, axis=2)
    plain, chirp = np.linalg.inv(information[:2, :2]), np.linalg.inv(information)
    at_end = np.array([0.0, 1.0, time[inside[-1]]])
    return {
        "frequency": np.sqrt(plain[1, 1]) / 1e3,
        "end": np.sqrt(at_end @ chirp @ at_end) / 1e3,
        "slope": np.sqrt(chirp[2, 2]) / 1e6,
    }


def score_passes(truth, measured, passes):
    """(true pass, given pass) labels of matched direct pulses, adjusted Rand index, passes right, passes in
    all.

    ``passes``: the column of pass numbers beside ``measured`` (null: none; each such pulse stands alone). A
    true pass is right if all of its matched pulses lie in one given pass, and that pass holds no pulse of
    another.
    """
    rows, columns = match(truth, measured)
    direct = ~truth["echo"].to_numpy()[rows]
    rows, columns = rows[direct], columns[direct]
    true = truth["pass"].to_numpy()[rows]
    given = passes.cast(pl.Int64).fill_null(-1).to_numpy()[columns].copy()
    alone = given < 0
    given[alone] = -1 - np.arange(alone.sum())
    right = 0
    numbers = np.unique(truth.filter(~pl.col("echo"))["pass"].to_numpy())
    for number in numbers:
        mine = given[true == number]
        right += len(mine) > 0 and len(np.unique(mine)) == 1 and np.all(true[given == mine[0]] == number)
    index = adjusted_rand_score(true, given) if len(true) else np.nan
    return index, int(right), len(numbers)
