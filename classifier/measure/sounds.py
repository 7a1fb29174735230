"""Tracks that belong together: pieces of one sweep are joined, harmonics are counted to one sound.

What comes out are sounds, each with the track of its strongest harmonic; every sound is then measured as a pulse.
"""

from dataclasses import dataclass

import numpy as np

from classifier.compiled import compiled
from classifier.measure.crossings import uncrossed
from classifier.measure.links import FEWEST_POINTS
from classifier.measure.tracks import BRIEF_POINTS, kept

#: Longest hole, in seconds, across which two pieces of a sweep are joined, and how far off the aim may be.
LONGEST_HOLE_S = 1.6e-3
AIM_HZ = 2_500.0
#: Levels at the two ends: what counts as much as missing the aim altogether.
LEVELS_DB = 15.0
#: The two pieces may overlap by so many nodes, where the window smears a steep sweep into two peaks.
OVERLAP_NODES = 2.7
#: How far two tracks may be from a whole-numbered ratio of their frequencies.
RATIO_TOLERANCE = 0.012
#: A harmonic may begin that much before its sound's strongest one, and end that much after it.
SLACK_S = 1e-3
#: Harmonics must sound together for this share of the shorter.
TOGETHER = 0.5


@dataclass(frozen=True)
class Sound:
    """One sound: the track of its strongest harmonic.

    region : int, index of the region
    time : float, sample of the first point, from the start of the region
    frequency_hz : float64, shape (n_points,), at every node
    harmonic : int, which harmonic of the sound this is as far as other tracks tell
    strength : float, energy of the track over the floor, summed over its points
    """

    region: int
    time: float
    frequency_hz: np.ndarray
    harmonic: int
    strength: float


@dataclass(frozen=True)
class Sounds:
    """Many sounds in order of region and time, all in flat arrays; ``sounds[i]`` is one of them, as a Sound.

    region, harmonic : int, shape (n,)
    time, strength : float64, shape (n,)
    first : int, shape (n + 1,); sound i owns ``frequency_hz[first[i] : first[i + 1]]``
    """

    region: np.ndarray
    time: np.ndarray
    first: np.ndarray
    frequency_hz: np.ndarray
    harmonic: np.ndarray
    strength: np.ndarray

    def __len__(self):
        return len(self.region)

    def __getitem__(self, i):
        course = self.frequency_hz[self.first[i] : self.first[i + 1]]
        return Sound(int(self.region[i]), float(self.time[i]), course, int(self.harmonic[i]), float(self.strength[i]))


def sounds_of(tracks, *, node, sample_rate_hz, settings):
    """Join and group tracks.

    Parameters
    ----------
    tracks : Tracks, points ``node`` samples apart
    settings : MeasureSettings: how strong and how even a track must be to be taken for a sound

    Returns
    -------
    Sounds
    """
    follows = _joined(
        tracks.region,
        tracks.first,
        tracks.time,
        tracks.frequency_hz,
        tracks.rise,
        node,
        LONGEST_HOLE_S * sample_rate_hz,
    )
    tracks = uncrossed(tracks, follows, node=node, sample_rate_hz=sample_rate_hz)
    owner = tracks.region
    start, first, frequency, strength, energy = _bridged(
        tracks.first, tracks.time, tracks.frequency_hz, tracks.rise, tracks.power, node
    )
    good = _are_sounds(
        first,
        frequency,
        strength,
        tracks.share,
        settings.brief_least_share,
        settings.least_strength,
        settings.most_uneven_hz,
        settings.most_uneven_share,
        settings.brief_most_uneven,
    )
    harmonic = _grouped(good, owner, start, first, frequency, energy, node, SLACK_S * sample_rate_hz)
    chosen = harmonic > 0
    first, frequency = kept(first, frequency, chosen)
    return Sounds(owner[chosen], start[chosen], first, frequency, harmonic[chosen], strength[chosen])


@compiled
def _joined(region, first, time, frequency, rise, node, longest_hole):
    """Index of the track that goes on where each one ends; -1 where none does.

    Tracks whose ends aim at each other across a short hole are joined; the best aims first, every end once.
    """
    n = len(region)
    order = np.argsort(time[first[:-1]])
    order = order[np.argsort(region[order], kind="mergesort")]
    early, late, cost = [0], [0], [0.0]
    for place in range(n):
        i = order[place]
        end = first[i + 1] - 1
        for other in range(place + 1, n):
            j = order[other]
            begin = first[j]
            if region[j] != region[i] or time[begin] >= time[end] + longest_hole:
                break
            if time[begin] < time[end] - OVERLAP_NODES * node or time[first[j + 1] - 1] < time[end]:
                continue
            middle = 0.5 * (time[begin] + time[end])
            few = min(end - first[i], 3)
            slope = (frequency[end] - frequency[end - few]) / (time[end] - time[end - few])
            aim = frequency[end] + slope * (middle - time[end])
            few = min(first[j + 1] - 1 - begin, 3)
            slope = (frequency[begin + few] - frequency[begin]) / (time[begin + few] - time[begin])
            miss = abs(aim - frequency[begin] - slope * (middle - time[begin]))
            levels = _level(rise, end, -1, first[i]) / _level(rise, begin, 1, first[j + 1] - 1)
            miss /= AIM_HZ + 0.25 * abs(frequency[begin] - frequency[end])
            if miss <= 1.0 and miss + abs(10 * np.log10(levels)) / LEVELS_DB <= 1.3:
                early.append(i)
                late.append(j)
                cost.append(miss + abs(time[begin] - time[end]) / longest_hole)
    follows, led = np.full(n, -1), np.zeros(n, np.bool_)
    for pair in np.argsort(np.array(cost)[1:]):
        i, j = early[pair + 1], late[pair + 1]
        if follows[i] < 0 and not led[j]:
            follows[i] = j
            led[j] = True
    return follows


@compiled
def _level(rise, at, direction, last):
    """Mean power of a track over its last few points."""
    count = min(abs(last - at), 3) + 1
    total = 0.0
    for k in range(count):
        total += rise[at + direction * k]
    return total / count


@compiled
def _bridged(first, time, frequency, rise, power, node):
    """Tracks as pieces, points at every node, holes bridged by straight lines: (time of the first point, first point of each
    piece and the end of the last, frequencies, strength over the floor, energy)."""
    n = len(first) - 1
    start, strength, energy = np.empty(n), np.zeros(n), np.zeros(n)
    new_first = np.zeros(n + 1, np.int64)
    for i in range(n):
        begin, end = first[i], first[i + 1]
        start[i] = time[begin]
        new_first[i + 1] = new_first[i] + int(np.floor((time[end - 1] - start[i]) / node + 0.5)) + 1
    out = np.empty(new_first[n])
    for i in range(n):
        at = new_first[i]
        for k in range(first[i], first[i + 1]):
            wanted = new_first[i] + int(np.floor((time[k] - start[i]) / node + 0.5))
            while at < wanted:
                part = (start[i] + (at - new_first[i]) * node - time[k - 1]) / (time[k] - time[k - 1])
                out[at] = frequency[k - 1] + part * (frequency[k] - frequency[k - 1])
                at += 1
            out[at] = frequency[k]
            at += 1
            strength[i] += rise[k]
            energy[i] += power[k]
    return start, new_first, out, strength, energy


@compiled
def _are_sounds(
    first,
    frequency,
    strength,
    share,
    brief_least_share,
    least_strength,
    most_uneven_hz,
    most_uneven_share,
    brief_most_uneven,
):
    """Whether a piece is strong enough, stands out in frequency and runs smoothly, as a call does; a burst of noise
    staggers from point to point."""
    out = np.zeros(len(strength), np.bool_)
    work = np.empty(len(frequency))
    for i in range(len(strength)):
        points = first[i + 1] - first[i]
        brief = points < BRIEF_POINTS
        if points < FEWEST_POINTS or strength[i] < least_strength or (brief and share[i] < brief_least_share):
            continue
        course, steps, bends = frequency[first[i] : first[i + 1]], work[: points - 1], work[: points - 2]
        for k in range(points - 1):
            steps[k] = abs(course[k + 1] - course[k])
        limit = most_uneven_hz + most_uneven_share * _median(steps)
        if brief:
            limit *= brief_most_uneven
        for k in range(points - 2):
            bends[k] = abs(course[k + 2] - 2 * course[k + 1] + course[k])
        out[i] = _median(bends) <= limit
    return out


@compiled
def _median(values):
    """Median of values, which are put in order: by insertion, for most are few."""
    if len(values) > 40:
        values.sort()
    else:
        for i in range(1, len(values)):
            value, k = values[i], i
            while k > 0 and values[k - 1] > value:
                values[k] = values[k - 1]
                k -= 1
            values[k] = value
    half = len(values) // 2
    return values[half] if len(values) % 2 else 0.5 * (values[half - 1] + values[half])


@compiled
def _grouped(good, owner, start, first, frequency, energy, node, slack):
    """Which harmonic of its sound each piece is that stands for one; 0 for harmonics of another piece, and for what is no
    sound.

    A weaker piece within the time of a stronger one, at a whole-numbered ratio of its frequency throughout, is its
    harmonic.
    """
    n = len(owner)
    out = np.zeros(n, np.int64)
    for i in range(n):
        out[i] = good[i]
    for i in np.argsort(-energy):
        if not out[i]:
            continue
        harmonic = 1
        end = start[i] + (first[i + 1] - first[i] - 1) * node
        # pieces lie in order of region and time
        here, beyond = np.searchsorted(owner, owner[i]), np.searchsorted(owner, owner[i], side="right")
        early = here + np.searchsorted(start[here:beyond], start[i] - slack)
        late = here + np.searchsorted(start[here:beyond], end + slack, side="right")
        for j in range(early, late):
            if j == i or not out[j] or energy[j] > energy[i]:
                continue
            other_end = start[j] + (first[j + 1] - first[j] - 1) * node
            if other_end > end + slack:
                continue
            low, high = max(start[i], start[j]), min(end, other_end)
            count = int((high - low) / node + 0.5) + 1
            if high - low < max(TOGETHER * (other_end - start[j]), 2 * node):
                continue
            mine = first[i] + int(np.round((low - start[i]) / node))
            other = first[j] + int(np.round((low - start[j]) / node))
            count = min(count, first[i + 1] - mine, first[j + 1] - other)
            ratios = frequency[other : other + count] / frequency[mine : mine + count]
            ratio = np.median(ratios)
            if np.median(np.abs(ratios - ratio)) > RATIO_TOLERANCE * ratio:
                continue
            for own, its in ((1, 2), (1, 3), (2, 1), (2, 3), (3, 1), (3, 2), (2, 4)):
                if abs(ratio * own / its - 1) < RATIO_TOLERANCE:
                    out[j] = 0
                    if own > harmonic and its < own:
                        harmonic = own
                    break
        out[i] = harmonic
    return out
