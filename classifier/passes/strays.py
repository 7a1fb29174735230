"""After the search: pieces and single pulses that are one bat's, told by what lies on both sides of them."""

import numpy as np

from classifier.passes.buzz import median


def adopt_strays(tracks, times, pitches, unsure, level, *, gap_s, settings):
    """Tracks with the single pulses put in that fill a hole in another track's rhythm at its frequency and level.

    The search weighs a pulse when it comes; here what follows it is known too. tracks : list of int arrays, in order
    of time; times, level : float arrays over all pulses (s, dB); pitches, unsure : as in join.settle. One frequency in which
    the stray agrees is enough: the flattest stretch of a sweep of one slope lies anywhere, its end does not.
    """
    tracks = list(tracks)
    firm = np.array([number for number, track in enumerate(tracks) if len(track) >= settings.stray_host], np.int64)
    begun = np.array([times[tracks[number][0]] for number in firm]) - gap_s
    over = np.array([times[tracks[number][-1]] for number in firm]) + gap_s
    for number, track in enumerate(tracks):
        if len(track) > 2 or not np.isfinite(pitches[track]).any(axis=1).all():
            continue
        fits = [
            (_distance(track, tracks[other], times, pitches, unsure, level, gap_s, settings), other)
            for other in firm[(begun <= times[track[0]]) & (over >= times[track[-1]])]
        ]
        worth, other = min(fits, default=(np.inf, None))
        if worth < np.inf:
            tracks[other] = in_order(np.r_[tracks[other], track], times)
            tracks[number] = np.empty(0, np.int64)
    return [track for track in tracks if len(track)]


def in_order(track, times):
    """Pulses sorted by time."""
    return track[np.lexsort((track, times[track]))]


def _distance(strays, track, times, pitches, unsure, level, gap_s, settings):
    """How far in frequency (per cent) the strays lie from the pulses around; inf where they cannot belong there."""
    away = 0.0
    for stray in strays:
        place = np.searchsorted(times[track], times[stray])
        around = track[max(place - 4, 0) : place + 4]
        beat = np.quantile(np.diff(times[around]), 0.3)
        before = times[stray] - times[track[place - 1]] if place else np.inf
        after = times[track[place]] - times[stray] if place < len(track) else np.inf
        if min(before, after) > gap_s or min(before, after) < 0.6 * beat:
            return np.inf
        spans = np.array([before, after]) / beat
        spans = spans[np.isfinite(spans)]
        if np.abs(np.log(spans / np.maximum(np.round(spans), 1.0))).min() > settings.alternation_misfit:
            return np.inf
        if abs(level[stray] - median(level[around])) > settings.stray_level_db:
            return np.inf
        nearest = np.inf
        for own, error, others in zip(pitches[stray], unsure[stray], pitches[around].T, strict=True):
            known = others[np.isfinite(others)]
            if known.size < 3 or not np.isfinite(own):
                continue
            outside = max(known.min() - own, own - known.max(), 0.0)
            if outside <= settings.stray_percent + 2.0 * error:
                nearest = min(nearest, np.abs(known - own).min())
        away = max(away, nearest)
    return away


def refill_buzzes(tracks, loose, times, settings):
    """Tracks with the pulses of a buzz put back that were taken for echoes of each other.

    loose : int array of pulses in no track. One goes back where it stands in the middle of a gap between two pulses
    of a buzz, which it makes two intervals of.
    """
    tracks = list(tracks)
    left = set(loose.tolist())
    for number, track in enumerate(tracks):
        if not left:
            break
        if len(track) < settings.buzz_pulses:
            continue
        own = times[track]
        if np.diff(own).min() > settings.buzz_interval_s:
            continue
        candidates = np.array(sorted(left))
        candidates = candidates[(times[candidates] > own[0]) & (times[candidates] < own[-1])]
        taken = []
        for pulse in candidates:
            place = np.searchsorted(own, times[pulse])
            gap = own[place] - own[place - 1]
            share = (times[pulse] - own[place - 1]) / gap
            near = own[max(place - 3, 0) : place + 3]
            usual = np.median(np.diff(near))
            if gap < 3 * settings.buzz_interval_s and gap > 1.5 * usual and 0.3 < share < 0.7:
                taken.append(pulse)
        if taken:
            tracks[number] = in_order(np.r_[track, taken], times)
            left -= set(taken)
    return tracks, np.array(sorted(left), np.int64)


def mend(tracks, times, pitch, level, snr, *, gap_s, settings):
    """Tracks with pieces joined where one stops loud and another, alike, begins as loud a few beats later.

    A pass swells and fades, and so a bat that stops in the middle and another that begins there are rarer than one
    bat that has changed its call. A piece may follow the other, or fill a hole in it.
    """
    tracks = sorted((np.asarray(track) for track in tracks), key=lambda track: (times[track[0]], track[0]))
    while True:
        firsts = np.array([times[track[0]] for track in tracks])
        pairs = []
        for one, a in enumerate(tracks):
            for other in range(one + 1, np.searchsorted(firsts, times[a[-1]] + gap_s, "right")):
                if len(a) > 1 and len(tracks[other]) > 1:
                    away = _break(a, tracks[other], times, pitch, level, snr, gap_s, settings)
                    if away < np.inf:
                        pairs.append((away, one, other))
        joined = set()
        for _, one, other in sorted(pairs):
            if one not in joined and other not in joined:
                tracks[one] = in_order(np.r_[tracks[one], tracks[other]], times)
                tracks[other] = tracks[other][:0]
                joined |= {one, other}
        tracks = [track for track in tracks if len(track)]
        if not joined:
            return tracks


def _break(a, b, times, pitch, level, snr, gap_s, settings):
    """How far apart in frequency (per cent) ``b`` is from the end of ``a``, or from both sides of a hole in it; inf
    where they are two bats."""
    place = np.searchsorted(times[a], times[b[0]])
    if place == 0 or (place < len(a) and times[a[place]] < times[b[-1]]):
        return np.inf
    away = _step(a[:place], b, times, pitch, level, snr, gap_s, settings)
    if place < len(a):
        back = _step(b, a[place:], times, pitch, level, snr, gap_s, settings)
        return away + back if away + back < 3 * settings.same_bat_percent else np.inf
    return away if away < settings.same_bat_percent else np.inf


def _step(a, b, times, pitch, level, snr, gap_s, settings):
    """How far apart in frequency the end of ``a`` and the beginning of ``b`` are; inf if one bat is unlikely."""
    last, first = a[-5:], b[:5]
    interval = times[first[0]] - times[last[-1]]
    # In a buzz the beat tells nothing of what comes after it.
    beat = max(median(np.r_[np.diff(times[last]), np.diff(times[first])]), settings.approach_interval_s)
    if interval > min(gap_s, settings.mend_beats * beat) or interval < 0.6 * beat:
        return np.inf
    if min(median(snr[last]), median(snr[first])) < settings.mend_snr_db:
        return np.inf
    if abs(median(level[last]) - median(level[first])) > settings.stray_level_db:
        return np.inf
    away = abs(median(pitch[last]) - median(pitch[first]))
    return away if np.isfinite(away) else np.inf
