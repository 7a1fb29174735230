"""When a recording began: from its metadata, else from its name; and to which night it belongs."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo

from classifier.errors import ParameterError

DEFAULT_NAME_PATTERN = "YYYYMMDD_HHMMSS"

_TOKENS = {
    "YYYY": ("year", 4),
    "YY": ("year", 2),
    "DD": ("day", 2),
    "HH": ("hour", 2),
    "SS": ("second", 2),
    "fff": ("millisecond", 3),
}
_NEEDED = ("year", "month", "day", "hour", "minute")


@dataclass(frozen=True)
class ClockSettings:
    """How the times of recordings are read.

    ``timezone`` is a zone's name ("Europe/London") or a fixed offset ("+10:00", "UTC-3"). It gives the offset
    of times that have none, and all times are told in it. ``name_pattern`` says how date and time stand in a
    file's name: YYYY or YY, MM, DD, HH, MM, SS and fff (milliseconds), every other character for itself; MM
    is the minute beside HH or SS and the month elsewhere. The pattern may stand anywhere in the name.

    Raises ParameterError for an unknown zone or a pattern without a full date, hour and minute.
    """

    timezone: str | None = None
    name_pattern: str = DEFAULT_NAME_PATTERN

    def __post_init__(self):
        _zone(self.timezone)
        _expression(self.name_pattern)

    @property
    def zone(self) -> tzinfo | None:
        """The zone as the standard library knows it; None where none was given."""
        return _zone(self.timezone)


@dataclass(frozen=True)
class Start:
    """An aware moment; ``offset_known`` is False where UTC had to be assumed."""

    moment: datetime
    offset_known: bool


def start_time(stem, timestamp, settings):
    """Moment at which a recording began.

    Parameters
    ----------
    stem : str, the file's name without its ending
    timestamp : datetime or None, from metadata; it goes before the name
    settings : ClockSettings

    Returns
    -------
    Start, or None where neither tells. A time without offset is taken to be in ``settings.timezone``, or in
    UTC where no zone was given; of the two readings of an hour that the end of summer time repeats, the first
    is taken.
    """
    moment = timestamp if timestamp is not None else time_in_name(stem, settings.name_pattern)
    if moment is None:
        return None
    zone = settings.zone
    if moment.tzinfo is None:
        return Start(moment.replace(tzinfo=zone or UTC), zone is not None)
    try:
        return Start(moment.astimezone(zone) if zone else moment, True)
    except OverflowError:  # a date at the edge of the calendar
        return Start(moment, True)


def time_in_name(stem, pattern=DEFAULT_NAME_PATTERN):
    """First valid date and time in ``stem`` that has the form of ``pattern``; naive, None where there is
    none."""
    for match in _expression(pattern).finditer(stem):
        parts = {name: int(digits) for name, digits in match.groupdict().items()}
        if len(match["year"]) == 2:
            parts["year"] += 2000
        parts["microsecond"] = 1000 * parts.pop("millisecond", 0)
        try:
            return datetime(**parts)
        except ValueError:
            continue
    return None


def night_of(starts_at) -> date | None:
    """Night, noon to noon in the time's own zone, named by the date of its evening; None for None."""
    if starts_at is None:
        return None
    try:
        return (starts_at - timedelta(hours=12)).date()
    except OverflowError:
        return None


@lru_cache
def _zone(text):
    if text is None:
        return None
    fixed = re.fullmatch(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?(\d{2}))?", text.strip(), re.IGNORECASE)
    if fixed:
        sign, hours, minutes = fixed.groups()
        offset = timedelta(hours=int(hours), minutes=int(minutes or 0))
        if offset <= timedelta(hours=14) and int(minutes or 0) < 60:
            return timezone(-offset if sign == "-" else offset)
    else:
        try:
            return ZoneInfo(text.strip())
        except (KeyError, ValueError, OSError):  # unknown, not a name, or a folder of the database
            pass
    raise ParameterError(f"timezone '{text}' is not known: give a name such as Europe/London or an offset such as +10:00")


@lru_cache
def _expression(pattern):
    pieces = re.split("(YYYY|YY|MM|DD|HH|SS|fff)", pattern)
    letters = pieces[1::2]
    names, expression = [], re.escape(pieces[0])
    for index, token in enumerate(letters):
        if token == "MM":
            behind_hour = index > 0 and letters[index - 1] == "HH"
            name = "minute" if behind_hour or letters[index + 1 : index + 2] == ["SS"] else "month"
            digits = 2
        else:
            name, digits = _TOKENS[token]
        names.append(name)
        expression += rf"(?P<{name}>[0-9]{{{digits}}})" + re.escape(pieces[2 * index + 2])
    if len(set(names)) < len(names) or not set(_NEEDED) <= set(names):
        raise ParameterError(
            f"name pattern '{pattern}' must hold YYYY (or YY), MM, DD, HH and MM once each, "
            f"and may hold SS and fff, as in {DEFAULT_NAME_PATTERN}"
        )
    return re.compile(rf"(?<![0-9]){expression}(?![0-9])")
