"""From the points of single frames to chains of them: two points of neighbouring frames are linked when each is the other's
nearest, in frequency and level, where the sweep is expected to go.
"""

import numpy as np

from classifier.compiled import compiled

#: Points that a track must have: noise alone hangs together for about a frame's length, three steps. A loud piece may be
#: the end of a steep sweep, where links break, with fewer.
FEWEST_POINTS, FEWEST_LOUD_POINTS = 4, 3
#: Rounds of linking: the later ones look where the slope found before points to.
ROUNDS = 2
#: What a decibel of difference in level counts, in Hz, where the nearest point is looked for: one that noise happens to put
#: nearer to a loud sound is not its continuation.
LEVEL_HZ = 300.0


@compiled
def linked(frame, frequency, level_db, first_reach_hz, reach_hz):
    """Index of the point that follows each point in the next frame; -1 where none does.

    Parameters
    ----------
    frame : int, shape (n,), rising
    frequency : float64, shape (n,), rising within a frame
    level_db : float64, shape (n,)
    first_reach_hz, reach_hz : float, how far a point may lie from where it is looked for, in the first round and (with
        0.4 of the change expected added) in the later ones
    """
    n = len(frame)
    following = np.full(n, -1)
    change = np.zeros(n)
    # the points of a frame lie from one of these to the next
    begins = np.append(np.flatnonzero(np.append(True, frame[1:] != frame[:-1])), n) if n else np.zeros(1, np.int64)
    for turn in range(ROUNDS):
        if turn:
            change[:] = 0.0
            for i in range(n):
                # expected change is what led here, else what leads on
                if following[i] >= 0:
                    change[i] = frequency[following[i]] - frequency[i]
            for i in range(n):
                if following[i] >= 0:
                    change[following[i]] = frequency[following[i]] - frequency[i]
            following[:] = -1
        for k in range(len(begins) - 2):
            begin, end = begins[k], begins[k + 1]
            if frame[end] != frame[begin] + 1:
                continue
            here, there = frequency[begin:end], frequency[end : begins[k + 2]]
            level_here, level_there = level_db[begin:end], level_db[end : begins[k + 2]]
            for i in range(len(here)):
                expected = change[begin + i]
                j = _nearest(there, level_there, here[i] + expected, level_here[i])
                reach = first_reach_hz
                if turn:
                    reach = reach_hz + 0.4 * max(abs(expected), abs(change[end + j]))
                if abs(there[j] - here[i] - expected) > reach:
                    continue
                if _nearest(here, level_here, there[j] - change[end + j], level_there[j]) == i:
                    following[begin + i] = end + j
    return following


@compiled
def _nearest(frequency, level_db, wanted, wanted_db):
    """Index of the point nearest to a frequency and level; the frequencies rise."""
    best, least = 0, np.inf
    for k in range(len(frequency)):
        if frequency[k] - wanted > least:
            break
        miss = abs(frequency[k] - wanted) + LEVEL_HZ * abs(level_db[k] - wanted_db)
        if miss < least:
            best, least = k, miss
    return best


@compiled
def chains(following, strength, audible, loud):
    """Chains of at least FEWEST_POINTS points, the loudest of them at least ``audible``, or of FEWEST_LOUD_POINTS, at least
    ``loud``: (first, points) as in Tracks."""
    n = len(following)
    led = np.zeros(n, np.bool_)
    for i in range(n):
        if following[i] >= 0:
            led[following[i]] = True
    first, points = np.zeros(n + 1, np.int64), np.empty(n, np.int64)
    count, filled = 0, 0
    for i in range(n):
        if led[i] or following[i] < 0:
            continue
        begin, loudest, j = filled, 0.0, i
        while j >= 0:
            points[filled] = j
            loudest = max(loudest, strength[j])
            filled += 1
            j = following[j]
        least = audible if filled - begin >= FEWEST_POINTS else loud
        if filled - begin >= FEWEST_LOUD_POINTS and loudest > least:
            count += 1
            first[count] = filled
        else:
            filled = begin
    return first[: count + 1].copy(), points[:filled].copy()
