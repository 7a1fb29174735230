"""Checked against the GUANO Metadata Specification, version 1.0 (field names and rules as remembered from its
open text; the sample below is worded here)."""

from datetime import datetime, timedelta, timezone

import pytest

from classifier.recordings.guano import Guano, read_guano

SAMPLE = r"""GUANO|Version: 1.0
Timestamp: 2026-06-03T22:15:04.250+01:00
Loc Position: 52.61203 -1.44791
Loc Elevation: 118.5
Make: Lantern Works
Model: Moth Post 2
Serial: 00417
Firmware Version: 3.2:beta
Samplerate: 384000
TE: 10
Length: 5.0
Temperature Ext: 11.5
Note: Hazel hedge, east side\nLight rain until ten: ünruly wind
Species Auto ID: Myotis nattereri
Species Manual ID: Plecotus auritus
Lantern|Gain: 24 dB
"""


def read(text):
    return read_guano(text.encode())


def test_sample_text():
    assert read(SAMPLE) == Guano(
        version="1.0",
        timestamp=datetime(2026, 6, 3, 22, 15, 4, 250_000, timezone(timedelta(hours=1))),
        latitude=52.61203,
        longitude=-1.44791,
        elevation_m=118.5,
        sample_rate_hz=384_000,
        time_expansion=10,
        make="Lantern Works",
        model="Moth Post 2",
        serial="00417",
        note="Hazel hedge, east side\nLight rain until ten: ünruly wind",
    )


def test_recorder_is_make_model_and_serial():
    assert read(SAMPLE).recorder == "Lantern Works Moth Post 2 00417"
    assert read("GUANO|Version: 1.0\nSerial: 7").recorder == "7"
    assert read("GUANO|Version: 1.0").recorder is None


def test_nobodys_identification_is_taken_over():
    assert "Myotis" not in repr(read(SAMPLE))
    assert "Plecotus" not in repr(read(SAMPLE))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-06-03T22:15:04Z", "2026-06-03T22:15:04+00:00"),
        ("2026-06-03T22:15:04", "2026-06-03T22:15:04"),
        ("2026-06-03 22:15:04", "2026-06-03T22:15:04"),
        ("2026-06-03 22:15:04 -03:30", "2026-06-03T22:15:04-03:30"),
        ("2026-06-03T22:15:04+1030", "2026-06-03T22:15:04+10:30"),
        ("20260603T221504", "2026-06-03T22:15:04"),
        ("2026-06-03T22:15", "2026-06-03T22:15:00"),
    ],
)
def test_timestamps(text, expected):
    # ISO 8601 with an offset, with Z, or with neither (then the time is local to a place that is not told).
    assert read(f"GUANO|Version: 1.0\nTimestamp: {text}").timestamp.isoformat() == expected


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("Timestamp: yesterday", "Timestamp"),
        ("Timestamp: 2026-06-03", "Timestamp"),
        ("Timestamp: 2026-02-30T10:00:00", "Timestamp"),
        ("Loc Position: 52.6", "Loc Position"),
        ("Loc Position: north west", "Loc Position"),
        ("Loc Position: 95 10", "Loc Position"),
        ("Loc Position: 10 181", "Loc Position"),
        ("Loc Position: nan nan", "Loc Position"),
        ("TE: ten", "TE"),
        ("TE: 0", "TE"),
        ("TE: -10", "TE"),
        ("Samplerate: inf", "Samplerate"),
        ("Loc Elevation: high", "Loc Elevation"),
    ],
)
def test_senseless_values_are_named_and_passed_over(line, name):
    assert read(f"GUANO|Version: 1.0\n{line}\nMake: Lantern") == Guano("1.0", make="Lantern", unreadable=(name,))


def test_position_with_a_comma_and_empty_values():
    guano = read("GUANO|Version: 1.0\nLoc Position: -36.5, 149.25\nMake:\nTE:\nNote: ")
    assert guano == Guano("1.0", latitude=-36.5, longitude=149.25)


def test_line_ends_padding_marks_and_cuts():
    text = "GUANO|Version: 1.0\r\nMake: Lantern\r\nModel: Mo"
    for data in (text.encode() + b"\0\0", text.encode("utf-8-sig"), text.encode() + b"\xc3"):
        guano = read_guano(data)
        assert guano.make == "Lantern"
        assert guano.model.startswith("Mo")


@pytest.mark.parametrize("data", [b"", b"\0\0", b"Make: Lantern", b"\xff\xfe\x00 noise", b"{}"])
def test_other_text_is_none(data):
    assert read_guano(data) is None
