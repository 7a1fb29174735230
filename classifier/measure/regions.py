"""Where it is worth looking closely: the stretches of a recording around the frames that the scan let through.

Audio arrives in blocks of any size and is scanned in blocks of a fixed one, so that the result does not hang on how
a file was read. A stretch that is still going on when its block ends waits for the next; memory stays bounded because
no stretch waits for longer than the longest pulse.
"""

from dataclasses import dataclass

import numpy as np

from classifier.measure.scan import Scanner

#: Frames scanned at once: about a second, long beside any pulse and short beside a change of weather.
FRAMES_PER_BLOCK = 1024
#: Silence kept on both sides of what the scan let through, in frames of the scan: room for fading ends. So much of it is
#: looked at for tracks.
MARGIN_FRAMES, LOOK_FRAMES = 3, 1


@dataclass(frozen=True)
class Region:
    """A stretch of one channel.

    start : int, its first sample, counted from the start of the recording
    samples : float32, shape (n,)
    look : slice, the samples in which pulses are looked for; the others are room for their ends
    floor : float32, shape (n_bins,), noise density over the scanner's frequencies, full scale squared per Hz
    at_file_start, at_file_end : bool, whether it touches an end of the recording
    recorded : float32, shape (n,), the samples as they were recorded, where other sounds were taken out of ``samples``
    """

    start: int
    samples: np.ndarray
    look: slice
    floor: np.ndarray
    at_file_start: bool = False
    at_file_end: bool = False
    recorded: np.ndarray | None = None

    def __post_init__(self):
        if self.recorded is None:
            object.__setattr__(self, "recorded", self.samples)


@dataclass(frozen=True)
class Laid:
    """What is to be looked at of some regions, laid end to end, so that it is looked at together.

    samples : float32, shape (n,), audio, ``gap`` samples of silence behind each region's
    starts : int, shape (n_regions + 1,), first sample of each in it, and the end of the last one's silence
    skipped : int, shape (n_regions,), samples of each that were left out before it
    floors : float32, shape (n_floors, n_bins), the different floors among them
    floor_of : int, shape (n_regions,), which of these each one has
    """

    samples: np.ndarray
    starts: np.ndarray
    skipped: np.ndarray
    floors: np.ndarray
    floor_of: np.ndarray


def lay_out(regions, gap):
    """Lay a list of Region end to end."""
    skipped = np.array([region.look.start for region in regions], int)
    lengths = np.array([region.look.stop for region in regions], int) - skipped
    starts = np.concatenate([[0], np.cumsum(lengths + gap)]).astype(int)
    samples = np.zeros(starts[-1], np.float32)
    for region, start, length in zip(regions, starts, lengths, strict=False):
        samples[start : start + length] = region.samples[region.look]
    floors, floor_of, seen = [], np.empty(len(regions), int), {}
    for i, region in enumerate(regions):
        if id(region.floor) not in seen:
            seen[id(region.floor)] = len(floors)
            floors.append(region.floor)
        floor_of[i] = seen[id(region.floor)]
    return Laid(samples, starts, skipped, np.array(floors, np.float32), floor_of)


class RegionFinder:
    """Feeds one channel through the scan; ``feed`` and ``finish`` return the regions completed so far."""

    def __init__(self, *, sample_rate_hz, settings):
        self.scanner = Scanner(sample_rate_hz=sample_rate_hz, settings=settings)
        self.frame = self.scanner.frame
        self.threshold = 10 ** (settings.scan_rise_db / 10)
        self.sure = 10 ** (settings.scan_sure_db / 10)
        self.longest = round(settings.longest_pulse_s * sample_rate_hz / self.frame)
        self.block = FRAMES_PER_BLOCK * self.frame
        self._waiting = np.empty(self.block, np.float32)
        self._filled = 0
        self._held = np.empty(0, np.float32)  # audio before the current block that a region may still need
        self._held_flags = np.empty(0, bool)
        self._position = 0  # first sample of the current block
        self._floor = None

    def feed(self, samples):
        """Take float32 samples of shape (n,), any n; return a list of Region."""
        found = []
        offset = 0
        while offset < len(samples):
            if not self._filled and len(samples) - offset >= self.block:
                found += self._scan(samples[offset : offset + self.block], last=False)
                offset += self.block
                continue
            take = min(self.block - self._filled, len(samples) - offset)
            self._waiting[self._filled : self._filled + take] = samples[offset : offset + take]
            self._filled += take
            offset += take
            if self._filled == self.block:
                found += self._scan(self._waiting, last=False)
                self._filled = 0
        return found

    def finish(self):
        """Say that the recording has ended; return the regions left."""
        rest = self._waiting[: self._filled]
        self._filled = 0
        if not len(rest) and not len(self._held):
            return []
        return self._scan(rest, last=True)

    def _scan(self, block, *, last):
        whole = len(block) // self.frame * self.frame
        flags = np.empty(0, bool)
        if whole:
            padded = block[:whole]
            if last and whole < len(block):
                # the incomplete last frame is scanned with zeros behind it
                padded = np.zeros(whole + self.frame, np.float32)
                padded[: len(block)] = block
            scan = self.scanner(padded)
            # a short rest says too little about the noise by itself
            if self._floor is None or len(scan.rise) >= self.scanner.settings.floor_frames:
                self._floor = scan.floor
                flags = _believed(scan.rise, self.threshold, self.sure)
            else:
                flags = np.ones(len(scan.rise), bool)
        elif len(block):
            flags = np.ones(1, bool)
            if self._floor is None:
                padded = np.zeros(self.frame, np.float32)
                padded[: len(block)] = block
                self._floor = self.scanner(padded).floor

        audio = _Joined(self._held, block)
        start = self._position - len(self._held)
        flags = np.concatenate([self._held_flags, flags])
        found, keep_from = [], len(flags)
        for first, end in _runs(flags, MARGIN_FRAMES):
            if not last and end > len(flags) - 1:
                if len(flags) - first <= self.longest:
                    keep_from = first
                    break
                # longer than any pulse: looked at in pieces, and the next piece begins a little earlier
                keep_from = max(first + 1, len(flags) - self.longest // 2)
            hits = first + np.flatnonzero(flags[first:end])
            look = max(first, hits[0] - LOOK_FRAMES), min(end, hits[-1] + 1 + LOOK_FRAMES)
            found.append(self._region(audio, start, first, end, look, last))
        keep_from = min(keep_from, max(0, len(flags) - MARGIN_FRAMES))
        if last:
            self._held, self._held_flags = np.empty(0, np.float32), np.empty(0, bool)
        else:
            self._held = audio.copied(keep_from * self.frame, len(audio))
            self._held_flags = flags[keep_from:]
        self._position += len(block)
        return found

    def _region(self, audio, start, first, end, look, last):
        low, high = first * self.frame, min(end * self.frame, len(audio))
        look_low, look_high = look[0] * self.frame, min(look[1] * self.frame, high)
        return Region(
            start=start + low,
            samples=audio.copied(low, high),
            look=slice(look_low - low, look_high - low),
            floor=self._floor,
            at_file_start=start + low == 0,
            at_file_end=bool(last and high == len(audio)),
        )


class _Joined:
    """Two stretches of audio, one behind the other, of which only parts are ever copied."""

    def __init__(self, first, second):
        self.first, self.second = first, second

    def __len__(self):
        return len(self.first) + len(self.second)

    def copied(self, low, high):
        """Samples ``low`` to ``high``, float32, an array of its own."""
        split = len(self.first)
        return np.concatenate([self.first[low:high], self.second[max(low - split, 0) : max(high - split, 0)]])


def _believed(rise, threshold, sure):
    """Frames that stand over the threshold, and either far over it or close to another that stands over it.

    Noise now and then lifts one bin of one frame; a pulse stands out more, or longer.
    """
    hits = rise > threshold
    near = np.zeros(len(hits) + 4, bool)
    for shift in (0, 1, 3, 4):
        near[shift : shift + len(hits)] |= hits
    return hits & (near[2:-2] | (rise > sure))


def _runs(flags, margin):
    """(first, end) of each run of true frames, widened by ``margin`` frames on both sides and merged where they meet."""
    hits = np.flatnonzero(flags)
    if not len(hits):
        return []
    splits = np.flatnonzero(np.diff(hits) > 2 * margin + 1)
    firsts = np.concatenate([hits[:1], hits[splits + 1]])
    lasts = np.concatenate([hits[splits], hits[-1:]])
    return [
        (max(0, int(first) - margin), min(len(flags), int(last) + 1 + margin)) for first, last in zip(firsts, lasts, strict=True)
    ]
