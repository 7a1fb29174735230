"""Tracks that belong together: pieces of one sweep are joined, harmonics are counted to one sound.

What comes out are sounds, each with the track of its strongest harmonic; every sound is then measured as a pulse.
"""

from dataclasses import dataclass

import numpy as np

#: Longest hole, in seconds, across which two pieces of a sweep are joined, and how far off the aim may be.
LONGEST_HOLE_S = 1.2e-3
AIM_HZ = 2_500.0
#: How far two tracks may be from a whole-numbered ratio of their frequencies.
RATIO_TOLERANCE = 0.035
#: Harmonics must sound together for this share of the shorter.
TOGETHER = 0.5


@dataclass(frozen=True)
class Sound:
    """One sound: the track of its strongest harmonic.

    region : int, index of the region
    time : float, shape (n_points,), samples from the start of the region, evenly spaced
    frequency_hz : float, shape (n_points,)
    harmonic : int, which harmonic of the sound this is as far as other tracks tell
    strength : float, energy of the track over the floor, summed over its points
    """

    region: int
    time: np.ndarray
    frequency_hz: np.ndarray
    harmonic: int
    strength: float


def sounds_of(tracks, *, node, sample_rate_hz, settings):
    """Join and group tracks.

    Parameters
    ----------
    tracks : Tracks, points ``node`` samples apart
    settings : MeasureSettings: how strong and how even a track must be to be taken for a sound

    Returns
    -------
    list of Sound, in order of region and time
    """
    pieces = [
        _Piece(
            tracks.region[i],
            tracks.time[tracks.first[i] : tracks.first[i + 1]],
            tracks.frequency_hz[tracks.first[i] : tracks.first[i + 1]],
            float(tracks.rise[tracks.first[i] : tracks.first[i + 1]].sum()),
        )
        for i in range(len(tracks))
    ]
    out, begin = [], 0
    pieces.sort(key=lambda piece: (piece.region, piece.time[0]))
    for end in range(1, len(pieces) + 1):
        if end == len(pieces) or pieces[end].region != pieces[begin].region:
            out += _sounds_of_region(pieces[begin:end], node, sample_rate_hz, settings)
            begin = end
    return out


@dataclass
class _Piece:
    region: int
    time: np.ndarray
    frequency: np.ndarray
    strength: float

    def aim(self, at, late):
        """Frequency where the piece heads to at time ``at``, from its late or its early end."""
        few = min(len(self.time) - 1, 3)
        if late:
            slope = (self.frequency[-1] - self.frequency[-1 - few]) / (self.time[-1] - self.time[-1 - few])
            return self.frequency[-1] + slope * (at - self.time[-1])
        slope = (self.frequency[few] - self.frequency[0]) / (self.time[few] - self.time[0])
        return self.frequency[0] + slope * (at - self.time[0])


def _sounds_of_region(pieces, node, sample_rate_hz, settings):
    if len(pieces) > 1:
        pieces = _joined(pieces, node, LONGEST_HOLE_S * sample_rate_hz)
    pieces = [piece for piece in pieces if piece.strength >= settings.least_strength and _is_even(piece, settings)]
    pieces.sort(key=lambda piece: -piece.strength)
    taken = [False] * len(pieces)
    sounds = []
    for i, piece in enumerate(pieces):
        if taken[i]:
            continue
        harmonic = 1
        for j in range(i + 1, len(pieces)):
            if taken[j]:
                continue
            ratio = _ratio(piece, pieces[j], node)
            if ratio is None:
                continue
            for mine, other in ((1, 2), (1, 3), (2, 1), (2, 3), (3, 1), (3, 2), (2, 4)):
                if abs(ratio * mine / other - 1) < RATIO_TOLERANCE:
                    taken[j] = True
                    if mine > harmonic and other < mine:
                        harmonic = mine
                    break
        sounds.append(Sound(piece.region, piece.time, piece.frequency, harmonic, piece.strength))
    sounds.sort(key=lambda sound: sound.time[0])
    return sounds


def _is_even(piece, settings):
    """Whether a track runs smoothly, as a call does; a burst of noise staggers from point to point."""
    step = np.diff(piece.frequency)
    limit = settings.most_uneven_hz + settings.most_uneven_share * np.median(np.abs(step))
    return np.median(np.abs(np.diff(step))) <= limit


def _ratio(piece, other, node):
    """Ratio of the other's frequency to the piece's where both sound; None where they hardly do, or it wanders."""
    first, last = max(piece.time[0], other.time[0]), min(piece.time[-1], other.time[-1])
    shorter = min(piece.time[-1] - piece.time[0], other.time[-1] - other.time[0])
    if last - first < max(TOGETHER * shorter, 2 * node):
        return None
    at = np.arange(first, last + node / 2, node)
    ratios = np.interp(at, other.time, other.frequency) / np.interp(at, piece.time, piece.frequency)
    middle = float(np.median(ratios))
    return middle if np.median(np.abs(ratios - middle)) < RATIO_TOLERANCE * middle else None


def _joined(pieces, node, longest_hole):
    """Join pieces whose ends aim at each other across a short hole; the hole is bridged by a straight line.

    The best aims are joined first; every end is joined once.
    """
    starts = np.array([piece.time[0] for piece in pieces])  # pieces come in order of time
    pairs = []
    for i, early in enumerate(pieces):
        end = early.time[-1]
        for j in range(np.searchsorted(starts, end + 0.5 * node), np.searchsorted(starts, end + longest_hole)):
            late = pieces[j]
            middle = 0.5 * (late.time[0] + end)
            miss = abs(early.aim(middle, late=True) - late.aim(middle, late=False))
            if miss <= AIM_HZ + 0.25 * abs(late.frequency[0] - early.frequency[-1]):
                pairs.append((miss / AIM_HZ + (late.time[0] - end) / longest_hole, i, j))
    follows, led = {}, set()
    for _, i, j in sorted(pairs):
        if i not in follows and j not in led:
            follows[i] = j
            led.add(j)
    out = []
    for i in range(len(pieces)):
        if i in led:
            continue
        chain = [i]
        while chain[-1] in follows:
            chain.append(follows[chain[-1]])
        out.append(_bridged([pieces[k] for k in chain], node) if len(chain) > 1 else pieces[i])
    return out


def _bridged(chain, node):
    time = np.concatenate([piece.time for piece in chain])
    frequency = np.concatenate([piece.frequency for piece in chain])
    even = time[0] + node * np.arange(round((time[-1] - time[0]) / node) + 1)
    return _Piece(chain[0].region, even, np.interp(even, time, frequency), sum(piece.strength for piece in chain))
