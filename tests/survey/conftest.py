"""Small surveys: a folder of recordings of known levels, and a measure function that counts its calls."""

import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

# Workers are processes of their own that inherit this path, and import the stubs by name.
sys.path.insert(0, str(Path(__file__).parent))

import stub_measures


@pytest.fixture
def stub():
    return stub_measures


@pytest.fixture
def settings(tmp_path):
    (tmp_path / "log").mkdir()
    return stub_measures.StubSettings(str(tmp_path / "log"))


@pytest.fixture
def record():
    """Write a WAV file of constant level."""

    def record(path, level=0.25, frames=2560, channels=1, rate=256_000):
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, np.full((frames, channels), level), rate, subtype="PCM_16")
        return path

    return record


@pytest.fixture
def calls(tmp_path, record):
    """Three good recordings and three bad ones in two sites."""
    root = tmp_path / "calls"
    record(root / "hedge" / "20260603_221500.wav", 0.25)
    record(root / "hedge" / "20260604_031500.wav", 0.125, frames=5120, channels=2)
    record(root / "pond" / "20260603_231500.flac", 0.5)
    (root / "pond" / "20260603_232000.wav").write_bytes(b"")
    (root / "pond" / "20260603_232500.wav").write_text("battery low\n")
    record(root / "pond" / "slow.wav", 0.25, rate=44_100)
    return root
