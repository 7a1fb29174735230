"""Summaries of the accuracy benchmark's rows, and the figures that have a target."""

import numpy as np
import polars as pl

#: Metrics in the tables of errors: name, unit shown, bound that its spread is compared with.
SHOWN = (
    ("onset", "s", None),
    ("duration", "ms", None),
    ("share_duration", "%", None),
    ("start_frequency", "kHz", None),
    ("end_frequency", "kHz", "end"),
    ("max_frequency", "kHz", None),
    ("min_frequency", "kHz", None),
    ("bandwidth", "kHz", None),
    ("peak_frequency", "kHz", "frequency"),
    ("centre_frequency", "kHz", None),
    ("characteristic_frequency", "kHz", None),
    ("characteristic_slope", "kHz/ms", None),
    ("knee_frequency", "kHz", None),
    ("knee_time", "ms", None),
    ("initial_slope", "kHz/ms", None),
    ("mean_slope", "kHz/ms", "slope"),
    ("tail", "kHz", None),
    ("flat_share", "%", None),
    ("second_harmonic", "dB", None),
    ("third_harmonic", "dB", None),
    ("strongest_harmonic", "", None),
    ("level", "dB", None),
    ("snr", "dB", None),
    ("clipped_share", "%", None),
)
MEDIAN_TARGETS = (
    ("peak_frequency", "kHz", 0.01),
    ("characteristic_frequency", "kHz", 0.1),
    ("start_frequency", "kHz", 0.3),
    ("end_frequency", "kHz", 0.2),
    ("duration", "%", 0.5),
)
#: Median of |x| of a standard normal x: turns a median of sizes into a standard deviation.
HALF_NORMAL_MEDIAN = 0.6745


def clear(rows):
    """The pulses whose errors count: found, and heard clear of others."""
    return rows.filter(pl.col("found") & ~pl.col("overlapped") & ~pl.col("in_buzz"))


def median_alike(rows, column):
    """Median of a column's sizes in which every shape counts alike.

    Every shape has as many scenes, but not as many pulses that count: sweeps follow each other fast, and flat calls that their
    own echo overlaps are not clear. A median over all pulses alike tells of that too.
    """
    known = rows.filter(pl.col(column).is_not_nan())
    size = known[column].abs()
    order = size.arg_sort()
    weight = (1 / known.select(pl.len().over("shape")).to_series())[order].cum_sum()
    return float(size[order][int(weight.search_sorted(0.5 * weight[-1]))])


def error_summary(rows):
    """A row per metric.

    n (pulses with a true and a measured value), missing (percent with a true value and no measured one),
    bias, median and 95th percentile of the error's size, coverage (percent of true values within ± 2
    standard errors, of values that have an error), ratio (robust spread over the Cramér–Rao bound).
    """
    out = []
    for name, unit, bound in SHOWN:
        error = rows[name if name == "share_duration" else f"error_{name}"].to_numpy()
        known = ~np.isnan(error)
        size = np.abs(error[known])
        if not len(size):
            continue
        row = {
            "metric": "duration" if name == "share_duration" else name,
            "unit": unit,
            "n": len(size),
            "missing": None,
            "bias": float(np.mean(error[known])),
            "median": float(np.median(size)),
            "p95": float(np.percentile(size, 95)),
            "coverage": None,
            "ratio": None,
        }
        if name != "share_duration":
            row["missing"] = float(100 * (1 - len(size) / max(1, rows[f"known_{name}"].sum())))
            spread = rows[f"se_{name}"].to_numpy()[known]
            # a tail of nothing at all, of which truth and measure agree, says nothing of errors
            stated = ~np.isnan(spread) & ((spread > 0.0) | (size > 0.0))
            if stated.any():
                row["coverage"] = float(100 * np.mean(size[stated] <= 2 * spread[stated]))
        if bound is not None:
            least = rows[f"bound_{bound}"].to_numpy()[known]
            row["ratio"] = float(np.median(size / least) / HALF_NORMAL_MEDIAN)
        out.append(row)
    return pl.DataFrame(out, infer_schema_length=None)


def found_summary(rows, scenes):
    """A row per family, kind and wanted signal-to-noise ratio: pulses, percent found and percent taken for
    echoes; pulses reported and what percent of them is false, by what they are; adjusted Rand index;
    percent of passes right."""
    keys = ["family", "kind", "snr"]
    pulses = rows.group_by(keys).agg(
        pulses=pl.len(), found=100 * pl.col("found").mean(), as_echo=100 * pl.col("called_echo").mean()
    )
    kinds = ("false", "false_echo", "false_harmonic", "false_other")
    false = (
        scenes.filter(pl.col("family") != "silence")
        .group_by(keys)
        .agg(
            scenes=pl.len(),
            reported=pl.col("reported").sum(),
            **{name: 100 * pl.col(name).sum() / pl.col("reported").sum().clip(1) for name in kinds},
            rand=pl.col("rand").mean(),
            passes_right=100 * pl.col("passes_right").sum() / pl.col("passes").sum(),
        )
    )
    return false.join(pulses, on=keys).sort(keys)


def silence_summary(scenes):
    """A row per kind of silence: minutes, pulses reported, pulses reported a minute."""
    silent = scenes.filter(pl.col("family") == "silence")
    return silent.group_by("kind", maintain_order=True).agg(
        minutes=pl.col("seconds").sum() / 60,
        reported=pl.col("reported").sum(),
        per_minute=60 * pl.col("reported").sum() / pl.col("seconds").sum(),
    )


def headline(rows, scenes, *, least_snr_db=15.0):
    """The figures that have a target: name -> (value, target in words), over pulses of 15 dB and more."""
    figures = {}
    if len(rows):
        loud = rows.filter(pl.col("true_snr") >= least_snr_db - 0.5)
        figures |= _pulse_figures(loud, scenes.filter(pl.col("snr") >= least_snr_db))
    several = scenes.filter((pl.col("family") == "several") & pl.col("rand").is_not_null())
    if len(several):
        figures["passes of several bats, adjusted Rand index"] = (float(several["rand"].mean()), ">= 0.97")
    gaps = scenes.filter(pl.col("family") == "gap")
    if len(gaps) and gaps["passes"].sum():
        right = 100 * gaps["passes_right"].sum() / gaps["passes"].sum()
        figures["passes with gaps right, %"] = (right, ">= 99")
    silent = scenes.filter(pl.col("family") == "silence")
    if len(silent):
        rate = 60 * silent["reported"].sum() / silent["seconds"].sum()
        figures["pulses a minute without bats"] = (rate, "<= 1")
    return figures


def _pulse_figures(loud, scenes):
    figures = {}
    alone = loud.filter(~pl.col("family").is_in(["several", "tone"]))
    together = loud.filter(pl.col("family") == "several")
    for words, part, target in (("one bat", alone, ">= 99.5"), ("several bats", together, ">= 97")):
        if len(part):
            figures[f"found, {words}, %"] = (float(100 * part["found"].mean()), target)
    bats = scenes.filter(~pl.col("family").is_in(["silence", "tone"]))
    if len(bats):
        false = 100 * bats["false"].sum() / max(1, bats["reported"].sum())
        figures["false of reported, %"] = (false, "<= 1")
    counted = clear(loud.filter(pl.col("family") != "tone"))
    summary = error_summary(counted)
    for name, unit, target in MEDIAN_TARGETS if len(summary) else ():
        row = summary.filter((pl.col("metric") == name) & (pl.col("unit") == unit))
        if len(row):
            figures[f"{name}, median error, {unit}"] = (row["median"][0], f"<= {target}")
            column = "share_duration" if unit == "%" else f"error_{name}"
            figures[f"{name}, median error, shapes alike, {unit}"] = (median_alike(counted, column), f"<= {target}")
    stated = summary.drop_nulls("coverage") if len(summary) else summary
    if len(stated):
        for words, row, target in (
            ("least", stated.sort("coverage").row(0, named=True), ">= 93"),
            ("most", stated.sort("coverage").row(-1, named=True), "<= 97"),
        ):
            figures[f"coverage, {words} of all metrics ({row['metric']}), %"] = (row["coverage"], target)
    tones = error_summary(clear(loud.filter(pl.col("family") == "tone")))
    if len(tones):
        ratio = tones.filter(pl.col("metric") == "peak_frequency")["ratio"]
        if len(ratio):
            figures["tones, spread over the bound"] = (ratio[0], "<= 1.3")
    return figures


def meets(value, target):
    """Whether a figure meets its target in words ('>= 97'). A figure that is not a number meets none."""
    sign, number = target.split()
    return bool(value >= float(number) if sign == ">=" else value <= float(number))
