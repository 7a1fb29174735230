"""Whether what lies along a track is one sound and no burst of noise: looked at before anything is measured.

Insects, rain and handling give many tracks and few calls, so this is where most of them end.
"""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.apart import neighbours_in_band, without, without_each_other
from classifier.measure.harmonics import noise_along
from classifier.measure.ridge import NARROW, NODE, demodulate, refine, smooth
from classifier.measure.shape import stillness

#: Share of the energy in the baseband that lies within some 2 kHz of the ridge: nearly all of a call, a third or less
#: of an insect's syllable or of a click.
LEAST_NARROW = 0.65
#: Stillness of the phase that a call has at least, and that it has where its energy says nothing, on a track of so many
#: points; on one of yet more points less will do.
LEAST_STILL, LEAST_STILL_ALONE, LEAST_STILL_LONG = 0.85, 0.96, 0.90
LONG_POINTS, LONGER_POINTS = 15, 60
#: Where both lie under this in the middle of a long track, the rest need not be looked at.
HOPELESS = 0.5
#: Unevenness from point to point of a long track that is surely no insect's: most of theirs have twice as much, most
#: calls half of it.
EVEN_HZ = 400.0
#: Points of a long track that are looked at first.
MIDDLE_POINTS = 18


def coherent_sounds(sounds, regions, laid, *, baseband, floor_bin_hz):
    """The sounds that may be calls, each with the region that it is to be measured in.

    What another bat adds at the same time in the same band is taken from the recording first: see ``apart``.

    Parameters
    ----------
    sounds : Sounds
    regions : list of Region
    laid : Laid, the same regions
    baseband : Baseband
    floor_bin_hz : float, spacing of the floors' frequencies

    Returns
    -------
    list of (Sound, Region)
    """
    if not len(sounds):
        return []
    keep = _coherent(
        laid.samples,
        laid.starts,
        laid.floors,
        laid.floor_of,
        sounds.region,
        sounds.time - laid.skipped[sounds.region],
        sounds.first,
        sounds.frequency_hz,
        floor_bin_hz,
        baseband.kernel,
        baseband.decimation,
        baseband.sample_rate_hz,
    )
    disturbed, other = neighbours_in_band(sounds, baseband.node)
    # two calls side by side hide each other; insects' tracks lie side by side as well, but stagger
    even = _even(sounds.first, sounds.frequency_hz)
    helps = ~keep[disturbed] & (keep[other] | (even[disturbed] & even[other]))
    begin = np.searchsorted(disturbed, np.arange(len(sounds) + 1))
    parted = {}

    def alone(i, others):
        """The region of a sound without some others."""
        region = regions[sounds.region[i]]
        if not len(others):
            return region
        if len(others) > 1:
            return without(region, sounds[i], [sounds[j] for j in others], baseband=baseband, floor_bin_hz=floor_bin_hz)
        # the other of a pair is mostly wanted as well
        pair = tuple(sorted((i, others[0])))
        if pair not in parted:
            parted[pair] = without_each_other(region, *(sounds[j] for j in pair), baseband=baseband, floor_bin_hz=floor_bin_hz)
        return parted[pair][pair.index(i)]

    hidden = np.zeros(len(sounds), bool)
    for i in np.unique(disturbed[helps]):
        own = slice(begin[i], begin[i + 1])
        region = alone(i, other[own][helps[own]])
        hidden[i] = _is_coherent(
            region.samples,
            sounds[i].frequency_hz,
            sounds[i].time,
            region.floor,
            floor_bin_hz,
            baseband.kernel,
            baseband.decimation,
            baseband.sample_rate_hz,
        )[0]
    keep |= hidden
    out = []
    for i in np.flatnonzero(keep):
        others = other[begin[i] : begin[i + 1]]
        out.append((sounds[i], alone(i, others[keep[others]])))
    return out


@compiled
def _even(first, frequency_hz):
    """Which tracks are as long and as smooth as only calls' are."""
    out = np.zeros(len(first) - 1, np.bool_)
    for i in range(len(out)):
        course = frequency_hz[first[i] : first[i + 1]]
        if len(course) >= LONG_POINTS:
            out[i] = np.median(np.abs(course[2:] - 2 * course[1:-1] + course[:-2])) <= EVEN_HZ
    return out


@compiled
def _coherent(samples, starts, floors, floor_of, region, time, first, frequency_hz, floor_bin_hz, kernel, decimation, rate_hz):
    """``_is_coherent`` for many tracks."""
    out = np.empty(len(region), np.bool_)
    for i in range(len(region)):
        r = region[i]
        here, floor = samples[starts[r] : starts[r + 1]], floors[floor_of[r]]
        course = frequency_hz[first[i] : first[i + 1]]
        # of a long call the middle tells; only where it does not is the whole looked at
        left = (len(course) - MIDDLE_POINTS) // 2
        if left > MIDDLE_POINTS // 2:
            begin = time[i] + left * NODE * decimation
            middle = course[left : left + MIDDLE_POINTS]
            good, hopeless = _is_coherent(here, middle, begin, floor, floor_bin_hz, kernel, decimation, rate_hz)
            if good or hopeless:
                out[i] = good
                continue
        out[i], _ = _is_coherent(here, course, time[i], floor, floor_bin_hz, kernel, decimation, rate_hz)
    return out


@compiled
def _is_coherent(samples, frequency_hz, time, floor, floor_bin_hz, kernel, decimation, rate_hz):
    """Whether what lies along a track is one sound and no burst of noise; and whether it is surely such a burst.

    A call's energy lies in a narrow band along its track, and its phase, once the sweep is taken out, stands still. Where
    a louder bat is close by the energy is its, and the phase decides alone, of tracks long enough to tell.
    """
    begin = int(np.round(time - 0.5 * NODE * decimation))
    nodes = np.append(frequency_hz, 2 * frequency_hz[-1] - frequency_hz[-2])
    signal, ridge = demodulate(samples, begin, nodes, kernel, decimation, rate_hz)
    noise = noise_along(ridge, floor, floor_bin_hz, rate_hz / decimation)
    refine(signal, ridge, noise, 0, len(signal) - 1, rate_hz / decimation, rate_hz / 2)
    share = np.sum(NARROW**2)
    averaged = smooth(signal, NARROW)
    narrow, wide = 0.0, 0.0
    for i in range(len(signal)):
        narrow += averaged[i].real ** 2 + averaged[i].imag ** 2 - share * noise[i]
        wide += signal[i].real ** 2 + signal[i].imag ** 2 - noise[i]
    still = stillness(averaged)
    if narrow >= LEAST_NARROW * wide:
        return still >= LEAST_STILL, False
    points = len(frequency_hz)
    least = LEAST_STILL_ALONE if points < LONGER_POINTS else LEAST_STILL_LONG
    return points >= LONG_POINTS and still >= least, narrow < HOPELESS * wide and still < HOPELESS
