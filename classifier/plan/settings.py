"""What a survey is planned with: the recorder's settings, the nights, the card and what is assumed.

One frozen ``Settings`` holds them all. Each field carries its meaning, unit and range, from which the settings
file, the options of ``callkey plan`` and docs/planning.md take their words.
"""

import dataclasses
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from classifier.errors import InputError, ParameterError
from classifier.plan.weather import Weather

TRIGGERED, CONTINUOUS = "triggered", "continuous"
OPEN, CONFINED = "open", "confined"
#: A moment of the schedule: an event or a clock time, and minutes before or after it.
MOMENT = re.compile(r"(sunset|sunrise|([01]?\d|2[0-3]):([0-5]\d))(?:\s*([+-])\s*(\d{1,4})\s*min)?")
_LONGEST_SEASON_NIGHTS = 366


def _setting(default, meaning, low=None, high=None, unit="", choices=()):
    return field(default=default, metadata={"meaning": meaning, "low": low, "high": high, "unit": unit, "choices": choices})


@dataclass(frozen=True)
class Settings:
    """Settings of a recorder and of the survey it is used for.

    Defaults are common practice without a source (trigger floor, shortest event, going on, longest file) or chosen;
    docs/planning.md says which. Levels are sound pressure levels at the microphone.

    Raises
    ------
    ParameterError : a value lies outside its range, or two of them contradict each other
    """

    sample_rate_khz: float = _setting(256.0, "sample rate", 8, 2000, "kHz")
    trigger_floor_khz: float = _setting(11.0, "lowest frequency that triggers", 0, 1000, "kHz")
    trigger_ceiling_khz: float | None = _setting(
        None, "highest frequency that triggers; half the sample rate if not given", 0.1, 1000, "kHz"
    )
    shortest_event_ms: float = _setting(3.0, "shortest sound that triggers", 0, 1000, "ms")
    level_threshold_db: float = _setting(12.0, "how far a sound must stand over the noise to trigger", 0, 100, "dB")
    noise_db: float = _setting(35.0, "noise of microphone, recorder and place in the band of a call", -20, 120, "dB")
    full_scale_db: float = _setting(120.0, "sound level that drives the recorder to full scale", 60, 180, "dB")
    goes_on_s: float = _setting(1.5, "how long recording goes on after a trigger", 0, 3600, "s")
    longest_file_s: float = _setting(10.0, "longest file", 0.1, 86_400, "s")
    bits: int = _setting(16, "bits of a sample", 8, 32)
    channels: int = _setting(1, "channels", 1, 64)
    recording: str = _setting(TRIGGERED, "how files come about: triggered or continuous", choices=(TRIGGERED, CONTINUOUS))
    card_gb: float = _setting(64.0, "room on the card, in 1000 million bytes", 0.001, 1e6, "GB")
    starts: str = _setting(
        "sunset - 30 min", "when recording starts in the evening: sunset, sunrise or a clock time, + or - minutes"
    )
    ends: str = _setting("sunrise + 30 min", "when it ends in the morning, written alike")
    latitude: float | None = _setting(None, "latitude of the site, south negative", -90, 90, "degrees")
    longitude: float | None = _setting(None, "longitude of the site, west negative", -180, 180, "degrees")
    timezone: str | None = _setting(
        None, "zone of clock times, such as Australia/Sydney or +10:00; whole hours by longitude if not given"
    )
    first_night: date | None = _setting(None, "date of the first evening")
    last_night: date | None = _setting(None, "date of the last evening; the first if not given")
    passes_per_night: float = _setting(100.0, "passes of bats that a night is taken to bring", 0, 1e6)
    pass_s: float = _setting(4.0, "how long a pass is taken to trigger", 0, 3600, "s")
    noise_files_per_night: float = _setting(
        200.0, "files of insects, rain and wind that a night is taken to bring, each of the longest length", 0, 1e6
    )
    surroundings: str = _setting(
        OPEN, "where the recorder stands: open, or confined (small caves, buildings)", choices=(OPEN, CONFINED)
    )
    temperature_c: float = _setting(Weather.temperature_c, "temperature of the air", -73, 60, "°C")
    humidity_percent: float = _setting(Weather.humidity_percent, "relative humidity", 0, 100, "%")
    pressure_kpa: float = _setting(Weather.pressure_kpa, "air pressure", 30, 200, "kPa")
    source_level_db: Mapping[str, float] = field(default_factory=dict, metadata={"meaning": "source levels by taxon"})

    def __post_init__(self):
        for each in dataclasses.fields(self):
            _check(each, getattr(self, each.name))
        for name, level in self.source_level_db.items():
            if not _is_number(level) or not 0 <= level <= 160:
                raise ParameterError(f"`source_level_db` of {name} must be a number from 0 to 160 dB, not {level!r}")
        self._check_together()

    def _check_together(self):
        ceiling = self.trigger_ceiling_khz
        if ceiling is not None and ceiling > self.nyquist_khz:
            raise ParameterError(
                f"`trigger_ceiling_khz` ({ceiling:g} kHz) lies above half the sample rate "
                f"({self.nyquist_khz:g} kHz), where nothing is recorded; lower it or raise `sample_rate_khz`"
            )
        if self.trigger_floor_khz >= self.ceiling_khz:
            raise ParameterError(
                f"`trigger_floor_khz` ({self.trigger_floor_khz:g} kHz) lies at or above the highest frequency that can "
                f"trigger ({self.ceiling_khz:g} kHz); lower the floor"
            )
        if (self.latitude is None) != (self.longitude is None):
            have, lack = ("latitude", "longitude") if self.longitude is None else ("longitude", "latitude")
            raise ParameterError(f"the site has a {have} and no {lack}; give both")
        if self.last_night is not None and self.first_night is None:
            raise ParameterError("`last_night` is given without `first_night`; give both")
        if self.first_night is not None:
            nights = (self.nights_until - self.first_night).days + 1
            if nights < 1:
                raise ParameterError(
                    f"`last_night` ({self.last_night}) comes before `first_night` ({self.first_night}); exchange them"
                )
            if nights > _LONGEST_SEASON_NIGHTS:
                raise ParameterError(
                    f"from {self.first_night} to {self.last_night} are {nights} nights; plan at most "
                    f"{_LONGEST_SEASON_NIGHTS} at a time"
                )
            if self.needs_sun and self.latitude is None:
                raise ParameterError(
                    "the schedule follows the sun, and the site is not known: give `latitude` and `longitude`, or "
                    "clock times for `starts` and `ends` (such as 18:30 and 06:30)"
                )

    @property
    def nyquist_khz(self) -> float:
        """Half the sample rate: the highest frequency that is recorded."""
        return self.sample_rate_khz / 2

    @property
    def ceiling_khz(self) -> float:
        """The highest frequency that triggers."""
        return self.nyquist_khz if self.trigger_ceiling_khz is None else self.trigger_ceiling_khz

    @property
    def nights_until(self) -> date | None:
        """The last evening, which is the first where no other was given."""
        return self.last_night or self.first_night

    @property
    def needs_sun(self) -> bool:
        """Whether the schedule speaks of sunset or sunrise."""
        return any(text.strip().lower().startswith("sun") for text in (self.starts, self.ends))

    @property
    def weather(self) -> Weather:
        return Weather(self.temperature_c, self.humidity_percent, self.pressure_kpa)


#: Every setting that is one value, by name (source levels come from a file alone).
SETTINGS = {each.name: each for each in dataclasses.fields(Settings) if each.name != "source_level_db"}


def read_settings(path: Path) -> dict:
    """Values by the names of ``Settings`` from a settings file in TOML; not yet held against their ranges.

    Raises
    ------
    InputError : the file cannot be read, is no TOML, or names a setting that does not exist
    """
    from classifier.key.messages import did_you_mean

    try:
        text = Path(path).read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: is no text in UTF-8; write the settings in a plain text file") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); name a settings file that exists") from error
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: is not written as TOML: {error}; a setting is a line such as sample_rate_khz = 256") from error
    for name in values:
        if name not in SETTINGS and name != "source_level_db":
            near = did_you_mean(name, [*SETTINGS, "source_level_db"])
            line = next((n for n, each in enumerate(text.split("\n"), 1) if each.lstrip().strip("[ ").startswith(name)), 1)
            raise InputError(f"{path}:{line}: there is no setting `{name}`; {near or '`callkey plan --help` lists them all'}")
    if not isinstance(values.get("source_level_db", {}), dict):
        raise InputError(
            f'{path}: `source_level_db` is a table by taxon: [source_level_db] and lines such as "Examplia vespera" = 115'
        )
    return values


def _is_number(value):
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _check(entry, value):
    """Raise ParameterError where a value does not fit its field."""
    name, about = entry.name, entry.metadata
    if value is None and entry.default is None or name == "source_level_db":
        return
    if name in ("first_night", "last_night"):
        if not isinstance(value, date) or isinstance(value, datetime):
            raise ParameterError(f"`{name}` must be a date such as 2025-11-03, not {value!r}")
    elif name in ("starts", "ends"):
        if not isinstance(value, str) or MOMENT.fullmatch(value.strip().lower()) is None:
            raise ParameterError(f"`{name}` must be written as in 'sunset - 30 min', 'sunrise' or '18:30', not {value!r}")
    elif about["choices"]:
        if value not in about["choices"]:
            raise ParameterError(f"`{name}` must be {' or '.join(about['choices'])}, not {value!r}")
    elif name == "timezone":
        if not isinstance(value, str):
            raise ParameterError(f"`timezone` must be a text such as 'Australia/Sydney', not {value!r}")
        from classifier.recordings.clock import ClockSettings

        ClockSettings(timezone=value)
    else:
        whole = name in ("bits", "channels")
        unit = f" {about['unit']}" if about["unit"] else ""
        if not _is_number(value) or whole and value != int(value) or not about["low"] <= value <= about["high"]:
            kind = "a whole number" if whole else "a number"
            raise ParameterError(f"`{name}` must be {kind} from {about['low']:g} to {about['high']:g}{unit}, not {value!r}")
