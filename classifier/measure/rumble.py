"""Mains hum, wind and handling are taken out where a low sound is heard: the baseband of its ridge reaches down to them."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy import signal

from classifier.compiled import compiled

#: The baseband spans some 16 kHz on either side of a ridge: of one under this frequency it holds what lies near 0 Hz.
REACHED_UNDER_HZ = 17_000.0
#: Points of a track so low that is long enough to be a call's (some 8 ms); insects' are mostly shorter.
LEAST_POINTS = 32
#: What lies under this frequency is taken out, by a Butterworth filter of order 2 forwards and backwards, so that nothing is
#: delayed. At 8 kHz it costs 0.1 dB.
CUT_HZ, ORDER = 2_500.0, 2
#: The filter settles in so long, in seconds, for which a region is carried on beyond its ends.
SETTLES_S = 1e-3


def without_rumble(sounds, regions, laid, sample_rate_hz):
    """Regions, and the same laid out, without rumble where a low sound is heard.

    Parameters
    ----------
    sounds : Sounds
    regions : list of Region
    laid : Laid, the same regions; changed in place
    sample_rate_hz : float

    Returns
    -------
    list of Region, what the recorder recorded still in ``recorded``
    """
    middles = sounds.frequency_hz[(sounds.first[:-1] + sounds.first[1:]) // 2]
    long = np.diff(sounds.first) >= LEAST_POINTS
    regions = list(regions)
    for i in np.unique(sounds.region[long & (middles < REACHED_UNDER_HZ)]):
        region, begin = regions[i], laid.starts[i]
        clean = high_passed(region.samples, _coefficients(sample_rate_hz), round(SETTLES_S * sample_rate_hz))
        regions[i] = replace(region, samples=clean)
        laid.samples[begin : begin + region.look.stop - region.look.start] = clean[region.look]
    return regions


@lru_cache(maxsize=8)
def _coefficients(sample_rate_hz):
    numerator, denominator = signal.butter(ORDER, CUT_HZ, "highpass", fs=sample_rate_hz)
    return np.concatenate([numerator, denominator[1:]])


@compiled
def high_passed(samples, coefficients, room):
    """Run a filter of order 2 over samples forwards and backwards.

    Parameters
    ----------
    samples : float32, shape (n,)
    coefficients : float64, shape (5,), b0, b1, b2, a1, a2 of a filter that lets nothing constant through
    room : int, samples by which both ends are carried on, turned about the end, so that the filter has settled

    Returns
    -------
    float32, shape (n,)
    """
    n = len(samples)
    room = min(room, n - 1)
    values = np.empty(n + 2 * room)
    for i in range(room):
        values[i] = 2.0 * samples[0] - samples[room - i]
        values[room + n + i] = 2.0 * samples[n - 1] - samples[n - 2 - i]
    for i in range(n):
        values[room + i] = samples[i]
    _run(values, coefficients, 1)
    _run(values, coefficients, -1)
    out = np.empty(n, np.float32)
    for i in range(n):
        out[i] = values[room + i]
    return out


@compiled
def _run(values, coefficients, direction):
    """One pass over all values, in place, as if the first had been there for ever."""
    b0, b1, b2, a1, a2 = coefficients
    held = first = 0.0
    count = len(values)
    start = values[0] if direction > 0 else values[count - 1]
    for k in range(count):
        i = k if direction > 0 else count - 1 - k
        given = values[i] - start
        out = b0 * given + held
        held = b1 * given - a1 * out + first
        first = b2 * given - a2 * out
        values[i] = out
