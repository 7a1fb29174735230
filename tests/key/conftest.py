"""Lets the tests of the key language share keymaking.py and hand out one seeded generator."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def rng():
    """Random numbers, the same in every run."""
    return np.random.default_rng(20240)


@pytest.fixture(scope="session")
def wetlands_text():
    """A valid key in which every statement of the language stands."""
    return (Path(__file__).parent / "wetlands.key").read_text(encoding="utf-8")
