"""Where two sounds cross: tracks that changed places there are put right.

Where a steep sweep crosses a flat call their peaks are one for some frames, and linking by what is nearest may leave
along the other sound. Such a track has a kink. If another track begins, ends or has a kink there too, all of them are
cut and the pieces put together anew, so that each sound keeps its course, its slope and its level.
"""

from dataclasses import replace

import numpy as np

from classifier.compiled import compiled

#: The course of a track beside a crossing is read over so long a stretch, and so far from the crossing: within half a
#: frame two peaks pull each other.
READ_S, AWAY_S = 1.0e-3, 0.4e-3
#: A stretch that is read has so many points at least.
FEWEST_READ = 4
#: Only a track of such a length is cut, of which every second point at least bends no more than this from point to
#: point, and this share of its step: insects' tracks are short and stagger.
SHORTEST_S, EVEN_HZ, EVEN_SHARE = 3.5e-3, 350.0, 0.25
#: What it costs to go on from one piece to another: 1 for missing its course by this, for a change of slope by this
#: (and by this share of both slopes), for a step in level by this. This and the next line are chosen by how often they
#: tell right of 2 400 pairs of pieces in scenes whose bats are known.
MISS_HZ, SLOPE_HZ_S, SLOPE_SHARE, STEP_DB = 2_500.0, 5e6, 0.25, 30.0
#: A kink costs this at least; nothing goes on at a cost of more, and nothing is changed that saves less.
LEAST_KINK, MOST_COST, LEAST_SAVED = 0.3, 2.0, 0.4
#: A track does not go on as it did where that costs so much.
BROKEN = 3.0
#: Other tracks have to do with a kink if they end, begin or have theirs so close to it.
NEAR_S, NEAR_HZ = 2.2e-3, 3_500.0
#: Pieces that go on may overlap by so much.
OVERLAP_S = 0.8e-3


def uncrossed(tracks, follows, *, node, sample_rate_hz):
    """Tracks joined to those that follow, and put right where they changed places.

    Parameters
    ----------
    tracks : Tracks, points ``node`` samples apart, in order of region
    follows : int, shape (n_tracks,), the track that goes on where each one ends; -1 where none does
    node : int
    sample_rate_hz : float

    Returns
    -------
    Tracks in order of region and time; they may have holes
    """
    first = tracks.first
    tracks = _chained(tracks, first[:-1], first[1:], np.arange(len(tracks)), follows)
    points = max(round(READ_S * sample_rate_hz / node), FEWEST_READ), max(round(AWAY_S * sample_rate_hz / node), 1)
    course = tracks.time, tracks.frequency_hz, tracks.rise
    cuts = _cuts(tracks.region, tracks.first, *course, *points, sample_rate_hz)
    if not len(cuts):
        return tracks
    begin, end, owner = _pieces(cuts, tracks.first, points[1])
    follows = _followed(begin, end, owner, tracks.region, *course, *points, sample_rate_hz)
    return _chained(tracks, begin, end, owner, follows)


def _chained(tracks, begin, end, owner, follows):
    """Tracks made of pieces: piece i is the points from ``begin[i]`` to ``end[i]`` of the track ``owner[i]``, and goes
    on in the piece ``follows[i]``."""
    first, points = _put_together(begin, end, owner, follows, tracks.region, tracks.time)
    origin = np.searchsorted(tracks.first, points, side="right") - 1
    heads = first[:-1]
    return replace(
        tracks,
        region=tracks.region[origin[heads]],
        first=first,
        time=tracks.time[points],
        frequency_hz=tracks.frequency_hz[points],
        rise=tracks.rise[points],
        power=tracks.power[points],
        share=np.maximum.reduceat(tracks.share[origin], heads) if len(heads) else tracks.share[:0],
    )


@compiled
def _line(begin, end, time, frequency, rise):
    """A straight line through some points: mean time and frequency, slope (Hz a sample), and mean level in dB."""
    middle, mean, level = 0.0, 0.0, 0.0
    for k in range(begin, end):
        middle += time[k]
        mean += frequency[k]
        level += rise[k]
    count = end - begin
    middle, mean = middle / count, mean / count
    above, below = 0.0, 1e-9
    for k in range(begin, end):
        above += (time[k] - middle) * (frequency[k] - mean)
        below += (time[k] - middle) ** 2
    return middle, mean, above / below, 10 * np.log10(level / count)


@compiled
def _cost(one, other, at, rate_hz):
    """What it costs to go on from one line to another at a time."""
    miss = abs(one[1] + one[2] * (at - one[0]) - other[1] - other[2] * (at - other[0]))
    bend, slopes = abs(one[2] - other[2]) * rate_hz, (abs(one[2]) + abs(other[2])) * rate_hz
    return miss / MISS_HZ + bend / (SLOPE_HZ_S + SLOPE_SHARE * slopes) + abs(one[3] - other[3]) / STEP_DB


@compiled
def _may_be_two(begin, end, time, frequency, shortest):
    """Whether a track is as long and as smooth as one that holds two calls."""
    if time[end - 1] - time[begin] < shortest:
        return False
    even = 0
    for k in range(begin + 1, end - 1):
        bend = abs(frequency[k - 1] - 2 * frequency[k] + frequency[k + 1])
        even += bend <= EVEN_HZ + EVEN_SHARE * 0.5 * abs(frequency[k + 1] - frequency[k - 1])
    return 2 * even >= end - begin


@compiled
def _cuts(region, first, time, frequency, rise, read, away, rate_hz):
    """Points at which tracks are to be cut, rising: kinks near which another track ends, begins or has one as well."""
    kinks, track = [0][:0], [0][:0]
    for i in range(len(region)):
        begin, end = first[i], first[i + 1]
        if not _may_be_two(begin, end, time, frequency, SHORTEST_S * rate_hz):
            continue
        highest, place = LEAST_KINK, -1
        for k in range(begin + away + FEWEST_READ, end - away - FEWEST_READ + 1):
            # of a row of such points the sharpest one
            if place >= 0 and (k - place > 2 * away or k == end - away - FEWEST_READ):
                kinks.append(place)
                track.append(i)
                highest, place = LEAST_KINK, -1
            if k < end - away - FEWEST_READ:
                before = _line(max(begin, k - away - read + 1), k - away + 1, time, frequency, rise)
                after = _line(k + away, min(end, k + away + read), time, frequency, rise)
                cost = _cost(before, after, time[k], rate_hz)
                if cost > highest:
                    highest, place = cost, k
    near = NEAR_S * rate_hz
    cuts = [0][:0]
    opens = opens_kinks = 0
    for number in range(len(kinks)):
        kink, i = kinks[number], track[number]
        while region[opens] != region[i]:
            opens += 1
        while region[track[opens_kinks]] != region[i]:
            opens_kinks += 1
        company = False
        j = opens
        while not company and j < len(region) and region[j] == region[i]:
            begin, end = first[j], first[j + 1]
            few = min(read, end - begin)
            if j != i and abs(time[begin] - time[kink]) < near:
                line = _line(begin, begin + few, time, frequency, rise)
                company |= abs(line[1] + line[2] * (time[kink] - line[0]) - frequency[kink]) < NEAR_HZ
            if j != i and abs(time[end - 1] - time[kink]) < near:
                line = _line(end - few, end, time, frequency, rise)
                company |= abs(line[1] + line[2] * (time[kink] - line[0]) - frequency[kink]) < NEAR_HZ
            j += 1
        other = opens_kinks
        while not company and other < len(kinks) and region[track[other]] == region[i]:
            close = abs(time[kinks[other]] - time[kink]) < near
            company |= track[other] != i and close and abs(frequency[kinks[other]] - frequency[kink]) < NEAR_HZ
            other += 1
        if company:
            cuts.append(kink)
    return np.array(cuts)


@compiled
def _pieces(cuts, first, away):
    """Tracks cut: (first point and end of each piece, the number of its track). What lies closer to a cut than ``away``,
    or between two cuts of one kink, is in none."""
    n = len(first) - 1 + len(cuts)
    begin, end, owner = np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64)
    count, cut = 0, 0
    for i in range(len(first) - 1):
        begin[count], owner[count] = first[i], i
        while cut < len(cuts) and cuts[cut] < first[i + 1]:
            # a kink costs most on either side of it, where one of the lines is bent
            if cuts[cut] - away + 1 - begin[count] >= FEWEST_READ:
                end[count] = cuts[cut] - away + 1
                count += 1
            begin[count], owner[count] = cuts[cut] + away, i
            cut += 1
        end[count] = first[i + 1]
        count += 1
    return begin[:count], end[:count], owner[:count]


@compiled
def _followed(begin, end, owner, region, time, frequency, rise, read, away, rate_hz):
    """The piece that goes on where each one ends, -1 where none does: the cheapest first, every end once."""
    n = len(begin)
    has_cuts = np.zeros(region[-1] + 1, np.bool_)
    for p in range(1, n):
        has_cuts[region[owner[p]]] |= owner[p - 1] == owner[p]
    entering, leaving = np.empty((n, 4)), np.empty((n, 4))
    for p in range(n):
        if not has_cuts[region[owner[p]]]:
            continue
        # at an end of its own a track was pulled as well
        early = late = 0
        if end[p] - begin[p] >= away + FEWEST_READ:
            early = 0 if p > 0 and owner[p - 1] == owner[p] else away
            late = 0 if p + 1 < n and owner[p + 1] == owner[p] else away
        here = _line(begin[p] + early, min(begin[p] + early + read, end[p]), time, frequency, rise)
        there = _line(max(begin[p], end[p] - late - read), end[p] - late, time, frequency, rise)
        for k in range(4):
            entering[p, k], leaving[p, k] = here[k], there[k]
    ending, beginning, price = [0][:0], [0][:0], [0.0][:0]
    opens = 0
    for p in range(n):
        if not has_cuts[region[owner[p]]]:
            continue
        while region[owner[opens]] != region[owner[p]]:
            opens += 1
        last = time[end[p] - 1]
        cut_after = p + 1 < n and owner[p + 1] == owner[p]
        q = opens
        while q < n and region[owner[q]] == region[owner[p]]:
            own = cut_after and q == p + 1
            cut_before = q > 0 and owner[q - 1] == owner[q]
            apart = time[begin[q]] - last
            later = apart > -OVERLAP_S * rate_hz and time[begin[q]] > time[begin[p]] and time[end[q] - 1] > last
            if (cut_after or cut_before) and q != p and later and apart < (NEAR_S + 2 * AWAY_S) * rate_hz:
                cost = _cost(leaving[p], entering[q], last + 0.5 * apart, rate_hz)
                if cost < (BROKEN if own else MOST_COST):
                    ending.append(p)
                    beginning.append(q)
                    price.append(min(cost, MOST_COST) - LEAST_SAVED if own else cost)
            q += 1
    follows, led = np.full(n, -1), np.zeros(n, np.bool_)
    for pair in np.argsort(np.array(price)):
        p, q = ending[pair], beginning[pair]
        if follows[p] < 0 and not led[q]:
            follows[p] = q
            led[q] = True
    # where one track becomes two nothing has crossed: an echo goes on where its call leaves it
    for p in range(n - 1):
        q, other = p + 1, follows[p]
        if owner[q] == owner[p] and other >= 0 and other != q and not led[q] and owner[other - 1] != owner[other]:
            at = 0.5 * (time[end[p] - 1] + time[begin[q]])
            if _cost(leaving[p], entering[q], at, rate_hz) < BROKEN:
                follows[p], led[q], led[other] = q, True, False
    return follows


@compiled
def _put_together(begin, end, owner, follows, region, time):
    """Chains of pieces as (first, points), in order of region and time. Where a track goes on as it did nothing of it
    is left out; where two pieces overlap the first one counts."""
    n = len(begin)
    led = np.zeros(n, np.bool_)
    for p in range(n):
        if follows[p] >= 0:
            led[follows[p]] = True
    heads = np.flatnonzero(~led)
    heads = heads[np.argsort(time[begin[heads]], kind="mergesort")]
    heads = heads[np.argsort(region[owner[heads]], kind="mergesort")]
    first, points = np.zeros(len(heads) + 1, np.int64), np.empty(len(time), np.int64)
    filled = 0
    for number in range(len(heads)):
        p, latest = heads[number], -np.inf
        while p >= 0:
            q = follows[p]
            last = begin[q] if q == p + 1 and owner[q] == owner[p] else end[p]
            for k in range(begin[p], last):
                if time[k] > latest:
                    points[filled] = k
                    filled += 1
                    latest = time[k]
            p = q
        first[number + 1] = filled
    return first, points[:filled].copy()
