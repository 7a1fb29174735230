"""The keys that the project ships, each read once."""

import sys
from functools import cache
from pathlib import Path

import pytest

# Populations are drawn for several tests and for population_numbers.py, and imported by name.
sys.path.insert(0, str(Path(__file__).parent))

from classifier.key import compile_key, read_key

KEYS = Path(__file__).parents[2] / "keys"


@cache
def _reading(name):
    return read_key(KEYS / f"{name}.key")


@cache
def _compiled(name):
    return compile_key(_reading(name).key, _reading(name).meanings)


@pytest.fixture
def reading():
    """A function from a key's file name (without ending) to its KeyReading."""
    return _reading


@pytest.fixture
def compiled():
    """A function from a key's file name (without ending) to its CompiledKey."""
    return _compiled
