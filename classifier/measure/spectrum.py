"""Energy over frequency: of the pulse as fitted, which has no noise, and of the recording in its span.

Peak and centre frequency are those of the fitted pulse, amplitude times phase, brought down to the middle of its band
so that few samples hold it. What the recording holds in that band and beyond says whether the fit is all there is.
"""

import numpy as np
import scipy.fft

from classifier.compiled import compiled
from classifier.measure.angles import circle, turned
from classifier.measure.smoothing import deviation_at, length_of, solve_forward
from classifier.measure.spline import DEGREE, bases_of, basis_rows, polynomial_at, polynomials_along

#: Room given beyond the ridge's band, in Hz.
BAND_ROOM_HZ = 2_000.0
#: Beyond either end of its span the pulse fades away within this share of its length.
FADED_SHARE = 0.1
#: Samples of the fitted pulse for each Hz of its band, and at least so many.
OVERSAMPLING, FEWEST_SAMPLES = 1.3, 48
#: Length of its transform over its own: so close lie the frequencies among which the highest is looked for.
PADDING = 3
#: Maxima of the spectrum are rivals when they differ by less than so many times the relative error of the amplitude.
RIVAL = 4.0
#: Samples of the fitted pulse that are taken together where its covariance is asked for.
_TOGETHER = 4
#: Instants at which the energy of the fitted pulse is summed.
_STEPS = 64


@compiled
def _fitted(shape, low_hz, high_hz):
    """The fitted pulse, brought down by the middle of its band.

    Parameters
    ----------
    shape : Shape
    low_hz, high_hz : float, the band of its ridge

    Returns
    -------
    signal : complex128, shape (n,)
    rate_hz, first_s : float, its sample rate, and the instant of its first sample
    """
    length = shape.end_s - shape.begin_s
    rate_hz = OVERSAMPLING * (high_hz - low_hz + 2 * BAND_ROOM_HZ + 6.0 / length)
    middle_hz = 0.5 * (low_hz + high_hz)
    # beyond the span it goes on for a little
    first_s = max(shape.begin_s - FADED_SHARE * length, shape.amplitude_knots[DEGREE])
    last_s = min(shape.end_s + FADED_SHARE * length, shape.amplitude_knots[len(shape.amplitude_knots) - DEGREE - 1])
    count = max(int((last_s - first_s) * rate_hz), FEWEST_SAMPLES)
    height = polynomials_along(first_s, 1.0 / rate_hz, count, shape.amplitude_knots, shape.amplitude, 0)
    turns = polynomials_along(first_s, 1.0 / rate_hz, count, shape.knots, shape.turns, 0)
    for at_s, outward in ((shape.begin_s, -1.0), (shape.end_s, 1.0)):
        _fade(height, first_s, 1.0 / rate_hz, at_s, outward, FADED_SHARE * length, shape)
    signal = np.empty(count, np.complex128)
    for i in range(count):
        cosine, sine = circle(turns[i] - middle_hz * (first_s + i / rate_hz))
        amplitude = max(height[i], 0.0)
        signal[i] = complex(amplitude * cosine, amplitude * sine)
    return signal, rate_hz, first_s


@compiled
def _fade(height, first_s, step_s, end_s, outward, longest_s, shape):
    """Let an amplitude fade away beyond an end of its span, in place: from what it has there, as steeply as it falls there, along a
    parabola to nothing.

    What was fitted beyond is mostly noise, a thousandth of the energy; but of a sweep, whose spectrum is flat, a thousandth decides
    where it is highest.
    """
    level = max(polynomial_at(end_s, shape.amplitude_knots, shape.amplitude, 0), 0.0)
    fall = -outward * polynomial_at(end_s, shape.amplitude_knots, shape.amplitude, 1)
    faded_s = max(min(2.0 * level / max(fall, 1e-12), longest_s), 1e-9)
    for i in range(len(height)):
        beyond_s = outward * (first_s + i * step_s - end_s)
        if beyond_s > 0.0:
            left = max(1.0 - beyond_s / faded_s, 0.0)
            height[i] = level * left * left


@compiled
def peak_and_centre(shape, low_hz, high_hz):
    """Peak and centre frequency of the fitted pulse, with standard errors.

    Parameters
    ----------
    shape : Shape
    low_hz, high_hz : float, the band of its ridge

    Returns
    -------
    peak_hz, peak_error_hz, centre_hz, centre_error_hz : float
    """
    signal, rate_hz, first_s = _fitted(shape, low_hz, high_hz)
    middle_hz = 0.5 * (low_hz + high_hz)
    size = scipy.fft.next_fast_len(PADDING * len(signal))
    spectrum = scipy.fft.fft(signal, size)
    power = np.empty(size)
    # the bins below the middle of the band stand in the upper half
    for part, target in ((spectrum[size - size // 2 :], power[: size // 2]), (spectrum, power[size // 2 :])):
        for i in range(len(target)):
            target[i] = part[i].real * part[i].real + part[i].imag * part[i].imag
    total, place = power.sum(), np.argmax(power)
    highest = power[place]
    below, i = 0.0, 0
    while below + power[i] < 0.5 * total:
        below += power[i]
        i += 1
    bin_hz = rate_hz / size
    centre = (i - size // 2 + (0.5 * total - below) / power[i] - 0.5) * bin_hz
    amplitude_bases = bases_of(shape.amplitude_knots)
    peak, peak_error = _peak(signal, first_s, rate_hz, (place - size // 2) * bin_hz, shape, amplitude_bases)
    # other maxima that noise may lift over this one
    doubt = RIVAL * deviation_at(shape.peak_s, shape.amplitude_knots, shape.amplitude_root, 0) / shape.peak_amplitude
    for k in range(1, size - 1):
        if power[k] > highest * (1 - min(doubt, 0.9)) and power[k] >= power[k - 1] and power[k] > power[k + 1]:
            peak_error = max(peak_error, 0.5 * abs(k - place) * bin_hz)
    return middle_hz + peak, peak_error, middle_hz + centre, _centre_error(shape, middle_hz + centre, amplitude_bases)


@compiled
def _peak(signal, first_s, rate_hz, coarse_hz, shape, amplitude_bases):
    """Frequency at which |X(f)| is greatest, by Newton's steps from a bin, and its standard error.

    With X, X', X'' the transform of the samples weighted by 1, t and t^2 (t from the middle), the power's slope is
    2 Re(X' X*) and its bend 2 Re(X'' X*) + 2 |X'|^2. The error is what the covariance of phase and amplitude makes of
    the slope, over the bend. t is counted in samples and scaled at the end.
    """
    n = len(signal)
    middle = 0.5 * (n - 1)
    frequency, limit = coarse_hz, rate_hz / n
    real, imaginary = np.empty(n), np.empty(n)
    x0 = x1 = 0j
    bend = -1e-30
    for _ in range(3):
        r0 = i0 = r1 = i1 = r2 = i2 = 0.0
        for i in range(n):
            t = i - middle
            here = turned(signal[i], -t * (frequency / rate_hz))
            real[i], imaginary[i] = here.real, here.imag
            r0 += real[i]
            i0 += imaginary[i]
            r1 += real[i] * t
            i1 += imaginary[i] * t
            r2 += real[i] * (t * t)
            i2 += imaginary[i] * (t * t)
        scale = 2 * np.pi / rate_hz
        x0 = complex(r0, i0)
        x1 = -1j * scale * complex(r1, i1)
        x2 = -scale * scale * complex(r2, i2)
        slope = 2 * (x1 * np.conj(x0)).real
        bend = 2 * (x2 * np.conj(x0)).real + 2 * (x1.real**2 + x1.imag**2)
        if bend < 0:
            frequency += min(max(-slope / bend, -limit / 4), limit / 4)
    by_phase, by_amplitude = np.zeros(len(shape.root)), np.zeros(len(shape.amplitude_root))
    # neighbours pull at nearly the same splines
    together = (n + _TOGETHER - 1) // _TOGETHER
    at_s, step_s = first_s + 0.5 * (_TOGETHER - 1) / rate_hz, _TOGETHER / rate_hz
    phase_rows, phase_pieces = basis_rows(at_s, step_s, together, shape.knots, bases_of(shape.knots))
    amplitude_rows, amplitude_pieces = basis_rows(at_s, step_s, together, shape.amplitude_knots, amplitude_bases)
    for k in range(together):
        phase_pull = amplitude_pull = 0.0
        for i in range(k * _TOGETHER, min((k + 1) * _TOGETHER, n)):
            # change of the slope for a change of this sample
            pull = 2 * (np.conj(x1) - 1j * scale * (i - middle) * np.conj(x0)) * complex(real[i], imaginary[i])
            phase_pull -= 2 * np.pi * pull.imag
            amplitude_pull += pull.real / max(np.sqrt(real[i] ** 2 + imaginary[i] ** 2), 1e-30)
        for a in range(DEGREE + 1):
            by_phase[phase_pieces[k] + a] += phase_pull * phase_rows[k, a]
            by_amplitude[amplitude_pieces[k] + a] += amplitude_pull * amplitude_rows[k, a]
    spread = np.hypot(length_of(solve_forward(shape.root, by_phase)), length_of(solve_forward(shape.amplitude_root, by_amplitude)))
    return frequency, min(spread / max(abs(bend), 1e-30), limit)


@compiled
def _centre_error(shape, centre_hz, amplitude_bases):
    """Standard error of the centre frequency, for a sweep whose energy at a frequency is that at one moment.

    The moment that halves the energy is as unsure as the amplitude on either side of it; the ridge there adds its own.
    """
    step = (shape.end_s - shape.begin_s) / (_STEPS - 1)
    ridge = polynomials_along(shape.begin_s, step, _STEPS, shape.knots, shape.turns, 1)
    place = np.argmin(np.abs(ridge - centre_hz))
    height = polynomials_along(shape.begin_s, step, _STEPS, shape.amplitude_knots, shape.amplitude, 0)
    rows, pieces = basis_rows(shape.begin_s, step, _STEPS, shape.amplitude_knots, amplitude_bases)
    pull = np.zeros(len(shape.amplitude_root))
    for i in range(_STEPS):
        for a in range(DEGREE + 1):
            pull[pieces[i] + a] += (height[i] if i > place else -height[i]) * step * rows[i, a]
    at = shape.begin_s + place * step
    there = max(height[place], 0.1 * shape.peak_amplitude)
    moment = length_of(solve_forward(shape.amplitude_root, pull)) / there**2
    slope = polynomial_at(at, shape.knots, shape.turns, 2)
    return np.hypot(deviation_at(at, shape.knots, shape.root, 1), slope * moment)


@compiled
def running_energy(spectrum, scale):
    """Running sum of the energy over the bins of a transform of real samples, with a 0 before the first."""
    out = np.zeros(len(spectrum) + 1)
    for i in range(len(spectrum)):
        out[i + 1] = out[i] + scale * (spectrum[i].real ** 2 + spectrum[i].imag ** 2)
    return out


@compiled
def net_energy(running, bin_hz, low_hz, high_hz, floor, floor_bin_hz, seconds):
    """Energy between two frequencies less that of the noise, and the noise's standard deviation.

    Parameters
    ----------
    running, bin_hz : from ``running_energy``
    floor, floor_bin_hz : noise density at multiples of floor_bin_hz
    seconds : float, length of what was transformed

    Returns
    -------
    float, float, full scale squared times seconds
    """
    last = len(running) - 1
    first = min(max(int(np.ceil(low_hz / bin_hz)), 0), last)
    end = min(max(int(high_hz / bin_hz) + 1, first), last)
    density, count = 0.0, 0
    lowest = max(int(np.round(low_hz / floor_bin_hz)), 0)
    for i in range(lowest, min(int(np.round(high_hz / floor_bin_hz)) + 1, len(floor))):
        density += floor[i]
        count += 1
    noise = density / max(count, 1) * (end - first) * bin_hz * seconds
    # noise has as many independent values as its band times its length
    cells = max((high_hz - low_hz) * seconds, 1.0)
    return running[end] - running[first] - noise, noise / np.sqrt(cells)
