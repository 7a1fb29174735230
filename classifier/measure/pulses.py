"""Sounds to pulses: each through ridge, shape, description, spectrum and harmonics; what is no call is let go early."""

from collections import namedtuple
from dataclasses import dataclass

import numpy as np
import scipy.fft

from classifier.compiled import compiled
from classifier.measure.along import SPAN_ROOM_S, shape_along
from classifier.measure.describe import GRID, INFLATION, NAMES, describe
from classifier.measure.harmonics import RATIOS, density_at, harmonics
from classifier.measure.ridge import NODE
from classifier.measure.spectrum import BAND_ROOM_HZ, net_energy, peak_and_centre, running_energy
from classifier.measure.spline import polynomial_at, polynomials_along
from classifier.metrics import MEASURED

#: Instants at which a pulse's course is kept for comparison with its neighbours.
COURSE = 21
#: Share of full scale at which a sample is taken to stand at the recorder's limit.
LIMIT = 0.99990
#: Sounds of voices, wind and handling lie under this and say nothing about a pulse.
AUDIBLE_HZ = 8_000.0
#: Harmonics are looked for along the ridge and so far beyond its span, in seconds.
HELD_S = 0.2e-3
#: Narrowest band that the signal-to-noise ratio is taken over, in Hz.
LEAST_BAND_HZ = 2_000.0
#: Least share of the energy of its band that lies along a ridge with which it is looked at any further.
WORTH_A_LOOK = 0.4
#: By how much the error of the peak frequency is larger than the covariance says, of a pulse whose bandwidth times
#: duration is large beside FEW_CELLS (measured, see describe.INFLATION).
PEAK_INFLATION, FEW_CELLS = 3.7, 3.0
#: The inflation of standard errors is whole at FAINT_DB of signal-to-noise ratio and falls from there to this share.
FAINT_DB, CLEAR_DB, LEAST_HIDDEN = 15.0, 32.0, 0.35
#: A band holds more than noise when its energy exceeds the noise's by this many standard deviations.
SURELY_MORE = 3.0
#: The numbers of a pulse in the order of its arrays, and the inflation of their errors.
COLUMNS = (
    *NAMES,
    "onset",
    "centre_frequency",
    "peak_frequency",
    "strongest_harmonic",
    "second_harmonic",
    "third_harmonic",
    "level",
    "snr",
    "clipped_share",
    "coherence",
)
_FACTORS = np.array([INFLATION.get(name, 1.0) for name in COLUMNS])

Limits = namedtuple(
    "Limits",
    [
        "shortest_s",
        "longest_s",
        "lowest_hz",
        "least_snr_db",
        "still",  # stillness of the phase, and length, that speak for a pulse where its energy does not
        "still_s",
        "span_drop_db",
    ],
)
Limits.__doc__ = "What a sound must have to be described: see MeasureSettings."


@dataclass
class Pulse:
    """A pulse: its metrics, and what its neighbours are compared with.

    values, errors : float64, shape (len(COLUMNS),), in SI units, the onset from the start of the recording; and standard
        errors, NaN where there is none
    course_hz : float64, shape (COURSE,), the ridge at even steps of the span
    whole_share : float, share of the energy at all frequencies that lies along the ridge and its harmonics
    stillness : float, how steady the phase is once the ridge is taken out, 1 for a single sound
    end_level : float, amplitude at the louder of its two ends over that at its peak: a tenth where it has faded away, more where
        it was lost while it still sounded
    cut_start, cut_end : bool, whether it runs over an end of the recording
    """

    values: np.ndarray
    errors: np.ndarray
    course_hz: np.ndarray
    whole_share: float
    stillness: float
    end_level: float
    cut_start: bool
    cut_end: bool


class PulseMeter:
    """Measures the sounds of one sample rate."""

    def __init__(self, *, baseband, floor_bin_hz, settings):
        self.baseband = baseband
        self.floor_bin_hz = floor_bin_hz
        self.limits = Limits(
            settings.shortest_pulse_s,
            settings.longest_pulse_s,
            0.5 * settings.lowest_frequency_hz,
            settings.least_snr_db,
            settings.still_stillness,
            settings.still_duration_s,
            settings.span_drop_db,
        )

    def __call__(self, sound, region):
        """Measure a Sound of a Region; a Pulse, or None where it is no call."""
        band = self.baseband
        exists, values, errors, course, whole_share, stillness, end_level, at_start, at_end = _measured(
            region.samples,
            region.recorded,
            region.start,
            sound.frequency_hz,
            sound.time,
            sound.harmonic,
            region.floor,
            self.floor_bin_hz,
            band.kernel,
            band.decimation,
            band.sample_rate_hz,
            self.limits,
        )
        if not exists:
            return None
        cut_start, cut_end = region.at_file_start and at_start, region.at_file_end and at_end
        return Pulse(values, errors, course, whole_share, stillness, end_level, cut_start, cut_end)


def merged(pulses):
    """A list of Pulse as arrays in order of onset; None when there is no pulse.

    Returns a dict: metric name -> (values, errors or None); "course", shape (n, COURSE); "whole_share", "stillness", "end_level",
    "cut_start", "cut_end".
    """
    if not pulses:
        return None
    onset = COLUMNS.index("onset")
    pulses = sorted(pulses, key=lambda pulse: pulse.values[onset])
    values, errors = (np.array([getattr(pulse, name) for pulse in pulses]) for name in ("values", "errors"))
    out = {}
    for metric in MEASURED:
        column = COLUMNS.index(metric.name)
        out[metric.name] = (values[:, column].copy(), errors[:, column].copy() if metric.has_standard_error else None)
    out["course"] = np.array([pulse.course_hz for pulse in pulses])
    for name in ("whole_share", "stillness", "end_level", "cut_start", "cut_end"):
        out[name] = np.array([getattr(pulse, name) for pulse in pulses])
    return out


@compiled
def _measured(samples, recorded, start, frequency_hz, time, noted, floor, floor_bin_hz, kernel, decimation, rate_hz, limits):
    """All of a pulse: (whether there is one, then as in Pulse; of ``cut_start`` and ``cut_end`` whether it reaches the first
    and the last sample)."""
    values, errors = np.full(len(COLUMNS), np.nan), np.full(len(COLUMNS), np.nan)
    course = np.empty(COURSE)
    nothing_there = False, values, errors, course, 0.0, 0.0, 0.0, False, False
    exists, begin, nodes, shape, first, last, low, high = shape_along(
        samples, recorded, frequency_hz, time, floor, floor_bin_hz, kernel, decimation, rate_hz, limits.span_drop_db
    )
    length = shape.end_s - shape.begin_s
    if not (exists and limits.shortest_s <= length <= limits.longest_s and limits.lowest_hz <= low and high <= rate_hz / 2):
        return nothing_there
    share, snr, whole, audible = _weighed(samples[first:last], shape, low, high, floor, floor_bin_hz, rate_hz)
    # a louder bat in the same band takes the share; then a steady phase speaks for the pulse
    alone = shape.stillness >= limits.still and length >= limits.still_s
    if snr < limits.least_snr_db or (share < WORTH_A_LOOK and not alone):
        return nothing_there
    own, own_errors, ridge = describe(shape)
    strongest, levels = _levels(samples, begin, len(nodes), shape, noted, audible, floor, floor_bin_hz, kernel, decimation, rate_hz)
    peak, peak_error, centre, centre_error = peak_and_centre(shape, low, high)
    of_all = np.nansum(levels)
    whole_share = min(max(of_all / max(whole, 1e-30), 0.0), 1.0)
    # only a wide spectrum has rival maxima
    cells = (high - low) * length
    peak_error *= 1 + (PEAK_INFLATION - 1) * cells / (cells + FEW_CELLS)

    described = len(NAMES)
    values[:described], errors[:described] = own, own_errors
    values[described:] = np.array(
        [
            (start + begin) / rate_hz + shape.begin_s,
            centre,
            peak,
            float(strongest),
            _decibel(levels[1] / levels[0]),
            _decibel(levels[2] / levels[0]),
            2 * _decibel(shape.peak_amplitude),
            snr,
            100 * _share_at_limit(recorded[first:last], round(SPAN_ROOM_S * rate_hz)),
            # a harmonic that falls into the band of the ridge counts for the pulse
            100 * max(share, whole_share),
        ]
    )
    errors[described : described + 3] = np.array([shape.begin_error_s, centre_error, peak_error])
    # what a fit does not know of hides in noise
    hidden = min(max((CLEAR_DB - snr) / (CLEAR_DB - FAINT_DB), LEAST_HIDDEN), 1.0)
    errors *= 1 + (_FACTORS - 1) * hidden
    course[:] = ridge[:: (GRID - 1) // (COURSE - 1)]
    slack = 0.75 * NODE * decimation / rate_hz
    begins, ends = begin / rate_hz + shape.begin_s, begin / rate_hz + shape.end_s
    at_start, at_end = begins <= slack, ends >= len(samples) / rate_hz - slack
    end_level = 0.0
    for at in (shape.begin_s, shape.end_s):
        end_level = max(end_level, polynomial_at(at, shape.amplitude_knots, shape.amplitude, 0) / shape.peak_amplitude)
    return True, values, errors, course, whole_share, shape.stillness, end_level, at_start, at_end


@compiled
def _weighed(samples, shape, low_hz, high_hz, floor, floor_bin_hz, rate_hz):
    """What the recording holds beside the pulse.

    Parameters
    ----------
    samples : float32, shape (n,), the recording over the span with some room
    low_hz, high_hz : float, lowest and highest frequency of the ridge

    Returns
    -------
    share : float, energy along the ridge over that in its band, or the other way round if that is less than 1: more
        along the ridge than in its band says as well that the ridge does not belong to this sound
    snr_db : float
    whole : float, energy at all frequencies above AUDIBLE_HZ, less the noise
    audible : bool, shape (len(RATIOS),), whether there is more than noise in the band of each harmonic
    """
    size = 2 * scipy.fft.next_fast_len((len(samples) + 1) // 2, True)
    running = running_energy(scipy.fft.rfft(samples, size), 2 / (size * rate_hz))
    bin_hz, seconds = rate_hz / size, len(samples) / rate_hz
    energy, _ = net_energy(running, bin_hz, low_hz - BAND_ROOM_HZ, high_hz + BAND_ROOM_HZ, floor, floor_bin_hz, seconds)
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
def _levels(samples, begin, count, shape, noted, audible, floor, floor_bin_hz, kernel, decimation, rate_hz):
    """Which harmonic the ridge is and the levels of all, see ``harmonics``; of a pulse whose row has ``count`` nodes."""
    baseband_hz = rate_hz / decimation
    own = polynomials_along(0.0, NODE / baseband_hz, count, shape.knots, shape.turns, 1)
    # beyond the span the ridge is held
    early = min(max(int(np.ceil((shape.begin_s - HELD_S) * baseband_hz / NODE)), 0), count - 1)
    late = min(max(int((shape.end_s + HELD_S) * baseband_hz / NODE), early), count - 1)
    own[:early], own[late + 1 :] = own[early], own[late]
    late_s = 0.5 * (decimation - 1) / rate_hz
    first = max(int(np.ceil((shape.begin_s - late_s) * baseband_hz)), 0)
    last = min(int((shape.end_s - late_s) * baseband_hz), (count - 1) * NODE - 1)
    return harmonics(
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
