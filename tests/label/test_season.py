"""Month and hours after sunset, against tables of sunset."""

import math
from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from classifier.label.season import hours_after_sunset, month_of

UTC = UTC


def test_sunset_at_greenwich_on_the_longest_day():
    """Almanac fact, from memory: at Greenwich the sun sets at 20:21 UTC on 21 June (HM Nautical Almanac
    Office tables give 21:21 BST); good to two minutes."""
    summer = timezone(timedelta(hours=1))
    at = datetime(2024, 6, 21, 22, 21, tzinfo=summer)
    assert hours_after_sunset(at, date(2024, 6, 21), 51.4769, 0.0) == pytest.approx(1.0, abs=2 / 60)


def test_after_midnight_counts_from_the_evening_before():
    at = datetime(2024, 9, 23, 2, 0, tzinfo=UTC)
    # Within a day of the equinox the sun sets at the equator close to 18:00 local mean time, less the
    # equation of time (about 7.5 minutes) and plus 3.4 minutes for refraction and the sun's radius: common
    # practice, no source.
    hours = hours_after_sunset(at, date(2024, 9, 22), 0.0, 0.0)
    assert hours == pytest.approx(8.0 + (7.5 - 3.4) / 60, abs=2 / 60)


def test_in_the_southern_hemisphere_the_local_date_counts():
    sydney = timezone(timedelta(hours=11))
    at = datetime(2024, 12, 22, 21, 5, tzinfo=sydney)
    # Sunset in Sydney on 22 December is 20:05 summer time (Geoscience Australia tables; from memory, two
    # minutes).
    assert hours_after_sunset(at, date(2024, 12, 22), -33.87, 151.21) == pytest.approx(1.0, abs=3 / 60)


def test_before_sunset_is_negative():
    at = datetime(2024, 6, 21, 19, 21, tzinfo=UTC)
    assert hours_after_sunset(at, date(2024, 6, 21), 51.4769, 0.0) == pytest.approx(-1.0, abs=2 / 60)


def test_no_sunset_or_nothing_known_is_missing():
    at = datetime(2024, 6, 21, 22, 0, tzinfo=UTC)
    assert math.isnan(hours_after_sunset(at, date(2024, 6, 21), 78.2, 15.6))
    assert math.isnan(hours_after_sunset(at, date(2024, 6, 21), None, 0.0))
    assert math.isnan(hours_after_sunset(None, date(2024, 6, 21), 51.0, 0.0))


def test_month_is_the_evenings():
    assert month_of(date(2024, 5, 31)) == 5.0
    assert math.isnan(month_of(None))
