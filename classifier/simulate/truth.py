"""What a perfect measurement of a simulated pulse would give: every metric, by its definition in
classifier.metrics.

Worked out from the closed formulas on a grid far finer than any recording, never from noisy samples.
"""

import numpy as np
from scipy import fft

from classifier.metrics import MEASURED
from classifier.simulate.calls import SPAN_DROP_DB

#: A stretch or a share counts as flat when its slope is flatter than this (1 kHz/ms), and the knee is
#: sought on axes that draw 1 kHz as long as 1 ms, so that the same slope stands at 45 degrees.
FLAT_SLOPE_HZ_PER_S = 1e6
#: The flattest stretch is this share of the duration long, and never shorter than the second number.
STRETCH_SHARE, STRETCH_S = 0.15, 0.3e-3
#: A course whose slope varies by less than this share of itself has no flattest stretch: all are alike. One
#: flatter than the second number has no slope to speak of.
_EVEN_SLOPE, _LEVEL_SLOPE_HZ_PER_S = 1e-3, 2e3
_GRID = 8192
#: The signal-to-noise ratio is taken over the pulse's own band, but never over a narrower one than this.
LEAST_BAND_HZ = 2000.0


def metrics_of(pulse, *, sample_rate_hz, noise_density=None):
    """True metrics of one heard pulse.

    Definitions where the registry leaves room:

    1. The ridge is the harmonic with the most recorded energy; the span is where *its* amplitude stands
       within 20 dB of its own peak, whatever the noise.
    2. Flattest stretch: the window (15 % of the duration, at least 0.3 ms, at most the duration) over which
       the ridge moves least up and down (mean absolute slope); the latest one of equals. A course of one
       slope throughout has none: characteristic frequency, its slope and the tail are then missing (a flat
       line has its frequency all over: it keeps them).
    3. Knee: greatest curvature f''/(1 + f'^2)^(3/2) of the ridge drawn with 1 kHz as long as 1 ms, where a
       falling (or rising) sweep steeper than 1 kHz/ms goes over into a stretch flatter than that; missing
       where the span does not begin steeper than 1 kHz/ms or holds no such flat stretch of at least the
       length in 2.
    4. Tail: end frequency less characteristic frequency.
    5. Peak and centre frequency: maximum and median of the energy spectrum of the ridge's harmonic alone,
       whole pulse.
    6. Harmonics: energy over the part of the span that lies under the Nyquist frequency, over the first
       harmonic's energy over the same part; missing where less than half of the span does.
    7. snr: peak power of the ridge (half its squared peak amplitude) over the power of the steady noise
       between the lowest and the highest frequency of the ridge, widened evenly to at least 2 kHz. The
       pulse's own band, because that is the noise no filter can take away without knowing the call's
       course; 2 kHz at least, because a constant tone's band would shrink to nothing.

    Parameters
    ----------
    pulse : Heard
    sample_rate_hz : float > 0
    noise_density : callable (Hz array -> one-sided power density, full scale² per Hz) or None for silence
    (snr missing)

    Returns
    -------
    dict : column name -> float or None, for every metric that has one; None where it is missing by
        definition. Coherence and clipped share are None (they belong to the mixture, not to the pulse).
    None : nothing of the pulse is recorded (above the Nyquist frequency)
    """
    first_s, last_s = pulse.interval_s
    time = np.linspace(first_s, last_s, _GRID)
    count = min(3, len(pulse.call.harmonics_db))
    amplitude, phase, frequency = pulse.parts(time, sample_rate_hz, harmonics=range(1, count + 1))
    energy = np.sum(amplitude**2, axis=1)
    strongest = int(np.argmax(energy))
    if energy[strongest] <= 0.0:
        return None
    start_s, end_s, peak = _span(time, amplitude[strongest])
    duration = end_s - start_s

    span_time = np.linspace(start_s, end_s, _GRID)
    parts, _, courses = pulse.parts(span_time, sample_rate_hz, harmonics=range(1, count + 1))
    ridge = courses[strongest]
    slope = np.gradient(ridge, span_time)
    values = {
        "onset": start_s,
        "duration": duration * 1e3,
        "start_frequency": ridge[0] / 1e3,
        "end_frequency": ridge[-1] / 1e3,
        "max_frequency": ridge.max() / 1e3,
        "min_frequency": ridge.min() / 1e3,
        "bandwidth": np.ptp(ridge) / 1e3,
        "mean_slope": (ridge[-1] - ridge[0]) / duration / 1e6,
        "initial_slope": (np.interp(start_s + duration / 5, span_time, ridge) - ridge[0]) / (duration / 5) / 1e6,
        "flat_share": 100.0 * np.mean(np.abs(slope) < FLAT_SLOPE_HZ_PER_S),
        "level": 20 * np.log10(peak),
        "strongest_harmonic": strongest + 1.0,
    }
    values |= _flattest(span_time, ridge, slope)
    values |= _knee(span_time, ridge, slope)
    values |= _spectrum(time, amplitude[strongest], phase[strongest], frequency[strongest])
    values |= _harmonics(parts, courses, sample_rate_hz)
    if noise_density is not None:
        power = band_power(noise_density, ridge.min(), ridge.max())
        values["snr"] = 10 * np.log10(peak**2 / 2 / power) if power > 0 else None
    return {metric.column: _plain(values.get(metric.name)) for metric in MEASURED}


def _plain(value):
    return None if value is None or not np.isfinite(value) else float(value)


def _span(time, amplitude):
    """(start, end, peak) of the stretch within 20 dB of the peak; ends interpolated between grid points."""
    top = int(np.argmax(amplitude))
    peak = amplitude[top]
    floor = peak * 10 ** (-SPAN_DROP_DB / 20)
    inside = np.flatnonzero(amplitude >= floor)

    def crossing(low, high):
        if low < 0 or high >= len(time):
            return time[min(max(low, 0), len(time) - 1)]
        share = (floor - amplitude[low]) / (amplitude[high] - amplitude[low])
        return time[low] + share * (time[high] - time[low])

    return crossing(inside[0] - 1, inside[0]), crossing(inside[-1], inside[-1] + 1), peak


def stretch_s(duration_s):
    """Length of the flattest stretch of a pulse of ``duration_s``."""
    return min(duration_s, max(STRETCH_SHARE * duration_s, STRETCH_S))


def _flattest(time, ridge, slope):
    """Characteristic frequency and slope, and the tail."""
    steepest = np.max(np.abs(slope))
    if steepest > _LEVEL_SLOPE_HZ_PER_S and np.ptp(slope) < _EVEN_SLOPE * steepest:
        return {}
    step = time[1] - time[0]
    width = min(len(time) - 1, round(stretch_s(time[-1] - time[0]) / step))
    travel = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ridge)))])
    moved = travel[width:] - travel[:-width]
    first = len(moved) - 1 - int(np.argmin(moved[::-1]))
    last = first + width
    return {
        "characteristic_frequency": ridge[last] / 1e3,
        "characteristic_slope": (ridge[last] - ridge[first]) / (time[last] - time[first]) / 1e6,
        "tail": (ridge[-1] - ridge[last]) / 1e3,
    }


def _knee(time, ridge, slope):
    """Knee frequency and time from the span's start."""
    flat = np.abs(slope) < FLAT_SLOPE_HZ_PER_S
    step = time[1] - time[0]
    needed = int(stretch_s(time[-1] - time[0]) / step)
    if flat[0] or not flat.any():
        return {}
    first_flat = int(np.argmax(flat))
    run = len(flat) - first_flat if flat[first_flat:].all() else int(np.argmin(flat[first_flat:]))
    if run < needed:
        return {}
    scaled = slope / FLAT_SLOPE_HZ_PER_S
    curvature = np.abs(np.gradient(scaled, time * 1e3)) / (1 + scaled**2) ** 1.5
    sweep_up = scaled[0] > 0
    towards = np.gradient(scaled, time * 1e3) * (-1 if sweep_up else 1) > 0
    # The bend lies at the way from steep to flat: from the start to the middle of the first flat stretch.
    limit = first_flat + run // 2 + 1
    curvature = np.where(towards, curvature, 0.0)[1:limit]
    if not curvature.any():
        return {}
    place = 1 + int(np.argmax(curvature))
    return {"knee_frequency": ridge[place] / 1e3, "knee_time": (time[place] - time[0]) * 1e3}


def _spectrum(time, amplitude, phase, frequency):
    """Peak and centre frequency of one harmonic, brought down to 0 Hz before transforming."""
    middle = 0.5 * (frequency.min() + frequency.max())
    carrier = np.exp(2j * np.pi * (phase - phase[0] - middle * (time - time[0])))
    size = 4 * len(time)
    energy = np.abs(fft.fft(amplitude * carrier, size)) ** 2
    axis = fft.fftshift(fft.fftfreq(size, time[1] - time[0])) + middle
    energy = fft.fftshift(energy)
    place = int(np.argmax(energy))
    left, top, right = np.log(energy[place - 1 : place + 2])
    offset = 0.5 * (left - right) / (left - 2 * top + right)
    step = axis[1] - axis[0]
    running = np.cumsum(energy)
    half = int(np.searchsorted(running, 0.5 * running[-1]))
    share = (0.5 * running[-1] - running[half - 1]) / energy[half]
    return {
        "peak_frequency": (axis[place] + offset * step) / 1e3,
        "centre_frequency": (axis[half] + (share - 0.5) * step) / 1e3,
    }


def _harmonics(parts, courses, sample_rate_hz):
    """Level of the second and third harmonic relative to the first."""
    levels = {}
    for number, name in ((2, "second_harmonic"), (3, "third_harmonic")):
        under = number * courses[0] < 0.5 * sample_rate_hz
        if len(parts) < number or under.mean() < 0.5:
            continue
        first, other = np.sum(parts[0][under] ** 2), np.sum(parts[number - 1][under] ** 2)
        if first > 0 and other > 0:
            levels[name] = 10 * np.log10(other / first)
    return levels


def band_power(noise_density, low_hz, high_hz):
    """Power of steady noise between two frequencies, the band widened evenly to at least LEAST_BAND_HZ."""
    wider = max(0.0, LEAST_BAND_HZ - (high_hz - low_hz)) / 2
    axis = np.linspace(max(0.0, low_hz - wider), high_hz + wider, 257)
    return float(np.trapezoid(noise_density(axis), axis))
