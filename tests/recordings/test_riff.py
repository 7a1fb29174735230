import io
import struct

import numpy as np
import pytest
import soundfile

from classifier.recordings.riff import read_layout


def layout_of(data):
    return read_layout(io.BytesIO(data), len(data))


def guano(made, text="GUANO|Version: 1.0\nMake: Lantern\n"):
    return made.chunk(b"guan", text.encode())


@pytest.mark.parametrize(
    ("code", "bits", "subtype"),
    [
        (1, 8, "PCM_U8"),
        (1, 16, "PCM_16"),
        (1, 24, "PCM_24"),
        (1, 32, "PCM_32"),
        (3, 32, "FLOAT"),
        (3, 64, "DOUBLE"),
    ],
)
@pytest.mark.parametrize("extensible", [False, True])
@pytest.mark.parametrize("channels", [1, 2, 3])
def test_every_coding(made, code, bits, subtype, extensible, channels):
    data = made.chunk(b"data", bytes(bits // 8 * channels * 5))
    layout = layout_of(made.wav(made.fmt(code, channels, 384_000, bits, extensible=extensible), data))
    assert (layout.subtype, layout.channels, layout.sample_rate_hz) == (subtype, channels, 384_000)
    assert layout.frames == 5
    assert not layout.faults
    assert layout.length_fault is None


@pytest.mark.parametrize("file_format", ["WAV", "WAVEX", "RF64"])
@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_agrees_with_what_the_sound_library_writes(tmp_path, file_format, subtype):
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((777, 2)), 500_000, format=file_format, subtype=subtype)
    layout = layout_of(path.read_bytes())
    assert (layout.subtype, layout.channels, layout.sample_rate_hz, layout.frames) == (
        subtype,
        2,
        500_000,
        777,
    )
    assert not layout.faults
    assert layout.length_fault is None


def test_fewer_valid_bits_than_the_container_holds(made):
    # WAVE: samples of 9 to 16 bits stand left-justified in two bytes, so full scale stays that of 16 bits.
    layout = layout_of(made.wav(made.fmt(bits=12, block=2), made.chunk(b"data", bytes(20))))
    assert (layout.subtype, layout.frames, layout.faults) == ("PCM_16", 10, ())


def test_chunks_in_any_order_and_odd_lengths(made):
    odd = made.chunk(b"note", b"abc")
    layout = layout_of(made.wav(odd, guano(made), made.fmt(), odd, made.chunk(b"data", bytes(8)), odd))
    assert layout.guano.startswith(b"GUANO|Version")
    assert layout.frames == 4
    assert not layout.faults


def test_missing_pad_bytes(made):
    # Against the standard, but common: the byte after an odd chunk is the next chunk's first.
    odd = made.chunk(b"note", b"abc", pad=False)
    samples = made.chunk(b"data", bytes(7), pad=False)
    layout = layout_of(made.wav(odd, made.fmt(bits=8), samples, guano(made)))
    assert layout.frames == 7
    assert layout.guano is not None
    assert not layout.faults


def test_long_file_with_ds64(made):
    # EBU Tech 3306: both 32-bit lengths hold 0xFFFFFFFF and ds64 tells them in 64 bits.
    body = made.noise.tobytes()
    ds64 = made.chunk(b"ds64", struct.pack("<QQQI", 0, len(body), len(made.noise), 0))
    data = made.chunk(b"data", body, length=0xFFFFFFFF)
    for name in (b"RF64", b"BW64"):
        layout = layout_of(made.wav(ds64, made.fmt(), data, guano(made), name=name, length=0xFFFFFFFF))
        assert layout.frames == 1000
        assert layout.length_fault is None
        assert layout.guano is not None


@pytest.mark.parametrize("behind", [False, True], ids=["alone", "with metadata behind"])
@pytest.mark.parametrize(
    ("length", "fault", "declared"),
    [(0, "unwritten", 0), (0xFFFFFFFF, "unwritten", 0), (9000, "longer", 4500), (300, "shorter", 150)],
)
def test_length_that_lies(made, length, fault, declared, behind):
    data = made.chunk(b"data", made.noise.tobytes(), length=length)
    file = made.wav(made.fmt(), data, guano(made) if behind else b"")
    layout = layout_of(file)
    assert layout.frames == 1000
    assert (layout.length_fault, layout.declared_frames) == (fault, declared)
    assert file[layout.data_offset : layout.data_offset + 2000] == made.noise.tobytes()
    assert (layout.guano is not None) == behind


def test_several_chunks_behind_truncated_data(made):
    notes = made.chunk(b"LIST", b"INFO" + made.chunk(b"ICMT", b"moor, third night"))
    data = made.chunk(b"data", made.noise.tobytes(), length=10**6)
    layout = layout_of(made.wav(made.fmt(), data, notes, guano(made), made.chunk(b"note", b"abc")))
    assert layout.frames == 1000
    assert layout.guano == b"GUANO|Version: 1.0\nMake: Lantern\n"


def test_cut_metadata_behind_truncated_data(made):
    file = made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes(), length=10**6), guano(made))[:-6]
    layout = layout_of(file)
    assert layout.frames == 1000
    assert layout.guano == b"GUANO|Version: 1.0\nMake: Lan"
    assert layout.faults == ("its chunk 'guan' is cut off",)


def test_loud_noise_is_not_taken_for_metadata(made):
    noise = np.random.default_rng(1).integers(0, 256, 4 << 20).astype(np.uint8).tobytes()
    layout = layout_of(made.wav(made.fmt(), made.chunk(b"data", noise, length=0)))
    assert layout.frames == 2 << 20


def test_every_cut(made):
    """However a file is cut, whole frames that are there are found, and nothing raises."""
    data = np.arange(100, dtype="<i2").repeat(2).tobytes()
    whole = made.wav(made.fmt(channels=2), made.chunk(b"data", data), guano(made))
    start = whole.index(b"data") + 8
    for size in range(12, len(whole)):
        layout = layout_of(whole[:size])
        there = min(max(0, size - start), len(data)) // 4
        assert layout.frames == there, size
        assert layout.faults or layout.length_fault or size >= start + len(data)


def test_empty_data_chunk_is_believed_where_chunks_follow(made):
    layout = layout_of(made.wav(made.fmt(), made.chunk(b"data", b""), guano(made)))
    assert layout.frames == 0
    assert layout.length_fault is None
    assert layout.guano is not None


@pytest.mark.parametrize("stray", [1, 2, 7])
def test_stray_bytes_at_the_end_are_passed_over(made, stray):
    layout = layout_of(made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes())) + bytes(stray))
    assert (layout.frames, layout.length_fault, layout.faults) == (1000, None, ())


def test_odd_byte_of_a_last_sample(made):
    layout = layout_of(made.wav(made.fmt(), made.chunk(b"data", made.noise.tobytes() + b"x", pad=False)))
    assert layout.frames == 1000
    assert layout.faults == ("its last sample is incomplete and was left out",)


def test_block_size_that_contradicts_the_bits(made):
    layout = layout_of(made.wav(made.fmt(bits=16, block=7), made.chunk(b"data", made.noise.tobytes())))
    assert layout.frames == 1000
    assert layout.faults == ("its header contradicts itself on the size of a sample: 16 bits were taken",)


@pytest.mark.parametrize(
    ("format_chunk", "words"),
    [
        ({"code": 2, "bits": 4}, "ADPCM 4 bits"),
        ({"code": 6, "bits": 8}, "A-law"),
        ({"code": 1, "bits": 64}, "64 bits"),
        ({"code": 3, "bits": 16}, "16 bits"),
        ({"code": 0x1234}, "code 4660"),
    ],
)
def test_codings_that_are_not_read(made, format_chunk, words):
    layout = layout_of(made.wav(made.fmt(**format_chunk), made.chunk(b"data", bytes(64))))
    assert words in layout.unsupported
    assert layout.frames == 0


@pytest.mark.parametrize("header", [{"channels": 0}, {"rate": 0}, {"channels": 60_000, "block": 4}])
def test_header_that_cannot_be_right(made, header):
    layout = layout_of(made.wav(made.fmt(**header), made.chunk(b"data", bytes(64))))
    assert "cannot be right" in layout.faults[0]
    assert layout.frames == 0


def test_no_format_chunk(made):
    layout = layout_of(made.wav(made.chunk(b"note", bytes(40)), made.chunk(b"data", bytes(64))))
    assert "format chunk is missing" in layout.faults[0]


@pytest.mark.parametrize("data", [b"", b"RIF", b"riff" + bytes(40), b"RIFF\0\0\0\0AVI " + bytes(40), b"{}"])
def test_other_files(data):
    assert layout_of(data) is None
