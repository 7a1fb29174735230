"""The close look: spectral peaks of the regions' frames, linked from frame to frame into tracks.

All regions handed in are laid end to end and transformed at once. A point is a local maximum over frequency that
stands over the noise; two points of neighbouring frames are linked when each is the other's nearest where the sweep
is expected to go. A chain of links is a track: a first, coarse ridge of one sound.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from scipy.ndimage import maximum_filter1d
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from classifier.measure.scan import even_fast_length

#: Points this far under the loudest one nearby in the same frame are the window's side lobes, not sounds.
SIDE_LOBE_DB = 26.0
SIDE_LOBE_REACH_HZ = 12_000.0
#: Points that a track must have: noise alone hangs together for about a frame's length, four steps.
FEWEST_POINTS = 5
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
    """

    region: np.ndarray
    first: np.ndarray
    time: np.ndarray
    frequency_hz: np.ndarray
    rise: np.ndarray

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

    def __call__(self, regions):
        """Tracks of a list of Region; empty Tracks for an empty list."""
        rise, owner, begin, middle = self._rise(regions)
        row, bins = self._points(rise)
        frequency, strength = _interpolated(rise, row, bins)
        frequency = (frequency + self.low_bin) * self.bin_hz
        # frames are numbered by where they begin, so that the gap between two regions is never a neighbourhood
        following = self._link(begin[row] // self.step, frequency)
        return self._gather(following, row, frequency, strength, owner, middle, rise)

    def _rise(self, regions):
        """Power over the floor, (n_frames, n_bins), and each frame's region, first sample and middle in its region."""
        if not regions:
            none = np.empty(0, int)
            return np.empty((0, self.high_bin - self.low_bin), np.float32), none, none, none
        lengths = np.array([len(region.samples) for region in regions])
        starts = np.concatenate([[0], np.cumsum(lengths + self.frame)])
        laid = np.zeros(starts[-1], np.float32)
        for region, start in zip(regions, starts, strict=False):
            laid[start : start + len(region.samples)] = region.samples
        frames = np.lib.stride_tricks.sliding_window_view(laid, self.frame)[:: self.step]
        begin = np.arange(len(frames)) * self.step
        owner = np.searchsorted(starts, begin, side="right") - 1
        inside = begin - starts[owner] <= lengths[owner]
        frames, begin, owner = frames[inside], begin[inside], owner[inside]
        spectrum = scipy.fft.rfft(frames * self.window, axis=1)[:, self.low_bin : self.high_bin]
        power = spectrum.real**2 + spectrum.imag**2
        # regions of one block share one floor
        floors, which, seen = [], np.empty(len(regions), int), {}
        for i, region in enumerate(regions):
            if id(region.floor) not in seen:
                seen[id(region.floor)] = len(floors)
                wanted = self.frequencies_hz[self.low_bin : self.high_bin]
                density = np.interp(wanted, self.floor_frequencies_hz, region.floor)
                floors.append((1.0 / (density * self.power_per_density)).astype(np.float32))
            which[i] = seen[id(region.floor)]
        power *= np.array(floors)[which[owner]]
        return power, owner, begin, begin - starts[owner] + self.frame / 2

    def _points(self, rise):
        """Frame and bin of every local maximum over frequency that stands out and is no side lobe."""
        least = np.float32(10 ** (self.settings.point_rise_db / 10))
        inner = rise[:, 1:-1]
        high = (inner > least) & (inner >= rise[:, :-2]) & (inner > rise[:, 2:])
        frame, bins = np.nonzero(high)
        bins += 1
        loud = np.flatnonzero(rise.max(axis=1) > least * np.float32(10 ** (SIDE_LOBE_DB / 10))) if len(rise) else []
        if len(loud):
            reach = 2 * int(SIDE_LOBE_REACH_HZ / self.bin_hz) + 1
            around = np.zeros((len(rise),), np.intp)
            around[loud] = np.arange(len(loud))
            nearby = maximum_filter1d(rise[loud], reach, axis=1, mode="constant")
            is_loud = np.zeros(len(rise), bool)
            is_loud[loud] = True
            check = is_loud[frame]
            keep = np.ones(len(frame), bool)
            limit = nearby[around[frame[check]], bins[check]] * np.float32(10 ** (-SIDE_LOBE_DB / 10))
            keep[check] = rise[frame[check], bins[check]] > limit
            frame, bins = frame[keep], bins[keep]
        return frame, bins

    def _link(self, frame, frequency):
        """Index of the point that follows each point in the next frame; -1 where none does.

        Two rounds: the second looks where the slope found by the first points to.
        """
        step_s = self.step / self.sample_rate_hz
        furthest = self.settings.steepest_slope_hz_per_s * step_s
        following = _mutual_nearest(frame, frequency, np.zeros(len(frame)), furthest * 0.6)
        for _ in range(2):
            change = np.zeros(len(frame))
            linked = np.flatnonzero(following >= 0)
            ahead = frequency[following[linked]] - frequency[linked]
            # expected change is what led here, else what leads on
            change[linked] = ahead
            change[following[linked]] = ahead
            following = _mutual_nearest(frame, frequency, change, 1.5 * self.bin_hz + 0.4 * np.abs(change))
        return following

    def _gather(self, following, frame, frequency, strength, frame_region, frame_time, rise):
        n = len(frame)
        linked = np.flatnonzero(following >= 0)
        graph = coo_array((np.ones(len(linked), np.int8), (linked, following[linked])), shape=(n, n))
        count, label = connected_components(graph, directed=False)
        size = np.bincount(label, minlength=count)
        loudest = np.zeros(count)
        np.maximum.at(loudest, label, strength)
        least = 10 ** (self.settings.track_rise_db / 10)
        good = (size >= FEWEST_POINTS) & (loudest > least)
        rows = np.flatnonzero(good[label])
        rows = rows[np.lexsort((frame[rows], label[rows]))]
        labels = label[rows]
        first = np.flatnonzero(np.diff(labels, prepend=-1))
        if len(rows):
            share = self._share(rise, frame[rows], frequency[rows], strength[rows], first)
            keep = share >= self.settings.least_share
            kept_rows = np.repeat(keep, np.diff(np.append(first, len(rows))))
            rows, labels = rows[kept_rows], labels[kept_rows]
            first = np.flatnonzero(np.diff(labels, prepend=-1))
        return Tracks(
            region=frame_region[frame[rows[first]]] if len(rows) else np.empty(0, int),
            first=np.append(first, len(rows)),
            time=frame_time[frame[rows]],
            frequency_hz=frequency[rows],
            rise=strength[rows],
        )


    def _share(self, rise, frame, frequency, strength, first):
        """Share of the energy nearby that lies on each track: near 1 for a sweep, low for a burst of noise.

        Nearby is within NEARBY_HZ; on the track is within two bins, and as far as its slope smears it.
        """
        cumulative = np.cumsum(np.maximum(rise - 1, 0), axis=1, dtype=np.float64)
        cumulative = np.pad(cumulative, ((0, 0), (1, 0)))
        last = np.append(first[1:], len(frame)) - 1
        slope = np.gradient(frequency) if len(frequency) > 1 else np.zeros(len(frequency))
        slope[first] = frequency[np.minimum(first + 1, last)] - frequency[first]
        slope[last] = frequency[last] - frequency[np.maximum(last - 1, first)]
        smear = np.minimum(0.35 * np.abs(slope) * (self.frame / self.step), 0.6 * NEARBY_HZ)
        place = frequency / self.bin_hz - self.low_bin

        def between(reach_hz, place=place):
            reach = reach_hz / self.bin_hz
            low = np.clip(np.round(place - reach), 0, rise.shape[1]).astype(int)
            high = np.clip(np.round(place + reach) + 1, 0, rise.shape[1]).astype(int)
            return cumulative[frame, high] - cumulative[frame, low]

        own = between(2 * self.bin_hz + smear)
        # harmonics speak for a call and not against it
        for ratio in HARMONIC_RATIOS:
            at = frequency * ratio / self.bin_hz - self.low_bin
            own = own + between(2 * self.bin_hz + ratio * smear, at)
        on = np.add.reduceat(own, first)
        near = np.add.reduceat(between(NEARBY_HZ + smear), first)
        everything = np.add.reduceat(cumulative[frame, -1], first)
        # a click fills the whole band for a frame or two; a brief call does not
        brief = (last - first) < BRIEF_POINTS
        return on / np.maximum(np.where(brief, 0.6 * everything + 0.4 * near, near), 1e-9)


def _interpolated(rise, frame, bins):
    """Bin position (fractional) and height of local maxima, by a parabola through the logarithms."""
    left, mid, right = (np.log(np.maximum(rise[frame, bins + k], 1e-6)) for k in (-1, 0, 1))
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, 1), 0.0)
    return bins + np.clip(shift, -0.5, 0.5), np.exp(mid - 0.25 * (left - right) * shift)


def _mutual_nearest(frame, frequency, change, reach):
    """Link points of neighbouring frames that are each other's nearest, ``change`` being what each expects to come.

    Points must be sorted by frame and then by frequency.
    """
    n = len(frame)
    following = np.full(n, -1)
    if n < 2:
        return following
    wide = 4.0 * frequency.max()
    order = frame * wide + frequency
    ahead = _nearest(order, (frame + 1) * wide + frequency + change)
    back = _nearest(order, (frame - 1) * wide + frequency - change)
    reach = np.broadcast_to(reach, n)
    miss = np.abs(frequency[ahead] - frequency - change)
    mutual = (frame[ahead] == frame + 1) & (back[ahead] == np.arange(n)) & (miss <= np.maximum(reach, reach[ahead]))
    following[mutual] = ahead[mutual]
    return following


def _nearest(sorted_values, wanted):
    """Index of the nearest value to each wanted one."""
    right = np.clip(np.searchsorted(sorted_values, wanted), 1, len(sorted_values) - 1)
    return right - (wanted - sorted_values[right - 1] < sorted_values[right] - wanted)
