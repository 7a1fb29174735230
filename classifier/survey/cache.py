"""What has been measured already: measuring is a cache, and a run that was killed goes on where it stopped.

While a run goes on, each recording's pulses lie in a part of their own under ``.parts``. When it is done they
stand in pulses.parquet alone, the parts are removed, and one index beside it tells what each recording's
pulses were measured from. The index carries the digest of its pulses.parquet in its name and is written
first, so that at every moment a whole table has its index, and a table that somebody changed has none.

A recording counts as unchanged if its path, size and time of change are the same, as well as its true sample
rate, the settings and the code of measuring. Its content is not read again: a digest of the whole would cost
as much as reading the card, and a digest of samples of it would miss an edit in between. A copy that lost its
times is measured again: slow, but never wrong.
"""

import contextlib
import hashlib
import importlib
import inspect as python_inspect
import json
import shutil
from dataclasses import asdict, is_dataclass
from pathlib import Path

import polars as pl

from classifier.errors import InputError
from classifier.survey.parts import Reading, read_part, read_pulses
from classifier.survey.storage import make_folder
from classifier.survey.tables import PULSE_SCHEMA, parquet_bytes, read_parquet

PULSES_NAME = "pulses.parquet"
_PARTS_NAME = ".parts"
_INDEX_PREFIX = ".measured-"
_INDEX_SCHEMA = {
    "path": pl.String,
    "key": pl.String,
    "frames_read": pl.Int64,
    "replaced": pl.Int64,
    "fault": pl.String,
}


class Cache:
    """The measured recordings of one survey folder, by their name in its tables and by their key."""

    def __init__(self, folder):
        self._folder = Path(folder)
        self._parts = self._folder / _PARTS_NAME
        self._index = _read_index(self._folder)

    def part(self, key):
        """Path of the part in which the pulses of a recording with this key are kept during a run."""
        return self._parts / f"{key}.part"

    def reading(self, name, key):
        """The Reading of a recording that is measured already, in the table or in a part; None if it is
        not."""
        kept_key, reading = self._index.get(name, (None, None))
        return reading if kept_key == key else read_part(self.part(key))

    def open(self):
        """Make room for parts."""
        make_folder(self._parts)

    def names(self):
        """Names of the recordings in the table as it stands."""
        return set(self._index)

    def pulses(self, keys):
        """All pulses of the recordings in ``keys`` (mapping of name to key), each measured already.

        Returns
        -------
        polars.DataFrame with the columns of ``PULSE_SCHEMA``, in the order of ``recording``
        """
        kept = [name for name, key in keys.items() if self._index.get(name, (None,))[0] == key]
        tables = [pl.DataFrame(schema=PULSE_SCHEMA)]
        if kept:
            table = read_parquet(self._folder / PULSES_NAME)
            tables.append(table.filter(pl.col("recording").is_in(kept)))
        for name in sorted(set(keys) - set(kept)):
            part = read_pulses(self.part(keys[name]))
            tables.append(part.select(pl.lit(name).alias("recording"), pl.all()))
        return pl.concat(tables).sort("recording", maintain_order=True)

    def index(self, digest, keys, readings):
        """The index of a table of pulses that is about to be put in place.

        Parameters
        ----------
        digest : str, SHA-256 of the table's file
        keys, readings : mappings of name to key and to Reading

        Returns
        -------
        (Path, bytes); to be put in place before the table
        """
        rows = [(name, keys[name], *asdict(readings[name]).values()) for name in sorted(keys)]
        table = pl.DataFrame(rows, schema=_INDEX_SCHEMA, orient="row")
        return _index_path(self._folder, digest), parquet_bytes(table)

    def tidy(self, index):
        """Remove the parts and all indexes but this one, once the table is in place."""
        for other in self._folder.glob(f"{_INDEX_PREFIX}*"):
            if other != index:
                with contextlib.suppress(OSError):
                    other.unlink()
        shutil.rmtree(self._parts, ignore_errors=True)


def recording_key(name, recording, mtime_ns, settings_digest):
    """Digest of all that a recording's pulses depend on, as hexadecimal text."""
    facts = [name, recording.bytes, mtime_ns, recording.true_sample_rate_hz, settings_digest]
    return hashlib.sha256(json.dumps(facts).encode()).hexdigest()[:32]


def settings_digest(measure, settings):
    """Digest of the settings of measuring and of its code, as hexadecimal text.

    Parameters
    ----------
    measure : the function that measures; the Python files of its package count, or its own file outside of
        one
    settings : dataclass or None
    """
    digest = hashlib.sha256(json.dumps(settings_values(settings), sort_keys=True, default=str).encode())
    for path in _code_of(measure):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def settings_values(settings):
    """Settings as a plain dict."""
    return asdict(settings) if is_dataclass(settings) else {}


def _code_of(measure):
    file = Path(python_inspect.getfile(measure))
    package = measure.__module__.rpartition(".")[0]
    if not package:
        return [file]
    return sorted(Path(importlib.import_module(package).__file__).parent.rglob("*.py"))


def _index_path(folder, digest):
    return folder / f"{_INDEX_PREFIX}{digest[:16]}.parquet"


def _read_index(folder):
    """Name -> (key, Reading) of the recordings in the table; empty where table and index do not belong
    together."""
    try:
        with open(folder / PULSES_NAME, "rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        table = read_parquet(_index_path(folder, digest))
        return {name: (key, Reading(*facts)) for name, key, *facts in table.iter_rows()}
    except (OSError, InputError, TypeError, ValueError):
        return {}
