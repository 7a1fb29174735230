"""The quick scan: which parts of a recording hold anything at all.

Frames of one millisecond lie side by side; a frame is worth a close look when any of its bins stands well over that
bin's own floor. The floor is a low quantile over the frames of the block, so that a steady tone raises it at its own
frequency and a pulse, which is brief, does not. Almost all of a night ends here.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft

from classifier.compiled import compiled

#: Level under which noise is taken to be quantisation noise of 16-bit samples: variance of one step, full scale 1.
QUANTISATION_VARIANCE = (2.0**-15) ** 2 / 12
#: Mean square of a Hann window.
HANN_SQUARES = 3 / 8


@dataclass(frozen=True)
class Scan:
    """What the scan of one block says.

    rise : float32, shape (n_frames,), power of the frame's most outstanding bin over its floor (a ratio)
    floor : float32, shape (n_bins,), mean noise power spectral density, full scale squared per Hz
    """

    rise: np.ndarray
    floor: np.ndarray


class Scanner:
    """Scans blocks of one sample rate."""

    def __init__(self, *, sample_rate_hz, settings):
        self.frame = even_fast_length(settings.scan_frame_s * sample_rate_hz)
        self.sample_rate_hz = sample_rate_hz
        self.settings = settings
        # one-sided density: E|rfft(noise * w)|^2 = density * fs / 2 * sum(w^2)
        self.density_per_power = 2.0 / (sample_rate_hz * HANN_SQUARES * self.frame)
        self.frequencies_hz = np.arange(self.frame // 2 + 1) * (sample_rate_hz / self.frame)
        nyquist = sample_rate_hz / 2
        self.band = (self.frequencies_hz >= settings.lowest_frequency_hz) & (
            self.frequencies_hz <= min(settings.highest_frequency_hz, nyquist * 0.995)
        )
        self.first, self.last = np.flatnonzero(self.band)[[0, -1]]
        self._least = QUANTISATION_VARIANCE / self.density_per_power * 2.0 / sample_rate_hz

    def __call__(self, samples):
        """Scan ``samples``, float32 of shape (n_frames * frame,), full scale 1."""
        power = _power(samples.reshape(-1, self.frame))
        floor = noise_floor(power, settings=self.settings, least=self._least)
        rise = _highest(power, 1 / floor, self.first, self.last + 1)
        return Scan(rise=rise, floor=floor * np.float32(self.density_per_power))


@compiled
def hann_power(spectrum, work, out):
    """Power of the bins between the first and the last of a frame's transform, had it been taken through a Hann window.

    The window's own transform has three values, -1/4, 1/2, -1/4, so that bins next to each other hold all that it needs.

    Parameters
    ----------
    spectrum : float32, shape (2 * (n + 2),), real and imaginary parts in turn
    work : float32, shape (2 * n,), overwritten
    out : float32, shape (n,), filled
    """
    half, quarter = np.float32(0.5), np.float32(0.25)
    low, middle, high = spectrum[: len(work)], spectrum[2 : len(work) + 2], spectrum[4 : len(work) + 4]
    for j in range(len(work)):
        work[j] = half * middle[j] - quarter * (low[j] + high[j])
    for j in range(len(out)):
        out[j] = work[2 * j] * work[2 * j] + work[2 * j + 1] * work[2 * j + 1]


@compiled
def _power(frames):
    """Power of frames (float32, shape (n_frames, frame)) through a Hann window: float32, (n_frames, n_bins), 0 in the first
    and the last bin."""
    spectrum = scipy.fft.rfft(frames).view(np.float32)
    frames, bins = spectrum.shape[0], spectrum.shape[1] // 2
    out = np.zeros((frames, bins), np.float32)
    work = np.empty(2 * (bins - 2), np.float32)
    for i in range(frames):
        hann_power(spectrum[i], work, out[i, 1 : bins - 1])
    return out


@compiled
def _highest(power, inverse_floor, first, last):
    """For each frame the highest power over the floor among the bins ``first`` to ``last``."""
    out = np.empty(len(power), np.float32)
    over = np.empty(last - first, np.float32)
    floor, bits = inverse_floor[first:last], out.view(np.int32)
    for i in range(len(power)):
        here = power[i, first:last]
        for j in range(len(over)):
            over[j] = here[j] * floor[j]
        bits[i] = greatest(over)
    return out


@compiled
def greatest(values):
    """Bits of the greatest of float32 values, none of them negative or NaN; those of 0 where there are none.

    Such numbers sort like the whole numbers that share their bits, and whole numbers are compared eight at a time.
    """
    bits, most = values.view(np.int32), np.int32(0)
    for i in range(len(bits)):
        if bits[i] > most:
            most = bits[i]
    return most


def even_fast_length(samples):
    """The even whole number nearest to ``samples`` whose transform is fast (factors 2, 3 and 5 only)."""
    centre = max(16, round(samples / 2))
    for off in range(centre):
        for half in (centre + off, centre - off):
            if half >= 8 and scipy.fft.next_fast_len(half, real=True) == half:
                return 2 * half
    raise AssertionError("powers of two are always near")


def noise_floor(power, *, settings, least):
    """Mean noise power of each bin from a low quantile over evenly spread frames.

    The power of noise in one bin is exponentially distributed, so its q-quantile is -ln(1 - q) times its mean.

    Parameters
    ----------
    power : float32, shape (n_frames, n_bins), linear
    least : float, the least mean power that a bin can have

    Returns
    -------
    float32, shape (n_bins,), linear, >= least
    """
    step = max(1, len(power) // settings.floor_frames)
    sample = np.ascontiguousarray(power[::step].T)
    rank = min(int(settings.floor_quantile * sample.shape[1]), sample.shape[1] - 1)
    sample.partition(rank, axis=1)
    # the k-th smallest of n exponentials has mean sum_{i<=k} 1/(n-i+1)
    share = np.sum(1.0 / (sample.shape[1] - np.arange(rank + 1)))
    return np.maximum(sample[:, rank] / np.float32(share), np.float32(least))
