"""Look at one file and say what it is: what can be read of it, when and where it was recorded, and what ails
it."""

import math
import os
import re
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import soundfile

from classifier.errors import ParameterError
from classifier.recordings.clock import DEFAULT_NAME_PATTERN, ClockSettings, night_of, start_time
from classifier.recordings.flac import guano_chunk
from classifier.recordings.guano import read_guano
from classifier.recordings.riff import Layout, read_layout

#: True sample rates that are taken: below, the calls of most bats lie above the Nyquist frequency (chosen).
LOWEST_RATE_HZ = 96_000
HIGHEST_RATE_HZ = 1_000_000

_EMPTY = "The file is empty (0 bytes): nothing was recorded or copied. Copy it again from the card if it is longer there."
_NO_OFFSET = "its time has no UTC offset and was taken as UTC (give --timezone if the recorder's clock ran on local time)"


@dataclass(frozen=True)
class Recording:
    """One file, as far as it can be known without reading its samples.

    ``bytes`` is the file's size; ``sample_rate_hz`` the rate in its header; ``time_expansion`` how many times
    slower it plays than it happened; ``frames`` how many samples each of its ``channels`` has. ``starts_at``
    is aware (None: unknown); where ``offset_known`` is False its UTC offset had to be assumed. ``latitude``
    and ``longitude`` are degrees (WGS84). ``status`` is one of

    - "ok": everything is there
    - "damaged": something is wrong; what can be read is in ``frames``, which may be 0
    - "unsupported": a sound file, or no sound file, that cannot be used as it is
    - "empty": there is not one sample

    and ``message`` says in whole sentences what is wrong and what to do about it (None: nothing to say).
    ``container``, ``subtype`` and ``data_offset`` (bytes) tell ``blocks`` how to read it.
    """

    path: Path
    bytes: int = 0
    sample_rate_hz: float = 0
    time_expansion: float = 1.0
    channels: int = 0
    frames: int = 0
    starts_at: datetime | None = None
    offset_known: bool = True
    site: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    recorder: str | None = None
    note: str | None = None
    status: str = "ok"
    message: str | None = None
    container: str | None = None
    subtype: str | None = None
    data_offset: int = 0

    @property
    def true_sample_rate_hz(self) -> float:
        """Samples a second as it happened, time expansion undone."""
        return self.sample_rate_hz * self.time_expansion

    @property
    def seconds(self) -> float:
        """Length as it happened."""
        return self.frames / self.true_sample_rate_hz if self.sample_rate_hz else 0.0

    @property
    def night(self) -> date | None:
        """Night it belongs to, noon to noon in its own time."""
        return night_of(self.starts_at)

    @property
    def readable(self) -> bool:
        """Whether ``blocks`` yields at least one sample."""
        return self.status in ("ok", "damaged") and self.frames > 0


def inspect(path, *, site=None, time_expansion=None, timezone=None, name_pattern=DEFAULT_NAME_PATTERN):
    """Look at a file without reading its samples.

    Parameters
    ----------
    path : path of a file, whatever it holds
    site : str or None; None takes the site from the metadata, else the name of the folder (the nearest one
        that is more than a date)
    time_expansion : float >= 1 or None; None takes it from the metadata, else 1. A number given here goes
        first.
    timezone, name_pattern : see ``ClockSettings``

    Returns
    -------
    Recording. A bad file never raises: its ``status`` and ``message`` tell.
    Raises
    ------
    ParameterError : an option is outside what is stated above
    """
    clock = ClockSettings(timezone, name_pattern)
    if time_expansion is not None and not (math.isfinite(time_expansion) and time_expansion >= 1):
        raise ParameterError(f"time expansion must be at least 1 (1: real time), not {time_expansion}")
    path = Path(path)
    found = _with_start(Recording(path, site=site or _site_of(path)), None, clock)
    try:
        size = path.stat().st_size
        if size == 0:
            return replace(found, status="empty", message=_EMPTY)
        found = replace(found, bytes=size)
        with open(path, "rb") as file:
            head = file.read(1024)
            is_flac = head[:4] == b"fLaC"
            layout = _flac_layout(path, file) if is_flac else read_layout(file, size)
    except OSError as error:
        text = f"It cannot be read ({error.strerror or error}): check the card, the copy and the permissions."
        return replace(found, status="damaged", message=text)
    if layout is None:
        kind = "is a text file" if _is_text(head) else "is neither a WAV nor a FLAC file"
        text = f"It {kind}, whatever its name: leave it out, or save it as WAV or FLAC."
        return replace(found, status="unsupported", message=text)
    found = replace(
        found,
        container="FLAC" if is_flac else "WAV",
        subtype=layout.subtype,
        channels=layout.channels,
        sample_rate_hz=layout.sample_rate_hz,
        frames=layout.frames,
        data_offset=layout.data_offset,
    )
    guano = read_guano(layout.guano) if layout.guano else None
    if guano:
        found = replace(
            found,
            latitude=guano.latitude,
            longitude=guano.longitude,
            recorder=guano.recorder,
            note=guano.note,
            site=site or guano.site or found.site,
        )
        found = _with_start(found, guano.timestamp, clock)
    expansion = time_expansion or _expansion_in(guano, found.sample_rate_hz)
    return _judged(replace(found, time_expansion=float(expansion)), layout, guano)


def _flac_layout(path, file):
    """Layout of a FLAC file; the sound library finds the samples itself."""
    guano = guano_chunk(file)
    try:
        with soundfile.SoundFile(str(path)) as sound:
            return Layout(sound.subtype, sound.samplerate, sound.channels, frames=sound.frames, guano=guano)
    except soundfile.LibsndfileError as error:
        reason = error.error_string.strip(" .")
        return Layout(guano=guano, faults=(f"it cannot be read as FLAC ({reason}); decode it to WAV",))


def _judged(recording, layout, guano):
    """The recording with its status and message."""
    rate, true_rate = recording.sample_rate_hz, recording.true_sample_rate_hz
    if layout.unsupported:
        return replace(recording, status="unsupported", message=_sentences([layout.unsupported]))
    if rate and not LOWEST_RATE_HZ <= true_rate <= HIGHEST_RATE_HZ:
        text = _rate_sentence(rate, recording.time_expansion)
        return replace(recording, status="unsupported", message=text)
    faults = list(layout.faults)
    if layout.length_fault and (recording.frames or layout.declared_frames):
        faults.insert(0, _length_sentence(layout, recording))
    status = "damaged" if faults else "ok"
    if not recording.frames:
        if faults:
            faults.append("nothing of it could be read: copy it again from the card if it is whole there")
        else:
            status, faults = "empty", ["it holds no samples, only a header"]
    if guano:
        faults += [f"its metadata field '{name}' makes no sense and was passed over" for name in guano.unreadable]
        if recording.time_expansion == 1 and _contradicts(guano.sample_rate_hz, rate):
            faults.append(
                f"its metadata tell of {guano.sample_rate_hz / 1000:g} kHz but its header of "
                f"{rate / 1000:g} kHz, which was taken (if it plays slower than it happened, give "
                "--time-expansion)"
            )
    if not recording.offset_known:
        faults.append(_NO_OFFSET)
    return replace(recording, status=status, message=_sentences(faults))


def _length_sentence(layout, recording):
    """What is wrong with the length that the header gives, in seconds of real time."""
    there = f"{recording.seconds:.6g} s"
    declared = f"{layout.declared_frames / recording.true_sample_rate_hz:.6g} s"
    if layout.length_fault == "unwritten":
        return f"its header was never finished (it gives no length): the {there} that follow were read"
    if layout.length_fault == "longer":
        if not recording.frames:
            return f"its header promises {declared} of samples but none follow"
        return f"its header promises {declared} of samples but only {there} are there: these were read"
    return (
        f"its header gives {declared} of samples but {there} are there: all were read "
        "(those beyond the header's length may be left over from an older file)"
    )


def _rate_sentence(rate, expansion):
    """Why a sample rate is out of range, and the remedy."""
    if rate * expansion < LOWEST_RATE_HZ:
        spread = f" (×{expansion:g} time expansion undone)" if expansion != 1 else ""
        return (
            f"Its sample rate of {rate * expansion / 1000:g} kHz{spread} is too low for bat calls: nothing "
            f"above {rate * expansion / 2000:g} kHz is in the file, and at least "
            f"{LOWEST_RATE_HZ // 1000} kHz are needed. If it is time-expanded and its metadata do not say "
            "so, give the factor, as in --time-expansion 10; else record at a higher rate."
        )
    return (
        f"Its true sample rate would be {rate * expansion / 1000:g} kHz ({rate / 1000:g} kHz × time "
        f"expansion {expansion:g}), beyond {HIGHEST_RATE_HZ // 1000} kHz: give the right factor with "
        "--time-expansion (1 if it plays in real time)."
    )


def _expansion_in(guano, rate):
    """Time expansion as the metadata tell it: the factor itself, else from the rate in the field; 1 if
    neither."""
    if guano is None:
        return 1.0
    if guano.time_expansion is not None:
        return max(guano.time_expansion, 1.0)
    factor = (guano.sample_rate_hz or 0) / rate if rate else 0
    return round(factor) if factor > 1.5 and abs(factor - round(factor)) < 0.01 else 1.0


def _contradicts(stated_hz, rate):
    return bool(stated_hz and rate) and abs(stated_hz / rate - 1) > 0.01


def _with_start(recording, timestamp, clock):
    """The recording with its start from the metadata's time, else from its name."""
    start = start_time(recording.path.stem, timestamp, clock)
    if start is None:
        return recording
    return replace(recording, starts_at=start.moment, offset_known=start.offset_known)


def _site_of(path):
    """Name of the nearest folder above that is more than a date; None at the top of a disk."""
    for folder in Path(os.path.abspath(path)).parents:
        if folder.name and not re.fullmatch(r"(19|20)\d\d([-_. ]?\d\d){1,2}", folder.name):
            return folder.name
    return None


def _is_text(head):
    """Whether a file's first bytes are readable text."""
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 4:
            return False
        text = head[: error.start].decode("utf-8")
    return all(letter.isprintable() or letter in "\r\n\t" for letter in text)


def _sentences(parts):
    """One text from clauses: each with a capital and a full stop; None for none."""
    return " ".join(part[0].upper() + part[1:].rstrip(".") + "." for part in parts) or None
