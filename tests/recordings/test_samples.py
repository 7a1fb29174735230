import os
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from classifier.errors import InputError, ParameterError
from classifier.recordings import blocks, checked, inspect


def read(recording, frames=64, channel=None):
    reading = blocks(recording, frames=frames, channel=channel)
    parts = list(reading)
    return np.concatenate(parts) if parts else np.empty((0, recording.channels)), reading


@pytest.mark.parametrize(
    ("subtype", "step"),
    [
        ("PCM_U8", 2**-7),
        ("PCM_16", 2**-15),
        ("PCM_24", 2**-23),
        ("PCM_32", 2**-23),
        ("FLOAT", 0),
        ("DOUBLE", 2**-24),
    ],
)
@pytest.mark.parametrize("damaged", [False, True], ids=["sound", "header without length"])
@pytest.mark.parametrize("channels", [1, 3])
def test_samples_are_those_written(tmp_path, subtype, step, damaged, channels):
    """Also through a broken header, where they are read as raw samples; float32 holds 24 bits."""
    written = np.random.default_rng(5).uniform(-0.9, 0.9, (1000, channels)).astype(np.float32)
    path = tmp_path / "a.wav"
    soundfile.write(path, written, 256_000, subtype=subtype)
    if damaged:
        data = bytearray(path.read_bytes())
        at = data.index(b"data")
        data[at + 4 : at + 8] = bytes(4)
        path.write_bytes(data)
    recording = inspect(path)
    assert recording.status == ("damaged" if damaged else "ok")
    got, reading = read(recording)
    assert got.dtype == np.float32
    assert np.abs(got - written).max() <= step
    assert (reading.frames_read, reading.replaced, reading.fault) == (1000, 0, None)
    assert checked(recording, reading) is recording


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_flac(tmp_path, made, subtype):
    path = tmp_path / "a.flac"
    soundfile.write(path, made.samples, 256_000, subtype=subtype)
    assert np.array_equal(read(inspect(path))[0], made.samples)


@pytest.mark.parametrize("frames", [1, 7, 999, 1000, 1001, 10**6])
def test_blocks_are_consecutive_and_of_their_own(made, write, frames):
    recording = inspect(write(made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes()))))
    parts = list(blocks(recording, frames=frames))
    assert [len(part) for part in parts[:-1]] == [frames] * (len(parts) - 1)
    assert np.array_equal(np.concatenate(parts), made.samples)


def test_one_channel(made, write):
    recording = inspect(write(made.wav(made.fmt(channels=2), made.chunk(b"data", made.noise.tobytes()))))
    for channel in (1, 2):
        got, reading = read(recording, channel=channel)
        assert np.array_equal(got, made.samples[channel - 1 :: 2])
        assert reading.frames_read == 500


def test_samples_that_are_no_number(made, write):
    samples = made.samples.astype("<f4").reshape(500, 2).copy()
    samples[3, 0], samples[99, 1], samples[400, 0] = np.nan, np.inf, -np.inf
    fmt = made.fmt(3, channels=2, bits=32)
    recording = inspect(write(made.wav(fmt, made.chunk(b"data", samples.tobytes()))))
    assert recording.status == "ok"
    got, reading = read(recording)
    assert np.array_equal(got, np.where(np.isfinite(samples), samples, 0))
    assert reading.replaced == 3
    after = checked(recording, reading)
    assert (after.status, after.frames) == ("damaged", 500)
    assert after.message == "3 samples were no number (NaN or infinite) and taken as 0."


def test_doubles_beyond_single_precision_are_counted_too(made, write):
    data = np.array([0.5, 1e300, -0.5], "<f8").tobytes()
    got, reading = read(inspect(write(made.wav(made.fmt(3, bits=64), made.chunk(b"data", data)))))
    assert got[:, 0].tolist() == [0.5, 0, -0.5]
    assert reading.replaced == 1


def test_data_behind_the_samples_are_not_read(made, write):
    metadata = made.chunk(b"guan", b"GUANO|Version: 1.0\nTE: 10")
    for length in (0, 2000, 9000):
        data = made.chunk(b"data", made.noise.tobytes(), length=length)
        recording = inspect(write(made.wav(made.fmt(rate=38_400), data, metadata)))
        assert np.array_equal(read(recording)[0], made.samples)


def test_wav_cut_between_looking_and_reading(made, write):
    path = write(made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes())))
    recording = inspect(path)
    os.truncate(path, 44 + 1200)
    got, reading = read(recording)
    assert np.array_equal(got, made.samples[:600])
    after = checked(recording, reading)
    assert (after.status, after.frames) == ("damaged", 600)
    assert after.message == "Only 0.00234375 of 0.00390625 s could be read."


def test_cut_flac_is_read_as_far_as_it_goes(tmp_path):
    noise = np.random.default_rng(1).integers(-9000, 9000, 100_000).astype(np.int16)
    path = tmp_path / "a.flac"
    soundfile.write(path, noise, 256_000, subtype="PCM_16")
    os.truncate(path, path.stat().st_size // 2)
    recording = inspect(path)
    got, reading = read(recording, frames=30_000)
    assert 40_000 < len(got) < 50_000
    assert np.array_equal(got[:, 0] * 32768, noise[: len(got)])
    after = checked(recording, reading)
    assert (after.status, after.frames) == ("damaged", len(got))
    assert "0.390625 s could be read: reading broke off" in after.message


def test_message_of_looking_is_kept(made, write):
    data = made.chunk(b"data", np.array([np.nan, 1], "<f4").tobytes(), length=0)
    recording = inspect(write(made.wav(made.fmt(3, bits=32), data)))
    after = checked(recording, read(recording)[1])
    assert after.message.startswith("Its header was never finished")
    assert after.message.endswith("1 sample was no number (NaN or infinite) and taken as 0.")


def test_memory_does_not_grow_with_length(tmp_path):
    path = tmp_path / "a.wav"
    with soundfile.SoundFile(path, "w", 256_000, 1, "PCM_16") as sound:
        for _ in range(40):
            sound.write(np.zeros(1 << 18, np.int16))
    recording = inspect(path)
    for one in (recording, replace(recording, status="damaged")):
        tracemalloc.start()
        try:
            for _ in blocks(one, frames=1 << 16):
                pass
            assert tracemalloc.get_traced_memory()[1] < 3 << 20  # the samples as float32 take 40 MiB
        finally:
            tracemalloc.stop()


@pytest.mark.parametrize("kind", ["BW64", "format chunk behind the samples"])
def test_sound_files_that_the_sound_library_refuses(made, write, kind):
    data = made.chunk(b"data", made.noise.tobytes())
    file = made.wav(made.fmt(), data, name=b"BW64") if kind == "BW64" else made.wav(data, made.fmt())
    recording = inspect(write(file))
    assert recording.status == "ok"
    with pytest.raises(soundfile.LibsndfileError):
        soundfile.info(recording.path)
    assert np.array_equal(read(recording)[0], made.samples)


def test_misuse(made, write, tmp_path):
    recording = inspect(write(made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes()))))
    with pytest.raises(ParameterError, match="frames must be at least 1"):
        blocks(recording, frames=0)
    with pytest.raises(ParameterError, match="channel must lie in 1 to 1, not 2"):
        blocks(recording, frames=10, channel=2)
    with pytest.raises(InputError, match=r"It is a text file"):
        blocks(inspect(write(b"no sound", "b.wav")), frames=10)
    recording.path.unlink()
    with pytest.raises(InputError, match="can no longer be opened"):
        list(blocks(recording, frames=10))


def test_closing_early_closes_the_file(made, write):
    recording = inspect(write(made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes(), length=0))))
    reading = blocks(recording, frames=10)
    next(reading)
    reading.close()
    assert reading.frames_read == 10
    with pytest.raises(StopIteration):
        next(reading)


def test_16_bit_samples_are_bit_for_bit_those_of_the_sound_library(tmp_path):
    path = tmp_path / "all.wav"
    whole = np.arange(-(2**15), 2**15, dtype=np.int16)
    soundfile.write(path, whole, 256_000, subtype="PCM_16")
    got, _ = read(inspect(path), frames=1000)
    expected, _ = soundfile.read(path, dtype="float32", always_2d=True)
    assert got.dtype == np.float32
    np.testing.assert_array_equal(got, expected)
