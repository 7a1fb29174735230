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


@dataclass(frozen=True)
class Scan:
    """What the scan of one block says.

    rise : float32, shape (n_frames,), power of the frame's most outstanding bin over its floor (a ratio)
    floor : float32, shape (n_bins,), mean noise power spectral density, full scale squared per Hz
    """

    rise: np.ndarray
    floor: np.ndarray


class Scanner:
    """Scans blocks of one sample rate; holds the window and the work arrays, so that nothing is allocated twice."""

    def __init__(self, *, sample_rate_hz, settings, frames_per_block):
        self.frame = even_fast_length(settings.scan_frame_s * sample_rate_hz)
        self.sample_rate_hz = sample_rate_hz
        self.settings = settings
        self.window = np.hanning(self.frame + 1)[:-1].astype(np.float32)
        # one-sided density: E|rfft(noise * w)|^2 = density * fs / 2 * sum(w^2)
        self.density_per_power = 2.0 / (sample_rate_hz * float(np.sum(self.window.astype(float) ** 2)))
        self.frequencies_hz = np.arange(self.frame // 2 + 1) * (sample_rate_hz / self.frame)
        nyquist = sample_rate_hz / 2
        self.band = (self.frequencies_hz >= settings.lowest_frequency_hz) & (
            self.frequencies_hz <= min(settings.highest_frequency_hz, nyquist * 0.995)
        )
        self.first, self.last = np.flatnonzero(self.band)[[0, -1]]
        self._work = np.empty((frames_per_block, self.frame), np.float32)
        self._least = QUANTISATION_VARIANCE / self.density_per_power * 2.0 / sample_rate_hz

    def __call__(self, samples):
        """Scan ``samples``, float32 of shape (n_frames * frame,), full scale 1."""
        frames = samples.reshape(-1, self.frame)
        work = self._work[: len(frames)]
        np.multiply(frames, self.window, out=work)
        power = _power(scipy.fft.rfft(work, axis=1))
        floor = noise_floor(power, settings=self.settings, least=self._least)
        rise = _highest(power, 1 / floor, self.first, self.last + 1)
        return Scan(rise=rise, floor=floor * np.float32(self.density_per_power))


@compiled
def _power(spectrum):
    """Squared size of each value: float32, of the same shape."""
    out = np.empty(spectrum.shape, np.float32)
    for i in range(spectrum.shape[0]):
        for j in range(spectrum.shape[1]):
            value = spectrum[i, j]
            out[i, j] = value.real * value.real + value.imag * value.imag
    return out


@compiled
def _highest(power, inverse_floor, first, last):
    """For each frame the highest power over the floor among the bins ``first`` to ``last``."""
    out = np.zeros(len(power), np.float32)
    for i in range(len(power)):
        highest = np.float32(0.0)
        for j in range(first, last):
            highest = max(highest, power[i, j] * inverse_floor[j])
        out[i] = highest
    return out


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
