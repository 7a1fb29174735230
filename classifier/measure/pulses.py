"""Sounds to pulses: each through ridge, shape, description, spectrum and harmonics; what is no call is let go early."""

from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len

from classifier.compiled import compiled
from classifier.measure.describe import GRID, INFLATION, NAMES, describe
from classifier.measure.harmonics import RATIOS, density_at, harmonics, noise_along
from classifier.measure.ridge import MARGIN_NODES, NODE, carried_on, demodulate, refine
from classifier.measure.shape import fit_shape, nothing
from classifier.measure.spectrum import BAND_ROOM_HZ, fitted, net_energy, peak_and_centre, running_energy
from classifier.measure.spline import polynomials_along
from classifier.metrics import MEASURED

#: Instants at which a pulse's course is kept for comparison with its neighbours.
COURSE = 21
#: Share of full scale at which a sample is taken to stand at the recorder's limit.
LIMIT = 0.99990
#: Room given beyond the span when its energy is weighed, in seconds.
SPAN_ROOM_S = 0.15e-3
#: Sounds of voices, wind and handling lie under this and say nothing about a pulse.
AUDIBLE_HZ = 8_000.0
#: A pulse stands over the noise no further than this beyond its track, and its ridge leaves the track, carried on at both
#: ends, no further than this and a share of what it was carried on by.
BEYOND_TRACK_S, ASTRAY_HZ, ASTRAY_SHARE = 0.6e-3, 5_000.0, 0.6
#: Harmonics are looked for along the ridge and so far beyond its span, in seconds.
HELD_S = 0.2e-3
#: A pulse is followed beyond its track so often, and not under this frequency.
ROUNDS, LEAST_HZ = 5, 4_000.0
#: Narrowest band that the signal-to-noise ratio is taken over, in Hz.
LEAST_BAND_HZ = 2_000.0
#: Least share of the energy of its band that lies along a ridge with which it is looked at any further.
WORTH_A_LOOK = 0.4
#: By how much the error of the peak frequency is larger than the covariance says, of a pulse whose bandwidth times
#: duration is large beside FEW_CELLS (measured, see describe.INFLATION).
PEAK_INFLATION, FEW_CELLS = 2.9, 3.0
#: The inflation of standard errors is whole at FAINT_DB of signal-to-noise ratio and falls from there to this share.
FAINT_DB, CLEAR_DB, LEAST_HIDDEN = 15.0, 32.0, 0.35
#: A band holds more than noise when its energy exceeds the noise's by this many standard deviations.
SURELY_MORE = 3.0


@dataclass
class Pulse:
    """A pulse: metrics by name in SI units (onset from the start of the recording), their standard errors, and what its
    neighbours are compared with.

    course_hz : float64, shape (COURSE,), the ridge at even steps of the span
    whole_share : float, share of the energy at all frequencies that lies along the ridge and its harmonics
    stillness : float, how steady the phase is once the ridge is taken out, 1 for a single sound
    cut_start, cut_end : bool, whether it runs over an end of the recording
    """

    values: dict
    errors: dict
    course_hz: np.ndarray
    whole_share: float
    stillness: float
    cut_start: bool
    cut_end: bool


class PulseMeter:
    """Measures the sounds of one sample rate."""

    def __init__(self, *, baseband, floor_bin_hz, settings):
        self.baseband = baseband
        self.floor_bin_hz = floor_bin_hz
        self.settings = settings

    def __call__(self, sound, region):
        """Measure a Sound of a Region; a Pulse, or None where it is no call."""
        band, settings = self.baseband, self.settings
        samples, floor, rate = region.samples, region.floor, band.sample_rate_hz
        exists, begin, nodes, shape, first, last, low, high = _shape_of(
            samples,
            sound.frequency_hz,
            sound.time,
            floor,
            self.floor_bin_hz,
            band.kernel,
            band.decimation,
            rate,
            settings.span_drop_db,
        )
        length = shape.end_s - shape.begin_s
        if (
            not exists
            or not settings.shortest_pulse_s <= length <= settings.longest_pulse_s
            or low < 0.5 * settings.lowest_frequency_hz
            or high > rate / 2
        ):
            return None
        held = np.fft.rfft(samples[first:last], next_fast_len(last - first, real=True))
        share, snr, whole, audible = _weighed(held, last - first, shape, low, high, floor, self.floor_bin_hz, rate)
        # a louder bat in the same band takes the share; then a steady phase speaks for the pulse
        alone = shape.stillness >= settings.still_stillness and length >= settings.still_duration_s
        if snr < settings.least_snr_db or (share < WORTH_A_LOOK and not alone):
            return None
        numbers, errors, course, strongest, levels, signal, signal_hz, first_s = _described(
            samples,
            begin,
            nodes,
            shape,
            low,
            high,
            sound.harmonic,
            audible,
            floor,
            self.floor_bin_hz,
            band.kernel,
            band.decimation,
            rate,
        )
        spectrum = np.fft.fft(signal, next_fast_len(3 * len(signal)))
        peak, peak_error, centre, centre_error = peak_and_centre(
            spectrum, signal, signal_hz, first_s, 0.5 * (low + high), shape
        )
        of_all = sum(level for level in levels.tolist() if level == level)
        whole_share = min(max(of_all / max(whole, 1e-30), 0.0), 1.0)
        values = dict(zip(NAMES, numbers.tolist(), strict=True))
        values["onset"] = (region.start + begin) / rate + shape.begin_s
        values["peak_frequency"] = peak
        values["centre_frequency"] = centre
        values["strongest_harmonic"] = float(strongest)
        values["second_harmonic"] = _decibel(levels[1] / levels[0])
        values["third_harmonic"] = _decibel(levels[2] / levels[0])
        values["level"] = 2 * _decibel(shape.peak_amplitude)
        values["snr"] = snr
        values["clipped_share"] = 100 * _share_at_limit(samples[first:last], round(SPAN_ROOM_S * rate))
        # a harmonic that falls into the band of the ridge counts for the pulse
        values["coherence"] = 100 * max(share, whole_share)
        spread = dict(zip(NAMES, errors.tolist(), strict=True))
        spread["onset"] = shape.begin_error_s
        # only a wide spectrum has rival maxima
        cells = (high - low) * length
        spread["peak_frequency"] = peak_error * (1 + (PEAK_INFLATION - 1) * cells / (cells + FEW_CELLS))
        spread["centre_frequency"] = centre_error
        # what a fit does not know of hides in noise
        hidden = min(max((CLEAR_DB - snr) / (CLEAR_DB - FAINT_DB), LEAST_HIDDEN), 1.0)
        for name, factor in INFLATION.items():
            spread[name] *= 1 + (factor - 1) * hidden
        slack = 0.75 * band.node / rate
        return Pulse(
            values,
            spread,
            course[:: (GRID - 1) // (COURSE - 1)],
            whole_share,
            shape.stillness,
            region.at_file_start and begin / rate + shape.begin_s <= slack,
            region.at_file_end and begin / rate + shape.end_s >= len(samples) / rate - slack,
        )


def merged(pulses):
    """A list of Pulse as arrays in order of onset; None when there is no pulse.

    Returns a dict: metric name -> (values, errors or None); "course", shape (n, COURSE); "whole_share", "stillness", "cut_start",
    "cut_end".
    """
    if not pulses:
        return None
    pulses = sorted(pulses, key=lambda pulse: pulse.values["onset"])
    out = {
        metric.name: (
            np.array([pulse.values[metric.name] for pulse in pulses]),
            np.array([pulse.errors[metric.name] for pulse in pulses]) if metric.has_standard_error else None,
        )
        for metric in MEASURED
    }
    out["course"] = np.array([pulse.course_hz for pulse in pulses])
    for name in ("whole_share", "stillness", "cut_start", "cut_end"):
        out[name] = np.array([getattr(pulse, name) for pulse in pulses])
    return out


@compiled
def _shape_of(samples, frequency_hz, time, floor, floor_bin_hz, kernel, decimation, rate_hz, span_drop_db):
    """From a track to the shape of its pulse: (whether there is one, first sample of its row, nodes, Shape, first and last
    sample of its span with some room, lowest and highest frequency of its ridge).

    Where the pulse goes on beyond its track, as a steep sweep does that the spectral frames have smeared, the fitted ridge
    is carried on and becomes the track of another round.
    """
    node = NODE * decimation
    for turn in range(ROUNDS):
        further_begin, further = carried_on(frequency_hz, time, node, rate_hz)
        fitted_along = _fitted_along(
            samples, further_begin, further, floor, floor_bin_hz, kernel, decimation, rate_hz, span_drop_db
        )
        # a steep sweep that ends low is not to be followed into the rumble beneath
        if turn and fitted_along[2] < LEAST_HZ:
            break
        begin, nodes = further_begin, further
        exists, shape, low, high = fitted_along
        if not exists or not (shape.open_first or shape.open_last) or turn == ROUNDS - 1:
            break
        count = max(int(np.round((shape.firm_last_s - shape.firm_first_s) * rate_hz / node)) + 1, 3)
        frequency_hz = polynomials_along(shape.firm_first_s, node / rate_hz, count, shape.knots, shape.turns, 1)
        time = begin + shape.firm_first_s * rate_hz
    room = round(SPAN_ROOM_S * rate_hz)
    first = max(begin + int(shape.begin_s * rate_hz) - room, 0)
    last = min(begin + int(shape.end_s * rate_hz) + room + 1, len(samples))
    return exists and last - first > 2 * room, begin, nodes, shape, first, last, low, high


@compiled
def _fitted_along(samples, begin, nodes, floor, floor_bin_hz, kernel, decimation, rate_hz, span_drop_db):
    """The shape of the pulse along nodes: (whether there is one, Shape, lowest and highest frequency of its ridge)."""
    signal, ridge = demodulate(samples, begin, nodes, kernel, decimation, rate_hz)
    baseband_hz = rate_hz / decimation
    noise = noise_along(ridge, floor, floor_bin_hz, baseband_hz)
    track = MARGIN_NODES * NODE, (len(nodes) - 1 - MARGIN_NODES) * NODE
    beyond = round(BEYOND_TRACK_S * baseband_hz)
    refine(signal, ridge, noise, track[0] - beyond, track[1] + beyond, baseband_hz, rate_hz / 2)
    late_s = 0.5 * (decimation - 1) / rate_hz
    low = high = 0.0
    exists, shape = False, nothing()
    before_s = after_s = BEYOND_TRACK_S
    carried = max(abs(nodes[0] - nodes[MARGIN_NODES]), abs(nodes[-1] - nodes[-1 - MARGIN_NODES]))
    astray = ASTRAY_HZ + ASTRAY_SHARE * carried
    least, most = nodes.min() - astray, nodes.max() + astray
    for _ in range(3):
        exists, shape = fit_shape(
            signal, ridge, noise, track[0], track[1], before_s, after_s, baseband_hz, late_s, span_drop_db
        )
        step_s = (shape.end_s - shape.begin_s) / (GRID - 1)
        course = polynomials_along(shape.begin_s, step_s, GRID, shape.knots, shape.turns, 1)
        low, high = course.min(), course.max()
        early = late = False
        for i in range(GRID):
            if not least < course[i] < most:
                early, late = early or i < GRID // 2, late or i >= GRID // 2
        # a ridge that runs away at an end was drawn along by another sound: there it has to keep to its track
        if not (early and before_s > 0.0 or late and after_s > 0.0):
            break
        before_s, after_s = 0.0 if early else before_s, 0.0 if late else after_s
    return exists, shape, low, high


@compiled
def _weighed(held, count, shape, low_hz, high_hz, floor, floor_bin_hz, rate_hz):
    """What the recording holds beside the pulse.

    Returns
    -------
    share : float, energy along the ridge over that in its band, or the other way round if that is less than 1: more
        along the ridge than in its band says as well that the ridge does not belong to this sound
    snr_db : float
    whole : float, energy at all frequencies above AUDIBLE_HZ, less the noise
    audible : bool, shape (len(RATIOS),), whether there is more than noise in the band of each harmonic
    """
    size = 2 * (len(held) - 1)
    running = running_energy(held, 2 / (size * rate_hz))
    bin_hz, seconds = rate_hz / size, count / rate_hz
    energy, _ = net_energy(
        running, bin_hz, low_hz - BAND_ROOM_HZ, high_hz + BAND_ROOM_HZ, floor, floor_bin_hz, seconds
    )
    along = shape.ridge_energy
    share = min(along, energy) / max(along, energy) if min(along, energy) > 0.0 else 0.0
    whole, _ = net_energy(running, bin_hz, AUDIBLE_HZ, 0.5 * rate_hz, floor, floor_bin_hz, seconds)
    density = 0.0
    for i in range(8):
        density += density_at(low_hz + (high_hz - low_hz) * i / 7, floor, floor_bin_hz) / 8
    noise = density * max(high_hz - low_hz, LEAST_BAND_HZ)
    snr_db = 10 * np.log10(max(shape.peak_amplitude**2 / 2 / noise, 1e-12))
    audible = np.zeros(len(RATIOS), np.bool_)
    for i in range(len(RATIOS)):
        low, high = RATIOS[i] * low_hz - BAND_ROOM_HZ, min(RATIOS[i] * high_hz + BAND_ROOM_HZ, 0.5 * rate_hz)
        # where the pulse's own band reaches into that of the harmonic it says nothing
        if RATIOS[i] < 1.0:
            high = min(high, low_hz - BAND_ROOM_HZ)
        else:
            low = max(low, high_hz + BAND_ROOM_HZ)
        if high - low > BAND_ROOM_HZ:
            energy, scatter = net_energy(running, bin_hz, low, high, floor, floor_bin_hz, seconds)
            audible[i] = energy > SURELY_MORE * scatter
        else:
            audible[i] = RATIOS[i] * low_hz < 0.5 * rate_hz
    return share, snr_db, whole, audible


@compiled
def _described(
    samples, begin, nodes, shape, low_hz, high_hz, noted, audible, floor, floor_bin_hz, kernel, decimation, rate_hz
):
    """Metrics of the ridge, harmonics, and the pulse as fitted: see ``describe``, ``harmonics`` and ``fitted``."""
    numbers, errors, course = describe(shape)
    baseband_hz = rate_hz / decimation
    own = polynomials_along(0.0, NODE / baseband_hz, len(nodes), shape.knots, shape.turns, 1)
    # beyond the span the ridge is held
    early = min(max(int(np.ceil((shape.begin_s - HELD_S) * baseband_hz / NODE)), 0), len(own) - 1)
    late = min(max(int((shape.end_s + HELD_S) * baseband_hz / NODE), early), len(own) - 1)
    own[:early], own[late + 1 :] = own[early], own[late]
    late_s = 0.5 * (decimation - 1) / rate_hz
    first = max(int(np.ceil((shape.begin_s - late_s) * baseband_hz)), 0)
    last = min(int((shape.end_s - late_s) * baseband_hz), (len(nodes) - 1) * NODE - 1)
    strongest, levels = harmonics(
        samples,
        begin,
        own,
        first,
        last,
        shape.ridge_energy,
        noted,
        audible,
        floor,
        floor_bin_hz,
        kernel,
        decimation,
        rate_hz,
    )
    signal, signal_hz, first_s = fitted(shape, low_hz, high_hz)
    return numbers, errors, course, strongest, levels, signal, signal_hz, first_s


@compiled
def _share_at_limit(samples, room):
    """Share of the samples that stand at the recorder's limit, ``room`` left out on either side."""
    inside, count = samples[room : len(samples) - room], 0
    for i in range(len(inside)):
        count += abs(inside[i]) >= LIMIT
    return count / max(len(inside), 1)


@compiled
def _decibel(ratio):
    """10 log10, and NaN of NaN."""
    return 10 * np.log10(max(ratio, 1e-24)) if ratio == ratio else np.nan
