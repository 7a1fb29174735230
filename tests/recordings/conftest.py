"""WAV files put together byte by byte, so that every fault can be made on purpose."""

import struct
from types import SimpleNamespace

import numpy as np
import pytest

GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")


def chunk(name, body, length=None, pad=True):
    """One chunk; ``length`` may lie."""
    head = name + struct.pack("<I", len(body) if length is None else length)
    return head + body + (b"\0" if pad and len(body) % 2 else b"")


def fmt(code=1, channels=1, rate=256_000, bits=16, block=None, extensible=False):
    """A format chunk."""
    block = channels * ((bits + 7) // 8) if block is None else block
    body = struct.pack("<HHIIHH", 0xFFFE if extensible else code, channels, rate, rate * block, block, bits)
    if extensible:
        body += struct.pack("<HHIH", 22, bits, 0, code) + GUID_TAIL
    return chunk(b"fmt ", body)


def wav(*chunks, name=b"RIFF", length=None):
    """A file of form WAVE."""
    body = b"WAVE" + b"".join(chunks)
    return name + struct.pack("<I", len(body) if length is None else length) + body


@pytest.fixture(scope="session")
def made():
    """Builders of bytes, and 1000 frames of 16-bit noise with their values at full scale 1."""
    noise = np.random.default_rng(20260603).integers(-20_000, 20_000, 1000).astype("<i2")
    return SimpleNamespace(chunk=chunk, fmt=fmt, wav=wav, noise=noise, samples=noise.astype(np.float32)[:, None] / 32768)


@pytest.fixture
def write(tmp_path):
    """Write bytes under a name into the test's own folder; the path."""

    def write(data, name="a.wav"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        return path

    return write
