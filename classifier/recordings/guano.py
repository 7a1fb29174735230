"""GUANO metadata: the open text chunk (``guan``) in which bat recorders note when, where and with what.

Lines ``Field: value`` in UTF-8, the first being ``GUANO|Version: 1.0``; a field of a maker's own carries a
prefix (``Maker|Field``). Source: GUANO Metadata Specification 1.0. Fields that hold somebody's identification
of the bat are passed over on purpose: labels come from the key alone.
"""

import math
import re
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Guano:
    """The fields that are used here; None where a field is absent.

    ``timestamp`` is aware only if the text gave a UTC offset or Z. ``latitude`` and ``longitude`` are degrees
    (WGS84), ``elevation_m`` metres, ``sample_rate_hz`` the rate at which the sound was sampled in the field,
    ``time_expansion`` how many times slower the file plays. ``unreadable`` names the fields whose value made
    no sense.
    """

    version: str
    timestamp: datetime | None = None
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    sample_rate_hz: float | None = None
    time_expansion: float | None = None
    make: str | None = None
    model: str | None = None
    serial: str | None = None
    site: str | None = None
    note: str | None = None
    unreadable: tuple[str, ...] = ()

    @property
    def recorder(self):
        """Make, model and serial number as one text; None where all are absent."""
        return " ".join(part for part in (self.make, self.model, self.serial) if part) or None


def read_guano(data):
    """Read the bytes of a ``guan`` chunk.

    Parameters
    ----------
    data : bytes; a byte order mark, padding by zero bytes and either kind of line end are accepted, and so is
        a text that was cut off

    Returns
    -------
    Guano, or None where no line gives ``GUANO|Version``. Never raises for bad text: a field that cannot be
    read is None and is named in ``unreadable``.
    """
    text = data.decode("utf-8-sig", errors="replace").replace("\0", "")
    fields = {}
    for line in re.split("\r\n|\r|\n", text):
        name, colon, value = line.partition(":")
        if colon:
            fields.setdefault(name.strip(), value.strip())
    version = fields.get("GUANO|Version")
    if version is None:
        return None
    unreadable = []

    def read(name, convert):
        value = fields.get(name, "")
        if not value:
            return None
        try:
            return convert(value)
        except ValueError:
            unreadable.append(name)
            return None

    latitude, longitude = read("Loc Position", _position) or (None, None)
    return Guano(
        version=version,
        timestamp=read("Timestamp", _timestamp),
        latitude=latitude,
        longitude=longitude,
        elevation_m=read("Loc Elevation", _number),
        sample_rate_hz=read("Samplerate", _positive),
        time_expansion=read("TE", _positive),
        make=fields.get("Make") or None,
        model=fields.get("Model") or None,
        serial=fields.get("Serial") or None,
        site=fields.get("Site") or None,
        note=fields.get("Note", "").replace("\\n", "\n") or None,
        unreadable=tuple(unreadable),
    )


def _timestamp(value):
    """ISO 8601 date and time; a date alone is no start."""
    value = re.sub(r"\s+(?=[+-]\d|Z$)", "", value.upper())
    if not re.search(r"\d[T ]\d", value):
        raise ValueError(value)
    return datetime.fromisoformat(value)


def _position(value):
    """Latitude and longitude in degrees, parted by blanks or a comma."""
    latitude, longitude = (_number(part) for part in re.split(r"[\s,]+", value.strip("() ")))
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise ValueError(value)
    return latitude, longitude


def _number(value):
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(value)
    return number


def _positive(value):
    number = _number(value)
    if number <= 0:
        raise ValueError(value)
    return number
