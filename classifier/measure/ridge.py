"""Following the sweep: demodulation along the coarse ridge, and the correction of the ridge by what is left over.

A window laid across a steep sweep smears it. Multiplying the samples by exp(-j * phase of the ridge) turns the sweep
into something nearly constant, which may be low-passed narrowly; the phase that is left tells how to correct the
ridge.
"""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.angles import angle, circle, turned, turns_of

#: Rate, in Hz, to which a demodulated pulse is brought down: wide enough for a ridge that is off by 8 kHz.
BASEBAND_RATE_HZ = 32_000.0
#: Baseband samples from one node of a ridge to the next; the close look steps by as much.
NODE = 8
#: Nodes by which a track is carried on over both its ends.
MARGIN_NODES = 8
#: For so many of them it keeps the slope of its end, then its frequency.
SLOPING_NODES = 2
#: Nodes keep this far from 0 Hz and from the Nyquist frequency, in Hz.
EDGE_HZ = 3_000.0
#: Light averaging before the leftover frequency is read off: lets pass about 5 kHz on either side of the ridge.
_CALM = np.array([0.25, 0.75, 1.0, 0.75, 0.25]) / 3
#: Low-pass length in units of the decimation.
_FILTER_SPANS = 5


def averaging_window(width):
    """Hann window of an odd number of samples without its zero ends, whose sum is 1: float64, shape (width,)."""
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(1, width + 1) / (width + 1))
    return window / window.sum()


#: Of the baseband it lets pass some 2 kHz on either side of the ridge.
NARROW = averaging_window(13)
#: Rounds of correction, and the averaging of the leftover frequency in each.
_TURN_WINDOWS = (averaging_window(9), averaging_window(13))


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
def carried_on(frequency_hz, time, node, sample_rate_hz, margin=MARGIN_NODES, sloping=SLOPING_NODES):
    """First sample of a pulse's row and its nodes: the track, carried on with its end slopes over both its ends.

    Parameters
    ----------
    frequency_hz : float64, shape (n,), n >= 2, the track at every node
    time : float, sample of its first point
    margin, sloping : int, nodes added at each end, and how many of them keep its slope; then it is held
    """
    n = len(frequency_hz)
    few = min(n - 1, 2)
    rise = (frequency_hz[few] - frequency_hz[0]) / few
    fall = (frequency_hz[-1] - frequency_hz[-1 - few]) / few
    nodes = np.empty(n + 2 * margin)
    nodes[margin:-margin] = frequency_hz
    for i in range(margin):
        away = min(margin - i, sloping)
        nodes[i] = frequency_hz[0] - rise * away
        nodes[-1 - i] = frequency_hz[-1] + fall * away
    highest = sample_rate_hz / 2 - EDGE_HZ
    return int(np.round(time - margin * node)), np.minimum(np.maximum(nodes, EDGE_HZ), highest)


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
        # the phase is a parabola from node to node
        base = nodes_hz[piece] / sample_rate_hz
        bend = (nodes_hz[piece + 1] - nodes_hz[piece]) / (2 * node * sample_rate_hz)
        start, out = begin + piece * node, margin + piece * node
        first = min(max(0, -start), node)
        last = max(min(node, len(samples) - start), first)
        # as arrays of their own, whose places are counted from 0: then they are filled eight at a time
        here = samples[start + first : start + last]
        in_phase, quadrature = real[out + first : out + last], imaginary[out + first : out + last]
        for i in range(last - first):
            t = first + i
            cosine, sine = circle(-(turns + t * (base + t * bend)))
            in_phase[i], quadrature[i] = here[i] * cosine, here[i] * sine
        turns += node * (base + node * bend)
        turns -= np.floor(turns)
    n = pieces * NODE
    signal = np.empty(n, np.complex128)
    ridge = np.empty(n)
    for j in range(n):
        near, far = real[j * decimation : j * decimation + taps], imaginary[j * decimation : j * decimation + taps]
        in_phase, quadrature = 0.0, 0.0
        for k in range(taps):
            in_phase += kernel[k] * near[k]
            quadrature += kernel[k] * far[k]
        signal[j] = complex(in_phase, quadrature)
        at = (j + 0.5) / NODE - 0.5 / node
        left = min(int(at), pieces - 1)
        ridge[j] = nodes_hz[left] + (nodes_hz[left + 1] - nodes_hz[left]) * (at - left)
    return signal, ridge


@compiled
def smooth(values, window):
    """Convolve with a symmetric window of odd length, keeping the length; beyond the ends there is nothing.

    values : complex128, shape (n,)
    """
    half = len(window) // 2
    # as pairs of real numbers, which are shifted and added as whole rows
    out = np.empty_like(values)
    flat, given = out.view(np.float64), values.view(np.float64)
    for i in range(len(flat)):
        flat[i] = window[half] * given[i]
    for lag in range(1, half + 1):
        weight = window[half + lag]
        early, late = flat[: len(flat) - 2 * lag], flat[2 * lag :]
        ahead, behind = given[2 * lag :], given[: len(flat) - 2 * lag]
        for i in range(len(early)):
            early[i] += weight * ahead[i]
        for i in range(len(late)):
            late[i] += weight * behind[i]
    return out


@compiled
def leftover_frequency(signal, window, quiet, rate_hz):
    """Frequency that demodulation left, from the turn between neighbouring samples, averaged with their energy.

    df(t) = angle(sum_w z(t) conj z(t-1) + quiet) * rate, the angle in turns, so that where there is nothing but noise it goes to 0.

    Parameters
    ----------
    signal : complex128, shape (n,)
    window : float64, of odd length, to average with
    quiet : float64, shape (n,), energies under which nothing is to be believed

    Returns
    -------
    float64, shape (n,), Hz
    """
    n = len(signal)
    turn = np.zeros(n, np.complex128)
    for i in range(1, n):
        turn[i] = signal[i] * np.conj(signal[i - 1])
    mean = smooth(turn, window)
    out = np.empty(n)
    for i in range(n):
        out[i] = angle(mean[i].real + quiet[i], mean[i].imag) * rate_hz
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
    for window in _TURN_WINDOWS:
        # what lies further off is a neighbouring harmonic or another bat
        calm = smooth(signal, _CALM)
        left = leftover_frequency(calm, window, quiet, rate_hz)
        left[:first] = left[first]
        left[last + 1 :] = left[last]
        turns = turns_of(left, rate_hz)
        for i in range(len(signal)):
            ridge_hz[i] = min(max(ridge_hz[i] + left[i], 1_000.0), nyquist_hz)
            signal[i] = turned(signal[i], -turns[i])
