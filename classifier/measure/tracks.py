"""The close look: spectral peaks of the regions' frames, linked from frame to frame into tracks.

All regions handed in are laid end to end and transformed at once. A point is a local maximum over frequency that
stands over the noise; two points of neighbouring frames are linked when each is the other's nearest where the sweep
is expected to go. A chain of links is a track: a first, coarse ridge of one sound.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.lib.stride_tricks import sliding_window_view

from classifier.compiled import compiled
from classifier.measure.links import chains, linked
from classifier.measure.scan import HANN_SQUARES, even_fast_length, greatest, hann_power

#: Frames that are transformed together: what they fill stays in the processor's cache.
FRAMES_TOGETHER = 1024
#: Points this far under the loudest one nearby in the same frame are the window's side lobes, not sounds.
SIDE_LOBE_DB = 26.0
SIDE_LOBE_REACH_HZ = 12_000.0
#: A steep sweep makes one broad hill that noise notches: two maxima of a frame that lie so near to each other, with no deeper
#: a valley between them (a ratio of powers), are one point.
HILL_HZ, VALLEY = 3_000.0, 0.5
#: Level over the floor from which a piece counts as loud (``links.FEWEST_LOUD_POINTS``).
LOUD_DB = 18.0
#: Where else a sound may lie whose strongest harmonic is the track.
HARMONIC_RATIOS = (1 / 2, 3 / 2, 2.0, 3.0)
#: A track of fewer points is brief.
BRIEF_POINTS = 9
#: Energy this near a track in frequency counts against it, unless another track explains it; those are found in so many
#: rounds.
NEARBY_HZ = 15_000.0
EXPLAINING_ROUNDS = 3


@dataclass(frozen=True)
class Tracks:
    """Coarse ridges, all in flat arrays; track i owns rows ``first[i] : first[i + 1]``.

    region : int, shape (n_tracks,), index of the region
    first : int, shape (n_tracks + 1,)
    time : float, shape (n_points,), samples from the start of the region, at the middle of the frame
    frequency_hz, rise : float, shape (n_points,); rise is the point's power over the floor (a ratio)
    power : float, shape (n_points,), the same in units of the samples, to compare frequencies of different floors
    share : float64, shape (n_tracks,), share of the energy nearby that lies on the track
    """

    region: np.ndarray
    first: np.ndarray
    time: np.ndarray
    frequency_hz: np.ndarray
    rise: np.ndarray
    power: np.ndarray
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
        self.gap = self.frame + step  # so much silence between two regions holds a frame of nothing else
        self.bin_hz = sample_rate_hz / self.frame
        self.frequencies_hz = np.arange(self.frame // 2 + 1) * self.bin_hz
        self.power_per_density = sample_rate_hz / 2 * HANN_SQUARES * self.frame
        top = min(settings.highest_frequency_hz, sample_rate_hz / 2 - 2 * self.bin_hz)
        self.low_bin = int(np.ceil(settings.lowest_frequency_hz / self.bin_hz))
        self.high_bin = int(top / self.bin_hz) + 1
        self.floor_frequencies_hz = floor_frequencies_hz
        self._rise = np.empty((0, self.high_bin - self.low_bin), np.float32)  # kept, so that it is not allocated anew

    def __call__(self, laid):
        """Tracks of regions laid out with ``gap`` samples between them."""
        begin = np.arange(0, len(laid.samples) - self.frame + 1, self.step)  # on one grid over all regions
        # a frame that begins in the silence behind a region holds nothing but the beginning of the next one
        owner = np.searchsorted(laid.starts[1:-1] - self.gap, begin, side="right")
        middle = begin - laid.starts[owner] + laid.skipped[owner] + self.frame / 2
        rise, highest, inverse = self._over_floor(laid, owner)
        settings = self.settings
        row, place, strength = _points(
            rise,
            highest,
            np.float32(10 ** (settings.point_rise_db / 10)),
            int(SIDE_LOBE_REACH_HZ / self.bin_hz),
            np.float32(10 ** (-SIDE_LOBE_DB / 10)),
            int(HILL_HZ / self.bin_hz),
        )
        frequency = (place + self.low_bin) * self.bin_hz
        # frames are numbered by where they begin, so that the gap between two regions is never a neighbourhood
        furthest = settings.steepest_slope_hz_per_s * self.step / self.sample_rate_hz
        level = 10 * np.log10(strength)
        following = linked(begin[row] // self.step, frequency, level, 0.6 * furthest, 1.5 * self.bin_hz)
        first, points = chains(following, strength, 10 ** (settings.track_rise_db / 10), 10 ** (LOUD_DB / 10))
        bins = (self.bin_hz, self.low_bin, self.frame / self.step)
        share = _shares(rise, row[points], place[points], first, *bins, settings.least_share)
        keep = share >= settings.least_share
        first, points = kept(first, points, keep)
        return Tracks(
            region=owner[row[points[first[:-1]]]],
            first=first,
            time=middle[row[points]],
            frequency_hz=frequency[points],
            rise=strength[points],
            power=strength[points] / inverse[laid.floor_of[owner[row[points]]], np.round(place[points]).astype(int)],
            share=share[keep],
        )

    def _over_floor(self, laid, owner):
        """Power of each frame over the floor of the region it lies in, (n_frames, n_bins), the highest of each frame, and one
        over each floor, (n_floors, n_bins)."""
        wanted = self.frequencies_hz[self.low_bin : self.high_bin]
        densities = [np.interp(wanted, self.floor_frequencies_hz, floor) for floor in laid.floors]
        inverse = (1.0 / (np.array(densities) * self.power_per_density)).astype(np.float32)
        frames = sliding_window_view(laid.samples, self.frame)[:: self.step]
        if len(self._rise) < len(frames):
            self._rise = np.empty((len(frames), self.high_bin - self.low_bin), np.float32)
        rise, highest = self._rise[: len(frames)], np.empty(len(frames), np.float32)
        for first in range(0, len(frames), FRAMES_TOGETHER):
            here = slice(first, first + FRAMES_TOGETHER)
            _rise(frames[here], self.low_bin, inverse, laid.floor_of[owner[here]], rise[here], highest[here])
        return rise, highest, inverse


@compiled
def _rise(frames, low_bin, inverse_floors, which, rise, highest):
    """Fill in the power of frames over the floor, from the bin ``low_bin`` (not the first) on, and the highest of each."""
    spectrum = scipy.fft.rfft(frames).view(np.float32)
    bins, bits = rise.shape[1], highest.view(np.int32)
    work = np.empty(2 * bins, np.float32)
    for i in range(len(rise)):
        here = rise[i]
        hann_power(spectrum[i, 2 * (low_bin - 1) : 2 * (low_bin + bins + 1)], work, here)
        floor = inverse_floors[which[i]]
        for j in range(bins):
            here[j] *= floor[j]
        bits[i] = greatest(here)


@compiled
def _points(rise, highest, least, reach, side_lobe, hill):
    """Frame, bin (fractional) and height of every local maximum over frequency that stands out and is no side lobe.

    Bin and height are those of a parabola through the logarithms; of maxima on one hill the mean bin and the greatest
    height.
    """
    frames, bins = rise.shape
    frame, place, height = np.empty(rise.size, np.int64), np.empty(rise.size), np.empty(rise.size)
    # most bins are no maximum: eight of them are passed over at a time
    is_maximum = np.zeros((bins + 7) // 8 * 8, np.uint8)
    eight = is_maximum.view(np.uint64)
    count = 0
    for i in range(frames):
        if highest[i] <= least:
            continue
        here, flags, before = rise[i], is_maximum[1 : bins - 1], -bins
        below, middle, above = here[: bins - 2], here[1 : bins - 1], here[2:]
        for j in range(len(middle)):
            flags[j] = (middle[j] > least) & (middle[j] >= below[j]) & (middle[j] > above[j])
        for k in range(len(eight)):
            if eight[k] == 0:
                continue
            for j in range(8 * k, 8 * k + 8):
                if not is_maximum[j]:
                    continue
                top = here[j]
                if top <= highest[i] * side_lobe:
                    loudest = np.max(here[max(j - reach, 0) : j + reach + 1])
                    if top <= loudest * side_lobe:
                        continue
                left, right = np.log(max(here[j - 1] / top, 1e-9)), np.log(max(here[j + 1] / top, 1e-9))
                shift = min(max(0.5 * (left - right) / (left + right), -0.5), 0.5) if left + right < 0 else 0.0
                at, top = j + shift, top * np.exp(-0.25 * (left - right) * shift)
                if j - before <= hill and np.min(here[before : j + 1]) > VALLEY * min(here[before], here[j]):
                    share = height[count - 1] / (height[count - 1] + top)
                    place[count - 1] = share * place[count - 1] + (1 - share) * at
                    height[count - 1] = max(height[count - 1], top)
                else:
                    frame[count], place[count], height[count] = i, at, top
                    count += 1
                before = j
    return frame[:count].copy(), place[:count].copy(), height[:count].copy()


@compiled
def kept(first, points, keep):
    """The chains where ``keep`` is true; ``points`` are of any type."""
    new_first, new_points = np.zeros(len(first), np.int64), np.empty_like(points)
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
def _shares(rise, frame, place, first, bin_hz, low_bin, steps_per_frame, least):
    """Share of the energy nearby that lies on each track: near 1 for a sweep, low for a burst of noise.

    Nearby is within NEARBY_HZ; on the track is within two bins, and as far as its slope smears it. Harmonics speak for a
    call and not against it. A click fills the whole band for a frame or two, a brief call does not: of a brief track
    the energy at all frequencies counts for more than half. What lies on tracks that reach the share ``least`` has its
    explanation, and does not count against the others: so a faint bat is heard beside a loud one.
    """
    n = len(first) - 1
    out, explains = np.zeros(n), np.zeros(n, np.bool_)
    smear, beyond = np.empty(len(place)), NEARBY_HZ / bin_hz - 2
    # of each track: the energy on it and on its harmonics, and what counts against it while nothing explains it
    own, with_harmonics, against = np.zeros(n), np.zeros(n), np.zeros(n)
    for track in range(n):
        low, high = first[track], first[track + 1]
        brief = high - low < BRIEF_POINTS
        near, everything = 0.0, 0.0
        for i in range(low, high):
            before, after = max(i - 1, low), min(i + 1, high - 1)
            slope_bins = abs(place[after] - place[before]) / (after - before)
            smear[i] = 2 + min(0.35 * slope_bins * steps_per_frame, 0.6 * NEARBY_HZ / bin_hz)
            here = rise[frame[i]]
            own[track] += _between(here, place[i] - smear[i], place[i] + smear[i])
            near += _between(here, place[i] - smear[i] - beyond, place[i] + smear[i] + beyond)
            for ratio in HARMONIC_RATIOS:
                middle = (place[i] + low_bin) * ratio - low_bin
                reach = 2 + ratio * (smear[i] - 2)
                with_harmonics[track] += _between(here, middle - reach, middle + reach)
            if brief:
                everything += _between(here, 0.0, len(here))
        with_harmonics[track] += own[track]
        against[track] = 0.6 * everything + 0.4 * near if brief else near
    # points of tracks that explain energy, as lists that begin at each frame
    newest, older = np.full(len(rise), -1), np.full(len(place), -1)
    for turn in range(EXPLAINING_ROUNDS):
        for track in range(n):
            if turn and out[track] >= least:
                continue
            low, high = first[track], first[track + 1]
            near, everything = 0.0, 0.0
            for i in range(low, high):
                here, other = rise[frame[i]], newest[frame[i]]
                own_low, own_high = place[i] - smear[i], place[i] + smear[i]
                while other >= 0:
                    other_low, other_high = place[other] - smear[other], place[other] + smear[other]
                    if other_high < own_low or other_low > own_high:
                        near += _between(here, max(other_low, own_low - beyond), min(other_high, own_high + beyond))
                        everything += _between(here, other_low, other_high)
                    other = older[other]
            explained = 0.6 * everything + 0.4 * near if high - low < BRIEF_POINTS else near
            out[track] = with_harmonics[track] / max(against[track] - explained, own[track], 1e-9)
        for track in range(n):
            if out[track] >= least and first[track + 1] - first[track] >= BRIEF_POINTS and not explains[track]:
                explains[track] = True
                for i in range(first[track], first[track + 1]):
                    older[i], newest[frame[i]] = newest[frame[i]], i
    return out


@compiled
def _between(here, first, last):
    """Energy over the floor from one bin to another, both rounded and included."""
    low, high = max(int(np.floor(first + 0.5)), 0), min(int(np.floor(last + 1.5)), len(here))
    total = 0.0
    for k in range(low, high):
        total += max(here[k] - np.float32(1.0), np.float32(0.0))
    return total
