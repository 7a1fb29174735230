from datetime import date

import numpy as np
import pytest
import soundfile

from classifier.errors import ParameterError
from classifier.recordings import blocks, checked, inspect


def guano(made, *lines):
    return made.chunk(b"guan", "\n".join(("GUANO|Version: 1.0", *lines)).encode())


@pytest.fixture
def recorded(made, write):
    """Write a sound file of 1000 frames with the given rate and GUANO lines; the path."""

    def recorded(*lines, rate=256_000, name="a.wav"):
        metadata = guano(made, *lines) if lines else b""
        return write(made.wav(made.fmt(rate=rate), made.chunk(b"data", made.noise.tobytes()), metadata), name)

    return recorded


def test_everything_from_the_metadata(recorded):
    path = recorded(
        "Timestamp: 2026-06-04T00:30:00+01:00",
        "Loc Position: 52.6 -1.4",
        "Make: Lantern",
        "Model: Moth Post",
        "Note: hedge",
        name="Ash Lane/20200101_000000.wav",
    )
    recording = inspect(path)
    assert (recording.status, recording.message) == ("ok", None)
    assert (recording.bytes, recording.frames, recording.channels) == (path.stat().st_size, 1000, 1)
    assert recording.starts_at.isoformat() == "2026-06-04T00:30:00+01:00"
    assert recording.night == date(2026, 6, 3)
    assert (recording.latitude, recording.longitude) == (52.6, -1.4)
    assert (recording.site, recording.recorder, recording.note) == ("Ash Lane", "Lantern Moth Post", "hedge")
    assert recording.seconds == pytest.approx(1000 / 256_000)
    assert recording.readable


def test_name_and_folder_where_there_are_no_metadata(recorded):
    recording = inspect(recorded(name="Ash Lane/2026-06-03/POST_20260603_221504.wav"), timezone="Europe/London")
    assert recording.starts_at.isoformat() == "2026-06-03T22:15:04+01:00"
    assert recording.site == "Ash Lane"
    assert recording.message is None


def test_site_as_an_option_goes_first(recorded):
    path = recorded("Site: Old Quarry", name="card/a.wav")
    assert inspect(path).site == "Old Quarry"
    assert inspect(path, site="Ash Lane").site == "Ash Lane"


def test_unknown_offset_is_said(recorded):
    recording = inspect(recorded(name="20260603_221504.wav"))
    assert recording.starts_at.isoformat() == "2026-06-03T22:15:04+00:00"
    assert not recording.offset_known
    assert recording.status == "ok"
    assert recording.message == (
        "Its time has no UTC offset and was taken as UTC (give --timezone if the recorder's clock ran on local time)."
    )


@pytest.mark.parametrize(
    ("rate", "lines", "option", "expansion", "true_rate"),
    [
        (256_000, (), None, 1, 256_000),
        (44_100, ("TE: 10",), None, 10, 441_000),
        (25_600, (), 10, 10, 256_000),
        (25_600, ("TE: 8",), 10, 10, 256_000),
        (38_400, ("Samplerate: 384000",), None, 10, 384_000),
        (384_000, ("Samplerate: 384000", "TE: 1"), None, 1, 384_000),
        (30_000, ("TE: 16", "Samplerate: 480000"), None, 16, 480_000),
        (96_000, (), None, 1, 96_000),
        (1_000_000, (), None, 1, 1_000_000),
    ],
)
def test_time_expansion(recorded, rate, lines, option, expansion, true_rate):
    recording = inspect(recorded(*lines, rate=rate), time_expansion=option)
    assert recording.status == "ok"
    assert recording.time_expansion == expansion
    assert recording.true_sample_rate_hz == true_rate
    assert recording.seconds == pytest.approx(1000 / true_rate)


def test_rates_that_contradict_each_other_are_said(recorded):
    recording = inspect(recorded("Samplerate: 500000"))
    assert (recording.status, recording.true_sample_rate_hz) == ("ok", 256_000)
    assert "metadata tell of 500 kHz but its header of 256 kHz, which was taken" in recording.message


def test_too_low_a_rate(recorded):
    recording = inspect(recorded(rate=44_100))
    assert recording.status == "unsupported"
    assert not recording.readable
    assert recording.message == (
        "Its sample rate of 44.1 kHz is too low for bat calls: nothing above 22.05 kHz is in the file, "
        "and at least 96 kHz are needed. If it is time-expanded and its metadata do not say so, "
        "give the factor, as in --time-expansion 10; else record at a higher rate."
    )


def test_too_high_a_rate(recorded):
    recording = inspect(recorded("TE: 10", rate=384_000))
    assert recording.status == "unsupported"
    assert "would be 3840 kHz (384 kHz × time expansion 10), beyond 1000 kHz" in recording.message


def test_empty_files(made, write):
    recording = inspect(write(b"", "20260603_221504.wav"), timezone="UTC")
    assert (recording.status, recording.bytes, recording.night) == ("empty", 0, date(2026, 6, 3))
    assert recording.message.startswith("The file is empty (0 bytes)")
    for length in (0, 0xFFFFFFFF):
        recording = inspect(write(made.wav(made.fmt(), made.chunk(b"data", b"", length=length))))
        assert (recording.status, recording.message) == ("empty", "It holds no samples, only a header.")
        assert not recording.readable


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"hedge, 3 June\nno bats", "is a text file"),
        ("Bärenklau\n".encode() * 300, "is a text file"),
        (bytes(range(256)), "is neither a WAV nor a FLAC file"),
        (bytes(5000), "is neither a WAV nor a FLAC file"),
    ],
)
def test_other_files(write, data, kind):
    recording = inspect(write(data))
    assert recording.status == "unsupported"
    assert recording.message == f"It {kind}, whatever its name: leave it out, or save it as WAV or FLAC."


@pytest.mark.parametrize(
    ("length", "message"),
    [
        (0, "Its header was never finished (it gives no length): the 0.00390625 s that follow were read."),
        (5120, "Its header promises 0.01 s of samples but only 0.00390625 s are there: these were read."),
        (
            512,
            "Its header gives 0.001 s of samples but 0.00390625 s are there: all were read (those beyond the "
            "header's length may be left over from an older file).",
        ),
    ],
)
def test_lying_headers(made, write, length, message):
    data = made.chunk(b"data", made.noise.tobytes(), length=length)
    recording = inspect(write(made.wav(made.fmt(), data)))
    assert (recording.status, recording.frames, recording.message) == ("damaged", 1000, message)
    assert recording.readable


def test_lengths_in_messages_are_real_time(made, write):
    data = made.chunk(b"data", made.noise.tobytes(), length=5120)
    recording = inspect(write(made.wav(made.fmt(rate=25_600), data, guano(made, "TE: 10"))))
    assert "promises 0.01 s of samples but only 0.00390625 s" in recording.message


def test_cut_before_the_first_sample(made, write):
    for data in (
        made.wav(made.fmt(), made.chunk(b"data", b"", length=256_000)),
        made.wav(made.fmt()),
        made.wav()[:12],
        b"RIFF",
    ):
        recording = inspect(write(data))
        assert recording.status == "damaged"
        assert not recording.readable
        assert "copy it again from the card" in recording.message


def test_senseless_metadata_are_said_and_do_no_harm(recorded):
    recording = inspect(recorded("Timestamp: dusk", "Loc Position: here", name="20260603_221504.wav"), timezone="UTC")
    assert recording.status == "ok"
    assert recording.starts_at.isoformat() == "2026-06-03T22:15:04+00:00"
    assert recording.latitude is None
    for name in ("Timestamp", "Loc Position"):
        assert f"Its metadata field '{name}' makes no sense and was passed over." in recording.message


def test_unsupported_coding(made, write):
    recording = inspect(write(made.wav(made.fmt(code=2, bits=4, block=256), made.chunk(b"data", bytes(512)))))
    assert recording.status == "unsupported"
    assert recording.message == "Its samples are coded as ADPCM 4 bits: save it as PCM or float WAV."


def test_files_that_cannot_be_read(tmp_path):
    for path in (tmp_path, tmp_path / "gone.wav"):
        recording = inspect(path)
        assert recording.status == "damaged"
        assert "cannot be read" in recording.message
        assert "check the card" in recording.message


def flac_with(tmp_path, *chunks):
    """A FLAC file with RIFF chunks as foreign metadata, each in an APPLICATION block (RFC 9639, section
    8.4)."""
    path = tmp_path / "a.flac"
    soundfile.write(path, np.zeros((500, 2)), 384_000, subtype="PCM_24")
    data = path.read_bytes()
    blocks = b"".join(b"\x02" + (len(one) + 4).to_bytes(3, "big") + b"riff" + one for one in chunks)
    path.write_bytes(data[:42] + blocks + data[42:])
    return path


def test_flac(tmp_path, made):
    path = flac_with(tmp_path, b"RIFF\0\0\0\0WAVE", guano(made, "Timestamp: 2026-06-03T22:15:04Z", "Make: Lantern"))
    recording = inspect(path)
    assert (recording.status, recording.container, recording.subtype) == ("ok", "FLAC", "PCM_24")
    assert (recording.frames, recording.channels, recording.sample_rate_hz) == (500, 2, 384_000)
    assert (recording.recorder, recording.starts_at.isoformat()) == ("Lantern", "2026-06-03T22:15:04+00:00")


def test_flac_without_a_sound_header(tmp_path):
    path = flac_with(tmp_path)
    path.write_bytes(path.read_bytes()[:20])
    recording = inspect(path)
    assert (recording.status, recording.readable) == ("damaged", False)
    assert "cannot be read as FLAC" in recording.message


@pytest.mark.parametrize("factor", [0, 0.5, -10, float("nan"), float("inf")])
def test_time_expansion_out_of_range(recorded, factor):
    with pytest.raises(ParameterError, match="time expansion must be at least 1"):
        inspect(recorded(), time_expansion=factor)


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_broken_nothing_raises(made, write, tmp_path, seed):
    """Bytes changed and cut off at random: every file has a status, and what is readable can be read."""
    rng = np.random.default_rng(seed)
    whole = made.wav(
        made.fmt(channels=2, extensible=bool(seed % 2)),
        made.chunk(b"LIST", b"INFO"),
        made.chunk(b"data", made.noise.tobytes()),
        guano(made, "Timestamp: 2026-06-03T22:15:04Z", "Loc Position: 52.6 -1.4", "TE: 1"),
    )
    flac = flac_with(tmp_path, guano(made, "Make: Lantern")).read_bytes()
    statuses = set()
    for number in range(150):
        data = bytearray(flac if number % 3 == 0 else whole)
        for at in rng.integers(0, min(len(data), 120 if number % 2 else len(data)), rng.integers(1, 6)):
            data[at] = rng.integers(0, 256)
        if number % 5 == 0:
            del data[rng.integers(0, len(data)) :]
        recording = inspect(write(bytes(data), "a.flac" if number % 3 == 0 else "a.wav"))
        assert recording.status in ("ok", "damaged", "unsupported", "empty")
        assert recording.message or recording.status == "ok"
        statuses.add(recording.status)
        if recording.readable:
            reading = blocks(recording, frames=300)
            read = sum(len(block) for block in reading)
            assert checked(recording, reading).frames == reading.frames_read == read <= recording.frames
    assert {"ok", "damaged", "unsupported"} <= statuses
