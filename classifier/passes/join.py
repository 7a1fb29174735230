"""After the search: lone buzzes go to their bat, trains of echoes go out, callers of two types are told."""

import numpy as np

from classifier.passes.buzz import capture, home_of_buzz, in_buzz, median, remains
from classifier.passes.strays import adopt_strays, in_order, mend, refill_buzzes


def settle(tracks, loose, times, ends, pitch, pitches, unsure, level, snr, *, gap_s, settings):
    """Tracks of one channel and run of recordings, with what the search left in pieces joined and echoes taken out.

    Parameters
    ----------
    tracks : list of lists of int, pulses in order of time
    loose : list of int, pulses that the search took for echoes
    times, ends, pitch, level, snr : float arrays over all pulses: s, s, log frequency in per cent, dB, dB
    pitches, unsure : float arrays over all pulses, shape (n, frequencies): several such frequencies, NaN where missing, and
        their standard errors

    Returns
    -------
    (tracks, echoes) : list of int arrays; int array of the pulses found to be echoes
    """
    tracks = [np.array(track, np.int64) for track in tracks]
    tracks, echoes = _drop_echo_trains(tracks, times, pitch, level, settings)
    tracks, loose = refill_buzzes(tracks, np.asarray(loose, np.int64), times, settings)
    tracks = _join_buzzes(tracks, times, ends, pitch, gap_s, settings)
    tracks = _join_alternating(tracks, times, pitch, level, settings)
    tracks = mend(tracks, times, pitch, level, snr, gap_s=gap_s, settings=settings)
    tracks = adopt_strays(tracks, times, pitches, unsure, level, gap_s=gap_s, settings=settings)
    return tracks, np.r_[echoes, loose]


def _join_buzzes(tracks, times, ends, pitch, gap_s, settings):
    """Join tracks with a buzz to the track of the same bat: the search broke there, or the file began there."""
    order = sorted(range(len(tracks)), key=lambda number: (times[tracks[number][0]], tracks[number][0]))
    tracks = [tracks[number] for number in order]
    waiting = list(range(len(tracks)))
    while waiting:
        number = waiting.pop(0)
        track = tracks[number]
        if len(track) < 3 or np.diff(times[track]).min() > settings.buzz_interval_s:
            continue
        flags = in_buzz(times[track], np.zeros(len(track)), settings)
        if not flags.any():
            flags = remains(times[track], settings)
        if not flags.any():
            continue
        flags = capture(times[track], flags, settings)
        if np.sum(~flags) < 3:
            # What else is in this track came there by chance, and goes on alone.
            tracks += [track[place : place + 1] for place in np.flatnonzero(~flags)]
            track, flags = track[flags], flags[flags]
            tracks[number] = track
        others = [
            other
            for other, each in enumerate(tracks)
            if other != number
            and len(each) >= 2
            and times[each[0]] <= ends[track[-1]] + gap_s
            and ends[each[-1]] >= times[track[0]] - gap_s
        ]
        home = home_of_buzz(track, flags, [tracks[other] for other in others], times, ends, pitch, gap_s=gap_s, settings=settings)
        if home is not None:
            home = others[home]
            host = tracks[home]
            strange = (times[host] > times[track[0]]) & (times[host] < times[track[-1]])
            tracks += [host[place : place + 1] for place in np.flatnonzero(strange)]
            tracks[home], tracks[number] = in_order(np.r_[host[~strange], track], times), np.empty(0, np.int64)
            # The joined track has a buzz, and may have more to find.
            waiting.append(home)
    return [track for track in tracks if len(track)]


def _drop_echo_trains(tracks, times, pitch, level, settings):
    """Take out tracks whose every pulse trails another track's by the same short delay, fainter and alike.

    Two bats rarely agree in frequency and in delay over several pulses (methods trial).
    """
    kept, echoes = [], []
    firm = [track for track in tracks if len(track) >= 3]
    starts = np.array([times[track[0]] for track in firm])
    stops = np.array([times[track[-1]] for track in firm])
    for track in tracks:
        trails = len(track) >= 3 and any(
            firm[number] is not track and _trails(track, firm[number], times, pitch, level, settings)
            for number in np.flatnonzero((starts < times[track[0]] + 0.5) & (stops > times[track[-1]] - 0.5))
        )
        if trails:
            echoes.append(track)
        else:
            kept.append(track)
    return kept, np.concatenate([np.empty(0, np.int64), *echoes])


def _trails(track, other, times, pitch, level, settings):
    """True if ``track`` is ``other`` heard again a little later."""
    place = np.searchsorted(times[other], times[track]) - 1
    behind = times[track] - times[other[np.maximum(place, 0)]]
    near = (place >= 0) & (behind < settings.echo_s)
    if near.sum() < max(3, 0.7 * len(track)):
        return False
    own, loud = track[near], other[place[near]]
    steady = np.median(np.abs(behind[near] - np.median(behind[near]))) < settings.echo_jitter_s
    alike = median(np.abs(pitch[own] - pitch[loud])) < 2.0
    return bool(steady and alike and median(level[loud] - level[own]) > settings.echo_drop_db)


def _join_alternating(tracks, times, pitch, level, settings):
    """Join two tracks that are one bat using two call types in turn: one rhythm between them, one swelling."""
    tracks = list(tracks)
    firm = [number for number, track in enumerate(tracks) if len(track) >= 3]
    for place, one in enumerate(firm):
        for other in firm[place + 1 :]:
            a, b = tracks[one], tracks[other]
            if len(a) and len(b) and _alternate(a, b, times, pitch, level, settings):
                tracks[one], tracks[other] = in_order(np.r_[a, b], times), np.empty(0, np.int64)
    return [track for track in tracks if len(track)]


def _alternate(a, b, times, pitch, level, settings):
    """True if two tracks interleave like the two call types of one bat.

    1. most of the shorter lies beside the other, 2. types change between most neighbours, 3. nine intervals in ten
    fit one rhythm, skipped beats allowed, 4. the levels swell together.
    """
    overlap = min(times[a[-1]], times[b[-1]]) - max(times[a[0]], times[b[0]])
    shorter = min(times[a[-1]] - times[a[0]], times[b[-1]] - times[b[0]])
    apart = abs(median(pitch[a]) - median(pitch[b]))
    if overlap < 0.6 * shorter or not settings.alternation_percent <= apart <= settings.alternation_most_percent:
        return False
    both = np.r_[a, b]
    order = np.lexsort((both, times[both]))
    both, second = both[order], (np.arange(len(both)) >= len(a))[order]
    if len(both) < settings.alternation_pulses:
        return False
    turns = second[1:] != second[:-1]
    gaps = np.diff(times[both])
    # no bat calls twice at one moment
    if turns.mean() < settings.alternation_share or gaps.min() == 0.0:
        return False
    # The beat is near the median, but skipped beats pull that up: the turn that most intervals fit tells it.
    beats = np.sort(gaps[turns])
    beats = beats[np.abs(np.log(beats / beats[len(beats) // 2])) < 0.3]
    spans = np.maximum(np.round(gaps / beats[:, None]), 1.0)
    fits = np.abs(np.log(gaps / (spans * beats[:, None]))) < settings.alternation_misfit / np.sqrt(spans)
    fits &= spans <= 4
    best = int(np.argmax(fits.sum(axis=1)))
    if fits[best].mean() < 0.9 or gaps.min() < 0.5 * beats[best]:
        return False
    steps = (level[both][1:] - level[both][:-1])[turns] * np.where(second[1:], 1.0, -1.0)[turns]
    return bool(not np.isfinite(steps).any() or median(np.abs(steps - median(steps))) < 5.0)


def alternation(pitch, settings):
    """How far apart (per cent) the two call types are that a pass uses in turn; None if it does not.

    The pulses' log frequencies are parted at the place that leaves the least spread on both sides. There are two
    types in turn if their means are alternation_percent apart and four times what is left of spread, each has 3
    pulses, and at least alternation_share of neighbours differ in type (a random order would reach a half).

    pitch : float array (n,), log frequency in per cent, in order of time, without missing values
    """
    n = len(pitch)
    if n < 6:
        return None
    ordered = np.sort(pitch)
    if ordered[-1] - ordered[0] < settings.alternation_percent:
        return None
    low = np.arange(3, n - 2)
    sums, squares = np.cumsum(ordered), np.cumsum(ordered**2)
    left = squares[low - 1] - sums[low - 1] ** 2 / low
    right = squares[-1] - squares[low - 1] - (sums[-1] - sums[low - 1]) ** 2 / (n - low)
    cut = int(np.argmin(left + right))
    count = low[cut]
    apart = ordered[count:].mean() - ordered[:count].mean()
    spread = np.sqrt(max(left[cut] + right[cut], 0.0) / (n - 2))
    if apart < settings.alternation_percent or apart < 4 * spread:
        return None
    high = pitch >= 0.5 * (ordered[count - 1] + ordered[count])
    if np.mean(high[1:] != high[:-1]) < settings.alternation_share:
        return None
    return float(apart)
