"""What a pulse's neighbours and the ends of the file mean for it: doubles, overlaps, cut pulses."""

import numpy as np

from classifier.measure.harmonics import RATIOS

#: Two ridges this close at one moment cannot be told apart there.
TOO_CLOSE_HZ = 3_000.0
#: Ratios of the frequencies of two harmonics of one call, and how near to one of them a true pair comes.
HARMONIC_RATIOS = np.array(RATIOS)
RATIO_TOLERANCE, BENT_S = 0.012, 2.5e-3
#: What an overdriven recorder adds lies this far under the pulse that drives it, and hardly outlasts it.
DISTORTION_DB = 10.0
DISTORTION_AFTER_S = 2e-3
LONGEST_S = 0.12
#: A piece of another pulse keeps within such a band.
SLIVER_HZ = 5_000.0
#: Two pieces of one faint call, whose middle the noise hid: the second begins this near to where the first ends, in time
#: and in frequency, and neither stands further over the noise.
PIECES_S, PIECES_HZ, PIECES_DB = 1.5e-3, 700.0, 14.0
#: Sounds briefer than this may be pieces of one click.
BURST_S = 1.8e-3
#: Metrics that a pulse cut at its start, or at its end, cannot have.
LOST_START = (
    "duration",
    "start_frequency",
    "max_frequency",
    "bandwidth",
    "knee_time",
    "initial_slope",
    "mean_slope",
    "flat_share",
    "centre_frequency",
)
LOST_END = ("duration", "end_frequency", "min_frequency", "bandwidth", "mean_slope", "tail", "flat_share", "centre_frequency")


def without_doubles(found):
    """False for a pulse that was measured twice, because two tracks led to the same ridge: the weaker one."""
    onset, duration = found["onset"][0], found["duration"][0]
    energy = found["level"][0] + 10 * np.log10(np.maximum(duration, 1e-6))
    peak = found["peak_frequency"][0]
    keep = np.ones(len(onset), bool)
    for i, j, mine, other, at in _meetings(onset, duration, found["course"]):
        distance = np.abs(mine - other)
        shorter = min(duration[i], duration[j])
        together = np.ptp(at)
        apart = np.median(distance)
        # no two calls run so close to each other; less of the time will do where they run closer
        same = together > 0.6 * shorter and apart < 1_500.0 or together > 0.25 * shorter and apart < 500.0
        if keep[i] and keep[j] and same:
            keep[i if energy[i] < energy[j] else j] = False
            continue
        # a brief piece whose energy is that of the longer pulse under it
        brief, long = (i, j) if duration[i] < duration[j] else (j, i)
        narrow = np.ptp(found["course"][brief]) < SLIVER_HZ
        if narrow and together > 0.7 * duration[brief] and duration[brief] < 0.5 * duration[long] and energy[brief] < energy[long]:
            course = found["course"][long]
            if np.min(np.abs(course - peak[brief])) < 1_000.0:
                keep[brief] = False
    return keep


def pieces(found):
    """True for the lesser of two pieces into which noise tore one faint call."""
    onset, duration, course = found["onset"][0], found["duration"][0], found["course"]
    energy = found["level"][0] + 10 * np.log10(np.maximum(duration, 1e-6))
    end, snr = onset + duration, found["snr"][0]
    out = np.zeros(len(onset), bool)
    faint = np.flatnonzero(snr < PIECES_DB)
    for j in faint:
        around = faint[slice(*np.searchsorted(onset[faint], (onset[j] - LONGEST_S, onset[j])))]
        for i in around[np.abs(end[around] - onset[j]) < PIECES_S]:
            # where they overlap, both ridges are known there
            at = np.clip(0.5 * (end[i] + onset[j]), onset[j], end[i]) if end[i] > onset[j] else onset[j]
            mine = np.interp(at, np.linspace(onset[j], end[j], course.shape[1]), course[j])
            other = np.interp(at, np.linspace(onset[i], end[i], course.shape[1]), course[i])
            if abs(mine - other) < PIECES_HZ:
                out[i if energy[i] < energy[j] else j] = True
    return out


def harmonics_of_others(found):
    """True for a pulse that is a harmonic of a louder one at the same time: its course is a whole multiple, or a simple
    fraction, of the other's throughout."""
    onset, duration = found["onset"][0], found["duration"][0]
    energy = found["level"][0] + 10 * np.log10(np.maximum(duration, 1e-6))
    out = np.zeros(len(onset), bool)
    for i, j, mine, other, _ in _meetings(onset, duration, found["course"]):
        weak, strong = (i, j) if energy[i] < energy[j] else (j, i)
        ratio = (mine / other) if weak == j else (other / mine)
        middle = np.median(ratio)
        nearest = HARMONIC_RATIOS[np.argmin(np.abs(HARMONIC_RATIOS / middle - 1))]
        common_s = _common_s(found, weak, strong)
        # close together for so short a time, two harmonics bend each other's ridges
        tolerance = RATIO_TOLERANCE * (1 + BENT_S / max(common_s, BENT_S / 2))
        if common_s > 0.6 * duration[weak] and np.median(np.abs(ratio / nearest - 1)) < tolerance:
            out[weak] = True
    return out


def _common_s(found, one, other):
    """Time in which two pulses sound together."""
    onset, duration = found["onset"][0], found["duration"][0]
    return min(onset[one] + duration[one], onset[other] + duration[other]) - max(onset[one], onset[other])


def distortions(found):
    """True for what a recorder adds while it is overdriven: sounds much weaker than a clipped pulse at the same time."""
    onset, level, clipped = found["onset"][0], found["level"][0], found["clipped_share"][0]
    end = onset + found["duration"][0]
    out = np.zeros(len(onset), bool)
    for i in np.flatnonzero(clipped > 0.0):
        around = slice(*np.searchsorted(onset, (onset[i] - LONGEST_S, end[i] + DISTORTION_AFTER_S)))
        late = end[around] > onset[i] - DISTORTION_AFTER_S
        out[around] |= late & (level[around] < level[i] - DISTORTION_DB)
    return out


def bursts(found):
    """True for members of a burst: several brief sounds at once that are no harmonics, as a rain drop makes."""
    onset, duration = found["onset"][0], found["duration"][0]
    brief = np.flatnonzero(duration < BURST_S)
    out = np.zeros(len(onset), bool)
    together = np.searchsorted(onset[brief], onset[brief] + BURST_S / 2) - np.searchsorted(onset[brief], onset[brief] - BURST_S / 2)
    out[brief] = together >= 3
    return out


def overlapped(onset, duration, course):
    """Whether another pulse comes closer than TOO_CLOSE_HZ to each one's ridge at some moment of both spans."""
    out = np.zeros(len(onset), bool)
    for i, j, mine, other, _ in _meetings(onset, duration, course):
        if np.abs(mine - other).min() < TOO_CLOSE_HZ:
            out[[i, j]] = True
    return out


def _meetings(onset, duration, course):
    """Pairs of pulses that sound at once: (i, j, ridge of j and of i at instants of both, those instants)."""
    end = onset + duration
    share = np.linspace(0, 1, course.shape[1])
    latest = np.maximum.accumulate(end) if len(end) else end
    for j in range(1, len(onset)):
        if onset[j] >= latest[j - 1]:
            continue
        i = j - 1
        while i >= 0 and onset[j] < latest[i]:
            if onset[j] < end[i]:
                at = np.linspace(onset[j], min(end[i], end[j]), 24)
                mine = np.interp(at, onset[j] + share * duration[j], course[j])
                other = np.interp(at, onset[i] + share * duration[i], course[i])
                yield i, j, mine, other, at
            i -= 1


def cut_off(found):
    """Take from pulses that run over an end of the file what they cannot have, and flag them."""
    falling = found["course"][:, 0] > found["course"][:, -1]
    for flag, lost in (("cut_start", LOST_START), ("cut_end", LOST_END)):
        cut = found[flag]
        if not cut.any():
            continue
        for name in lost:
            gone = cut
            # of a rising pulse the start holds the lowest frequency, not the highest
            if name == "max_frequency":
                gone = cut & (falling == (flag == "cut_start"))
            if name == "min_frequency":
                gone = cut & (falling == (flag == "cut_end"))
            values, errors = found[name]
            values[gone] = np.nan
            if errors is not None:
                errors[gone] = np.nan
    found["cut"] = found["cut_start"] | found["cut_end"]
    return found
