"""Sounds to pulses: batches of like length through shape, description, spectrum and harmonics."""

import numpy as np

from classifier.measure.describe import describe
from classifier.measure.harmonics import harmonics
from classifier.measure.ridge import MARGIN_NODES, NODE
from classifier.measure.shape import shape_batch
from classifier.measure.spectrum import AUDIBLE_HZ, spectrum_metrics
from classifier.metrics import MEASURED

#: Pulses measured at once: enough to make the arrays worth while, few enough to stay in the cache.
BATCH = 32
#: Instants at which a pulse's course is kept for comparison with its neighbours.
COURSE = 21
#: Share of full scale at which a sample is taken to stand at the recorder's limit.
LIMIT = 0.99990


class PulseMeter:
    """Measures the sounds of one sample rate."""

    def __init__(self, *, demodulator, floor_frequencies_hz, settings):
        self.demodulator = demodulator
        self.floor_frequencies_hz = floor_frequencies_hz
        self.settings = settings
        self.sample_rate_hz = demodulator.sample_rate_hz

    def __call__(self, sounds, regions):
        """Measure.

        Returns a list of dicts of arrays, one for each batch: every metric of the registry that has the stage
        "measure" as (values, errors or None) in SI units (onset from the start of the recording), "course" (the ridge at
        COURSE instants), "whole_share" (share of the energy at all frequencies that lies along the ridge and its
        harmonics), "cut_start" and "cut_end".
        """
        prepared = [self._nodes(sound) for sound in sounds]
        order = sorted(range(len(sounds)), key=lambda i: (len(prepared[i][1]), i))
        return [
            self._batch([sounds[i] for i in chosen], [prepared[i] for i in chosen], regions)
            for chosen in (order[at : at + BATCH] for at in range(0, len(order), BATCH))
        ]

    def _nodes(self, sound):
        """First sample of the sound's row in its region, and its ridge at every node, carried on over both ends."""
        node = self.demodulator.node
        time, frequency = sound.time, sound.frequency_hz
        count = round((time[-1] - time[0]) / node) + 1
        nodes = np.empty(count + 2 * MARGIN_NODES)
        nodes[MARGIN_NODES:-MARGIN_NODES] = np.interp(time[0] + node * np.arange(count), time, frequency)
        few = min(len(time) - 1, 2)
        beyond = np.arange(1, MARGIN_NODES + 1) * node
        rise = (frequency[few] - frequency[0]) / (time[few] - time[0])
        fall = (frequency[-1] - frequency[-1 - few]) / (time[-1] - time[-1 - few])
        nodes[:MARGIN_NODES] = frequency[0] - rise * beyond[::-1]
        nodes[-MARGIN_NODES:] = frequency[-1] + fall * beyond
        return round(time[0] - MARGIN_NODES * node), nodes

    def _batch(self, sounds, prepared, regions):
        node, rate = self.demodulator.node, self.sample_rate_hz
        m, longest = len(sounds), max(len(nodes) for _, nodes in prepared)
        nodes = np.empty((m, longest))
        samples = np.zeros((m, (longest - 1) * node), np.float32)
        spans = np.empty((m, 2))
        start = np.empty(m)
        edges = np.empty((m, 2))  # where the recording begins and ends on the row's clock, in samples
        for row, (sound, (begin, own)) in enumerate(zip(sounds, prepared, strict=True)):
            nodes[row, : len(own)] = own
            nodes[row, len(own) :] = own[-1]
            region = regions[sound.region]
            low, high = max(begin, 0), min(begin + samples.shape[1], len(region.samples))
            samples[row, low - begin : high - begin] = region.samples[low:high]
            spans[row] = MARGIN_NODES * NODE, (len(own) - MARGIN_NODES) * NODE
            start[row] = region.start + begin
            edges[row, 0] = -begin if region.at_file_start else -np.inf
            edges[row, 1] = len(region.samples) - begin if region.at_file_end else np.inf
        np.clip(nodes, 3000.0, rate / 2 - 3000.0, out=nodes)
        floors, which = _shared([regions[sound.region].floor for sound in sounds])

        def density_of(frequency, rows=slice(None)):
            own = which[rows]
            out = np.empty(frequency.shape)
            for number, floor in enumerate(floors):
                mine = own == number
                out[mine] = np.interp(frequency[mine], self.floor_frequencies_hz, floor)
            return out

        shapes = shape_batch(
            samples, nodes, density_of, spans, demodulator=self.demodulator, settings=self.settings
        )
        out = describe(shapes)
        low, high = out["min_frequency"][0], out["max_frequency"][0]
        grid = low[:, None] + np.linspace(0, 1, 8) * (high - low)[:, None]
        band_density = density_of(grid).mean(axis=1)
        heard = self.floor_frequencies_hz >= AUDIBLE_HZ
        noise_power = np.array([floor[heard].sum() for floor in floors])[which] * self.floor_frequencies_hz[1]
        out |= spectrum_metrics(
            samples, shapes.begin_s, shapes.end_s, low, high, band_density, noise_power, sample_rate_hz=rate
        )
        strongest, second, third = harmonics(
            samples,
            np.clip(_at_nodes(shapes.ridge_hz, longest), 3000.0, rate / 2 - 3000.0),
            shapes.inside,
            np.array([sound.harmonic for sound in sounds]),
            density_of,
            demodulator=self.demodulator,
            nyquist_hz=rate / 2,
        )
        out["strongest_harmonic"] = (strongest.astype(float), None)
        out["second_harmonic"] = (second, None)
        out["third_harmonic"] = (third, None)
        peak_power = shapes.peak_amplitude**2 / 2
        band = np.maximum(high - low, 2_000.0)
        out["level"] = (20 * np.log10(np.maximum(shapes.peak_amplitude, 1e-12)), None)
        out["snr"] = (10 * np.log10(np.maximum(peak_power / (band_density * band), 1e-12)), None)
        out["clipped_share"] = (self._clipped_share(samples, shapes), None)
        energy, whole = out.pop("energy")[0], out.pop("whole_energy")[0]
        levels = np.stack([np.ones(m), *(10 ** (np.nan_to_num(level, nan=-300.0) / 10) for level in (second, third))])
        harmonic_energy = shapes.ridge_energy * levels.sum(axis=0) / levels[strongest - 1, np.arange(m)]
        out["whole_share"] = np.clip(harmonic_energy / np.maximum(whole, 1e-30), 0, 1)
        share = shapes.ridge_energy / np.maximum(energy, 1e-30)
        # more energy along the ridge than in its band: the ridge does not belong to this sound
        share = np.minimum(share, 1 / np.maximum(share, 1e-9))
        # a harmonic that falls into the band of the ridge counts for the pulse
        out["coherence"] = (100 * np.maximum(share, out["whole_share"]), None)
        out["course"] = shapes.fit.frequency_hz(
            shapes.begin_s[:, None] + np.linspace(0, 1, COURSE) * (shapes.end_s - shapes.begin_s)[:, None]
        )
        slack = 1.5 * node / 2
        out["cut_start"] = shapes.begin_s * rate <= edges[:, 0] + slack
        out["cut_end"] = shapes.end_s * rate >= edges[:, 1] - slack
        out["onset"] = (start / rate + shapes.begin_s, shapes.begin_error_s)
        return out

    def _clipped_share(self, samples, shapes):
        at_limit = np.abs(samples) >= LIMIT
        if not at_limit.any():
            return np.zeros(len(samples))
        time = np.arange(samples.shape[1]) / self.sample_rate_hz
        inside = (time >= shapes.begin_s[:, None]) & (time <= shapes.end_s[:, None])
        return 100 * (at_limit & inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)


def merged(batches):
    """Batches of ``PulseMeter`` laid end to end and put in order of onset; None when there is no pulse."""
    if not batches:
        return None
    order = np.argsort(np.concatenate([batch["onset"][0] for batch in batches]), kind="stable")
    out = {}
    for metric in MEASURED:
        values = np.concatenate([batch[metric.name][0] for batch in batches])[order]
        errors = None
        if metric.has_standard_error:
            errors = np.concatenate([batch[metric.name][1] for batch in batches])[order]
        out[metric.name] = (values, errors)
    for name in ("course", "cut_start", "cut_end", "whole_share"):
        out[name] = np.concatenate([batch[name] for batch in batches])[order]
    return out


def _at_nodes(ridge, count):
    """Ridge at baseband instants, shape (m, n), to its nodes, shape (m, count), carried on at the ends."""
    at = np.arange(count) * NODE - 0.5
    left = np.clip(at.astype(int), 0, ridge.shape[1] - 2)
    part = at - left
    return ridge[:, left] * (1 - part) + ridge[:, left + 1] * part


def _shared(floors):
    """Different floors among a list, and which of them each entry is."""
    seen, unique, which = {}, [], []
    for floor in floors:
        if id(floor) not in seen:
            seen[id(floor)] = len(unique)
            unique.append(floor)
        which.append(seen[id(floor)])
    return unique, np.array(which)
