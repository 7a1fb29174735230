"""Measuring as a whole: blocks of a recording in, the table of its pulses out."""

import numpy as np

from classifier.errors import ParameterError
from classifier.measure.coherence import coherent_sounds
from classifier.measure.echoes import find_echoes, find_forks
from classifier.measure.neighbours import (
    bursts,
    cut_off,
    distortions,
    harmonics_of_others,
    overlapped,
    pieces,
    without_doubles,
)
from classifier.measure.pulses import PulseMeter, merged
from classifier.measure.regions import RegionFinder, lay_out
from classifier.measure.ridge import Baseband
from classifier.measure.rumble import without_rumble
from classifier.measure.settings import MeasureSettings
from classifier.measure.sounds import sounds_of
from classifier.measure.table import pulse_table
from classifier.measure.tracks import TrackFinder

#: Audio of regions gathered before it is looked at, in seconds: bounds memory, and makes batches worth while.
GATHERED_S = 2.0
#: Points of a course, of some 21, over whose mean its rise is read where its phase is less steady than this.
RISE_POINTS, STEADY = 5, 0.99


def measure_blocks(blocks, *, sample_rate_hz, settings=None):
    """Measure every pulse of a recording.

    Parameters
    ----------
    blocks : iterable of float32 arrays, shape (n, channels), consecutive, full scale 1; any lengths, same channels
    sample_rate_hz : float > 0, the true rate, time expansion undone
    settings : MeasureSettings or None

    Returns
    -------
    polars.DataFrame, one row a pulse, ordered by channel and onset, with the columns of ``pulse_schema``

    Raises
    ------
    ParameterError : the sample rate is too low for any bat to be measured
    """
    settings = settings or MeasureSettings()
    if not sample_rate_hz >= 4 * settings.lowest_frequency_hz:
        raise ParameterError(
            f"A sample rate of {sample_rate_hz:g} Hz holds no bat calls; at least "
            f"{4 * settings.lowest_frequency_hz:g} Hz is needed. Was the recording time-expanded?"
        )
    meters = []
    for block in blocks:
        while len(meters) < block.shape[1]:
            meters.append(ChannelMeter(sample_rate_hz=sample_rate_hz, settings=settings))
        for channel, meter in enumerate(meters):
            meter.feed(block[:, channel])
    return pulse_table([meter.finish() for meter in meters])


class ChannelMeter:
    """Measures one channel, block by block."""

    def __init__(self, *, sample_rate_hz, settings):
        self.sample_rate_hz = sample_rate_hz
        self.settings = settings
        self.regions = RegionFinder(sample_rate_hz=sample_rate_hz, settings=settings)
        self.baseband = Baseband(sample_rate_hz=sample_rate_hz)
        floor_frequencies_hz = self.regions.scanner.frequencies_hz
        self.tracks = TrackFinder(
            sample_rate_hz=sample_rate_hz,
            settings=settings,
            step=self.baseband.node,
            floor_frequencies_hz=floor_frequencies_hz,
        )
        self.pulses = PulseMeter(baseband=self.baseband, floor_bin_hz=float(floor_frequencies_hz[1]), settings=settings)
        self._gathered, self._gathered_samples = [], 0
        self._measured = []

    def feed(self, samples):
        """Take float32 samples of shape (n,)."""
        self._gather(self.regions.feed(samples))
        if self._gathered_samples > GATHERED_S * self.sample_rate_hz:
            self._look()

    def finish(self):
        """Metrics and flags of all pulses of the channel: dict of arrays in order of onset; None without any."""
        self._gather(self.regions.finish())
        self._look()
        found = merged(self._measured)
        if found is None:
            return None
        found = _select(found, self._is_call(found))
        found = _select(found, without_doubles(found))
        found = _select(found, ~pieces(found))
        found = _select(found, ~harmonics_of_others(found))
        found = _select(found, ~distortions(found))
        found = _select(found, ~bursts(found))
        found = _select(found, ~find_forks(found))
        found["echo"] = find_echoes(found)
        found["overlapped"] = overlapped(found["onset"][0], found["duration"][0], found["course"])
        return cut_off(found)

    def _gather(self, regions):
        self._gathered += regions
        self._gathered_samples += sum(len(region.samples) for region in regions)

    def _look(self):
        if not self._gathered:
            return
        laid = lay_out(self._gathered, self.tracks.gap)
        sounds = sounds_of(
            self.tracks(laid),
            node=self.baseband.node,
            sample_rate_hz=self.sample_rate_hz,
            settings=self.settings,
        )
        regions = without_rumble(sounds, self._gathered, laid, self.sample_rate_hz)
        coherent = coherent_sounds(sounds, regions, laid, baseband=self.baseband, floor_bin_hz=self.pulses.floor_bin_hz)
        measured = (self.pulses(sound, region) for sound, region in coherent)
        self._measured += [pulse for pulse in measured if pulse is not None]
        self._gathered, self._gathered_samples = [], 0

    def _is_call(self, found):
        """Whether each sound is a pulse at all: long enough, over the noise, and holding to one ridge."""
        settings = self.settings
        duration, coherence = found["duration"][0], found["coherence"][0]
        peak, low, high = (found[name][0] for name in ("peak_frequency", "min_frequency", "max_frequency"))
        is_low = peak < settings.low_frequency_hz
        cut = found["cut_start"] | found["cut_end"]
        falls = peak < settings.falling_frequency_hz
        fall = found["course"][:, 0] - found["course"][:, -1]
        most_rise = np.maximum(settings.falling_most_rise * peak, settings.falling_most_rise_of_fall * fall)
        still = (found["stillness"] >= settings.still_stillness) & (duration >= settings.still_duration_s)
        return (
            (duration >= settings.shortest_pulse_s)
            & (duration <= settings.longest_pulse_s)
            & (found["snr"][0] >= settings.least_snr_db)
            & ((coherence >= settings.least_coherence_percent) | still)
            & (peak >= settings.lowest_peak_hz)
            & (low > 0.5 * settings.lowest_frequency_hz)
            & (high < 0.5 * self.sample_rate_hz)
            & (still | (duration >= settings.brief_s) | (found["whole_share"] >= settings.brief_least_whole_share))
            & ((duration >= settings.brief_s) | (coherence >= settings.brief_least_coherence_percent))
            & ((duration >= settings.briefest_s) | (coherence >= settings.briefest_least_coherence_percent))
            & ((duration >= settings.ringing_s) | (high - low >= settings.ringing_bandwidth_hz))
            & (~is_low | (duration >= settings.low_least_duration_s))
            & (~is_low | (duration <= settings.low_most_duration_s))
            & (~is_low | (coherence >= settings.low_least_coherence_percent))
            & (~is_low | cut | (found["end_level"] <= settings.low_most_end_level))
            & (~falls | (duration <= settings.falling_most_duration_s))
            & (~falls | (_rise(found["course"], found["stillness"]) <= most_rise))
        )


def _rise(course, stillness):
    """How far each course comes to rise over its beginning, in Hz; the very ends, which waver, do not count.

    A call that falls and rises again no further holds its own echo. An echo that beats with its pulse, and noise, make a
    ridge waver, though not its mean over some points: that is taken where the phase is not steady.
    """
    course = course[:, 1:-2]
    smooth = np.lib.stride_tricks.sliding_window_view(course, RISE_POINTS, axis=1).mean(axis=2)
    plain, mean = (each[:, 2:].max(axis=1) - each[:, :2].max(axis=1) for each in (course, smooth))
    return np.where(stillness >= STEADY, plain, mean)


def _select(found, keep):
    """The rows of a dict of arrays (or of pairs of arrays) where ``keep`` is true."""
    return {
        name: tuple(None if part is None else part[keep] for part in value) if isinstance(value, tuple) else value[keep]
        for name, value in found.items()
    }
