"""RIFF chunks: where a WAV file keeps its format, its samples and its metadata, also when its header lies.

Recorders whose power fails leave headers that were never finished. So the chunks are walked here and not in
the sound library: where the format is known and samples follow, the samples are found, however the lengths
read.

Sources: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991) for RIFF and
WAVE; EBU Tech 3306 (2009) and ITU-R BS.2088 (2019) for RF64, BW64 and ``ds64``.
"""

import struct
from dataclasses import dataclass

import numpy as np

_UNWRITTEN = 0xFFFFFFFF
_TAIL_BYTES = 1 << 20  # how far back from the end metadata are looked for when lengths cannot be trusted
_METADATA_LIMIT = 1 << 20  # a longer text chunk is no recorder's metadata
_GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")  # of WAVE_FORMAT_EXTENSIBLE
_USUAL_BEHIND = (b"guan", b"LIST", b"bext", b"iXML")  # known even when they are cut off themselves
_MOST_CHANNELS = 64
_OTHER_CODES = {2: "ADPCM", 6: "A-law", 7: "µ-law", 0x11: "IMA ADPCM", 0x50: "MPEG", 0x55: "MP3"}
_SUBTYPES = {
    (1, 1): "PCM_U8",
    (1, 2): "PCM_16",
    (1, 3): "PCM_24",
    (1, 4): "PCM_32",
    (3, 4): "FLOAT",
    (3, 8): "DOUBLE",
}


@dataclass(frozen=True)
class Layout:
    """What the chunks of one WAV file say, and what is really there.

    ``subtype`` is the sound library's word for the coding of samples ("PCM_16"), ``sample_rate_hz`` the
    file's own rate. ``data_offset`` (bytes) and ``frames`` tell where the samples are and how many whole
    frames (one sample of each channel) the file holds, whatever its header says. Where the header is wrong on
    that, ``length_fault`` says how ("unwritten": it gives no length; "longer", "shorter": than what is there)
    and ``declared_frames`` what it gives. ``guano`` holds the bytes of the ``guan`` chunk. ``faults`` are
    sentences on damage; ``unsupported`` is the reason why the samples' coding cannot be read.
    """

    subtype: str | None = None
    sample_rate_hz: int = 0
    channels: int = 0
    data_offset: int = 0
    frames: int = 0
    length_fault: str | None = None
    declared_frames: int = 0
    guano: bytes | None = None
    faults: tuple[str, ...] = ()
    unsupported: str | None = None


def read_layout(file, size):
    """Walk the chunks of an open WAV file.

    Parameters
    ----------
    file : binary file, seekable
    size : int, its length in bytes

    Returns
    -------
    Layout, or None where the file is no RIFF file of form WAVE
    Raises
    ------
    OSError : the medium cannot be read
    """
    head = _bytes_at(file, 0, 12)
    if head[:4] not in (b"RIFF", b"RF64", b"BW64") or (len(head) == 12 and head[8:] != b"WAVE"):
        return None
    walk = _Walk(file, size)
    walk.run()
    return walk.layout()


class _Walk:
    """One pass over the chunks; gathers what ``Layout`` needs."""

    def __init__(self, file, size):
        self.file, self.size = file, size
        self.format = None
        self.guano = None
        self.data = None  # (offset, end) of the samples
        self.long_data_bytes = None  # from ds64
        self.length_fault = None
        self.declared_bytes = 0
        self.faults = []

    def run(self):
        at = 12
        while at + 8 <= self.size:
            name, length = struct.unpack("<4sI", _bytes_at(self.file, at, 8))
            if not _is_name(name):
                return
            body = at + 8
            if name == b"data" and self.data is None:
                end = self._data_end(body, length)
                self.data = (body, end)
            else:
                end = body + length
                if end > self.size:
                    self.faults.append(f"its chunk '{name.decode()}' is cut off")
                self._keep(name, body, min(length, self.size - body))
            at = self._next(end, (end - body) & 1)

    def _next(self, end, odd):
        """Where the chunk behind ``end`` begins: after a zero byte if the length is odd, but some writers
        leave that byte out, and a name begins there at once."""
        return end if not odd or _is_name(_bytes_at(self.file, end, 4)) else end + 1

    def _keep(self, name, body, length):
        """Take what is needed from a chunk other than the samples."""
        if name == b"fmt " and self.format is None:
            self.format = _bytes_at(self.file, body, min(length, 64))
        elif name == b"guan" and self.guano is None:
            self.guano = _bytes_at(self.file, body, min(length, _METADATA_LIMIT))
        elif name == b"ds64" and length >= 16:
            self.long_data_bytes = struct.unpack("<8xQ", _bytes_at(self.file, body, 16))[0]

    def _data_end(self, body, length):
        """Byte behind the last sample: the header's word where the file bears it out, else what is there."""
        if length == _UNWRITTEN and self.long_data_bytes:
            length = self.long_data_bytes
        room = self.size - body
        if length == room or (0 < length < room and self._sound_after(body + length, length & 1)):
            return body + length
        if length == 0 and self._sound_after(body, 0):
            return body
        end = _metadata_start(self.file, body, self.size)
        if length in (0, _UNWRITTEN):
            self.length_fault = "unwritten"
        else:
            self.length_fault = "longer" if body + length > end else "shorter"
            self.declared_bytes = length
        return end

    def _sound_after(self, end, odd):
        """Whether the file ends here (but for a few stray bytes), or another chunk begins."""
        if self.size - end < 8:
            return True
        at = self._next(end, odd)
        name, length = struct.unpack("<4sI", _bytes_at(self.file, at, 8).ljust(8, b"\0"))
        return _is_name(name) and (at + 8 + length <= self.size or name in _USUAL_BEHIND)

    def layout(self):
        faults = list(self.faults)
        if self.format is None or len(self.format) < 16:
            if self.size < 12 + 8 + 16:
                faults.insert(0, "it is cut off within its header")
            else:
                faults.insert(0, "its format chunk is missing or cut off, so its samples are lost")
            return Layout(guano=self.guano, faults=tuple(faults))
        subtype, width, channels, rate, fault, unsupported = _read_format(self.format)
        common = {"sample_rate_hz": rate, "channels": channels, "guano": self.guano}
        if fault:
            faults.insert(0, fault)
        if unsupported or not subtype:
            return Layout(unsupported=unsupported, faults=tuple(faults), **common)
        if self.data is None:
            faults.insert(0, "it is cut off before its first sample")
            return Layout(subtype=subtype, faults=tuple(faults), **common)
        offset, end = self.data
        frames, over = divmod(end - offset, width * channels)
        if over:
            faults.append("its last sample is incomplete and was left out")
        return Layout(
            subtype=subtype,
            data_offset=offset,
            frames=frames,
            length_fault=self.length_fault,
            declared_frames=self.declared_bytes // (width * channels),
            faults=tuple(faults),
            **common,
        )


def _read_format(chunk):
    """(subtype, bytes per sample, channels, rate, fault, unsupported) from the bytes of a format chunk."""
    code, channels, rate, _, block, bits = struct.unpack("<HHIIHH", chunk[:16])
    if code == 0xFFFE and len(chunk) >= 40:
        code, tail = struct.unpack("<H14s", chunk[24:40])
        if tail != _GUID_TAIL:
            return None, 0, channels, rate, None, "its samples are coded in an unknown way: save it as PCM"
    if not 1 <= channels <= _MOST_CHANNELS or rate == 0:
        fault = f"its header cannot be right ({channels} channels at {rate} Hz), so its samples are lost"
        return None, 0, 0, 0, fault, None
    from_bits = (bits + 7) // 8
    width = block // channels if block % channels == 0 else 0
    fault = None
    if (code, width) not in _SUBTYPES or width < from_bits:
        if (code, from_bits) in _SUBTYPES:
            fault = f"its header contradicts itself on the size of a sample: {bits} bits were taken"
        width = from_bits
    subtype = _SUBTYPES.get((code, width))
    if subtype is None:
        coding = _OTHER_CODES.get(code, f"code {code}" if code not in (1, 3) else "")
        text = " ".join(part for part in (coding, f"{bits} bits" if bits else "") if part)
        return None, 0, channels, rate, None, f"its samples are coded as {text}: save it as PCM or float WAV"
    return subtype, width, channels, rate, fault, None


def _metadata_start(file, body, size):
    """Where the chunks behind the samples begin, found from the end of the file; ``size`` where there are
    none.

    A chunk counts where its length leads exactly to the end of the file, or to a chunk that counts. In
    samples a name of four letters with the one right length behind it comes by chance about once in 10^10
    files.
    """
    start = max(body, size - _TAIL_BYTES)
    tail = _bytes_at(file, start, size - start)
    if len(tail) < 8:
        return size
    octets = np.frombuffer(tail, np.uint8)
    number = octets[4:-3].astype(np.int64)
    for place in (1, 2, 3):
        number |= octets[4 + place : len(octets) - 3 + place].astype(np.int64) << (8 * place)
    ends = np.arange(len(number)) + 8 + number
    end = len(tail)
    while True:
        hits = np.flatnonzero((ends == end) | (ends + (number & 1) == end))
        hits = [hit for hit in hits.tolist() if hit + 8 <= end and _is_name(tail[hit : hit + 4])]
        if not hits:
            break
        end = hits[0]
    if end == len(tail):
        # Cut metadata lead nowhere; their first words still betray them.
        at = tail.rfind(b"GUANO|")
        if at >= 8 and tail[at - 8 : at - 4] == b"guan":
            end = at - 8
    return start + end


def _is_name(name):
    """Whether four bytes can be the name of a chunk: printable ASCII that starts with a letter."""
    return len(name) == 4 and name[:1].isalpha() and all(0x20 <= octet < 0x7F for octet in name)


def _bytes_at(file, offset, count):
    file.seek(offset)
    return file.read(count)
