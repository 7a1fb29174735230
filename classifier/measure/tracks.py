"""The close look: spectral peaks of the regions' frames, linked from frame to frame into tracks.

All regions handed in are laid end to end and transformed at once. A point is a local maximum over frequency that
stands over the noise; two points of neighbouring frames are linked when each is the other's nearest where the sweep
is expected to go. A chain of links is a track: a first, coarse ridge of one sound.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft

from classifier.compiled import compiled
from classifier.measure.scan import even_fast_length

#: Points this far under the loudest one nearby in the same frame are the window's side lobes, not sounds.
SIDE_LOBE_DB = 26.0
SIDE_LOBE_REACH_HZ = 12_000.0
#: Points that a track must have: noise alone hangs together for about a frame's length, four steps. A loud piece may be
#: the end of a steep sweep, where links break, with fewer.
FEWEST_POINTS, FEWEST_LOUD_POINTS = 5, 3
LOUD_DB = 18.0
#: Rounds of linking: the later ones look where the slope found before points to.
ROUNDS = 3
#: Where else a sound may lie whose strongest harmonic is the track.
HARMONIC_RATIOS = (1 / 2, 3 / 2, 2.0, 3.0)
#: A track of fewer points is brief.
BRIEF_POINTS = 11
#: Energy this near a track in frequency counts against it.
NEARBY_HZ = 15_000.0


@dataclass(frozen=True)
class Tracks:
    """Coarse ridges, all in flat arrays; track i owns rows ``first[i] : first[i + 1]``.

    region : int, shape (n_tracks,), index of the region
    first : int, shape (n_tracks + 1,)
    time : float, shape (n_points,), samples from the start of the region, at the middle of the frame
    frequency_hz, rise : float, shape (n_points,); rise is the point's power over the floor (a ratio)
    share : float64, shape (n_tracks,), share of the energy nearby that lies on the track
    """

    region: np.ndarray
    first: np.ndarray
    time: np.ndarray
    frequency_hz: np.ndarray
    rise: np.ndarray
    share: np.ndarray

    def __len__(self):
        return len(self.region)


class TrackFinder:
    """Finds tracks in regions of one sample rate."""

    def __init__(self, *, sample_rate_hz, settings, step, floor_frequencies_hz):
        self.sample_rate_hz = sample_rate_hz
        self.settings = settings
        self.frame = even_fast_length(settings.look_frame_s * sample_rate_hz)
        self.step = step
        self.window = np.hanning(self.frame + 1)[:-1].astype(np.float32)
        self.bin_hz = sample_rate_hz / self.frame
        self.frequencies_hz = np.arange(self.frame // 2 + 1) * self.bin_hz
        self.power_per_density = sample_rate_hz / 2 * float(np.sum(self.window.astype(float) ** 2))
        top = min(settings.highest_frequency_hz, sample_rate_hz / 2 - 2 * self.bin_hz)
        self.low_bin = int(np.ceil(settings.lowest_frequency_hz / self.bin_hz))
        self.high_bin = int(top / self.bin_hz) + 1
        self.floor_frequencies_hz = floor_frequencies_hz

    def __call__(self, laid):
        """Tracks of regions laid out with a gap of ``frame`` samples."""
        spectrum, owner, begin, middle = self._frames(laid)
        wanted = self.frequencies_hz[self.low_bin : self.high_bin]
        densities = [np.interp(wanted, self.floor_frequencies_hz, floor) for floor in laid.floors]
        inverse = (1.0 / (np.array(densities) * self.power_per_density)).astype(np.float32)
        rise = _rise(spectrum, self.low_bin, inverse, laid.floor_of[owner])
        settings = self.settings
        row, place, strength = _points(
            rise,
            np.float32(10 ** (settings.point_rise_db / 10)),
            int(SIDE_LOBE_REACH_HZ / self.bin_hz),
            np.float32(10 ** (-SIDE_LOBE_DB / 10)),
        )
        frequency = (place + self.low_bin) * self.bin_hz
        # frames are numbered by where they begin, so that the gap between two regions is never a neighbourhood
        furthest = settings.steepest_slope_hz_per_s * self.step / self.sample_rate_hz
        following = _linked(begin[row] // self.step, frequency, 0.6 * furthest, 1.5 * self.bin_hz)
        first, points = _chains(following, strength, 10 ** (settings.track_rise_db / 10), 10 ** (LOUD_DB / 10))
        share = _shares(
            rise, row[points], place[points], first, self.bin_hz, self.low_bin, self.frame / self.step
        )
        keep = share >= settings.least_share
        first, points = _kept(first, points, keep)
        return Tracks(
            region=owner[row[points[first[:-1]]]],
            first=first,
            time=middle[row[points]],
            frequency_hz=frequency[points],
            rise=strength[points],
            share=share[keep],
        )

    def _frames(self, laid):
        """Transforms of the windowed frames, (n_frames, n_bins), and each frame's region, first sample in ``laid`` and
        middle in its region."""
        begin = np.arange(0, len(laid.samples) - self.frame + 1, self.step)  # on one grid over all regions
        owner = np.searchsorted(laid.starts, begin, side="right") - 1
        inside = begin - laid.starts[owner] <= laid.lengths[owner]
        begin, owner = begin[inside], owner[inside]
        spectrum = scipy.fft.rfft(_windowed(laid.samples, begin, self.window), axis=1, overwrite_x=True)
        return spectrum, owner, begin, begin - laid.starts[owner] + self.frame / 2


@compiled
def _windowed(samples, begin, window):
    """Frames that begin at ``begin``, times the window: float32, (n_frames, len(window))."""
    out = np.empty((len(begin), len(window)), np.float32)
    for i in range(len(begin)):
        here = samples[begin[i] : begin[i] + len(window)]
        for j in range(len(window)):
            out[i, j] = here[j] * window[j]
    return out


@compiled
def _rise(spectrum, low_bin, inverse_floors, which):
    """Power over the floor, from the bin ``low_bin`` on: float32, (n_frames, n_bins)."""
    bins = inverse_floors.shape[1]
    out = np.empty((len(spectrum), bins), np.float32)
    for i in range(len(spectrum)):
        floor = inverse_floors[which[i]]
        for j in range(bins):
            value = spectrum[i, low_bin + j]
            out[i, j] = (value.real * value.real + value.imag * value.imag) * floor[j]
    return out


@compiled
def _points(rise, least, reach, side_lobe):
    """Frame, bin (fractional) and height of every local maximum over frequency that stands out and is no side lobe.

    Bin and height are those of a parabola through the logarithms.
    """
    frames, bins = rise.shape
    frame, place, height = np.empty(rise.size, np.int64), np.empty(rise.size), np.empty(rise.size)
    count = 0
    for i in range(frames):
        here = rise[i]
        for j in range(1, bins - 1):
            if here[j] <= least or here[j] < here[j - 1] or here[j] <= here[j + 1]:
                continue
            loudest = here[j]
            for k in range(max(0, j - reach), min(bins, j + reach + 1)):
                loudest = max(loudest, here[k])
            if here[j] <= loudest * side_lobe:
                continue
            left, mid, right = np.log(max(here[j - 1], 1e-6)), np.log(here[j]), np.log(max(here[j + 1], 1e-6))
            bend = left - 2 * mid + right
            shift = min(max(0.5 * (left - right) / bend, -0.5), 0.5) if bend < 0 else 0.0
            frame[count], place[count] = i, j + shift
            height[count] = np.exp(mid - 0.25 * (left - right) * shift)
            count += 1
    return frame[:count].copy(), place[:count].copy(), height[:count].copy()


@compiled
def _linked(frame, frequency, first_reach_hz, reach_hz):
    """Index of the point that follows each point in the next frame; -1 where none does.

    Parameters
    ----------
    frame : int, shape (n,), rising
    frequency : float64, shape (n,), rising within a frame
    first_reach_hz, reach_hz : float, how far a point may lie from where it is looked for, in the first round and (with
        0.4 of the change expected added) in the later ones
    """
    n = len(frame)
    # points of the next and of the last frame: [start, end) for each point
    ahead, behind = np.zeros((n, 2), np.int64), np.zeros((n, 2), np.int64)
    begin = 0
    before_begin, before_end = 0, 0
    while begin < n:
        end = begin
        while end < n and frame[end] == frame[begin]:
            end += 1
        if before_end > before_begin and frame[before_begin] + 1 == frame[begin]:
            for i in range(begin, end):
                behind[i, 0], behind[i, 1] = before_begin, before_end
            for i in range(before_begin, before_end):
                ahead[i, 0], ahead[i, 1] = begin, end
        before_begin, before_end = begin, end
        begin = end
    following = np.full(n, -1)
    change = np.zeros(n)
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
        for i in range(n):
            if ahead[i, 1] == ahead[i, 0]:
                continue
            j = _nearest(frequency, ahead[i, 0], ahead[i, 1], frequency[i] + change[i])
            if _nearest(frequency, behind[j, 0], behind[j, 1], frequency[j] - change[j]) != i:
                continue
            reach = first_reach_hz
            if turn:
                reach = reach_hz + 0.4 * max(abs(change[i]), abs(change[j]))
            if abs(frequency[j] - frequency[i] - change[i]) <= reach:
                following[i] = j
    return following


@compiled
def _nearest(frequency, begin, end, wanted):
    """Index of the frequency nearest to ``wanted`` among rows ``begin`` to ``end``."""
    best, least = begin, abs(frequency[begin] - wanted)
    for k in range(begin + 1, end):
        miss = abs(frequency[k] - wanted)
        if miss >= least:
            break  # they rise
        best, least = k, miss
    return best


@compiled
def _chains(following, strength, audible, loud):
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


@compiled
def _kept(first, points, keep):
    """The chains where ``keep`` is true."""
    new_first, new_points = np.zeros(len(first), np.int64), np.empty(len(points), np.int64)
    count, filled = 0, 0
    for i in range(len(keep)):
        if keep[i]:
            for k in range(first[i], first[i + 1]):
                new_points[filled] = points[k]
                filled += 1
            count += 1
            new_first[count] = filled
    return new_first[: count + 1].copy(), new_points[:filled].copy()


@compiled
def _shares(rise, frame, place, first, bin_hz, low_bin, steps_per_frame):
    """Share of the energy nearby that lies on each track: near 1 for a sweep, low for a burst of noise.

    Nearby is within NEARBY_HZ; on the track is within two bins, and as far as its slope smears it. Harmonics speak for a
    call and not against it. A click fills the whole band for a frame or two, a brief call does not: of a brief track
    the energy at all frequencies counts for more than half.
    """
    out = np.empty(len(first) - 1)
    for track in range(len(out)):
        low, high = first[track], first[track + 1]
        brief = high - low < BRIEF_POINTS
        on, near, everything = 0.0, 0.0, 0.0
        for i in range(low, high):
            before, after = max(i - 1, low), min(i + 1, high - 1)
            slope_bins = abs(place[after] - place[before]) / (after - before)
            smear = min(0.35 * slope_bins * steps_per_frame, 0.6 * NEARBY_HZ / bin_hz)
            here = rise[frame[i]]
            on += _between(here, place[i], 2 + smear)
            near += _between(here, place[i], NEARBY_HZ / bin_hz + smear)
            for ratio in HARMONIC_RATIOS:
                on += _between(here, (place[i] + low_bin) * ratio - low_bin, 2 + ratio * smear)
            if brief:
                everything += _between(here, 0.0, len(here))
        against = 0.6 * everything + 0.4 * near if brief else near
        out[track] = on / max(against, 1e-9)
    return out


@compiled
def _between(here, place, reach):
    """Energy over the floor within ``reach`` bins of a place."""
    low, high = max(int(np.round(place - reach)), 0), min(int(np.round(place + reach)) + 1, len(here))
    total = 0.0
    for k in range(low, high):
        total += max(here[k] - np.float32(1.0), np.float32(0.0))
    return total
