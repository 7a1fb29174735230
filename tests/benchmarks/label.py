"""Labelling against keying alone: how much the passes, votes and tables add to the key's own evaluation.

Run: python tests/benchmarks/label.py [pulses]. Random calls in passes of 25 through
keys/britain-and-ireland.key; both are timed in the same process, best of several rounds in turn, so that a
busy machine slows both. Prints processor seconds and their ratio.
"""

import sys
import time
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import polars as pl

from classifier.key import compile_key, evaluate, read_key
from classifier.label import label
from classifier.label.labelling import metric_arrays
from classifier.metrics import FLAGS, MEASURED

KEY = Path(__file__).parents[2] / "keys" / "britain-and-ireland.key"
PULSES_A_PASS = 25
#: Mean and spread of the metrics that keys look at most; about those of pipistrelles and their neighbours
#: (chosen).
USUAL = {
    "duration": (5, 2),
    "start_frequency": (70, 15),
    "end_frequency": (44, 6),
    "characteristic_frequency": (46, 6),
    "characteristic_slope": (-0.3, 0.3),
    "snr": (30, 8),
    "coherence": (95, 3),
    "bandwidth": (25, 5),
    "mean_slope": (-4, 1),
    "peak_frequency": (47, 5),
    "clipped_share": (0, 0),
    "flat_share": (50, 10),
}


def survey(count):
    """Tables of a survey of ``count`` random pulses."""
    rng = np.random.default_rng(1)
    passes = -(-count // PULSES_A_PASS)
    of = np.arange(count) // PULSES_A_PASS
    columns = {
        "recording": [f"{each:06d}.wav" for each in of],
        "channel": np.ones(count, np.int16),
        "pulse": (np.arange(count) % PULSES_A_PASS + 1).astype(np.int32),
    }
    for metric in MEASURED:
        columns[metric.column] = rng.normal(*USUAL.get(metric.name, (1, 0.1)), count)
        if metric.error_column:
            columns[metric.error_column] = np.full(count, 0.1)
    columns |= {
        "onset_s": np.arange(count) % PULSES_A_PASS * 0.09,
        **{flag: np.zeros(count, bool) for flag in FLAGS},
    }
    pulses = pl.DataFrame(columns)
    followed = pulses.select("recording", "channel", "pulse").with_columns(
        pl.Series("pass", of + 1, pl.Int32), pl.lit(90.0).alias("interval_ms"), pl.lit(False).alias("in_buzz")
    )
    numbers = pl.DataFrame({"pass": pl.Series(range(1, passes + 1), dtype=pl.Int32)}).with_columns(
        pl.lit(None, pl.Float64).alias("alternation_khz")
    )
    recordings = pl.DataFrame({"path": [f"{each:06d}.wav" for each in range(passes)]}).with_columns(
        pl.lit("mere").alias("site"),
        pl.lit(date(2024, 6, 1)).alias("night"),
        pl.lit("2024-06-01T22:00:00+01:00").alias("starts_at"),
        pl.lit(52.0).alias("latitude"),
        pl.lit(0.0).alias("longitude"),
    )
    return pulses, recordings, SimpleNamespace(pulses=followed, passes=numbers)


def main(count=100_000):
    reading = read_key(KEY)
    compiled = compile_key(reading.key, reading.meanings)
    pulses, recordings, followed = survey(count)
    values, errors = metric_arrays(pulses)
    shortest = [np.inf, np.inf]
    for _ in range(3):
        for place, function in enumerate(
            (
                lambda: evaluate(compiled, values, errors).trail,
                lambda: label(pulses, recordings, followed, compiled),
            )
        ):
            start = time.process_time()
            function()
            shortest[place] = min(shortest[place], time.process_time() - start)
    key, whole = shortest
    print(f"{count} pulses: key alone {key:.2f} s, labels {whole:.2f} s, ratio {whole / key:.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
