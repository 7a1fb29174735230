"""The search for the most likely tracks: many hypotheses are carried along, the worst dropped at every pulse."""

from classifier.passes.track import Track


def find_tracks(pulses, model, *, gap_s):
    """Share out pulses among bats.

    First with few hypotheses; where the outcome leaves any doubt, again with many. Both are deterministic.

    Parameters
    ----------
    pulses : list of Pulse in order of time, one channel of one run of recordings, with no silence of more than
        gap_s inside (their own silences end tracks all the same)
    model : Model
    gap_s : float > 0

    Returns
    -------
    (tracks, echoes) : list of lists of Pulse.index in order of time, each pulse in exactly one of them or in
        echoes, the indices of pulses best explained as unflagged echoes
    """
    settings = model.settings
    tracks = _search(pulses, model, gap_s, settings.narrow_margin, settings.narrow_hypotheses)
    if not _is_plain(tracks, settings):
        tracks = _search(pulses, model, gap_s, settings.wide_margin, settings.wide_hypotheses)
    members = [_members(track) for track in tracks]
    kept = {index for each in members for index in each}
    return members, [pulse.index for pulse in pulses if pulse.index not in kept]


def _is_plain(tracks, settings):
    """True if every track of several pulses went without a doubtful step and lies far from all others in time or
    frequency, so that no other sharing out can be better."""
    several = [track for track in tracks if track.count > 1]
    if any(track.doubts > settings.doubts * track.count for track in several):
        return False
    if len(several) < 2:
        return True
    spans = sorted((_first(track).time, track.time, track.types[0].mean[0], track.count) for track in several)
    for place, (_, end, pitch, count) in enumerate(spans):
        for start, _, other, more in spans[place + 1:]:
            if start > end + 0.5:
                break
            if abs(pitch - other) < 25.0 or count < 3 or more < 3:
                return False
    return True


def _search(pulses, model, gap_s, margin, most):
    """The tracks of the best hypothesis."""
    settings = model.settings
    birth = settings.birth_margin
    hypotheses = [(0.0, (), None)]
    for pulse in pulses:
        live, candidates, gains = [], [], {}
        now = pulse.time
        new = pulse.new
        echo = pulse.echo
        for place, (score, alive, closed) in enumerate(hypotheses):
            for track in alive:
                if now - track.time - track.duration > gap_s:
                    alive, closed, score = _close(alive, closed, score, now, gap_s)
                    break
            live.append((alive, closed))
            best = new
            if echo is not None:
                candidates.append((-score - echo, place, False))
            for track in alive:
                found = gains.get(track, 0)
                if found == 0:
                    found = gains[track] = model.gain(track, pulse)
                if found is not None:
                    candidates.append((-score - found[0], place, track))
                    if found[0] > best:
                        best = found[0]
            # A pulse that fits a track very well is not worth weighing as a new bat's.
            if best - new < birth:
                candidates.append((-score - new, place, None))
        candidates.sort(key=_score)
        floor = candidates[0][0] + margin
        room = most if len(live[candidates[0][1]][0]) <= settings.crowd else min(most, settings.crowd_hypotheses)
        hypotheses, seen, made = [], set(), {}
        for cost, place, track in candidates:
            if cost > floor or len(hypotheses) >= room:
                break
            alive, closed = live[place]
            if track is False:
                tracks = alive
            else:
                longer = made.get(track)
                if longer is None:
                    longer = (model.start(pulse) if track is None
                              else model.extend(track, pulse, gains[track][1]))
                    made[track] = longer
                tracks = (*[each for each in alive if each is not track], longer)
            # Two hypotheses that end in the same pulses differ only in the past: the better one stands for both.
            key = tuple([each.key for each in tracks])
            if key not in seen:
                seen.add(key)
                hypotheses.append((-cost, tracks, closed))
    return _best(hypotheses)


def _score(candidate):
    return candidate[0]


def _close(alive, closed, score, now, gap_s):
    """Move the tracks that a silence has ended to the closed ones, and charge them for where they ended."""
    still = []
    for track in alive:
        if now - track.time - track.duration > gap_s:
            closed = (track, closed)
            score += track.edge
        else:
            still.append(track)
    return tuple(still), closed, score


def _best(hypotheses):
    """Tracks of the best hypothesis once all its tracks have ended."""
    _, alive, closed = max(hypotheses, key=lambda each: each[0] + sum(track.edge for track in each[1]))
    tracks = list(alive)
    while closed is not None:
        track, closed = closed
        tracks.append(track)
    return tracks


def _first(track: Track):
    while track.parent is not None:
        track = track.parent
    return track


def _members(track: Track):
    found = []
    while track is not None:
        found.append(track.index)
        track = track.parent
    return found[::-1]
