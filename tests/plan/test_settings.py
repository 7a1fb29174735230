"""Settings: ranges, contradictions, and files of them."""

from datetime import date

import pytest

from classifier.errors import InputError, ParameterError
from classifier.plan import SETTINGS, Settings, read_settings


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"sample_rate_khz": -256}, "`sample_rate_khz` must be a number from 8 to 2000 kHz, not -256"),
        ({"sample_rate_khz": float("nan")}, "`sample_rate_khz` must be a number"),
        ({"sample_rate_khz": True}, "`sample_rate_khz` must be a number"),
        ({"sample_rate_khz": "256"}, "`sample_rate_khz` must be a number .*, not '256'"),
        ({"passes_per_night": -1}, "`passes_per_night` must be a number from 0"),
        ({"bits": 12.5}, "`bits` must be a whole number from 8 to 32"),
        ({"recording": "sometimes"}, "`recording` must be triggered or continuous, not 'sometimes'"),
        ({"starts": "dusk"}, "`starts` must be written as in 'sunset - 30 min'"),
        ({"starts": "25:00"}, "`starts` must be written as in"),
        ({"timezone": "Tamble"}, "timezone 'Tamble' is not known: give a name"),
        ({"timezone": 10}, "`timezone` must be a text"),
        ({"first_night": "tomorrow"}, "`first_night` must be a date such as 2025-11-03"),
        ({"trigger_ceiling_khz": 130}, "above half the sample rate .128 kHz.*lower it or raise `sample_rate_khz`"),
        ({"trigger_floor_khz": 128}, "`trigger_floor_khz` .128 kHz. lies at or above.*lower the floor"),
        ({"trigger_floor_khz": 30, "trigger_ceiling_khz": 25}, "lower the floor"),
        ({"latitude": -34}, "has a latitude and no longitude; give both"),
        ({"longitude": 150}, "has a longitude and no latitude; give both"),
        ({"last_night": date(2025, 1, 1)}, "`last_night` is given without `first_night`"),
        (
            {"first_night": date(2025, 1, 2), "last_night": date(2025, 1, 1), "starts": "18:00", "ends": "06:00"},
            "comes before `first_night`.*exchange them",
        ),
        (
            {"first_night": date(2025, 1, 2), "last_night": date(2035, 1, 1), "starts": "18:00", "ends": "06:00"},
            "nights; plan at most 366 at a time",
        ),
        ({"first_night": date(2025, 1, 2)}, "the site is not known: give `latitude` and `longitude`, or clock times"),
        ({"source_level_db": {"dusk bat": "loud"}}, "`source_level_db` of dusk bat must be a number from 0 to 160"),
        ({"humidity_percent": 101}, "`humidity_percent` must be a number from 0 to 100 %"),
    ],
)
def test_what_cannot_be(values, message):
    with pytest.raises(ParameterError, match=message):
        Settings(**values)


def test_defaults_stand_and_are_told():
    settings = Settings()
    assert (settings.nyquist_khz, settings.ceiling_khz) == (128, 128)
    assert all(each.metadata["meaning"] for each in SETTINGS.values())


def test_a_file(tmp_path):
    path = tmp_path / "recorder.toml"
    path.write_text(
        'sample_rate_khz = 384\nfirst_night = 2025-11-03\nstarts = "18:30"\nends = "sunrise"\nlatitude = -34.1\n'
        'longitude = 150.2\n[source_level_db]\n"Examplia vespera" = 115\n'
    )
    settings = Settings(**read_settings(path))
    assert settings.sample_rate_khz == 384
    assert settings.first_night == date(2025, 11, 3)
    assert settings.source_level_db == {"Examplia vespera": 115}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("bits = 16\nsample_rate = 256\n", r":2: there is no setting `sample_rate`; did you mean `sample_rate_khz`\?"),
        ("bits = 16\n\n[xyz]\nbits = 24\n", r":3: there is no setting `xyz`; `callkey plan --help` lists"),
        ("bits = = 16\n", "is not written as TOML: .*line 1"),
        ("source_level_db = 120\n", "is a table by taxon"),
    ],
)
def test_faulty_files(tmp_path, text, message):
    path = tmp_path / "recorder.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_settings(path)


def test_files_that_are_none(tmp_path):
    with pytest.raises(InputError, match="cannot be read .*; name a settings file that exists"):
        read_settings(tmp_path / "none.toml")
    (tmp_path / "sound.wav").write_bytes(b"RIFF\xff\xfe\x00")
    with pytest.raises(InputError, match="no text in UTF-8"):
        read_settings(tmp_path / "sound.wav")
