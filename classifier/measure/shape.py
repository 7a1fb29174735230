"""From a coarse track to the pulse's shape: its fitted ridge, its amplitude, its span, and how sure each is."""

from dataclasses import dataclass

import numpy as np

from classifier.measure.ridge import averaging_window, phase_of, refine, smooth
from classifier.measure.spline import DEGREE, PhaseFit, fit_phase, place_knots

#: Averaging of amplitude, in baseband samples, from which the narrowest that is quiet enough is taken.
AMPLITUDE_WIDTHS = (3, 7, 15)
#: A gap in amplitude this long ends the pulse; shorter ones are ripples.
GAP_S = 0.5e-3


@dataclass
class Shapes:
    """A batch of pulses. Times in seconds from the first sample of the pulse's row.

    fit : PhaseFit
    begin_s, end_s : float64, shape (n_pulses,), the span; NaN where none could be found
    begin_error_s, end_error_s : float64, their standard errors
    inside : bool, shape (n_pulses, n), the baseband instants within the span
    ridge_hz : float64, shape (n_pulses, n), the fitted ridge at all of them, carried on beyond the span
    ridge_energy : float64, shape (n_pulses,), energy along the ridge within the span, full scale squared times seconds
    peak_amplitude : float64, shape (n_pulses,)
    """

    fit: PhaseFit
    begin_s: np.ndarray
    end_s: np.ndarray
    begin_error_s: np.ndarray
    end_error_s: np.ndarray
    inside: np.ndarray
    ridge_hz: np.ndarray
    ridge_energy: np.ndarray
    peak_amplitude: np.ndarray


def shape_batch(samples, nodes_hz, density_of, track_span, *, demodulator, settings):
    """Fit ridge and span of a batch.

    Parameters
    ----------
    samples, nodes_hz : as for Demodulator
    density_of : callable, (n_pulses, n) of frequencies in Hz -> noise density at them
    track_span : float, shape (n_pulses, 2), first and last baseband sample of the coarse track

    Returns
    -------
    Shapes
    """
    rate = demodulator.rate_hz
    half_density = 0.5 * density_of(nodes_hz[:, ::4]).mean(axis=1)
    signal, ridge = refine(samples, nodes_hz, half_density * rate, demodulator=demodulator)
    m, n = signal.shape
    index = np.arange(n)
    density = density_of(ridge)
    # noise of one baseband sample: complex density is half the one-sided density of the real signal
    sample_noise = 0.5 * density * rate
    calm = averaging_window(13)
    averaged = smooth(signal, calm)
    averaged_noise = sample_noise * np.sum(calm**2)
    energy = np.maximum(np.abs(averaged) ** 2 - averaged_noise, 0.0)
    inside = (index >= track_span[:, :1] - 1) & (index <= track_span[:, 1:] + 1)
    peak = np.argmax(np.where(inside, energy, -1.0), axis=1)
    peak_energy = energy[np.arange(m), peak]
    gap = max(2, round(GAP_S * rate))
    firm = energy > np.maximum(0.0016 * peak_energy[:, None], 2.5 * averaged_noise)
    first, last = _stretch(firm, peak, gap)
    ridge_phase = phase_of(ridge, rate)
    turns = np.unwrap(np.angle(averaged), axis=1) / (2 * np.pi) + ridge_phase / (2 * np.pi)
    used = (index >= first[:, None]) & (index <= last[:, None])
    weight = np.where(used, energy / np.maximum(0.5 * sample_noise, 1e-30) * (2 * np.pi) ** 2, 0.0)
    slope = np.gradient(ridge, axis=1) * rate
    last = np.minimum(np.maximum(last, first + 8), n - 1)
    knots = place_knots(slope, first, last, rate)
    fit = fit_phase(turns, weight, knots, rate_hz=rate)
    time = np.broadcast_to(index / rate, (m, n))
    held = np.clip(time, knots[:, DEGREE, None], knots[:, -DEGREE - 1, None])
    model = np.einsum("mnk,mk->mn", fit.basis(held, 0), fit.coefficients)
    fitted = model * (2 * np.pi) - ridge_phase
    straight = np.where(used, signal * np.exp(-1j * fitted), signal)
    amplitude, noise = _quiet_amplitude(straight, used, sample_noise, peak_energy)
    shape = _span(amplitude, noise, gap, rate, settings)
    within = (time >= shape["begin_s"][:, None]) & (time <= shape["end_s"][:, None])
    held = np.clip(time, (shape["begin_s"] - 0.2e-3)[:, None], (shape["end_s"] + 0.2e-3)[:, None])
    along = smooth(straight, calm)
    # a tone of amplitude 2|z| has the power 2|z|^2
    along_energy = 2.0 * np.where(within, np.abs(along) ** 2 - averaged_noise, 0.0).sum(axis=1) / rate
    return Shapes(
        fit=fit, **shape, inside=within, ridge_hz=fit.frequency_hz(held), ridge_energy=np.maximum(along_energy, 0.0)
    )


def _quiet_amplitude(straight, used, sample_noise, peak_energy):
    """Amplitude averaged just so long that the span's threshold stands over the noise.

    Inside the fitted stretch the phase is known, so the real part is the amplitude and its noise is halved.
    """
    threshold = 0.1 * np.sqrt(peak_energy)
    out = noise = None
    for candidate in AMPLITUDE_WIDTHS:
        window = averaging_window(candidate)
        share = np.sum(window**2)
        mean = smooth(straight, window)
        this_noise = np.sqrt(0.5 * sample_noise * share)
        this = np.where(used, mean.real, np.sqrt(np.maximum(np.abs(mean) ** 2 - 2 * this_noise**2, 0)))
        if out is None:
            out, noise = this, this_noise
            continue
        loud = np.median(noise, axis=1) > threshold / 4
        out = np.where(loud[:, None], this, out)
        noise = np.where(loud[:, None], this_noise, noise)
    return out, noise


def _span(amplitude, noise, gap, rate, settings):
    top = np.max(np.where(noise < amplitude, amplitude, 0.0), axis=1)
    level = top * 10 ** (-settings.span_drop_db / 20)
    threshold = np.maximum(level[:, None], 2.0 * noise)
    peak = np.argmax(amplitude, axis=1)
    first, last = _stretch(amplitude >= threshold, peak, gap)
    begin, begin_error = _crossing(amplitude, noise, threshold, first, -1, rate)
    end, end_error = _crossing(amplitude, noise, threshold, last, +1, rate)
    return {
        "begin_s": begin,
        "end_s": end,
        "begin_error_s": begin_error,
        "end_error_s": end_error,
        "peak_amplitude": 2.0 * top,
    }


def _crossing(amplitude, noise, threshold, at, direction, rate):
    """Instant at which amplitude falls through the threshold beyond sample ``at``, and its standard error."""
    m, n = amplitude.shape
    rows = np.arange(m)
    beyond = np.clip(at + direction, 0, n - 1)
    inner, outer = amplitude[rows, at], amplitude[rows, beyond]
    limit = threshold[rows, at]
    # amplitude falls about exponentially there: interpolate its logarithm
    small = 0.25 * limit
    high, low = np.log(np.maximum(inner, limit)), np.log(np.maximum(outer, small))
    part = np.clip((high - np.log(limit)) / np.maximum(high - low, 1e-9), 0, 1)
    before, after = amplitude[rows, np.clip(at - 2 * direction, 0, n - 1)], amplitude[rows, np.clip(at + 2 * direction, 0, n - 1)]
    steep = np.maximum(np.abs(before - after) / 4, 1e-12)
    error = np.minimum(noise[rows, at] / steep, 0.5e-3 * rate)
    return (at + direction * part) / rate, np.maximum(error, 0.02) / rate


def _stretch(flags, peak, gap):
    """First and last index of the run of true flags around ``peak`` that has no hole of ``gap`` or more."""
    mirror = flags.shape[1] - 1
    return mirror - _run_end(flags[:, ::-1], mirror - peak, gap), _run_end(flags, peak, gap)


def _run_end(flags, peak, gap):
    """Last index of the run of true flags from ``peak`` on."""
    m, n = flags.shape
    index = np.arange(n)
    last_true = np.maximum.accumulate(np.where(flags | (index == peak[:, None]), index, -1), axis=1)
    lost = (index > peak[:, None]) & (index - last_true >= gap)
    stop = np.where(lost.any(axis=1), np.argmax(lost, axis=1), n - 1)
    return last_true[np.arange(m), stop]
