"""The search for the most likely tracks: many hypotheses are carried along, the worst dropped at every pulse."""

import numpy as np

from classifier.compiled import compiled
from classifier.passes.gains import gain
from classifier.passes.track import TRACK, extend, start

#: A track that a silence has ended: its newest node, the closed track before it (-1 for none), and what is asked
#: about it at the end.
_CLOSED = np.dtype([("node", "i8"), ("next", "i8"), ("count", "i8"), ("doubts", "i8"), ("last", "f8"), ("pitch", "f8")], align=True)
#: What a candidate does with a pulse when it continues no track.
_NEW, _ECHO = -1, -2


@compiled
def find_tracks(pulses, edges, number, gap_s):
    """Share out pulses among bats.

    First with few hypotheses; where the outcome leaves any doubt, again with many. Both are deterministic.

    Parameters
    ----------
    pulses : array of PULSE (n,), in order of time within each stretch
    edges : int array (m + 1,), where stretches begin and end; in each, one channel of one run of recordings, there
        is no silence of more than gap_s (their own silences end tracks all the same)
    number : row of NUMBERS
    gap_s : float > 0

    Returns
    -------
    int array (n,), the track of each pulse, from 1 within its stretch; 0 for pulses best explained as unflagged
    echoes
    """
    labels = np.zeros(len(pulses), np.int64)
    for place in range(len(edges) - 1):
        begin, end = edges[place], edges[place + 1]
        part = pulses[begin:end]
        found, plain = _search(part, number, gap_s, number.narrow_margin, int(number.narrow_hypotheses))
        if not plain:
            found, plain = _search(part, number, gap_s, number.wide_margin, int(number.wide_hypotheses))
        labels[begin:end] = found
    return labels


@compiled
def _search(pulses, number, gap_s, margin, most):
    """(label of each pulse, whether the outcome is plain) of the best hypothesis."""
    n = len(pulses)
    # Tracks alive live in slots; nodes and closed tracks are kept for good, linked backwards.
    tracks, used, free = np.zeros(64, TRACK), np.zeros(64, np.bool_), 0
    gains = np.zeros((64, 9))
    asked, longer = np.full(64, -1), np.full(64, -1)
    node_before, node_pulse, nodes = np.zeros(4 * n + 64, np.int64), np.zeros(4 * n + 64, np.int64), 0
    closed, closings = np.zeros(2 * n + 64, _CLOSED), 0
    score, ended, width = np.zeros(most), np.full(most, -1), np.zeros(most, np.int64)
    alive = np.zeros((most, 16), np.int64)
    new_score, new_ended, new_width = np.zeros(most), np.full(most, -1), np.zeros(most, np.int64)
    new_alive = np.zeros((most, 16), np.int64)
    keys = np.zeros(most, np.uint64)
    cost, origin, action = np.zeros(256), np.zeros(256, np.int64), np.zeros(256, np.int64)
    count = 1
    for index in range(n):
        pulse = pulses[index]
        candidates, lowest = 0, np.inf
        for place in range(count):
            still = 0
            for each in range(width[place]):
                slot = alive[place, each]
                track = tracks[slot]
                if pulse.time - track.time - track.duration > gap_s:
                    if closings == len(closed):
                        closed = _larger(closed)
                    _close(closed[closings], track, ended[place])
                    ended[place] = closings
                    closings += 1
                    score[place] += track.edge
                else:
                    alive[place, still] = slot
                    still += 1
            width[place] = still
            if candidates + still + 2 > len(cost):
                cost, origin, action = _longer(cost), _longer(origin), _longer(action)
                while candidates + still + 2 > len(cost):
                    cost, origin, action = _longer(cost), _longer(origin), _longer(action)
            best = pulse.new
            if pulse.echo > -20.0:
                cost[candidates], origin[candidates], action[candidates] = -score[place] - pulse.echo, place, _ECHO
                lowest = min(lowest, cost[candidates])
                candidates += 1
            for each in range(still):
                slot = alive[place, each]
                if asked[slot] != index:
                    asked[slot] = index
                    longer[slot] = -1
                    answer = gain(tracks[slot], pulse, number)
                    for part in range(9):
                        gains[slot, part] = answer[part]
                worth = gains[slot, 0]
                if worth > -np.inf:
                    cost[candidates], origin[candidates], action[candidates] = -score[place] - worth, place, slot
                    lowest = min(lowest, cost[candidates])
                    candidates += 1
                    best = max(best, worth)
            # A pulse that fits a track very well is not worth weighing as a new bat's.
            if best - pulse.new < number.birth_margin:
                cost[candidates], origin[candidates], action[candidates] = -score[place] - pulse.new, place, _NEW
                lowest = min(lowest, cost[candidates])
                candidates += 1
        near = np.flatnonzero(cost[:candidates] <= lowest + margin)
        near = near[np.argsort(cost[near], kind="mergesort")]
        room = most
        if width[origin[near[0]]] > number.crowd:
            room = min(most, int(number.crowd_hypotheses))
        made, born = 0, -1
        for choice in near:
            if made >= room:
                break
            place, slot = origin[choice], action[choice]
            grown = -1
            if slot != _ECHO:
                grown = born if slot == _NEW else longer[slot]
                if grown < 0:
                    while free < len(used) and used[free]:
                        free += 1
                    if free == len(used):
                        tracks, used = _larger(tracks), _longer(used)
                        asked, longer = _longer(asked), _longer(longer)
                        wider = np.zeros((2 * len(gains), 9))
                        wider[: len(gains)] = gains
                        gains = wider
                    grown = free
                    used[grown], asked[grown] = True, -1
                    track = tracks[grown]
                    if nodes == len(node_pulse):
                        node_before, node_pulse = _longer(node_before), _longer(node_pulse)
                    node_pulse[nodes] = index
                    if slot == _NEW:
                        start(track, pulse, index, number)
                        node_before[nodes] = -1
                        born = grown
                    else:
                        tracks[grown] = tracks[slot]
                        answer = gains[slot]
                        extend(
                            track,
                            pulse,
                            index,
                            int(answer[1]),
                            answer[2],
                            int(answer[3]),
                            answer[4],
                            int(answer[5]),
                            answer[6],
                            answer[7],
                            answer[8],
                            number,
                        )
                        node_before[nodes] = track.node
                        longer[slot] = grown
                    track.node = nodes
                    nodes += 1
            if width[place] + 1 > new_alive.shape[1]:
                alive, new_alive = _wider(alive), _wider(new_alive)
            key, size = np.uint64(0), 0
            for each in range(width[place]):
                if alive[place, each] != slot:
                    new_alive[made, size] = alive[place, each]
                    size += 1
            if grown >= 0:
                new_alive[made, size] = grown
                size += 1
            # Two hypotheses that end in the same pulses differ only in the past: the better one stands for both.
            for each in range(size):
                track = tracks[new_alive[made, each]]
                key = _mixed(key, track.pulse)
                key = _mixed(key, track.before)
            seen = False
            for other in range(made):
                if keys[other] == key and new_width[other] == size:
                    seen = True
                    break
            if not seen:
                keys[made], new_width[made] = key, size
                new_score[made], new_ended[made] = -cost[choice], ended[place]
                made += 1
        score, new_score, ended, new_ended = new_score, score, new_ended, ended
        width, new_width, alive, new_alive = new_width, width, new_alive, alive
        count = made
        used[:], free = False, 0
        for place in range(count):
            for each in range(width[place]):
                used[alive[place, each]] = True
    best, highest = 0, -np.inf
    for place in range(count):
        whole = score[place]
        for each in range(width[place]):
            whole += tracks[alive[place, each]].edge
        if whole > highest:
            best, highest = place, whole
    # All tracks of the best hypothesis, as closed ones.
    final = np.zeros(n, _CLOSED)
    size = 0
    for each in range(width[best]):
        _close(final[size], tracks[alive[best, each]], -1)
        size += 1
    link = ended[best]
    while link >= 0:
        final[size] = closed[link]
        size += 1
        link = closed[link].next
    labels, firsts = np.zeros(n, np.int64), np.zeros(size)
    for each in range(size):
        node = final[each].node
        while node >= 0:
            labels[node_pulse[node]] = each + 1
            firsts[each] = pulses[node_pulse[node]].time
            node = node_before[node]
    return labels, _is_plain(final[:size], firsts, number)


@compiled
def _close(link, track, before):
    link.node, link.next, link.count, link.doubts = track.node, before, track.count, track.doubts
    link.last, link.pitch = track.time, track.mean[0, 0]


@compiled
def _is_plain(tracks, firsts, number):
    """True if every track of several pulses went without a doubtful step and lies far from all others in time or
    frequency, so that no other sharing out can be better."""
    for one in range(len(tracks)):
        if tracks[one].count > 1 and tracks[one].doubts > number.doubts * tracks[one].count:
            return False
    for one in range(len(tracks)):
        for other in range(len(tracks)):
            a, b = tracks[one], tracks[other]
            if one == other or a.count < 2 or b.count < 2 or firsts[other] < firsts[one]:
                continue
            if firsts[other] <= a.last + 0.5 and (abs(a.pitch - b.pitch) < 25.0 or a.count < 3 or b.count < 3):
                return False
    return True


@compiled
def _mixed(key, value):
    """A hash carried on by one number (the finaliser of splitmix64)."""
    key = (key ^ np.uint64(value + 2)) * np.uint64(0x9E3779B97F4A7C15)
    key = (key ^ (key >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    return key ^ (key >> np.uint64(27))


@compiled
def _longer(array):
    """The array with room for twice as much."""
    more = np.zeros(2 * len(array), array.dtype)
    more[: len(array)] = array
    return more


@compiled
def _larger(rows):
    """A structured array with room for twice as much."""
    more = np.empty(2 * len(rows), rows.dtype)
    for place in range(len(rows)):
        more[place] = rows[place]
    return more


@compiled
def _wider(table):
    more = np.zeros((len(table), 2 * table.shape[1]), np.int64)
    more[:, : table.shape[1]] = table
    return more
