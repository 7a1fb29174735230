"""What recording costs in bytes: by file, by night, and how many nights a card holds."""

import math
from dataclasses import dataclass

from classifier.plan.settings import CONTINUOUS, TRIGGERED

#: Bytes of a plain WAV header; metadata that recorders add are small beside a file of seconds.
HEADER_BYTES = 44
_GB = 1e9


@dataclass(frozen=True)
class Space:
    """Card space of one way to record. Files, seconds and bytes are of the longest night; None where no night is
    known."""

    recording: str
    file_bytes: int
    files_a_night: int | None
    seconds_a_night: float | None
    bytes_a_night: float | None
    nights_a_card: int | None


def bytes_per_second(settings) -> float:
    """Uncompressed samples: rate, channels, and bits filled up to whole bytes."""
    return settings.sample_rate_khz * 1e3 * math.ceil(settings.bits / 8) * settings.channels


def file_bytes(settings) -> int:
    """Size of a file of the longest length."""
    return HEADER_BYTES + math.ceil(settings.longest_file_s * bytes_per_second(settings))


def pass_s(settings) -> float:
    """Seconds that one pass has recorded: while it triggers and as long as recording goes on."""
    return settings.pass_s + settings.goes_on_s


def space_of(settings, nights=()) -> tuple[Space, Space]:
    """Card space of triggered and of continuous recording.

    *Triggered*: every pass is taken to open files of its own, ``passes * ceil((pass + going on) / longest file)`` of
    them, and every file of noise to have the longest length. Passes that overlap share a file, so this errs to the
    side of too much; it is never more than continuous recording. *Continuous*: files of the longest length, one upon
    the other; not known without dates.

    nights : of the schedule; the longest one counts
    """
    night_s = max((each.seconds for each in nights), default=None)
    return _triggered(settings, night_s), _continuous(settings, night_s)


def _continuous(settings, night_s):
    if night_s is None:
        return Space(CONTINUOUS, file_bytes(settings), None, None, None, None)
    files = math.ceil(night_s / settings.longest_file_s)
    return _space(CONTINUOUS, settings, files, night_s)


def _triggered(settings, night_s):
    each = pass_s(settings)
    files = math.ceil(settings.passes_per_night * math.ceil(each / settings.longest_file_s) + settings.noise_files_per_night)
    seconds = settings.passes_per_night * each + settings.noise_files_per_night * settings.longest_file_s
    if night_s is not None and seconds > night_s:
        files, seconds = min(files, math.ceil(night_s / settings.longest_file_s)), night_s
    return _space(TRIGGERED, settings, files, seconds)


def _space(recording, settings, files, seconds):
    night = files * HEADER_BYTES + seconds * bytes_per_second(settings)
    nights = math.floor(settings.card_gb * _GB / night) if night else None
    return Space(recording, file_bytes(settings), files, seconds, night, nights)
