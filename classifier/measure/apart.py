"""Sounds heard at once, taken apart: what another bat adds to a recording is drawn along its track and taken away.

A call that is demodulated along its own track is nearly constant, so that a narrow low-pass holds all of it and little
else. Turned back, it is that call as the recording holds it, and the recording less that is what was heard without it.
Where the two run into each other neither is known; a short crossing is bridged from both its sides.
"""

from dataclasses import replace

import numpy as np

from classifier.compiled import compiled
from classifier.measure.angles import circle, turned, turns_of
from classifier.measure.harmonics import RATIOS, noise_along
from classifier.measure.ridge import NARROW, NODE, carried_on, demodulate, leftover_frequency, smooth

#: Sounds whose bands lie further apart than the baseband is wide do not disturb each other.
REACH_HZ = 20_000.0
#: A sound of so small a share of another's energy does not disturb it.
FAINT = 1e-3
#: Nor does its own harmonic: whose frequency keeps that near to a multiple, for so much of the time they share. An octave
#: off a bat disturbs little, and tracks of steep sweeps are rough.
RATIO_TOLERANCE, RATIO_SHARE = 0.06, 0.6
#: Closer than this two sounds are not known apart: the band of the low-pass on both sides.
CLOSE_HZ = 3_000.0
#: Longest crossing, in seconds, that is bridged. A call's amplitude and phase keep their course for so long.
LONGEST_CROSSING_S = 1.5e-3
#: A sound goes on beyond its track for so many nodes, as steep as it was.
BEYOND_NODES = 3
#: A track is off by no more than this, which is found in so many turns.
MOST_LEFT_HZ, TURNS = 1_000.0, 2
#: How often each sound is drawn from what the others leave, where they come so close at any moment that one leaks into the
#: other's low-pass.
ROUNDS, LEAKS_HZ = 2, 8_000.0


def neighbours_in_band(sounds, node):
    """Which sounds are heard at the same time in the same band or close to it, are not far fainter, and no harmonics.

    Parameters
    ----------
    sounds : Sounds
    node : int, samples from point to point

    Returns
    -------
    disturbed, other : int, shape (n_pairs,), in order of the first: who is disturbed by whom
    """
    end = sounds.time + (np.diff(sounds.first) - 1) * node
    return _in_band(sounds.region, sounds.time, end, sounds.strength, sounds.first, sounds.frequency_hz, node)


@compiled
def _in_band(region, begin, end, strength, first, frequency_hz, node):
    n = len(region)
    low, high = np.empty(n), np.empty(n)
    for i in range(n):
        low[i], high[i] = frequency_hz[first[i] : first[i + 1]].min(), frequency_hz[first[i] : first[i + 1]].max()
    disturbed, other = [0][:0], [0][:0]
    opens = 0
    for i in range(n):
        while region[opens] != region[i]:
            opens += 1
        j = opens
        while j < n and region[j] == region[i] and begin[j] < end[i]:
            if j != i and begin[i] < end[j] and low[i] - REACH_HZ < high[j] and low[j] - REACH_HZ < high[i]:
                mine, its = frequency_hz[first[i] : first[i + 1]], frequency_hz[first[j] : first[j + 1]]
                if strength[j] > FAINT * strength[i] and not _is_harmonic(mine, its, (begin[j] - begin[i]) / node):
                    disturbed.append(i)
                    other.append(j)
            j += 1
    return np.array(disturbed), np.array(other)


@compiled
def _is_harmonic(one, other, later):
    """Whether two tracks, the other one so many points later, keep to a ratio of harmonics while both sound."""
    first, end = max(int(np.ceil(later)), 0), min(len(one), int(later + len(other)))
    for ratio in RATIOS:
        count = 0
        for k in range(first, end):
            there = other[min(max(int(np.round(k - later)), 0), len(other) - 1)]
            count += abs(there - ratio * one[k]) < RATIO_TOLERANCE * there
        if end > first and count >= RATIO_SHARE * (end - first):
            return True
    return False


def without(region, sound, others, *, baseband, floor_bin_hz):
    """A region without some sounds: where they come too close to the one that is wanted they stay in.

    Parameters
    ----------
    region : Region
    sound : Sound, the one that is wanted
    others : list of Sound of the same region

    Returns
    -------
    Region
    """
    return _parted(region, [sound, *others], [0], baseband, floor_bin_hz)[0]


def without_each_other(region, one, other, *, baseband, floor_bin_hz):
    """A region without the other of two sounds and without the one, as ``without`` makes them, for the work of one.

    Returns
    -------
    Region in which ``one`` is heard, Region in which ``other`` is heard
    """
    return tuple(_parted(region, [one, other], [0, 1], baseband, floor_bin_hz))


def _parted(region, sounds, wanted, baseband, floor_bin_hz):
    """The region once for each of the wanted ones of its sounds, the others taken out."""
    order = sorted(range(len(sounds)), key=lambda k: -sounds[k].strength)
    everybody = [sounds[k] for k in order]
    samples = _without(
        region.samples,
        np.array([order.index(k) for k in wanted]),
        np.array([each.time for each in everybody]),
        np.concatenate([[0], np.cumsum([len(each.frequency_hz) for each in everybody])]),
        np.concatenate([each.frequency_hz for each in everybody]),
        region.floor,
        floor_bin_hz,
        baseband.kernel,
        baseband.decimation,
        baseband.sample_rate_hz,
    )
    return [replace(region, samples=left) for left in samples]


@compiled
def _without(samples, wanted, time, first, frequency_hz, floor, floor_bin_hz, kernel, decimation, rate_hz):
    """Samples less all sounds but the wanted one, for each of ``wanted``: each is drawn in turn from what the others leave,
    strongest first. Several may be wanted only where there are no others."""
    node = NODE * decimation
    longer = [
        carried_on(frequency_hz[first[k] : first[k + 1]], time[k], node, rate_hz, BEYOND_NODES, BEYOND_NODES)
        for k in range(len(time))
    ]
    begins, courses = [begin for begin, _ in longer], [course for _, course in longer]
    drawn = [np.zeros((len(course) - 1) * node) for course in courses]
    rest = samples.astype(np.float64)
    leaks = False
    for _ in range(ROUNDS):
        for k in range(len(time)):
            _add(rest, drawn[k], begins[k], 1.0)
            close = np.zeros((len(courses[k]) - 1) * NODE, np.bool_)
            for other in range(len(time)):
                if other != k and (np.any(wanted == k) or np.any(wanted == other)):
                    nearest = _mark_close(close, courses[k], begins[k], courses[other], begins[other], decimation)
                    leaks |= nearest < LEAKS_HZ
            drawn[k] = _drawn(rest, begins[k], courses[k], close, floor, floor_bin_hz, kernel, decimation, rate_hz)
            _add(rest, drawn[k], begins[k], -1.0)
        if not leaks:
            break
    out = np.empty((len(wanted), len(samples)), np.float32)
    for turn in range(len(wanted)):
        k = wanted[turn]
        _add(rest, drawn[k], begins[k], 1.0)
        out[turn] = rest
        _add(rest, drawn[k], begins[k], -1.0)
    return out


@compiled
def _add(samples, values, begin, factor):
    """Add what lies within the samples, in place."""
    for i in range(max(0, -begin), min(len(values), len(samples) - begin)):
        samples[begin + i] += factor * values[i]


@compiled
def _mark_close(close, course, begin, other, other_begin, decimation):
    """Mark the baseband samples at which another course comes too close; return how close it comes at all, in Hz."""
    node = NODE * decimation
    nearest = np.inf
    for i in range(len(close)):
        at = (i + 0.5) * decimation
        place = (begin + at - other_begin) / node
        if 0 <= place < len(other) - 1:
            left, own = int(place), int(at / node)
            there = other[left] + (other[left + 1] - other[left]) * (place - left)
            here = course[own] + (course[own + 1] - course[own]) * (at / node - own)
            close[i] |= abs(here - there) < CLOSE_HZ
            nearest = min(nearest, abs(here - there))
    return nearest


@compiled
def _drawn(samples, begin, nodes, close, floor, floor_bin_hz, kernel, decimation, rate_hz):
    """The sound along a track as the samples hold it, from ``begin`` on: float64, at every sample to the last node."""
    node = NODE * decimation
    signal, ridge = demodulate(samples, begin, nodes, kernel, decimation, rate_hz)
    n = len(signal)
    noise = noise_along(ridge, floor, floor_bin_hz, rate_hz / decimation)
    turns = np.zeros(n)
    for _ in range(TURNS):
        # calmed first, or the leftover frequency would be that of a louder sound nearby
        left_hz = leftover_frequency(smooth(signal, NARROW), NARROW, noise, rate_hz / decimation)
        _bridge(left_hz, close, n)
        left_hz = np.minimum(np.maximum(left_hz, -MOST_LEFT_HZ), MOST_LEFT_HZ)
        by = turns_of(left_hz, rate_hz / decimation)
        for i in range(n):
            signal[i] = turned(signal[i], -by[i])
            turns[i] += by[i]
    drawn = smooth(signal, NARROW)
    # once more over what is left, for the low-pass takes a little of everything that is not constant
    drawn += smooth(signal - drawn, NARROW)
    _bridge(drawn, close, round(LONGEST_CROSSING_S * rate_hz / decimation))
    for i in range(n):
        drawn[i] = turned(2 * drawn[i], turns[i])
    return _turned_back(drawn, nodes, node, decimation, rate_hz)


@compiled
def _turned_back(drawn, nodes, node, decimation, rate_hz):
    """What ``demodulate`` took out is put back: the real signal at every sample, from the first node to the last."""
    out = np.empty((len(nodes) - 1) * node)
    real, imaginary = _every_sample(drawn, decimation)
    turns = 0.0
    for piece in range(len(nodes) - 1):
        # the phase is a parabola from node to node, as in ``demodulate``
        base = nodes[piece] / rate_hz
        bend = (nodes[piece + 1] - nodes[piece]) / (2 * node * rate_hz)
        here = slice(piece * node, (piece + 1) * node)
        target, in_phase, quadrature = out[here], real[here], imaginary[here]
        for k in range(node):
            cosine, sine = circle(turns + k * (base + k * bend))
            target[k] = in_phase[k] * cosine - quadrature[k] * sine
        turns += node * (base + node * bend)
        turns -= np.floor(turns)
    return out


@compiled
def _every_sample(values, decimation):
    """Real and imaginary parts of baseband samples, linear between them, at every sample; held beyond the two ends."""
    n = len(values)
    real, imaginary = np.empty(n * decimation), np.empty(n * decimation)
    # a baseband sample stands in the middle of its stretch
    early = decimation // 2
    first = (early + 0.5) / decimation - 0.5
    for i in range(-1, n):
        left, right = values[max(i, 0)], values[min(i + 1, n - 1)]
        begin, end = max(i * decimation + early, 0), min((i + 1) * decimation + early, len(real))
        skipped = begin - (i * decimation + early)
        a, b = real[begin:end], imaginary[begin:end]
        for k in range(len(a)):
            part = first + (skipped + k) / decimation
            a[k] = left.real + (right.real - left.real) * part
            b[k] = left.imag + (right.imag - left.imag) * part
    return real, imaginary


@compiled
def _bridge(values, close, longest):
    """Draw straight lines across the runs of ``close`` values; runs at an end, and longer ones than ``longest``, become 0."""
    n = len(values)
    i = 0
    while i < n:
        if not close[i]:
            i += 1
            continue
        end = i
        while end < n and close[end]:
            end += 1
        if i > 0 and end < n and end - i <= longest:
            before, after = values[i - 1], values[end]
            for k in range(i, end):
                values[k] = before + (after - before) * ((k - i + 1) / (end - i + 1))
        else:
            for k in range(i, end):
                values[k] = 0.0
        i = end
