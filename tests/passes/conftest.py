"""Tables of pulses written by hand, beside the drawn ones of scenes.py."""

import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

# The scenes are shared with tests/benchmarks/passes.py and imported by name.
sys.path.insert(0, str(Path(__file__).parent))

from scenes import recordings_table

from classifier.metrics import METRICS


@pytest.fixture
def bat():
    """A plain steady caller: pulses at given times (s), all metrics the same but for a little scatter."""

    def bat(times, khz=45.0, *, recording="site/a.wav", channel=1, duration_ms=5.0, level_db=-40.0, first=1, seed=0):
        times = np.asarray(times, float)
        rng = np.random.default_rng(seed)
        n = len(times)
        scatter = 1 + rng.normal(0, 0.003, n)
        khz = np.broadcast_to(np.asarray(khz, float), n) * scatter
        columns = {
            "onset": times,
            "duration": np.broadcast_to(duration_ms, n) * (1 + rng.normal(0, 0.03, n)),
            "start_frequency": 1.6 * khz,
            "end_frequency": 0.98 * khz,
            "peak_frequency": 1.03 * khz,
            "characteristic_frequency": khz,
            "characteristic_slope": np.full(n, -0.5),
            "level": np.broadcast_to(np.asarray(level_db, float), n) + rng.normal(0, 1, n),
        }
        columns["snr"] = columns["level"] + 65.0
        table = {
            "recording": [recording] * n,
            "channel": np.full(n, channel, np.int16),
            "pulse": np.arange(first, first + n, dtype=np.int32),
        }
        table |= {METRICS[name].column: np.asarray(value, float) for name, value in columns.items()}
        return pl.DataFrame(table).with_columns(pl.lit(False).alias("echo"))

    return bat


@pytest.fixture
def together():
    """One table of several, numbered anew by onset within each recording and channel."""

    def together(*tables):
        table = pl.concat(tables).sort("recording", "channel", "onset_s", maintain_order=True)
        number = pl.int_range(1, pl.len() + 1, dtype=pl.Int32).over("recording", "channel")
        return table.with_columns(number.alias("pulse"))

    return together


@pytest.fixture
def files():
    return recordings_table
