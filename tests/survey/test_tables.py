import csv
import io
import subprocess
import sys
from datetime import date

import numpy as np
import polars as pl
import pytest

from classifier.errors import CallkeyError, InputError
from classifier.metrics import FLAGS, METRICS
from classifier.survey.tables import (
    PULSE_SCHEMA,
    conform,
    csv_bytes,
    parquet_bytes,
    read_metadata,
    read_parquet,
)


def test_columns_of_the_pulses():
    columns = list(PULSE_SCHEMA)
    assert columns[:4] == ["recording", "channel", "pulse", "onset_s"]
    assert columns[-len(FLAGS) :] == list(FLAGS)
    at = columns.index("peak_frequency_khz")
    assert columns[at + 1] == "peak_frequency_khz_se"
    assert METRICS["interval"].column not in columns
    assert PULSE_SCHEMA["strongest_harmonic"] == pl.Int8


def test_conform():
    schema = pl.Schema({"a": pl.Float64, "b": pl.Int16})
    table = conform(pl.DataFrame({"b": [1, 2], "a": [float("nan"), 0.5]}), schema)
    assert table.schema == schema
    assert table["a"].to_list() == [None, 0.5]
    with pytest.raises(CallkeyError, match=r"missing \['b'\], unknown \['c'\]"):
        conform(pl.DataFrame({"a": [1.0], "c": [1]}), schema)
    with pytest.raises(CallkeyError, match="does not hold what was agreed on"):
        conform(pl.DataFrame({"a": [1.0], "b": [70_000]}), schema)


def test_the_same_table_gives_the_same_bytes():
    """Whatever pieces it was put together from, and however many threads write it."""
    code = (
        "import hashlib, sys\nimport numpy as np, polars as pl\n"
        "from classifier.survey.tables import parquet_bytes\n"
        "rng = np.random.default_rng(3)\nn = 300_000\n"
        "table = pl.DataFrame({'x': rng.normal(size=n), 's': np.repeat(['a', 'b', 'c'], n // 3)})\n"
        "cut = int(sys.argv[1])\ntable = pl.concat([table[:cut], table[cut:]], rechunk=False)\n"
        "print(pl.thread_pool_size(), hashlib.sha256(parquet_bytes(table, {'k': 'v'})).hexdigest())\n"
    )
    digests = set()
    for threads, cut in (("1", "7"), ("2", "131072"), ("4", "299999")):
        run = subprocess.run(
            [sys.executable, "-c", code, cut],
            env={"POLARS_MAX_THREADS": threads},
            capture_output=True,
            check=True,
        )
        used, digest = run.stdout.decode().split()
        assert used == threads
        digests.add(digest)
    assert len(digests) == 1


def test_parquet_round_trip(tmp_path):
    table = pl.DataFrame({"x": [0.1, None, 1e-300], "name": ["Bärenklau", None, ""]})
    path = tmp_path / "survey [1]*.parquet"
    path.write_bytes(parquet_bytes(table, {"key": "value"}))
    assert read_parquet(path).equals(table)
    assert read_metadata(path)["key"] == "value"


def test_tables_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match=r"a\.parquet: is missing; measure or label again"):
        read_parquet(tmp_path / "a.parquet")
    (tmp_path / "a.parquet").write_bytes(b"PAR1 no more PAR1")
    for read in (read_parquet, read_metadata):
        with pytest.raises(InputError, match=r"a\.parquet: cannot be read"):
            read(tmp_path / "a.parquet")


def test_csv_is_for_reading():
    table = pl.DataFrame(
        {
            "recording": ["pond, east/ä.wav", None],
            "onset_s": [3599.12345678, 0.1],
            "latitude": [-36.123456789, None],
            "peak_frequency_khz": [45.123456789, 1 / 3000],
            "sample_rate": [256_000.0, 1e9 / 3],
            "pulses": [3, None],
            "echo": [True, False],
            "night": [date(2026, 6, 3), None],
            "candidates": [["Myotis", "Plecotus"], []],
        }
    )
    assert csv_bytes(table).decode() == (
        "recording,onset_s,latitude,peak_frequency_khz,sample_rate,pulses,echo,night,candidates\n"
        '"pond, east/ä.wav",3599.123457,-36.123457,45.1235,256000,3,true,2026-06-03,Myotis; Plecotus\n'
        ',0.1,,0.000333333,333333333,,false,,""\n'
    )


def test_csv_holds_six_digits_of_every_number():
    rng = np.random.default_rng(8)
    values = rng.normal(size=3000) * 10.0 ** rng.integers(-6, 10, 3000)
    text = csv_bytes(pl.DataFrame({"x": values})).decode()
    got = np.array([float(row["x"]) for row in csv.DictReader(io.StringIO(text))])
    assert np.abs(got / values - 1).max() <= 5.0001e-6
    assert max(len(row) for row in text.splitlines()) <= 20
