"""What a pulse's neighbours and the ends of the file mean for it: doubles, overlaps, cut pulses."""

import numpy as np

#: Two ridges this close at one moment cannot be told apart there.
TOO_CLOSE_HZ = 3_000.0
#: Reverberation is looked for so long after a pulse, within its band and this much beside it.
REVERBERATION_S = 0.060
BAND_SLACK_HZ = 2_500.0
#: Sounds briefer than this may be pieces of one click.
BURST_S = 1.8e-3
#: Metrics that a pulse cut at its start, or at its end, cannot have.
LOST_START = ("duration", "start_frequency", "max_frequency", "bandwidth", "knee_time", "initial_slope", "mean_slope",
              "flat_share", "centre_frequency")
LOST_END = ("duration", "end_frequency", "min_frequency", "bandwidth", "mean_slope", "tail", "flat_share",
            "centre_frequency")


def without_doubles(found):
    """False for a pulse that was measured twice, because two tracks led to the same ridge: the weaker one."""
    onset, duration = found["onset"][0], found["duration"][0]
    energy = found["level"][0] + 10 * np.log10(np.maximum(duration, 1e-6))
    peak = found["peak_frequency"][0]
    keep = np.ones(len(onset), bool)
    for i, j, at, distance in _meetings(onset, duration, found["course"]):
        shorter = min(duration[i], duration[j])
        together = np.ptp(at)
        if keep[i] and keep[j] and together > 0.6 * shorter and np.median(distance) < 1_500.0:
            keep[i if energy[i] < energy[j] else j] = False
            continue
        # a brief piece whose energy is that of the longer pulse under it
        brief, long = (i, j) if duration[i] < duration[j] else (j, i)
        if together > 0.7 * duration[brief] and duration[brief] < 0.5 * duration[long] and energy[brief] < energy[long]:
            course = found["course"][long]
            if np.min(np.abs(course - peak[brief])) < 1_000.0:
                keep[brief] = False
    return keep


def afterglow(found):
    """True for what is the reverberation of a louder pulse: weaker, soon after it, and within its band.

    A pulse of another bat that falls there keeps clear of this by its sweep: it spans much of the louder one's band, or
    leaves it, or is hardly weaker.
    """
    onset, level = found["onset"][0], found["level"][0]
    low, high = found["course"].min(axis=1), found["course"].max(axis=1)
    end = onset + found["duration"][0]
    out = np.zeros(len(onset), bool)
    for j in range(len(onset)):
        first = np.searchsorted(onset, onset[j] - REVERBERATION_S)
        for i in range(first, j):
            weaker = level[i] - level[j]
            behind = onset[j] - end[i]
            if out[i] or weaker < 4.0 or weaker < 4.0 + 250.0 * behind:
                continue
            within = low[j] > low[i] - BAND_SLACK_HZ and high[j] < high[i] + BAND_SLACK_HZ
            if within and high[j] - low[j] < 0.6 * (high[i] - low[i]) + 1_000.0:
                out[j] = True
                break
    return out


def bursts(found):
    """True for members of a burst: several brief sounds at once that are no harmonics, as a rain drop makes."""
    onset, duration = found["onset"][0], found["duration"][0]
    brief = np.flatnonzero(duration < BURST_S)
    out = np.zeros(len(onset), bool)
    together = np.searchsorted(onset[brief], onset[brief] + BURST_S / 2) - np.searchsorted(
        onset[brief], onset[brief] - BURST_S / 2
    )
    out[brief] = together >= 3
    return out


def overlapped(onset, duration, course):
    """Whether another pulse comes closer than TOO_CLOSE_HZ to each one's ridge at some moment of both spans."""
    out = np.zeros(len(onset), bool)
    for i, j, _, distance in _meetings(onset, duration, course):
        if distance.min() < TOO_CLOSE_HZ:
            out[[i, j]] = True
    return out


def _meetings(onset, duration, course):
    """Pairs of pulses that sound at once: (i, j, instants of both, distance of their ridges there)."""
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
                yield i, j, at, np.abs(mine - other)
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
