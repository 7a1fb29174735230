"""From a demodulated pulse to its shape: its fitted ridge, its amplitude, its span, and how sure each is.

Phase and amplitude are smooth curves (``spline``). First the phase is unwrapped where the pulse stands well over the
noise, and fitted; then the signal is turned by that fit, which leaves the amplitude in its real part and what the fit
missed in its imaginary part, and the phase is fitted again from every sample with the weight it deserves. The span
is read off the amplitude.
"""

from collections import namedtuple

import numpy as np

from classifier.compiled import compiled
from classifier.measure.angles import turned, turns_of, unwrapped
from classifier.measure.knots import amplitude_knots_of, phase_knots
from classifier.measure.ridge import NARROW, smooth
from classifier.measure.smoothing import deviation_at, fit
from classifier.measure.spline import bases_of, basis_rows, polynomial_at, polynomials, polynomials_along

#: Power over the noise, of averaged samples, with which a pulse goes on; and with which the stretch begins and ends that its phase
#: is read from.
FIRM, SURE = 2.5, 5.0
#: Curves are fitted this far beyond what stands well over the noise, and by this share of its length if that is more.
PAD_S, PAD_SHARE = 0.5e-3, 0.08
#: The span reaches this far beyond what stands well over the noise, or this share of its length if that is more.
REACH_S, REACH_SHARE = 0.3e-3, 0.06
#: Where noise hides the end it is carried on by no more than this, or this share of the length; where another sound hides
#: it, so much is its error. No instant is known better than this share of a baseband sample.
CARRIED_S, CARRIED_SHARE, UNSEEN_S, FINEST = 0.6e-3, 0.05, 0.3e-3, 0.3
#: A dip in amplitude this long ends the pulse; shorter ones are ripples.
GAP_S = 0.5e-3
#: A pulse of so many baseband samples (16 ms) is long: its neighbours are fitted together.
LONG = 512
#: Derivatives that are penalised, of the phase and of the amplitude, and the exponents of the penalty from which each is searched.
PHASE_ORDER, AMPLITUDE_ORDER = 4, 3
PHASE_BEGIN, AMPLITUDE_BEGIN = -5, -2
#: Of averaged phases one in so many is fitted.
THINNED = 3
#: The turn of the phase is looked at over so many samples (0.4 ms).
STILL_LAG = 13
#: Residuals are looked at one by one and in blocks of so many: what a model misses hangs together.
BLOCK = 8

Shape = namedtuple(
    "Shape",
    [
        "knots",  # of the phase spline, seconds from the first node of the pulse's row
        "turns",  # its polynomials, in turns
        "root",  # Cholesky factor of their posterior's precision; what the fit left over counted in
        "amplitude_knots",
        "amplitude",  # polynomials of the amplitude of the real signal, full scale
        "amplitude_root",
        "begin_s",  # the span
        "end_s",
        "begin_error_s",
        "end_error_s",
        "peak_amplitude",
        "peak_s",  # where it stands
        "sure_first_s",  # what the phase was read from; beyond it the ridge is carried on
        "sure_last_s",
        "open_first",  # whether it is still firm as far beyond its track as it was looked for
        "open_last",
        "ridge_energy",  # energy along the ridge within the span, full scale squared times seconds
        "stillness",  # length of the mean turn of the phase once the ridge is taken out: 1 where it stands still
    ],
)
Shape.__doc__ = "What is known of one pulse. Instants in seconds from the first node of the row it was demodulated in."


@compiled
def fit_shape(
    signal,
    factor,
    ridge_hz,
    noise,
    amplitude_noise,
    track_first,
    track_last,
    before_s,
    after_s,
    rate_hz,
    late_s,
    span_drop_db,
):
    """Fit ridge, amplitude and span of one pulse.

    Parameters
    ----------
    signal : complex128, shape (n,), demodulated, refined and restored
    factor : float64, shape (n,), by which restoring multiplied it
    ridge_hz : float64, shape (n,), the ridge that it was demodulated along
    noise, amplitude_noise : float64, shape (n,), mean noise power of each of its samples, as its phase and its amplitude have
        it
    track_first, track_last : int, first and last baseband sample of the coarse track
    before_s, after_s : float, how far beyond the two ends of its track the pulse may stand over the noise; 0 keeps to the
        track altogether
    rate_hz : float, rate of the baseband
    late_s : float, instant of the first baseband sample
    span_drop_db : float, how far below its peak the pulse is followed

    Returns
    -------
    (bool, Shape): whether there is a pulse at all; if not, the shape says nothing
    """
    n = len(signal)
    averaged = smooth(signal, NARROW)
    share = np.sum(NARROW**2)
    energy = np.empty(n)
    for i in range(n):
        energy[i] = max(averaged[i].real ** 2 + averaged[i].imag ** 2 - noise[i] * share, 0.0)
    low, high = max(track_first - 1, 0), min(track_last + 1, n - 1)
    peak = low + np.argmax(energy[low : high + 1])
    firm = np.empty(n, np.bool_)
    for i in range(n):
        firm[i] = energy[i] > max(0.0016 * energy[peak], FIRM * noise[i] * share)
    # further from its track than this a pulse is noise, or another sound
    before, after = round(before_s * rate_hz), round(after_s * rate_hz)
    firm[: max(0, track_first - before)] = False
    firm[track_last + after + 1 :] = False
    gap = max(2, round(GAP_S * rate_hz))
    first, last = run_end(firm, peak, -1, gap), run_end(firm, peak, 1, gap)
    # averaged noise stands over FIRM now and then, also next to an end
    sure_first, sure_last = first, last
    while sure_first < peak and energy[sure_first] <= SURE * noise[sure_first] * share:
        sure_first += 1
    while sure_last > peak and energy[sure_last] <= SURE * noise[sure_last] * share:
        sure_last -= 1
    pad = max(round(PAD_S * rate_hz), round(PAD_SHARE * (last - first)))
    low, high = max(0, first - pad), min(n - 1, last + pad)
    if high - low < 16:
        low = max(0, high - 16)
        high = min(n - 1, low + 16)
    count = high - low + 1
    time = late_s + np.arange(low, high + 1) / rate_hz
    way = turns_of(ridge_hz, rate_hz)
    turns = unwrapped(averaged, peak) + way
    knots = phase_knots(ridge_hz[low : high + 1], False, sure_first - low, sure_last - low, rate_hz, time[0])
    # averaged as they are, neighbours say the same: every third will do
    few = (count + THINNED - 1) // THINNED
    values, weights = np.empty(few), np.zeros(few)
    for k in range(few):
        i = low + k * THINNED
        values[k] = turns[i]
        if sure_first <= i <= sure_last:
            weights[k] = THINNED * (2 * np.pi) ** 2 * energy[i] / (0.5 * noise[i])
    bases = bases_of(knots)
    rows, pieces = basis_rows(time[0], THINNED / rate_hz, few, knots, bases)
    coefficients, _, _, _ = fit(rows, pieces, values, weights, knots, PHASE_ORDER, PHASE_BEGIN)
    guess, guess_knots = polynomials(bases, coefficients), knots
    course = polynomials_along(time[0], 1.0 / rate_hz, count, knots, guess, 1)
    knots = phase_knots(course, True, sure_first - low, sure_last - low, rate_hz, time[0])
    bases = bases_of(knots)

    # every sample with its own weight: along the right phase, what is left is imaginary. Of long pulses, whose curves are
    # slow, neighbours are averaged first.
    block = 1 if count < LONG else 2 if count < 2 * LONG else 4
    few = count // block
    middle_s = time[0] + 0.5 * (block - 1) / rate_hz
    straight = _straightened(signal[low : high + 1], way[low : high + 1], time[0], rate_hz, guess_knots, guess)
    values = polynomials_along(middle_s, block / rate_hz, few, guess_knots, guess, 0)
    weights = np.zeros(few)
    for k in range(few):
        # beyond what is sure, noise would draw the ridge along, or another sound that begins there
        if sure_first <= low + k * block <= sure_last:
            missed, amplitude, mean_noise = 0.0, 0.0, 0.0
            for i in range(k * block, (k + 1) * block):
                missed += straight[i].imag / block
                amplitude += np.sqrt(energy[low + i]) / block
                mean_noise += noise[low + i] / block
            weights[k] = block * (2 * np.pi * amplitude) ** 2 / (0.5 * mean_noise)
            values[k] += min(max(missed / max(amplitude, 1e-20), -5.0), 5.0) / (2 * np.pi)
    rows, pieces = basis_rows(middle_s, block / rate_hz, few, knots, bases)
    coefficients, root, spent, _ = fit(rows, pieces, values, weights, knots, PHASE_ORDER, PHASE_BEGIN)
    right = polynomials(bases, coefficients)

    straight = _straightened(signal[low : high + 1], way[low : high + 1], time[0], rate_hz, knots, right)
    for k in range(few):
        values[k], mean_noise = 0.0, 0.0
        for i in range(k * block, (k + 1) * block):
            values[k] += straight[i].real / block
            mean_noise += amplitude_noise[low + i] / block
        weights[k] = 2.0 * block / mean_noise
    amplitude_knots = amplitude_knots_of(first - low, last - low, count, rate_hz, time[0])
    bases = bases_of(amplitude_knots)
    rows, pieces = basis_rows(middle_s, block / rate_hz, few, amplitude_knots, bases)
    heights, amplitude_root, amplitude_spent, _ = fit(
        rows, pieces, values, weights, amplitude_knots, AMPLITUDE_ORDER, AMPLITUDE_BEGIN
    )
    amplitude = polynomials(bases, heights)

    curve = polynomials_along(time[0], 1.0 / rate_hz, count, amplitude_knots, amplitude, 0)
    near_low, near_high = max(0, track_first - 1 - low), min(count - 1, max(track_last + 1 - low, 0))
    top = near_low + np.argmax(curve[near_low : near_high + 1]) if near_high >= near_low else np.argmax(curve)
    height = curve[top]
    level = height * 10 ** (-span_drop_db / 20)
    # where the phase was never firm the ridge is a guess, and another sound may follow
    reach = max(round(REACH_S * rate_hz), round(REACH_SHARE * (last - first)))
    earliest = max(0, first - low - (reach if before > 0 else 0))
    latest = min(count - 1, last - low + (reach if after > 0 else 0))
    top = min(max(top, earliest), latest)
    begin_s, begin_error_s = _crossing(curve, top, -1, earliest, level, gap, time, amplitude_knots, amplitude, amplitude_root)
    end_s, end_error_s = _crossing(curve, top, 1, latest, level, gap, time, amplitude_knots, amplitude, amplitude_root)

    inside = np.zeros(count, np.bool_)
    for i in range(count):
        inside[i] = begin_s <= time[i] <= end_s
    within = np.flatnonzero(inside)
    exists = height > 0.0 and len(within) >= 3
    inflation = amplitude_inflation = 1.0
    ridge_energy = still = 0.0
    if exists:
        own, amplitude_own = noise[low + within], amplitude_noise[low + within]
        inflation = _inflation(straight.imag[within] / np.sqrt(0.5 * own), spent)
        amplitude_inflation = _inflation((straight.real[within] - curve[within]) / np.sqrt(0.5 * amplitude_own), amplitude_spent)
        # as the recording has it
        along = smooth(straight / factor[low : high + 1], NARROW)
        for i in within:
            ridge_energy += along[i].real ** 2 + along[i].imag ** 2 - noise[low + i] / factor[low + i] ** 2 * share
        still = stillness(along[within[0] : within[-1] + 1])
        ridge_energy = max(2.0 * ridge_energy / rate_hz, 0.0)
    spread = np.sqrt(amplitude_inflation)
    return exists, Shape(
        knots,
        right,
        root / np.sqrt(inflation),
        amplitude_knots,
        2.0 * amplitude,
        amplitude_root / (2.0 * spread),
        begin_s,
        end_s,
        begin_error_s * spread,
        end_error_s * spread,
        2.0 * height,
        time[top],
        time[sure_first - low],
        time[sure_last - low],
        before > 0 and first <= track_first - before + 1,
        after > 0 and last >= track_last + after - 1,
        ridge_energy,
        still,
    )


@compiled
def stillness(signal):
    """Length of the mean turn of the phase over STILL_LAG samples: 1 where it stands still, near 0 for noise.

    The mean is weighted with the amplitude, so that the weak ends say little.
    """
    together, total = 0j, 0.0
    lag = min(STILL_LAG, max(len(signal) // 2, 1))
    for i in range(lag, len(signal)):
        turn = signal[i] * np.conj(signal[i - lag])
        together += turn
        total += np.sqrt(turn.real * turn.real + turn.imag * turn.imag)
    return np.abs(together) / max(total, 1e-300)


@compiled
def nothing():
    """A Shape that says nothing."""
    none, root = np.zeros(11), np.ones((6, 5))
    return Shape(none, np.zeros((2, 5)), root, none, np.zeros((2, 5)), root, *(0.0,) * 8, False, False, 0.0, 0.0)


@compiled
def run_end(flags, start, direction, gap):
    """Last index of the run of true flags from ``start`` on, in a direction, that has no hole of ``gap`` or more."""
    last, i = start, start + direction
    while 0 <= i < len(flags) and abs(i - last) <= gap:
        if flags[i]:
            last = i
        i += direction
    return last


@compiled
def _straightened(signal, way, first_s, rate_hz, knots, turns):
    """The signal, demodulated along ``way`` (in turns), turned on to lie along the spline instead."""
    along = polynomials_along(first_s, 1.0 / rate_hz, len(signal), knots, turns, 0)
    out = np.empty(len(signal), np.complex128)
    for i in range(len(signal)):
        out[i] = turned(signal[i], way[i] - along[i])
    return out


@compiled
def _crossing(curve, top, direction, furthest, level, gap, time, knots, amplitude, root):
    """Instant at which the amplitude falls through ``level`` on one side of its top, no further than the sample
    ``furthest``, and its standard error.

    Where the curve itself is not known as well as that, it is followed down to its own standard deviation, and from there
    carried on as steeply as it fell.
    """
    step = time[1] - time[0]
    instant, error, late = time[top], 0.0, 0.0
    limit = level
    for _ in range(2):
        at = run_end(curve >= limit, top, direction, gap)
        beyond = at + direction
        if (furthest - beyond) * direction < 0:
            instant, late = time[furthest], UNSEEN_S
        else:
            part = (curve[at] - limit) / max(curve[at] - curve[beyond], 1e-30)
            instant = time[at] + direction * part * step
        deviation = deviation_at(instant, knots, root, 0)
        steep = abs(polynomial_at(instant, knots, amplitude, 1))
        error = deviation / max(steep, 1e-12)
        if deviation <= limit:
            break
        limit = deviation
    if limit > level and late == 0.0:
        # it sank into the noise before it had fallen so far: carried on as it fell
        late = min((limit - level) / max(steep, 1e-12), CARRIED_S, CARRIED_SHARE * (time[-1] - time[0]))
        instant += direction * late
    error = np.sqrt(min(error, 0.25 * (time[-1] - time[0])) ** 2 + late**2 + (FINEST * step) ** 2)
    return instant, error


@compiled
def _inflation(residuals, spent):
    """Variance of residuals over the 1 expected, singly or of the means of blocks, whichever is more; at least 1."""
    n = len(residuals)
    singly = np.sum(residuals**2) / max(n - spent, 0.5 * n)
    blocks = n // BLOCK
    in_blocks = 0.0
    if blocks >= 4:
        for b in range(blocks):
            in_blocks += np.sum(residuals[b * BLOCK : (b + 1) * BLOCK]) ** 2 / BLOCK
        in_blocks /= max(blocks - spent, 0.5 * blocks)
        # few blocks scatter by themselves
        in_blocks /= 1.0 + 1.5 * np.sqrt(2.0 / blocks)
    return max(1.0, singly, in_blocks)
