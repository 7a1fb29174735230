"""Following the sweep: demodulation along the coarse ridge, and the correction of the ridge by what is left over.

A window laid across a steep sweep smears it. Multiplying the samples by exp(-j * phase of the ridge) turns the sweep
into something nearly constant, which may be low-passed narrowly; the phase that is left tells how to correct the
ridge. The pulses of a batch are handled as the rows of one array.
"""

import numpy as np

#: Rate, in Hz, to which a demodulated pulse is brought down: wide enough for a ridge that is off by 8 kHz.
BASEBAND_RATE_HZ = 32_000.0
#: Baseband samples from one node of a ridge to the next; the close look steps by as much.
NODE = 6
#: Nodes by which a track is carried on over both its ends.
MARGIN_NODES = 10
#: Light averaging before the leftover frequency is read off: lets pass about 5 kHz on either side of the ridge.
_CALM = np.array([0.25, 0.75, 1.0, 0.75, 0.25], np.float32) / 3
#: Low-pass length in units of the decimation.
_FILTER_SPANS = 5


class Demodulator:
    """Brings pulses of one sample rate down to baseband."""

    def __init__(self, *, sample_rate_hz):
        self.sample_rate_hz = sample_rate_hz
        self.decimation = max(1, round(sample_rate_hz / BASEBAND_RATE_HZ))
        self.rate_hz = sample_rate_hz / self.decimation
        self.node = NODE * self.decimation
        taps = _FILTER_SPANS * self.decimation
        # least squares would ripple less; a Kaiser window's skirts fall where nothing but wide noise is left
        position = np.arange(taps) - (taps - 1) / 2
        cutoff = 0.5 / self.decimation
        kernel = np.sinc(2 * cutoff * position * 0.92) * np.kaiser(taps, 5.0)
        kernel /= kernel.sum()
        self.kernel = kernel.astype(np.float32).reshape(_FILTER_SPANS, self.decimation).T.copy()
        ramp = np.arange(self.node)
        self._linear = ramp / sample_rate_hz
        self._bent = ramp**2 / (2 * self.node * sample_rate_hz)

    def __call__(self, samples, nodes_hz):
        """Demodulate.

        Parameters
        ----------
        samples : float32, shape (n_pulses, (n_nodes - 1) * node), audio of each pulse
        nodes_hz : float64, shape (n_pulses, n_nodes), ridge at every ``node`` samples, linear between

        Returns
        -------
        complex64, shape (n_pulses, n), and the ridge at those n instants, float64
        """
        m, k = nodes_hz.shape
        base = nodes_hz[:, :-1]
        change = nodes_hz[:, 1:] - base
        steps = (base + 0.5 * change) * (self.node / self.sample_rate_hz)
        turns = np.cumsum(steps, axis=1)
        turns -= steps
        turns -= np.floor(turns)
        cycles = turns[:, :, None] + base[:, :, None] * self._linear + change[:, :, None] * self._bent
        cycles -= np.round(cycles)
        angle = (cycles * (-2 * np.pi)).astype(np.float32).reshape(m, -1)
        turned = np.empty((2, *angle.shape), np.float32)
        np.cos(angle, out=turned[0])
        np.sin(angle, out=turned[1])
        turned *= samples
        low = self._decimate(turned.reshape(2 * m, -1)).reshape(2, m, -1)
        signal = np.empty(low.shape[1:], np.complex64)
        signal.real, signal.imag = low
        n = signal.shape[1]
        at = (np.arange(n) + 0.5) / NODE - 0.5 / self.node
        left = np.minimum(at.astype(int), k - 2)
        frequency = base[:, left] + change[:, left] * (at - left)
        return signal, frequency

    def _decimate(self, rows):
        """Low-pass rows and keep the value at the middle of every ``decimation`` samples."""
        m, n = rows.shape
        d, half = self.decimation, _FILTER_SPANS // 2
        parts = rows.reshape(m, n // d, d) @ self.kernel
        out = parts[:, :, half].copy()
        for span in range(_FILTER_SPANS):
            lag = span - half
            if lag > 0:
                out[:, :-lag] += parts[:, lag:, span]
            elif lag < 0:
                out[:, -lag:] += parts[:, :lag, span]
        return out


def phase_of(frequency_hz, rate_hz):
    """Phase in radians whose derivative is the given frequency, along the last axis, by the trapezoidal rule."""
    steps = (frequency_hz[..., 1:] + frequency_hz[..., :-1]) * (np.pi / rate_hz)
    out = np.zeros(frequency_hz.shape)
    np.cumsum(steps, axis=-1, out=out[..., 1:])
    return out


def leftover_frequency(signal, *, rate_hz, width, quiet):
    """Frequency that demodulation left, from the turn between neighbouring samples, averaged with their energy.

    df(t) = angle(sum_w z(t) conj z(t-1) + quiet) * rate / 2 pi, so that where there is nothing but noise it goes to 0.

    Parameters
    ----------
    signal : complex64, shape (n_pulses, n)
    width : odd int, samples of the averaging window (Hann)
    quiet : float, shape (n_pulses, 1), an energy under which nothing is to be believed

    Returns
    -------
    float64, shape (n_pulses, n), Hz
    """
    turn = np.zeros(signal.shape, np.complex64)
    np.multiply(signal[:, 1:], np.conj(signal[:, :-1]), out=turn[:, 1:])
    window = np.hanning(width + 2)[1:-1].astype(np.float32)
    window /= window.sum()
    mean = smooth(turn, window) + quiet
    step = np.angle(mean) * (rate_hz / (2 * np.pi))
    # the turn between n-1 and n belongs half a sample earlier
    out = step.astype(float)
    out[:, :-1] = 0.5 * (step[:, :-1] + step[:, 1:])
    return out


def averaging_window(width):
    """Hann window of an odd number of samples without its zero ends, whose sum is 1: float32, shape (width,)."""
    window = np.hanning(width + 2)[1:-1]
    return (window / window.sum()).astype(np.float32)


def smooth(rows, window):
    """Convolve each row with an odd window, keeping the length; beyond the ends there is nothing."""
    half = len(window) // 2
    out = rows * window[half]
    for lag in range(1, half + 1):
        out[:, lag:] += rows[:, :-lag] * window[half - lag]
        out[:, :-lag] += rows[:, lag:] * window[half + lag]
    return out


def refine(samples, nodes_hz, noise_power, *, demodulator, rounds=((9, 1.0), (13, 1.0))):
    """Demodulate, correct, and demodulate again along the corrected ridge.

    Parameters
    ----------
    samples, nodes_hz : as for Demodulator
    noise_power : float, shape (n_pulses,), mean noise power of a baseband sample
    rounds : (width of averaging in baseband samples, share of the correction taken) for each round

    Returns
    -------
    The demodulated signal (complex64: half the pulse's amplitude, with the phase that the ridge left over), its ridge in Hz (float64), both of shape (n_pulses, n)
    """
    rate = demodulator.rate_hz
    nyquist = demodulator.sample_rate_hz / 2
    quiet = (noise_power * 1.5)[:, None].astype(np.float32)
    signal, frequency = demodulator(samples, nodes_hz)
    for width, share in rounds:
        # what lies further off is a neighbouring harmonic or another bat
        calm = smooth(signal, _CALM)
        left = share * leftover_frequency(calm, rate_hz=rate, width=width, quiet=quiet)
        frequency = np.clip(frequency + left, 1_000.0, nyquist)
        signal = signal * np.exp(-1j * phase_of(left, rate)).astype(np.complex64)
    return signal, frequency
