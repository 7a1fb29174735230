"""Callers and settings that tests of planning share."""

from functools import cache
from pathlib import Path

import pytest

from classifier.key import read_key
from classifier.plan import Settings
from classifier.plan.callers import LOUD, Caller
from classifier.plan.planning import plan_survey

KEYS = Path(__file__).parents[2] / "keys"


@cache
def _key(name):
    return read_key(KEYS / f"{name}.key").key


@cache
def _plan(name, pairs):
    return plan_survey(_key(name), Settings(**dict(pairs)))


@pytest.fixture(scope="session")
def shipped():
    """A function from a shipped key's name to its Key."""
    return _key


@pytest.fixture(scope="session")
def planned():
    """A function from a shipped key's name and settings to its Plan."""
    return lambda name, **settings: _plan(name, tuple(sorted(settings.items())))


@pytest.fixture(scope="session")
def caller():
    """A function from declared ranges to a Caller."""
    return lambda **ranges: Caller("Examplia vespera", "dusk bat", ranges, LOUD, False, False)
