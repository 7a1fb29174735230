"""Measure functions that workers can import by name: quick, of known outcome, or failing on purpose."""

import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from classifier.survey import PULSE_SCHEMA


@dataclass(frozen=True)
class StubSettings:
    """``log``: folder in which each call leaves an empty file, to count measurings."""

    log: str
    gain: float = 1.0


def table(levels, frames, rate):
    """Two pulses a channel; level, snr and duration tell what was read."""
    rows = len(levels) * 2
    data = {name: [None] * rows for name in PULSE_SCHEMA if name != "recording"}
    data |= {
        "channel": [channel for channel in range(1, len(levels) + 1) for _ in range(2)],
        "pulse": [1, 2] * len(levels),
        "onset_s": [0.1, 0.2] * len(levels),
        "level_db": [level for level in levels for _ in range(2)],
        "snr_db": [frames / rate] * rows,
        "duration_ms": [float("nan"), 3.5] * len(levels),
        "strongest_harmonic": [1] * rows,
        "echo": [False, True] * len(levels),
    }
    return pl.DataFrame(data, strict=False)


def measure(blocks, *, sample_rate_hz, settings):
    """Mean of the absolute samples of each channel as the level."""
    total, frames = 0, 0
    for block in blocks:
        total = total + np.abs(block).sum(axis=0, dtype=float)
        frames += len(block)
    handle, _ = _log(settings)
    os.close(handle)
    return table((total / frames * settings.gain).tolist(), frames, sample_rate_hz)


def measure_slowly(blocks, *, sample_rate_hz, settings):
    pulses = measure(blocks, sample_rate_hz=sample_rate_hz, settings=settings)
    time.sleep(0.3)
    return pulses


def measure_or_die(blocks, *, sample_rate_hz, settings):
    """Dies of loud recordings."""
    pulses = measure(blocks, sample_rate_hz=sample_rate_hz, settings=settings)
    if pulses["level_db"].max() > 0.5:
        os.kill(os.getpid(), signal.SIGKILL)
    return pulses


def measure_or_raise(blocks, *, sample_rate_hz, settings):
    """Fails on loud recordings."""
    pulses = measure(blocks, sample_rate_hz=sample_rate_hz, settings=settings)
    if pulses["level_db"].max() > 0.5:
        raise ZeroDivisionError("loud\nand more words")
    return pulses


def measure_first_block(blocks, *, sample_rate_hz, settings):
    """Stops before the end."""
    block = next(iter(blocks))
    return table([float(np.abs(block).mean())], len(block), sample_rate_hz)


def measure_wrongly(blocks, *, sample_rate_hz, settings):
    return measure(blocks, sample_rate_hz=sample_rate_hz, settings=settings).drop("level_db")


def thread_counts(blocks, *, sample_rate_hz, settings):
    pulses = measure(blocks, sample_rate_hz=sample_rate_hz, settings=settings)
    threads = float(pl.thread_pool_size())
    return pulses.with_columns(snr_db=pl.lit(threads))


def _log(settings):
    import tempfile

    return tempfile.mkstemp(dir=settings.log)


def calls(settings):
    """How often recordings were measured."""
    return len(list(Path(settings.log).iterdir()))
