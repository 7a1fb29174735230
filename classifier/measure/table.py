"""From arrays in SI units to the table of pulses, in the trade's units: the one place where they are converted."""

import numpy as np
import polars as pl

from classifier.metrics import FLAGS, MEASURED

#: Factor from SI to the unit of a column.
FACTORS = {"kHz": 1e-3, "kHz/ms": 1e-6, "ms": 1e3, "s": 1.0, "dB": 1.0, "%": 1.0, "": 1.0}


def pulse_schema():
    """Columns of the table of pulses of one recording, with their types."""
    schema = {"channel": pl.Int16, "pulse": pl.Int32}
    for metric in MEASURED:
        schema[metric.column] = pl.Int8 if metric.unit == "" else pl.Float64
        if metric.error_column:
            schema[metric.error_column] = pl.Float64
    return schema | dict.fromkeys(FLAGS, pl.Boolean)


def pulse_table(channels):
    """Table of pulses.

    Parameters
    ----------
    channels : list, one entry a channel: dict of metric name -> (values, errors or None), SI units, and of flag name ->
        bool array; values are float64 arrays of shape (n_pulses,) in order of onset, NaN where missing

    Returns
    -------
    polars.DataFrame with the columns of ``pulse_schema``
    """
    schema = pulse_schema()
    frames = []
    for number, columns in enumerate(channels, start=1):
        count = len(columns["onset"][0]) if columns else 0
        if not count:
            continue
        data = [
            pl.Series("channel", np.full(count, number, np.int16)),
            pl.Series("pulse", np.arange(1, count + 1, dtype=np.int32)),
        ]
        for metric in MEASURED:
            factor = FACTORS[metric.unit]
            value, error = columns[metric.name]
            data.append(_column(metric.column, value * factor, schema))
            if metric.error_column:
                data.append(_column(metric.error_column, np.where(np.isfinite(value), error * factor, np.nan), schema))
        data += [pl.Series(flag, columns[flag]) for flag in FLAGS]
        frames.append(pl.DataFrame(data))
    return pl.concat(frames) if frames else pl.DataFrame(schema=schema)


def _column(name, values, schema):
    """A column of numbers, null where they are NaN."""
    column = pl.Series(name, values, nan_to_null=True)
    return column if schema[name] == pl.Float64 else column.cast(schema[name])
