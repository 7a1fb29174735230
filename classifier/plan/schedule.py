"""When a recorder runs: the nights of a survey, from sunset and sunrise at the site or from the clock."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone, tzinfo

from classifier.errors import InputError
from classifier.plan.settings import MOMENT
from classifier.recordings.clock import ClockSettings

_NOON_HOUR = 12


@dataclass(frozen=True)
class Night:
    """One night of recording, named by the date of its evening; moments carry their zone."""

    night: date
    starts: datetime
    ends: datetime

    @property
    def seconds(self) -> float:
        # A subtraction in one zone counts clock time; summer time may begin or end in the night.
        return self.ends.timestamp() - self.starts.timestamp()


def nights_of(settings) -> tuple[Night, ...]:
    """The nights from the first to the last date; empty where no date was given.

    Clock times before noon belong to the morning after the evening that names the night. Sunset and sunrise are those
    of an observer at sea level with a free horizon, upper limb and refraction counted, good to a minute or two.

    Raises
    ------
    InputError : the sun does not set or rise on a date of the schedule, or a night would end before it starts

    Source: [astral], which follows Meeus (1991), Astronomical Algorithms
    """
    if settings.first_night is None:
        return ()
    count = (settings.nights_until - settings.first_night).days + 1
    zone = zone_of(settings)
    return tuple(_night(settings.first_night + timedelta(days=each), settings, zone) for each in range(count))


def zone_of(settings) -> tzinfo:
    """The zone of clock times: as given, else whole hours by longitude (as the sun runs), else UTC."""
    if settings.timezone is not None:
        return ClockSettings(timezone=settings.timezone).zone
    return timezone(timedelta(hours=round((settings.longitude or 0.0) / 15.0)))


def _night(evening, settings, zone):
    starts, ends = (_moment(text, evening, settings, zone) for text in (settings.starts, settings.ends))
    if ends <= starts:
        raise InputError(
            f"the night of {evening} would end ({ends:%H:%M}) before it starts ({starts:%H:%M}); "
            "give a later `ends` or an earlier `starts`"
        )
    return Night(evening, starts, ends)


def _moment(text, evening, settings, zone):
    what, hour, minute, sign, minutes = MOMENT.fullmatch(text.strip().lower()).groups()
    if hour is not None:
        day = evening if int(hour) >= _NOON_HOUR else evening + timedelta(days=1)
        moment = datetime.combine(day, time(int(hour), int(minute)), zone)
    else:
        moment = _sun(what, evening, settings, zone)
    shift = timedelta(minutes=int(minutes or 0))
    return moment - shift if sign == "-" else moment + shift


def _sun(what, evening, settings, zone):
    from astral import Observer
    from astral.sun import sunrise, sunset

    observer = Observer(settings.latitude, settings.longitude)
    day = evening if what == "sunset" else evening + timedelta(days=1)
    try:
        return (sunset if what == "sunset" else sunrise)(observer, date=day, tzinfo=zone)
    except ValueError as error:
        raise InputError(
            f"at {settings.latitude:g}, {settings.longitude:g} the sun does not "
            f"{'set' if what == 'sunset' else 'rise'} "
            f"on {day}; give clock times for `starts` and `ends` (such as 22:00 and 03:00)"
        ) from error
