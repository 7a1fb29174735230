"""What is read off the spectrum of a pulse, and off demodulation along other harmonics."""

import numpy as np
import scipy.fft

#: Room given beyond the ridge's band, in Hz, and beyond the span, in seconds.
BAND_ROOM_HZ = 2_000.0
SPAN_ROOM_S = 0.15e-3
#: Sounds of voices, wind and handling lie under this and say nothing about a pulse.
AUDIBLE_HZ = 8_000.0


def spectrum_metrics(samples, begin_s, end_s, low_hz, high_hz, density, noise_power, *, sample_rate_hz):
    """Peak frequency and centre frequency, with standard errors, and the energy in the pulse's band.

    Parameters
    ----------
    samples : float32, shape (m, n), audio of each pulse
    begin_s, end_s : float64, shape (m,), the span, from the first sample of the row
    low_hz, high_hz : float64, shape (m,), the band of the ridge
    density : float64, shape (m,), noise density in that band, full scale squared per Hz
    noise_power : float64, shape (m,), power of the noise over all frequencies above AUDIBLE_HZ, full scale squared

    Returns
    -------
    dict of (value, standard error) in Hz, and "energy", in the band, and "whole_energy", at all frequencies above
    AUDIBLE_HZ: (full scale squared times seconds, None), noise taken off
    """
    m, n = samples.shape
    rate = sample_rate_hz
    first = np.maximum(np.floor((begin_s - SPAN_ROOM_S) * rate), 0).astype(int)
    last = np.minimum(np.ceil((end_s + SPAN_ROOM_S) * rate), n - 1).astype(int)
    longest = int((last - first).max()) + 1
    index = np.arange(longest)
    pick = np.minimum(first[:, None] + index, n - 1)
    own = np.take_along_axis(samples, pick, 1) * (index <= (last - first)[:, None])
    size = scipy.fft.next_fast_len(2 * longest, real=True)
    spectrum = scipy.fft.rfft(own, size, axis=1)
    power = spectrum.real**2 + spectrum.imag**2
    frequency = np.arange(power.shape[1]) * (rate / size)
    low = low_hz - BAND_ROOM_HZ
    high = high_hz + BAND_ROOM_HZ
    inside = (frequency >= low[:, None]) & (frequency <= high[:, None])
    length = (last - first + 1).astype(float)
    # |X|^2 of noise: density * rate / 2 for each sample
    floor = density * rate / 2 * length
    banded = np.where(inside, power, 0.0)
    coarse = frequency[np.argmax(banded, axis=1)]
    peak, peak_error = _peak(own, coarse, length, density, rate)
    net = np.where(inside, power - floor[:, None], 0.0)
    total = net.sum(axis=1)
    whole = power[:, frequency >= AUDIBLE_HZ].sum(axis=1)
    cumulative = np.cumsum(net, axis=1)
    place = np.argmax(cumulative >= 0.5 * total[:, None], axis=1)
    rows = np.arange(m)
    before = np.where(place > 0, cumulative[rows, place - 1], 0.0)
    step = np.maximum(cumulative[rows, place] - before, 1e-30)
    bin_hz = rate / size
    centre = frequency[place] - bin_hz / 2 + bin_hz * np.clip((0.5 * total - before) / step, 0, 1)
    # error of the median of energy: noise energy of both halves against the energy per Hz at the middle
    near = np.abs(frequency - centre[:, None]) <= np.maximum(0.05 * (high - low), 2 * bin_hz)[:, None]
    per_hz = np.maximum(np.where(near, net, 0).sum(axis=1) / np.maximum(near.sum(axis=1), 1) / bin_hz, 1e-30)
    independent = rate / length
    noise_energy = np.sqrt(
        np.sum(np.where(inside, floor[:, None] ** 2 + 2 * floor[:, None] * np.maximum(net, 0), 0), axis=1)
        * independent / bin_hz
    )
    return {
        "peak_frequency": (peak, peak_error),
        "centre_frequency": (centre, 0.5 * noise_energy / per_hz / bin_hz),
        "energy": (2 * total / (size * rate), None),
        "whole_energy": (2 * whole / (size * rate) - noise_power * length / rate, None),
    }


def _peak(own, coarse_hz, length, density, rate):
    """Frequency at which |X(f)| is greatest, by Newton's steps from a bin, and its standard error.

    With X, X', X'' the transform of the samples weighted by 1, t and t^2 (t from the middle), the power's slope is
    2 Re(X' X*) and its bend 2 Re(X'' X*) + 2 |X'|^2; noise moves the peak by its own share of the slope over the bend.
    """
    m, n = own.shape
    time = (np.arange(n)[None, :] - (length[:, None] - 1) / 2) / rate
    frequency = coarse_hz.copy()
    limit = rate / length
    for _ in range(3):
        turned = own * np.exp(-2j * np.pi * (frequency[:, None] * time)).astype(np.complex64)
        x0 = turned.sum(axis=1)
        weighted = turned * time
        x1 = -2j * np.pi * weighted.sum(axis=1)
        x2 = -4 * np.pi**2 * (weighted * time).sum(axis=1)
        slope = 2 * np.real(x1 * np.conj(x0))
        bend = 2 * np.real(x2 * np.conj(x0)) + 2 * np.abs(x1) ** 2
        step = np.where(bend < 0, -slope / np.where(bend < 0, bend, -1.0), 0.0)
        frequency = frequency + np.clip(step, -limit / 4, limit / 4)
    per_sample = density * rate / 2
    spread = (2 * np.pi) ** 2 * length * (length**2 - 1) / 12 / rate**2
    noise_slope = 2 * np.sqrt(0.5 * per_sample * (np.abs(x0) ** 2 * spread + np.abs(x1) ** 2 * length))
    error = noise_slope / np.maximum(np.abs(bend), 1e-30)
    return frequency, np.minimum(error, limit)
