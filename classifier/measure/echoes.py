"""Echoes: delayed, weaker copies of a pulse, recognised among the pulses that follow it.

A copy follows the course of a louder pulse some milliseconds late. Where copies from many leaves arrive together they
tear or lengthen each other, and only the band and the level are left to go by. A wall or a row of trees further off sends
copies that come much later, but always as late. Two kinds of true calls look alike and are let be: the calls of a
feeding buzz, which go on and on at a steady pace and hardly weaken, and those of a second bat, whose like is heard
elsewhere without any following it.
"""

import numpy as np

from classifier.compiled import compiled

#: Latest and earliest that an echo comes behind its pulse, in seconds.
LATEST_S = 0.030
EARLIEST_S = 0.0008
#: How much weaker an echo is at least, in dB.
WEAKER_DB = 1.5
#: A copy lies this near to its pulse's course, in Hz and as a share of its band, over this share of its own length, and
#: is that long compared with it. The air takes the high start of a call from its echo, and of one that its pulse still
#: drowns only the end is heard.
NEAR_HZ, NEAR_SHARE = 400.0, 0.03
COMMON_SHARE = 0.7
SHORTEST_SHARE, LONGEST_SHARE = 0.1, 1.4
#: A copy closer to its pulse than this at the same moment is drowned by it there; so much of it has to be clear, and so
#: much of that, the nearest, counts.
DROWNED_HZ, CLEAR_SHARE, COUNTED_SHARE = 3_000.0, 0.25, 0.85
LONGEST_S = 0.12
#: Where the pulse itself drowns its echo, that of another of its harmonics may be left, this much weaker than the pulse.
HARMONIC_RATIOS, HARMONIC_WEAKER_DB = (0.5, 2.0, 3.0), 15.0
#: The end of a call that parts from its own echo begins this near to the ridge that the two had in common.
FORK_HZ, FORK_AT = 2_500.0, 4
#: Delays tried lie so far apart, and so far on either side of those that the two starts and the two ends suggest.
DELAY_STEP_S, DELAY_SLACK_S = 0.15e-3, 0.4e-3
#: A torn sound: it holds this badly to its ridge, and its phase is this unsteady. So far it may leave the band of its
#: pulse, in Hz, and so much louder than it may a bundle of echoes be, in dB.
TORN_PERCENT, TORN_STILLNESS = 93.0, 0.97
BAND_SLACK_HZ = 3_000.0
TORN_LOUDER_DB = 3.0
#: Several copies run into each other are longer; so much weaker than the pulse, and less whole than a call, they are taken
#: for its echo all the same.
BUNDLE_DB, WHOLE_PERCENT = 8.0, 97.0
#: Echoes from afar: latest, how much weaker, how steady the delay of so many others within so many seconds, and how much
#: the intervals of their pulses differ at least, so that it is no rhythm.
AFAR_LATEST_S, AFAR_WEAKER_DB = 0.12, 15.0
AFAR_STEADY_S, AFAR_OTHERS, AFAR_AROUND_S, AFAR_UNEVEN_S = 0.4e-3, 2, 1.0, 1.5e-3
#: So many pulses in a row at a steady pace are a buzz.
BUZZ_ROW = 4
#: A second bat is believed where so many calls like it, with no copy behind them, are heard within this time.
ELSEWHERE = 3
ELSEWHERE_S = 0.6
#: and where not so many other copies within it are as late as this one, to that.
STEADY_OTHERS, STEADY_S = 3, 0.3e-3
ALIKE_DB = 7.0


def find_echoes(found):
    """Which pulses are echoes of one before them.

    Parameters
    ----------
    found : dict of the pulses of one channel in order of onset, as from ``pulses.merged``

    Returns
    -------
    bool, shape (n,)
    """
    onset, level = found["onset"][0], found["level"][0]
    course, peak = found["course"], found["peak_frequency"][0]
    torn = (found["coherence"][0] < TORN_PERCENT) & (found["stillness"] < TORN_STILLNESS)
    whole = found["coherence"][0] >= WHOLE_PERCENT
    parent, delay = _parents(onset, found["duration"][0], level, peak, course, torn, whole)
    echo = (parent >= 0) & ~_buzzes(onset, level)
    # what is not echoed itself and is like the pulse in question speaks for a second bat
    followed = np.zeros(len(onset), bool)
    followed[parent[echo]] = True
    alone = np.flatnonzero(~echo & ~followed)
    copies = np.flatnonzero(echo & ~torn)
    believed = np.zeros(len(onset), bool)
    for j in copies:
        first, end = np.searchsorted(onset[alone], (onset[j] - ELSEWHERE_S, onset[j] + ELSEWHERE_S))
        near = alone[first:end]
        like = (np.abs(level[near] - level[j]) < ALIKE_DB) & (np.abs(peak[near] - peak[j]) < BAND_SLACK_HZ)
        # a wall keeps its distance, another bat's calls drift against those of the first
        first, end = np.searchsorted(onset[copies], (onset[j] - ELSEWHERE_S, onset[j] + ELSEWHERE_S))
        steady = np.abs(delay[copies[first:end]] - delay[j]) < STEADY_S
        believed[j] = like.sum() >= ELSEWHERE and steady.sum() - 1 < STEADY_OTHERS
    echo &= ~believed
    return echo | _from_afar(onset, level, peak, course, echo)


def find_forks(found):
    """The ends of calls that were told apart from the call, because its ridge was followed into its own echo.

    An echo that overlaps its pulse of constant frequency has one ridge with it, until the pulse sweeps away: one of the two
    ways there is taken for the rest of the pulse, the other stands alone. It begins on the ridge, and the rest of the ridge
    repeats it a little later.

    Parameters
    ----------
    found : dict of the pulses of one channel in order of onset, as from ``pulses.merged``

    Returns
    -------
    bool, shape (n,)
    """
    onset, duration, course = found["onset"][0], found["duration"][0], found["course"]
    end, share = onset + duration, np.linspace(0.0, 1.0, course.shape[1])
    out = np.zeros(len(onset), bool)
    for j in range(1, len(onset)):
        around = np.arange(np.searchsorted(onset, onset[j] - LONGEST_S), j)
        for i in around[(end[around] > end[j] + EARLIEST_S) & (end[around] < end[j] + LATEST_S)]:
            if duration[j] > 0.5 * duration[i]:
                continue
            band = course[i].max() - course[i].min()
            ridge_s = onset[i] + share * duration[i]
            on_ridge = np.interp(onset[j] + share[:FORK_AT] * duration[j], ridge_s, course[i])
            if np.abs(on_ridge - course[j, :FORK_AT]).min() > FORK_HZ:
                continue
            from_s = end[i] - duration[j]
            rest = np.interp(from_s + share * duration[j], ridge_s, course[i])
            miss, _ = _miss(onset[j], duration[j], course[j], from_s, duration[j], rest)
            out[j] |= miss < NEAR_HZ + NEAR_SHARE * band
    return out


@compiled
def _parents(onset, duration, level, peak, course, torn, whole):
    """The pulse that each one is a copy of, -1 for none; and how late it is, NaN where its course does not tell."""
    n = len(onset)
    out, delay = np.full(n, -1), np.full(n, np.nan)
    for j in range(n):
        low, high = course[j].min(), course[j].max()
        sorted_course = np.sort(course[j])
        most = len(sorted_course) // 6
        i = j - 1
        while i >= 0 and onset[j] - onset[i] <= LATEST_S + LONGEST_S:
            weaker = level[i] - level[j]
            by_start = onset[j] - onset[i]
            by_end = by_start + duration[j] - duration[i]
            # the start of a copy that sets in while its pulse still sounds may be drowned by it; the end tells as well
            late = by_start >= EARLIEST_S and (by_start <= LATEST_S or EARLIEST_S <= by_end <= LATEST_S)
            if late and (out[j] < 0 or level[i] > level[out[j]]):
                band_low, band_high = course[i].min(), course[i].max()
                near = band_low - BAND_SLACK_HZ < peak[j] < band_high + BAND_SLACK_HZ
                within = low > band_low - BAND_SLACK_HZ and high < band_high + BAND_SLACK_HZ
                mostly = sorted_course[most] > band_low - BAND_SLACK_HZ and sorted_course[-1 - most] < band_high + BAND_SLACK_HZ
                if near and weaker >= WEAKER_DB:
                    miss, by = _miss(onset[i], duration[i], course[i], onset[j], duration[j], course[j])
                    if miss < NEAR_HZ + NEAR_SHARE * (band_high - band_low):
                        out[j], delay[j] = i, by
                if out[j] == i:
                    pass
                elif near and torn[j] and mostly:
                    # of a torn sound the ends are not to be trusted, and many copies together may be louder than one
                    if weaker >= (WEAKER_DB if torn[i] else -TORN_LOUDER_DB):
                        out[j] = i
                elif near and not whole[j] and within and weaker >= BUNDLE_DB:
                    out[j] = i
                elif not near and weaker >= HARMONIC_WEAKER_DB:
                    for ratio in HARMONIC_RATIOS:
                        if not ratio * band_low - BAND_SLACK_HZ < peak[j] < ratio * band_high + BAND_SLACK_HZ:
                            continue
                        miss, by = _miss(onset[i], duration[i], ratio * course[i], onset[j], duration[j], course[j])
                        if torn[j] or miss < NEAR_HZ + NEAR_SHARE * ratio * (band_high - band_low):
                            out[j] = i
            i -= 1
    return out, delay


@compiled
def _miss(onset, duration, course, later, later_duration, later_course):
    """Root mean square distance of the later course from the earlier one, at the delay where it is least, and that delay;
    infinity if the lengths do not fit.

    Where the two sound at one moment in one place the later one is not heard for itself and does not count, nor does what
    strays furthest.
    """
    if not SHORTEST_SHARE * duration <= later_duration <= LONGEST_SHARE * duration:
        return np.inf, np.nan
    points = len(course)
    clear = np.empty(points, np.bool_)
    for p in range(points):
        here = _course_at(later + later_duration * p / (points - 1) - onset, duration, course)
        clear[p] = not abs(later_course[p] - here) < DROWNED_HZ
    if clear.sum() < CLEAR_SHARE * points:
        return np.inf, np.nan
    by_start, by_end = later - onset, later + later_duration - onset - duration
    first = max(min(by_start, by_end) - DELAY_SLACK_S, EARLIEST_S)
    last = min(max(by_start, by_end) + DELAY_SLACK_S, LATEST_S)
    steps = max(int((last - first) / DELAY_STEP_S), 1)
    away = np.empty(points)
    best, best_delay = np.inf, np.nan
    for k in range(steps + 1):
        delay = first + (last - first) * k / steps
        count = 0
        for p in range(points):
            there = _course_at(later + later_duration * p / (points - 1) - delay - onset, duration, course)
            if clear[p] and there == there:
                away[count] = (later_course[p] - there) ** 2
                count += 1
        if count >= COMMON_SHARE * clear.sum():
            counted = max(int(COUNTED_SHARE * count), 1)
            miss = np.mean(np.sort(away[:count])[:counted])
            if miss < best:
                best, best_delay = miss, delay
    return np.sqrt(best), best_delay


@compiled
def _course_at(time, duration, course):
    """Frequency of a pulse so long after its onset; NaN where it does not sound."""
    place = time / duration * (len(course) - 1)
    if not 0 <= place <= len(course) - 1:
        return np.nan
    left = min(int(place), len(course) - 2)
    return course[left] + (course[left + 1] - course[left]) * (place - left)


@compiled
def _from_afar(onset, level, peak, course, echo):
    """True for copies that come long after their pulse, each as late as others around it."""
    n = len(onset)
    source, delayed = np.empty(4 * n, np.int64), np.empty(4 * n, np.int64)
    count = 0
    for j in range(n):
        i, found = j - 1, 0
        while i >= 0 and onset[j] - onset[i] <= AFAR_LATEST_S and found < 4:
            louder = level[i] - level[j] >= AFAR_WEAKER_DB
            near = course[i].min() - BAND_SLACK_HZ < peak[j] < course[i].max() + BAND_SLACK_HZ
            if louder and near and not echo[j] and not echo[i] and onset[j] - onset[i] > LATEST_S:
                source[count], delayed[count] = i, j
                count, found = count + 1, found + 1
            i -= 1
    out = np.zeros(n, np.bool_)
    for a in range(count):
        delay = onset[delayed[a]] - onset[source[a]]
        others, last, shortest, longest = 0, -1, np.inf, 0.0
        for b in range(count):
            apart = onset[source[b]] - onset[source[a]]
            if abs(apart) > AFAR_AROUND_S or abs(onset[delayed[b]] - onset[source[b]] - delay) > AFAR_STEADY_S:
                continue
            others += b != a
            if last >= 0 and source[b] != last:
                interval = onset[source[b]] - onset[last]
                shortest, longest = min(shortest, interval), max(longest, interval)
            last = source[b]
        if others >= AFAR_OTHERS and longest - shortest > AFAR_UNEVEN_S:
            out[delayed[a]] = True
    return out


@compiled
def _buzzes(onset, level):
    """True for members of rows of at least BUZZ_ROW + 1 pulses at a steady, quick pace and of like level."""
    n = len(onset)
    out = np.zeros(n, np.bool_)
    begin = 0
    for j in range(1, n + 1):
        goes_on = False
        if j < n:
            step = onset[j] - onset[j - 1]
            goes_on = 2e-3 < step < LATEST_S and abs(level[j] - level[j - 1]) < ALIKE_DB
            if goes_on and j - 1 != begin:
                goes_on = 0.65 < step / (onset[j - 1] - onset[j - 2]) < 1.4
        if not goes_on:
            if j - begin > BUZZ_ROW:
                out[begin:j] = True
            begin = j
    return out
