"""Feeding buzzes: where intervals collapse, and which pass a buzz belongs to that stands alone."""

import numpy as np


def median(values):
    """Median of the known values; NaN without any."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size else np.nan


def in_buzz(times, groups, settings):
    """Which pulses stand in a feeding buzz of their pass.

    A buzz is a run of at least buzz_pulses pulses whose intervals are at most buzz_interval_s; one interval of up
    to twice that inside the run (a pulse lost) does not end it.

    Parameters
    ----------
    times : float array (n,), s; groups : int array (n,), the pass of each pulse. Ordered by group, then time

    Returns
    -------
    bool array (n,)
    Source: 5 to 10 ms, Kalko 1995; 160 to 190 calls/s, Elemans et al. 2011
    """
    n = len(times)
    if n < 2:
        return np.zeros(n, bool)
    gaps = np.diff(times)
    same = np.diff(groups) == 0
    short = same & (gaps <= settings.buzz_interval_s)
    around = np.r_[False, short[:-1]] & np.r_[short[1:], False]
    short |= same & (gaps <= 2 * settings.buzz_interval_s) & around
    edges = np.flatnonzero(np.diff(np.r_[False, short, False].astype(np.int8)))
    found = np.zeros(n, bool)
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - start + 1 >= settings.buzz_pulses:
            found[start : stop + 1] = True
    return found


def capture(times, flags, settings):
    """Which pulses of a track belong to an attempt at prey: its buzzes and the approaches that run into them, whose
    intervals have fallen below approach_interval_s.

    times : float array (n,), s, ascending; flags : bool array (n,), as in_buzz gives them. Returns bool array (n,)
    """
    found = flags.copy()
    for place in range(len(times) - 2, -1, -1):
        if found[place + 1] and times[place + 1] - times[place] < settings.approach_interval_s:
            found[place] = True
    return found


def remains(times, settings):
    """Which pulses of a track are what was heard of a faint buzz: runs of 3 and more at intervals of an approach, one
    of which is a buzz's.

    times : float array (n,), s, ascending. Returns bool array (n,)
    """
    gaps = np.diff(times)
    edges = np.flatnonzero(np.diff(np.r_[False, gaps < settings.approach_interval_s, False].astype(np.int8)))
    found = np.zeros(len(times), bool)
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - start >= 2 and gaps[start:stop].min() <= settings.buzz_interval_s:
            found[start : stop + 1] = True
    return found


def home_of_buzz(track, flags, others, times, ends, pitch, *, gap_s, settings):
    """Which other track the bat that made a buzz is most plausibly found in, or None.

    That track is silent from the first to the last pulse of this one (but for buzz_strangers of its pulses, which
    must be another's then), its silence next to it is no longer than gap_s, and its frequency fits: within
    same_bat_percent of this track's calls outside the attempt at prey, or, where there are fewer than 3 of those, a
    frequency that the buzz can have fallen from. Of several one that was wholly silent is taken, then the nearest in
    time.

    Parameters
    ----------
    track : int array, pulses of the track with the buzz, in order of time; flags : bool array, as capture gives
    others : list of int arrays, candidate tracks of 3 pulses or more
    times, ends, pitch : float arrays over all pulses: onset (s), end (s), log characteristic frequency (per cent)

    Returns
    -------
    int index into ``others``, or None
    """
    first, last = times[track[0]], ends[track[-1]]
    search = track[~flags]
    if len(search) >= 3:
        own, low, high = median(pitch[search]), -settings.same_bat_percent, settings.same_bat_percent
    else:
        own = median(pitch[track])
        low, high = 100 * np.log(settings.buzz_lowest), 100 * np.log(settings.buzz_highest)
    best, home = (np.inf, np.inf), None
    for number, other in enumerate(others):
        place = np.searchsorted(times[other], first)
        inside = np.searchsorted(times[other], last) - place
        if inside > settings.buzz_strangers:
            continue
        other = np.delete(other, np.s_[place : place + inside])
        if len(other) < 2:
            continue
        before = first - ends[other[place - 1]] if place else np.inf
        after = times[other[place]] - last if place < len(other) else np.inf
        near = min(before, after)
        away = own - median(pitch[other[max(place - 5, 0) : place + 5]])
        if near <= gap_s and low <= away <= high and (inside, near) < best:
            best, home = (inside, near), number
    return home
