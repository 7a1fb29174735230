"""Following the sweep: demodulation along the coarse ridge, and the correction of the ridge by what is left over.

A window laid across a steep sweep smears it. Multiplying the samples by exp(-j * phase of the ridge) turns the sweep
into something nearly constant, which may be low-passed narrowly; the phase that is left tells how to correct the
ridge.
"""

import numpy as np

from classifier.compiled import compiled

#: Rate, in Hz, to which a demodulated pulse is brought down: wide enough for a ridge that is off by 8 kHz.
BASEBAND_RATE_HZ = 32_000.0
#: Baseband samples from one node of a ridge to the next; the close look steps by as much.
NODE = 6
#: Nodes by which a track is carried on over both its ends.
MARGIN_NODES = 10
#: For so many of them it keeps the slope of its end, then its frequency.
SLOPING_NODES = 3
#: Light averaging before the leftover frequency is read off: lets pass about 5 kHz on either side of the ridge.
_CALM = np.array([0.25, 0.75, 1.0, 0.75, 0.25]) / 3
#: Rounds of correction, and the averaging of the leftover frequency in baseband samples.
_ROUNDS = 2
_TURN_WIDTHS = (9, 13)
#: Low-pass length in units of the decimation.
_FILTER_SPANS = 5


class Baseband:
    """Rates and filter by which pulses of one sample rate are brought down to baseband.

    sample_rate_hz, rate_hz : float, before and after
    decimation : int, samples for one baseband sample
    node : int, samples from one node of a ridge to the next
    kernel : float64, shape (5 * decimation,), the low-pass, of sum 1
    """

    def __init__(self, *, sample_rate_hz):
        self.sample_rate_hz = float(sample_rate_hz)
        self.decimation = max(1, round(sample_rate_hz / BASEBAND_RATE_HZ))
        self.rate_hz = self.sample_rate_hz / self.decimation
        self.node = NODE * self.decimation
        taps = _FILTER_SPANS * self.decimation
        # least squares would ripple less; a Kaiser window's skirts fall where nothing but wide noise is left
        position = np.arange(taps) - (taps - 1) / 2
        cutoff = 0.5 / self.decimation
        kernel = np.sinc(2 * cutoff * position * 0.92) * np.kaiser(taps, 5.0)
        self.kernel = kernel / kernel.sum()


@compiled
def demodulate(samples, begin, nodes_hz, kernel, decimation, sample_rate_hz):
    """Demodulate one pulse.

    Parameters
    ----------
    samples : float32, shape (n_samples,), audio around the pulse; beyond its ends there is silence
    begin : int, the sample at which the first node stands; may lie outside
    nodes_hz : float64, shape (n_nodes,), ridge at every NODE * decimation samples, linear between
    kernel, decimation, sample_rate_hz : see Baseband

    Returns
    -------
    complex128 and float64, shape ((n_nodes - 1) * NODE,): half the pulse's amplitude with the phase that the ridge
    left over, and the ridge at those instants in Hz
    """
    node = NODE * decimation
    pieces = len(nodes_hz) - 1
    taps = len(kernel)
    margin = (taps - decimation) // 2
    # apart, so that the sums of the low-pass run over neighbours in memory
    real = np.zeros(pieces * node + 2 * margin)
    imaginary = np.zeros(len(real))
    turns = 0.0
    for piece in range(pieces):
        base, change = nodes_hz[piece], nodes_hz[piece + 1] - nodes_hz[piece]
        # the phase is a parabola from node to node: its steps grow evenly, so both are products
        here, step, growth = (
            _unit(-turns),
            _unit(-(base / sample_rate_hz + change / (2 * node * sample_rate_hz))),
            _unit(-change / (node * sample_rate_hz)),
        )
        start = begin + piece * node
        # every second sample in one of two rows, so that neither waits for the other
        other, twice = here * step, step * step * growth
        quick = growth * growth * growth * growth
        other_twice = twice * growth * growth
        for i in range(0, node - 1, 2):
            at, out = start + i, margin + piece * node + i
            if 0 <= at < len(samples):
                real[out], imaginary[out] = samples[at] * here.real, samples[at] * here.imag
            if 0 <= at + 1 < len(samples):
                real[out + 1], imaginary[out + 1] = samples[at + 1] * other.real, samples[at + 1] * other.imag
            here *= twice
            other *= other_twice
            twice *= quick
            other_twice *= quick
        turns += (base + 0.5 * change) * (node / sample_rate_hz)
        turns -= np.floor(turns)
    n = pieces * NODE
    signal = np.empty(n, np.complex128)
    ridge = np.empty(n)
    for j in range(n):
        in_phase, quadrature = 0.0, 0.0
        offset = j * decimation
        for k in range(taps):
            in_phase += kernel[k] * real[offset + k]
            quadrature += kernel[k] * imaginary[offset + k]
        signal[j] = complex(in_phase, quadrature)
        at = (j + 0.5) / NODE - 0.5 / node
        left = min(int(at), pieces - 1)
        ridge[j] = nodes_hz[left] + (nodes_hz[left + 1] - nodes_hz[left]) * (at - left)
    return signal, ridge


@compiled
def _unit(turns):
    """The number of length 1 at so many turns."""
    return complex(np.cos(2 * np.pi * turns), np.sin(2 * np.pi * turns))


@compiled
def averaging_window(width):
    """Hann window of an odd number of samples without its zero ends, whose sum is 1: float64, shape (width,)."""
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(1, width + 1) / (width + 1))
    return window / window.sum()


@compiled
def smooth(values, window):
    """Convolve with a symmetric window of odd length, keeping the length; beyond the ends there is nothing.

    values : complex128, shape (n,)
    """
    half = len(window) // 2
    # as pairs of real numbers, which are shifted and added as whole rows
    out = np.zeros_like(values)
    flat, given = out.view(np.float64), values.view(np.float64)
    n = len(flat)
    for i in range(n):
        flat[i] = window[half] * given[i]
    for lag in range(1, half + 1):
        weight = window[half + lag]
        for i in range(n - 2 * lag):
            flat[i] += weight * given[i + 2 * lag]
            flat[i + 2 * lag] += weight * given[i]
    return out


@compiled
def leftover_frequency(signal, width, quiet, rate_hz):
    """Frequency that demodulation left, from the turn between neighbouring samples, averaged with their energy.

    df(t) = angle(sum_w z(t) conj z(t-1) + quiet) * rate / 2 pi, so that where there is nothing but noise it goes to 0.

    Parameters
    ----------
    signal : complex128, shape (n,)
    width : odd int, samples of the averaging window (Hann)
    quiet : float64, shape (n,), energies under which nothing is to be believed

    Returns
    -------
    float64, shape (n,), Hz
    """
    n = len(signal)
    turn = np.zeros(n, np.complex128)
    for i in range(1, n):
        turn[i] = signal[i] * np.conj(signal[i - 1])
    mean = smooth(turn, averaging_window(width))
    out = np.empty(n)
    for i in range(n):
        out[i] = np.arctan2(mean[i].imag, mean[i].real + quiet[i]) * (rate_hz / (2 * np.pi))
    # the turn between n-1 and n belongs half a sample earlier
    for i in range(n - 1):
        out[i] = 0.5 * (out[i] + out[i + 1])
    return out


@compiled
def refine(signal, ridge_hz, noise_power, first, last, rate_hz, nyquist_hz):
    """Correct a ridge by what demodulation along it left, and turn the signal accordingly; both in place.

    Parameters
    ----------
    signal, ridge_hz : from ``demodulate``
    noise_power : float64, shape (n,), mean noise power of each baseband sample
    first, last : int, where the correction may be read off; beyond, it is held: there is noise, or another sound
    """
    quiet = 1.5 * noise_power
    for turn in range(_ROUNDS):
        # what lies further off is a neighbouring harmonic or another bat
        calm = smooth(signal, _CALM)
        left = leftover_frequency(calm, _TURN_WIDTHS[turn], quiet, rate_hz)
        left[:first] = left[first]
        left[last + 1 :] = left[last]
        phase = 0.0
        for i in range(len(signal)):
            if i:
                phase += np.pi / rate_hz * (left[i] + left[i - 1])
            ridge_hz[i] = min(max(ridge_hz[i] + left[i], 1_000.0), nyquist_hz)
            cosine, sine = np.cos(phase), -np.sin(phase)
            real, imaginary = signal[i].real, signal[i].imag
            signal[i] = complex(real * cosine - imaginary * sine, real * sine + imaginary * cosine)
