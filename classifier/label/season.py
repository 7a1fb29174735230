"""When a pass was, as a key may ask: the month of its night, and hours after sunset at its position."""

import math
from datetime import date, datetime, timedelta
from functools import lru_cache


def month_of(night: date | None) -> float:
    """Month (1 to 12) of the evening that the night began with; NaN if the night is unknown."""
    return math.nan if night is None else float(night.month)


def hours_after_sunset(at: datetime | None, night: date | None, latitude, longitude) -> float:
    """Hours from the sunset that began the night to a moment; negative before it.

    NaN if the time or the position is unknown, and where the sun does not set on that date.
    Source: [astral], which follows Meeus (1991), Astronomical Algorithms; good to a minute or two
    """
    if at is None or night is None or latitude is None or longitude is None:
        return math.nan
    sunset = _sunset(night, round(latitude, 4), round(longitude, 4), at.utcoffset())
    return math.nan if sunset is None else (at - sunset) / timedelta(hours=1)


@lru_cache(maxsize=4096)
def _sunset(night, latitude, longitude, offset):
    """Sunset on the evening of this local date, None if there is none."""
    from datetime import timezone

    from astral import Observer
    from astral.sun import sunset

    try:
        return sunset(Observer(latitude, longitude), date=night, tzinfo=timezone(offset))
    except ValueError:
        return None
