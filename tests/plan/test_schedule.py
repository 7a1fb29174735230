"""Nights by the sun and by the clock."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from classifier.errors import InputError
from classifier.plan import Settings
from classifier.plan.schedule import nights_of, zone_of

#: Almanac times of sunset on an evening and of sunrise on the next morning, as printed to the minute in national
#: almanacs; recalled, not looked up.
ALMANAC = [
    ("London", 51.51, -0.13, "Europe/London", date(2024, 6, 20), "21:21", "04:43"),
    ("London", 51.51, -0.13, "Europe/London", date(2024, 12, 20), "15:53", "08:04"),
    ("Sydney", -33.87, 151.21, "Australia/Sydney", date(2024, 6, 20), "16:54", "07:00"),
    ("Sydney", -33.87, 151.21, "Australia/Sydney", date(2024, 12, 20), "20:05", "05:41"),
]


@pytest.mark.parametrize(("place", "latitude", "longitude", "zone", "night", "sunset", "sunrise"), ALMANAC)
def test_almanac(place, latitude, longitude, zone, night, sunset, sunrise):
    settings = Settings(latitude=latitude, longitude=longitude, timezone=zone, first_night=night, starts="sunset", ends="sunrise")
    (found,) = nights_of(settings)

    def minutes(text):
        return int(text[:2]) * 60 + int(text[3:])

    # An almanac rounds to the minute, astral is good to one or two.
    assert abs(minutes(f"{found.starts:%H:%M}") - minutes(sunset)) <= 2
    assert abs(minutes(f"{found.ends:%H:%M}") - minutes(sunrise)) <= 2
    assert found.starts.date() == night and found.ends.date() == night + timedelta(days=1)


def test_nights_from_the_first_to_the_last_with_minutes_around_the_sun():
    plain = Settings(
        latitude=-36.0, longitude=146.9, first_night=date(2025, 1, 30), last_night=date(2025, 2, 2),
        starts="sunset", ends="sunrise",
    )  # fmt: skip
    wide = replace(plain, starts="sunset - 30 min", ends="sunrise+45min")
    for night, wider in zip(nights_of(plain), nights_of(wide), strict=True):
        assert night.starts - wider.starts == timedelta(minutes=30)
        assert wider.ends - night.ends == timedelta(minutes=45)
    assert [each.night.day for each in nights_of(plain)] == [30, 31, 1, 2]


def test_clock_times_run_from_noon_to_noon():
    (night,) = nights_of(Settings(first_night=date(2025, 3, 1), starts="19:30", ends="06:00"))
    assert night.seconds == 10.5 * 3600
    (late,) = nights_of(Settings(first_night=date(2025, 3, 1), starts="00:30", ends="03:00"))
    assert late.starts.date() == date(2025, 3, 2) and late.seconds == 2.5 * 3600


def test_a_night_in_which_summer_time_ends_is_an_hour_longer():
    """In London clocks went back on 27 October 2024 at 2:00."""
    (night,) = nights_of(Settings(first_night=date(2024, 10, 26), timezone="Europe/London", starts="18:00", ends="06:00"))
    assert night.seconds == 13 * 3600


def test_without_a_zone_whole_hours_by_longitude():
    assert zone_of(Settings(latitude=-34, longitude=150.9)).utcoffset(None) == timedelta(hours=10)
    assert zone_of(Settings(latitude=53, longitude=-8)).utcoffset(None) == timedelta(hours=-1)


def test_a_sun_that_does_not_set():
    settings = Settings(latitude=67.0, longitude=20.0, first_night=date(2025, 6, 21))
    with pytest.raises(InputError, match="the sun does not set on 2025-06-21; give clock times"):
        nights_of(settings)


def test_a_night_that_ends_before_it_starts():
    with pytest.raises(InputError, match="would end .* before it starts .*; give a later `ends`"):
        nights_of(Settings(first_night=date(2025, 3, 1), starts="04:00", ends="23:00"))


def test_no_dates_no_nights():
    assert nights_of(Settings()) == ()
