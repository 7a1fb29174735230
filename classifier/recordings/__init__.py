"""Files in: find recordings, look at them, read their samples in blocks. Originals are never written to."""

from classifier.recordings.clock import DEFAULT_NAME_PATTERN, ClockSettings, night_of
from classifier.recordings.files import Found, find, search
from classifier.recordings.guano import Guano, read_guano
from classifier.recordings.inspection import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, Recording, inspect
from classifier.recordings.samples import Blocks, blocks, checked

__all__ = [
    "DEFAULT_NAME_PATTERN",
    "HIGHEST_RATE_HZ",
    "LOWEST_RATE_HZ",
    "Blocks",
    "ClockSettings",
    "Found",
    "Guano",
    "Recording",
    "blocks",
    "checked",
    "find",
    "inspect",
    "night_of",
    "read_guano",
    "search",
]
