"""Echoes: delayed, weaker copies of a pulse, recognised among the pulses that follow it.

A copy runs through the same frequencies in the same time. Two bats rarely do so to within the measurement; a bat in
a feeding buzz does, but then the copies go on and on at a steady pace and hardly weaken, and such rows are let be.
"""

import numpy as np

#: Latest and earliest that an echo comes behind its pulse, in seconds.
LATEST_S = 0.030
EARLIEST_S = 0.0008
#: How much weaker an echo is at least, in dB.
WEAKER_DB = 1.5
#: Mean distance allowed between the course of a pulse and of its copy, in Hz, and as a share of the bandwidth.
ALIKE_HZ = 700.0
ALIKE_SHARE = 0.04
#: So many copies in a row, each a copy of the one before, are a buzz.
BUZZ_ROW = 3


def find_echoes(onset_s, duration_s, level_db, course_hz):
    """Which pulses are echoes of one before them.

    Parameters
    ----------
    onset_s, duration_s, level_db : float64, shape (n,), pulses of one channel in order of onset
    course_hz : float64, shape (n, k), ridge of each pulse at k instants evenly spread over its span

    Returns
    -------
    bool, shape (n,)
    """
    n = len(onset_s)
    parent = np.full(n, -1)
    share = np.linspace(0, 1, course_hz.shape[1])
    for j in range(n):
        first = np.searchsorted(onset_s, onset_s[j] - LATEST_S)
        best = None
        for i in range(first, j):
            delay = onset_s[j] - onset_s[i]
            if delay < EARLIEST_S or level_db[j] > level_db[i] - WEAKER_DB:
                continue
            if duration_s[j] > 1.5 * duration_s[i] + 2e-3:
                continue
            miss, covered = _course_distance(
                share * duration_s[j], course_hz[j], share * duration_s[i], course_hz[i]
            )
            width = np.ptp(course_hz[j])
            if covered > 0.6 and miss < ALIKE_HZ + ALIKE_SHARE * width and (best is None or level_db[i] > best[0]):
                best = (level_db[i], i)
        if best:
            parent[j] = best[1]
    return _without_buzzes(parent, onset_s, level_db)


def _course_distance(late_t, late_f, early_t, early_f):
    """Mean distance of two courses at their best delay, and the share of the late one that the early one covers."""
    best = (np.inf, 0.0)
    late_length, early_length = late_t[-1], early_t[-1]
    # an echo may lose its weak ends: slide the shorter along the longer
    lowest, highest = min(0.0, early_length - late_length), max(0.0, early_length - late_length)
    for shift in np.linspace(lowest - 0.3e-3, highest + 0.3e-3, 9):
        at = late_t + shift
        inside = (at >= 0) & (at <= early_length)
        covered = inside.mean()
        if covered < 0.5:
            continue
        miss = np.mean(np.abs(np.interp(at[inside], early_t, early_f) - late_f[inside]))
        if miss < best[0]:
            best = (miss, covered)
    return best


def _without_buzzes(parent, onset_s, level_db):
    """Echo flags; rows of copies of copies at a steady pace are calls of a buzz."""
    n = len(parent)
    echo = parent >= 0
    # the copy nearest before each copy, if it follows at the pace of the row
    row = np.zeros(n, int)
    pace = np.full(n, np.nan)
    for j in range(1, n):
        step = onset_s[j] - onset_s[j - 1]
        if step <= LATEST_S * 0.6 and abs(level_db[j] - level_db[j - 1]) < 8.0:
            steady = np.isnan(pace[j - 1]) or 0.6 < step / pace[j - 1] < 1.4
            row[j] = row[j - 1] + 1 if steady else 1
            pace[j] = step
    for j in range(n - 1, 0, -1):
        if row[j] >= BUZZ_ROW:
            for k in range(j - row[j], j + 1):
                echo[k] = echo[k] and False
    return echo
