"""The keys that the project ships, read once."""

from functools import cache
from pathlib import Path

from classifier.key import compile_key, read_key

KEYS = Path(__file__).parents[2] / "keys"
NAMES = tuple(sorted(path.stem for path in KEYS.glob("*.key")))


@cache
def reading(name):
    return read_key(KEYS / f"{name}.key")


@cache
def compiled(name):
    return compile_key(reading(name).key, reading(name).meanings)
