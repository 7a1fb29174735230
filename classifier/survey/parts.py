"""The part of a run that one recording makes: its pulses, and what reading it has shown, in a file of their own.

A part is one line of JSON, then the pulses as an Arrow stream: it is written and read once, and that in a thirtieth of the
time a Parquet file takes. Parts are put in place whole (``storage``); what is cut short later counts as not there.
"""

import io
import json
from dataclasses import asdict, dataclass
from pathlib import Path

import polars as pl

from classifier.errors import InputError
from classifier.survey.storage import write_atomically
from classifier.survey.tables import PULSE_SCHEMA, conform

_SCHEMA = pl.Schema({name: kind for name, kind in PULSE_SCHEMA.items() if name != "recording"})


@dataclass(frozen=True)
class Reading:
    """What reading the samples has shown: see ``classifier.recordings.Blocks``."""

    frames_read: int
    replaced: int = 0
    fault: str | None = None


def part_of(pulses):
    """Pulses of one recording as a part keeps them.

    Raises
    ------
    CallkeyError : they do not have the columns of ``PULSE_SCHEMA`` without "recording"
    """
    return conform(pulses, _SCHEMA)


def write_part(path, reading, pulses):
    """Put a part in place.

    Parameters
    ----------
    pulses : polars.DataFrame, from ``part_of``

    Raises
    ------
    InputError : it cannot be written
    """
    stream = io.BytesIO()
    pulses.rechunk().write_ipc_stream(stream)
    stream = stream.getvalue()
    head = json.dumps({"bytes": len(stream), "reading": asdict(reading)})
    write_atomically(path, head.encode() + b"\n" + stream)


def read_part(path):
    """The Reading kept in a part; None where there is no part, or not a whole one."""
    try:
        with open(path, "rb") as file:
            head = json.loads(file.readline())
            size = Path(path).stat().st_size - file.tell()
        return Reading(**head["reading"]) if size == head["bytes"] else None
    except (OSError, KeyError, TypeError, ValueError):
        return None


def read_pulses(path):
    """The pulses kept in a part that ``read_part`` has found whole: polars.DataFrame.

    Raises
    ------
    InputError : it has been removed or overwritten since, or the disk garbled it
    """
    try:
        with open(path, "rb") as file:
            file.readline()
            return pl.read_ipc_stream(io.BytesIO(file.read()))
    except (OSError, pl.exceptions.PolarsError) as error:
        raise InputError(f"{path}: cannot be read ({error}); remove it and run again") from error
