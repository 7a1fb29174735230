from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from classifier.errors import ParameterError
from classifier.recordings.clock import ClockSettings, night_of, start_time, time_in_name


@pytest.mark.parametrize(
    ("stem", "pattern", "expected"),
    [
        ("20260603_221504", "YYYYMMDD_HHMMSS", "2026-06-03T22:15:04"),
        ("POST7_20260603_221504_001", "YYYYMMDD_HHMMSS", "2026-06-03T22:15:04"),
        ("20261303_221504 20260603_221504", "YYYYMMDD_HHMMSS", "2026-06-03T22:15:04"),
        ("2026-06-03 22h15m04s", "YYYY-MM-DD HHhMMmSSs", "2026-06-03T22:15:04"),
        ("pond.221504-030626", "HHMMSS-DDMMYY", "2026-06-03T22:15:04"),
        ("03.06.2026 22.15", "DD.MM.YYYY HH.MM", "2026-06-03T22:15:00"),
        ("20260603T221504250Z", "YYYYMMDDTHHMMSSfff", "2026-06-03T22:15:04.250000"),
    ],
)
def test_time_in_name(stem, pattern, expected):
    assert time_in_name(stem, pattern).isoformat() == expected


@pytest.mark.parametrize(
    "stem",
    ["", "hedge", "20260603", "20260603-221504", "120260603_221504", "20260603_2215041", "20260603_256199"],
)
def test_no_time_in_name(stem):
    assert time_in_name(stem) is None


@pytest.mark.parametrize("pattern", ["", "YYYYMMDD", "HHMMSS", "YYYYMMDD_HH", "YYYYMMDD_HHMMSS_DD", "hedge"])
def test_patterns_that_tell_no_time(pattern):
    with pytest.raises(ParameterError, match="must hold YYYY"):
        ClockSettings(name_pattern=pattern)


@pytest.mark.parametrize("zone", ["Europe/Lodon", "", "../etc", "+25:00", "+10:75", "Europe"])
def test_unknown_zones(zone):
    with pytest.raises(ParameterError, match=r"Europe/London or an offset such as \+10:00"):
        ClockSettings(zone)


@pytest.mark.parametrize(
    ("zone", "month", "offset"),
    [
        ("Europe/London", 6, 1),
        ("Europe/London", 1, 0),
        ("Australia/Sydney", 6, 10),
        ("Australia/Sydney", 1, 11),
        ("+10:00", 1, 10),
        ("UTC-3", 1, -3),
        ("-0330", 1, -3.5),
        ("UTC", 6, 0),
    ],
)
def test_offset_of_times_without_one(zone, month, offset):
    # Summer time in the zones named: IANA time zone database.
    start = start_time(f"2026{month:02}03_221504", None, ClockSettings(zone))
    assert start.moment.utcoffset() == timedelta(hours=offset)
    assert (start.moment.hour, start.offset_known) == (22, True)


def test_utc_is_assumed_aloud():
    start = start_time("20260603_221504", None, ClockSettings())
    assert (start.moment, start.offset_known) == (datetime(2026, 6, 3, 22, 15, 4, tzinfo=UTC), False)


def test_metadata_go_before_the_name_and_are_told_in_the_zone():
    stamp = datetime(2026, 6, 3, 21, 0, tzinfo=timezone(timedelta(hours=-2)))
    assert start_time("20200101_000000", stamp, ClockSettings()).moment.isoformat() == "2026-06-03T21:00:00-02:00"
    told = start_time("20200101_000000", stamp, ClockSettings("Europe/London")).moment
    assert told == stamp
    assert told.isoformat() == "2026-06-04T00:00:00+01:00"


def test_no_time_at_all():
    assert start_time("hedge", None, ClockSettings("Europe/London")) is None


def test_hour_that_the_end_of_summer_time_repeats():
    # 25 October 2026, 01:00 to 02:00 comes twice in Britain: the first, summer time, is taken.
    start = start_time("20261025_013000", None, ClockSettings("Europe/London"))
    assert start.moment.isoformat() == "2026-10-25T01:30:00+01:00"


@pytest.mark.parametrize(
    ("hour", "day", "night"),
    [(22, 3, 3), (3, 4, 3), (11, 4, 3), (12, 4, 4), (0, 4, 3)],
)
def test_night_runs_from_noon_to_noon(hour, day, night):
    zone = ClockSettings("Australia/Sydney").zone
    assert night_of(datetime(2026, 6, day, hour, tzinfo=zone)) == date(2026, 6, night)


def test_night_over_the_change_of_summer_time_ends_at_noon_of_the_clock():
    zone = ClockSettings("Europe/London").zone
    assert night_of(datetime(2026, 10, 25, 11, 59, tzinfo=zone)) == date(2026, 10, 24)
    assert night_of(datetime(2026, 10, 25, 12, 0, tzinfo=zone)) == date(2026, 10, 25)


def test_night_of_unknown_and_extreme_times():
    assert night_of(None) is None
    assert night_of(datetime(1, 1, 1, tzinfo=UTC)) is None
