"""Simulated recordings as a recorder writes them: 16-bit WAV with a GUANO chunk, or FLAC."""

import io
import struct
from pathlib import Path

import numpy as np
import soundfile

from classifier.errors import ParameterError

_FULL_SCALE = 32767


def guano_text(fields):
    """Text of a GUANO chunk: version line, then ``Field: value`` in the order given; None values are left
    out.

    Source: GUANO Metadata Specification 1.0
    """
    lines = ["GUANO|Version: 1.0"]
    lines += [f"{name}: {value}" for name, value in fields.items() if value is not None]
    return "\n".join(lines) + "\n"


def wav_bytes(samples, sample_rate_hz, *, time_expansion=1, metadata=None):
    """A whole WAV file, PCM of 16 bits.

    Parameters
    ----------
    samples : float array, shape (n,) or (n, channels), full scale = 1; what lies beyond is clipped
    sample_rate_hz : true rate; the header states it divided by ``time_expansion``, which must leave a whole
        number
    time_expansion : how many times slower the file plays
    metadata : dict of GUANO fields, or None for a file without that chunk. With a time expansion the field
        TE is added

    Returns
    -------
    bytes

    Raises
    ------
    ParameterError : the header's rate would not be a whole number
    """
    header_rate = sample_rate_hz / time_expansion
    if header_rate != round(header_rate):
        raise ParameterError(
            f"sample_rate_hz {sample_rate_hz:g} divided by time_expansion {time_expansion:g} must be a whole number"
        )
    whole = np.round(np.clip(np.asarray(samples, dtype=float), -1.0, 1.0) * _FULL_SCALE).astype(np.int16)
    stream = io.BytesIO()
    soundfile.write(stream, whole, round(header_rate), format="WAV", subtype="PCM_16")
    data = stream.getvalue()
    if metadata is None:
        return data
    if time_expansion != 1:
        metadata = dict(metadata) | {"TE": f"{time_expansion:g}"}
    text = guano_text(metadata).encode()
    chunk = b"guan" + struct.pack("<I", len(text)) + text + b"\0" * (len(text) % 2)
    data += b"\0" * (len(data) % 2) + chunk
    return data[:4] + struct.pack("<I", len(data) - 8) + data[8:]


def write_recording(path, samples, sample_rate_hz, *, time_expansion=1, metadata=None, keep=1.0):
    """Write ``path`` (its folder is made): WAV, or FLAC (without metadata) if it ends so.

    ``keep`` less than 1 writes only that share of the file's bytes, as when a card is pulled in the middle.
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix.lower() == ".flac":
        whole = np.round(np.clip(np.asarray(samples, dtype=float), -1.0, 1.0) * _FULL_SCALE).astype(np.int16)
        soundfile.write(path, whole, round(sample_rate_hz / time_expansion), format="FLAC", subtype="PCM_16")
        data = path.read_bytes()
    else:
        data = wav_bytes(samples, sample_rate_hz, time_expansion=time_expansion, metadata=metadata)
    path.write_bytes(data[: max(1, int(len(data) * keep))])
