"""Samples in blocks: an hour-long file needs no more memory than a short one."""

import contextlib
import io
from dataclasses import replace

import numpy as np
import soundfile

from classifier.errors import InputError, ParameterError

_FLOAT_SUBTYPES = ("FLOAT", "DOUBLE")
_SALVAGE_FRAMES = 4096  # step in which the last readable samples before a fault are fetched


def blocks(recording, *, frames, channel=None):
    """Samples of a recording, block after block.

    Parameters
    ----------
    recording : Recording, ``readable``
    frames : int >= 1, samples of each channel in a block; the last block may be shorter
    channel : int or None, one channel only (counted from 1)

    Returns
    -------
    Blocks, an iterator of float32 arrays of shape (n, channels), or (n, 1) with ``channel``: consecutive,
    without overlap, full scale = 1, each an array of its own. Samples that are no finite number come as 0 and
    are counted.
    Raises
    ------
    ParameterError : ``frames`` or ``channel`` is out of range
    InputError : the recording is not readable, or its file is gone
    """
    if frames < 1:
        raise ParameterError(f"frames must be at least 1, not {frames}")
    if not recording.readable:
        raise InputError(f"{recording.path}: {recording.message or 'holds nothing that can be read'}")
    if channel is not None and not 1 <= channel <= recording.channels:
        raise ParameterError(f"{recording.path}: channel must lie in 1 to {recording.channels}, not {channel}")
    return Blocks(recording, frames, channel)


class Blocks:
    """The iterator that ``blocks`` returns, and its account of the reading.

    ``frames_read`` counts the frames handed out so far, ``replaced`` the samples that were NaN or infinite
    and came as 0 (over all channels), ``fault`` is a sentence where reading broke off before the end, else
    None.
    """

    def __init__(self, recording, frames, channel=None):
        self.frames_read = 0
        self.replaced = 0
        self.fault = None
        self._recording, self._frames, self._channel = recording, frames, channel
        self._source = self._read()

    def __iter__(self):
        return self

    def __next__(self):
        return next(self._source)

    def close(self):
        """Close the file before the end is reached."""
        self._source.close()

    def _read(self):
        recording = self._recording
        check = recording.subtype in _FLOAT_SUBTYPES
        pick = slice(None) if self._channel is None else slice(self._channel - 1, self._channel)
        with _open(recording) as sound:
            while self.frames_read < recording.frames:
                wanted = min(self._frames, recording.frames - self.frames_read)
                block = self._next_block(sound, wanted)
                if check:
                    self.replaced += _zero_what_is_no_number(block)
                self.frames_read += len(block)
                if len(block):
                    yield block[:, pick]
                if len(block) < wanted:
                    return

    def _next_block(self, sound, wanted):
        """Up to ``wanted`` frames; fewer only where the file or the medium gives out."""
        block = np.empty((wanted, self._recording.channels), np.float32)
        try:
            if self._recording.subtype == "PCM_16":
                # whole numbers as they stand, and scaled here: the same values, several times faster
                return _full_scale(sound.read(wanted, dtype="int16", always_2d=True), block)
            return sound.read(out=block)
        except (soundfile.LibsndfileError, OSError) as error:
            self.fault = f"reading broke off ({_reason(error)})"
        # What lies before the fault is fetched in small steps.
        got = 0
        try:
            with _open(self._recording) as again:
                again.seek(self.frames_read)
                while got < wanted:
                    part = again.read(out=block[got : got + _SALVAGE_FRAMES])
                    got += len(part)
                    if not len(part):
                        break
        except (soundfile.LibsndfileError, OSError):
            pass
        return block[:got]


def checked(recording, reading):
    """The recording as reading it has shown it to be.

    Parameters
    ----------
    recording : Recording
    reading : Blocks of that recording, exhausted

    Returns
    -------
    Recording with ``frames`` as read, and with status "damaged" and an enlarged message where samples were no
    numbers or reading broke off
    """
    faults = []
    if reading.frames_read < recording.frames:
        read_s = reading.frames_read / recording.true_sample_rate_hz
        why = f": {reading.fault}" if reading.fault else ""
        faults.append(f"Only {read_s:.6g} of {recording.seconds:.6g} s could be read{why}.")
    if reading.replaced:
        samples = "1 sample was" if reading.replaced == 1 else f"{reading.replaced} samples were"
        faults.append(f"{samples} no number (NaN or infinite) and taken as 0.")
    if not faults:
        return recording
    message = " ".join([recording.message, *faults] if recording.message else faults)
    return replace(recording, frames=reading.frames_read, status="damaged", message=message)


def _full_scale(whole, out):
    """16-bit samples as float32 of full scale 1, in ``out``."""
    out = out[: len(whole)]
    np.multiply(whole, np.float32(2.0**-15), out=out, dtype=np.float32)
    return out


def _zero_what_is_no_number(block):
    """Put NaN and infinite samples of a block to 0, in place; their count."""
    finite = np.isfinite(block)
    if finite.all():
        return 0
    block[~finite] = 0
    return int(finite.size - np.count_nonzero(finite))


@contextlib.contextmanager
def _open(recording):
    """The samples through the sound library: by its own reading of the header where that agrees with ours,
    else as raw samples from where they start."""
    with contextlib.ExitStack() as stack:
        try:
            sound = _by_header(recording)
            if sound is None:
                length = _frame_bytes(recording) * recording.frames
                window = _Window(recording.path, recording.data_offset, length)
                sound = soundfile.SoundFile(
                    stack.enter_context(window),
                    format="RAW",
                    subtype=recording.subtype,
                    endian="LITTLE",
                    channels=recording.channels,
                    samplerate=int(recording.sample_rate_hz),
                )
        except (soundfile.LibsndfileError, OSError) as error:
            raise InputError(f"{recording.path}: can no longer be opened ({_reason(error)})") from error
        yield stack.enter_context(sound)


def _by_header(recording):
    """The file as the sound library understands it by itself; None where it finds something else than we."""
    if recording.container == "FLAC":
        return soundfile.SoundFile(str(recording.path))
    if recording.status != "ok":
        return None
    try:
        sound = soundfile.SoundFile(str(recording.path))
    except soundfile.LibsndfileError:
        return None
    ours = (recording.frames, recording.channels, recording.subtype)
    if (sound.frames, sound.channels, sound.subtype) == ours:
        return sound
    sound.close()
    return None


def _frame_bytes(recording):
    width = {"PCM_U8": 1, "PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}[recording.subtype]
    return width * recording.channels


class _Window(io.RawIOBase):
    """The part of a file that holds samples, as a file of its own."""

    def __init__(self, path, offset, length):
        self._file = None  # should it not open, closing finds nothing to close
        self._file = io.FileIO(path)
        self._offset, self._length, self._at = offset, length, 0

    def seekable(self):
        return True

    def seek(self, offset, whence=io.SEEK_SET):
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._length}[whence]
        self._at = max(0, base + offset)
        return self._at

    def tell(self):
        return self._at

    def readinto(self, buffer):
        try:
            self._file.seek(self._offset + self._at)
            count = self._file.readinto(memoryview(buffer)[: max(0, self._length - self._at)])
        except OSError:  # a bad spot of the medium ends the samples; an error cannot pass through the library
            return 0
        self._at += count
        return count

    def close(self):
        if self._file is not None:
            self._file.close()
        super().close()


def _reason(error):
    return str(getattr(error, "error_string", None) or getattr(error, "strerror", None) or error).strip(" .")
