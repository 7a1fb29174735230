"""The tables of a survey: their columns, and their bytes as Parquet and CSV. The same table gives the same
bytes."""

import io

import polars as pl

from classifier.errors import CallkeyError, InputError
from classifier.metrics import FLAGS, MEASURED

#: A row per file met, good or bad, in the order of ``path`` (relative to the survey's root, with slashes).
#: ``bytes`` is the file's size, ``sample_rate`` Hz and ``seconds`` are real, time expansion undone;
#: ``starts_at`` is ISO 8601 with UTC offset; ``latitude`` and ``longitude`` are degrees (WGS84).
RECORDING_SCHEMA = pl.Schema(
    {
        "path": pl.String,
        "bytes": pl.Int64,
        "sample_rate": pl.Float64,
        "channels": pl.Int16,
        "seconds": pl.Float64,
        "time_expansion": pl.Float64,
        "starts_at": pl.String,
        "night": pl.Date,
        "site": pl.String,
        "latitude": pl.Float64,
        "longitude": pl.Float64,
        "recorder": pl.String,
        "status": pl.String,
        "message": pl.String,
    }
)


def _pulse_columns():
    yield "recording", pl.String
    yield "channel", pl.Int16
    yield "pulse", pl.Int32
    for metric in MEASURED:
        yield metric.column, pl.Float64 if metric.unit else pl.Int8
        if metric.error_column:
            yield metric.error_column, pl.Float64
    for flag in FLAGS:
        yield flag, pl.Boolean


#: A row per pulse, in the order of recording, channel, onset: its metrics and flags (classifier.metrics).
PULSE_SCHEMA = pl.Schema(_pulse_columns())

# Rows in a row group: fixed, or the bytes would depend on how many threads wrote them.
_GROUP_ROWS = 1 << 17
_NAME_OF_DECIMALS = ("_s", "latitude", "longitude", "seconds")


def conform(table, schema):
    """A table with exactly the columns and types of ``schema``, NaN made null.

    Raises
    ------
    CallkeyError : columns are missing, unknown or hold something else
    """
    kinds = table.schema
    missing = [name for name in schema if name not in kinds]
    unknown = [name for name in kinds if name not in schema]
    if missing or unknown:
        raise CallkeyError(f"a table does not have the columns agreed on: missing {missing}, unknown {unknown}")
    floats = [name for name, kind in kinds.items() if kind.is_float()]
    if kinds == schema and not (table.height and any(table.select(pl.col(floats).is_nan().any()).row(0))):
        return table
    try:
        return table.with_columns(pl.col(floats).fill_nan(None)).select(list(schema)).cast(dict(schema))
    except pl.exceptions.PolarsError as error:
        raise CallkeyError(f"a table does not hold what was agreed on: {error}") from error


def parquet_bytes(table, metadata=None):
    """Table as the bytes of a Parquet file.

    Parameters
    ----------
    table : polars.DataFrame
    metadata : dict of str to str or None, kept in the file beside the table
    """
    buffer = io.BytesIO()
    table.rechunk().write_parquet(buffer, compression="zstd", row_group_size=_GROUP_ROWS, metadata=metadata)
    return buffer.getvalue()


def csv_bytes(table):
    """Table as the bytes of a CSV file, UTF-8 with a header.

    Numbers are rounded to what a person wants to read: times in seconds and positions to 6 decimals, other
    numbers to 6 significant digits. Lists are joined by "; ". The Parquet twin holds the full values.
    """
    columns = []
    for name, kind in table.schema.items():
        column = pl.col(name)
        if kind.is_float():
            column = column.round(6) if name.endswith(_NAME_OF_DECIMALS) else _six_digits(column)
        elif isinstance(kind, (pl.List, pl.Array)):
            column = column.cast(pl.List(pl.String)).list.join("; ")
        columns.append(column)
    return table.select(columns).write_csv(float_scientific=False).encode()


def read_parquet(path):
    """Table in a Parquet file.

    Raises
    ------
    InputError : there is none, or it cannot be read
    """
    try:
        return pl.read_parquet(path, glob=False)
    except FileNotFoundError as error:
        raise InputError(f"{path}: is missing; measure or label again to have it back") from error
    except (pl.exceptions.PolarsError, OSError) as error:
        raise InputError(f"{path}: cannot be read ({error}); measure or label again to have it back") from error


def read_metadata(path):
    """What ``parquet_bytes`` kept beside the table, as a dict of str to str.

    Raises
    ------
    InputError : the file cannot be read
    """
    try:
        return pl.read_parquet_metadata(path)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise InputError(f"{path}: cannot be read ({error})") from error


def _six_digits(column):
    # From 10^6 on whole numbers are shown: rounding them further leaves traces of binary fractions.
    return pl.when(column.abs() < 1e6).then(column.round_sig_figs(6)).otherwise(column.round(0))
