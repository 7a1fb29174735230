"""Files as recorders write them, read back with other people's readers and by hand."""

import io
import struct
import wave

import numpy as np
import pytest
import soundfile

from classifier.errors import ParameterError
from classifier.simulate import wav_bytes, write_recording

SAMPLES = np.sin(np.arange(5001) * 0.3) * 0.5


def chunks(data):
    """Chunk name -> content, read by hand after the RIFF rules: even padding, sizes without it."""
    assert data[:4] == b"RIFF"
    assert data[8:12] == b"WAVE"
    assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
    found, place = {}, 12
    while place < len(data):
        size = struct.unpack("<I", data[place + 4 : place + 8])[0]
        found[data[place : place + 4]] = data[place + 8 : place + 8 + size]
        place += 8 + size + size % 2
    assert place == len(data)
    return found


def test_samples_and_rate_come_back():
    data = wav_bytes(SAMPLES, 384000, metadata={"Make": "Invented"})
    got, rate = soundfile.read(io.BytesIO(data))
    assert rate == 384000
    np.testing.assert_allclose(got, SAMPLES, atol=1 / 32767)
    with wave.open(io.BytesIO(data)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getnframes()) == (1, 2, 5001)


def test_guano_chunk_after_the_specification():
    """GUANO 1.0: UTF-8 text in a chunk 'guan', the first line being the version."""
    fields = {
        "Timestamp": "2026-08-14T21:02:10+01:00",
        "Loc Position": "51.0 -2.0",
        "Note": "Fünf Fledermäuse",
        "Site": None,
    }
    text = chunks(wav_bytes(SAMPLES, 256000, metadata=fields))[b"guan"].decode()
    assert text.splitlines() == [
        "GUANO|Version: 1.0",
        "Timestamp: 2026-08-14T21:02:10+01:00",
        "Loc Position: 51.0 -2.0",
        "Note: Fünf Fledermäuse",
    ]


@pytest.mark.parametrize("note", ["odd", "even"])
def test_chunks_are_padded_to_even_lengths(note):
    assert set(chunks(wav_bytes(SAMPLES, 256000, metadata={"Note": note}))) == {b"fmt ", b"data", b"guan"}


def test_without_metadata_there_is_no_such_chunk():
    assert b"guan" not in chunks(wav_bytes(SAMPLES, 256000))


def test_time_expansion_is_stated_and_slows_the_header():
    data = wav_bytes(SAMPLES, 384000, time_expansion=10, metadata={})
    assert soundfile.info(io.BytesIO(data)).samplerate == 38400
    assert "TE: 10" in chunks(data)[b"guan"].decode()


def test_time_expansion_that_leaves_no_whole_rate_is_refused():
    with pytest.raises(ParameterError, match="whole number"):
        wav_bytes(SAMPLES, 256001, time_expansion=10)


def test_loud_samples_clip_and_do_not_wrap():
    got, _ = soundfile.read(io.BytesIO(wav_bytes(np.array([2.0, -2.0, 0.0]), 96000)), dtype="int16")
    assert got.tolist() == [32767, -32767, 0]


def test_flac_and_cut_files(tmp_path):
    write_recording(tmp_path / "deep" / "a.flac", SAMPLES, 192000)
    np.testing.assert_allclose(soundfile.read(tmp_path / "deep" / "a.flac")[0], SAMPLES, atol=1 / 32767)
    write_recording(tmp_path / "b.wav", SAMPLES, 192000, keep=0.5)
    whole = wav_bytes(SAMPLES, 192000)
    assert (tmp_path / "b.wav").read_bytes() == whole[: len(whole) // 2]
