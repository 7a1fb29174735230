"""Scenes: bats flying by a recorder, all else that it hears, and the table of what was there."""

from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from scipy import signal

from classifier.metrics import FLAGS, MEASURED, METRICS
from classifier.plan.absorption import Weather
from classifier.simulate.flights import Flight, pulses_of
from classifier.simulate.heard import Heard, add_pulse
from classifier.simulate.truth import metrics_of

_ONSET, _DURATION = METRICS["onset"].column, METRICS["duration"].column
#: Two ridges nearer than this at one moment cross (chosen: the width of the narrowest band that follows a
#: sweep).
_CROSSING_HZ = 3000.0
_INTEGERS = {"bat": pl.Int32, "pass": pl.Int32, "echo_of": pl.Int32, "pulse": pl.Int32}


@dataclass(frozen=True)
class Reverberation:
    """Diffuse reflections of leaves and walls: a noisy tail that dies away.

    decay_s    time in which it falls by 60 dB
    level_db   energy of the whole tail relative to the direct sound
    start_s    first reflection
    """

    decay_s: float = 0.05
    level_db: float = -18.0
    start_s: float = 0.003


@dataclass(frozen=True)
class Scene:
    """What a recorder hears for ``seconds``. ``gap_s`` of silence ends a pass."""

    seconds: float
    flights: tuple[Flight, ...] = ()
    noises: tuple = ()
    reverberation: Reverberation | None = None
    weather: Weather = field(default_factory=Weather)
    gap_s: float = 1.0


@dataclass(frozen=True)
class Rendered:
    """``samples`` (float32, shape (n,), full scale = 1, clipped there) and ``truth`` (a row per pulse, by
    onset).

    Columns of truth: pulse (1…), bat, pass (1… over the scene), taxon, in_buzz, echo_of (number of the
    pulse that it reflects; null for a direct one), the metrics of classifier.metrics by their column names,
    interval_ms (to the previous direct pulse of the same pass), and the flags echo, cut, overlapped.
    """

    samples: np.ndarray
    truth: pl.DataFrame
    pulses: tuple[Heard, ...]


def density_of(noises, sample_rate_hz):
    """One-sided power density of all steady noises together: a function from Hz to full scale² per Hz."""
    axis = np.linspace(0.0, sample_rate_hz / 2, 2049)
    total = sum((noise.density(axis, sample_rate_hz) for noise in noises), np.zeros(len(axis)))
    return lambda frequency_hz: np.interp(frequency_hz, axis, total)


def level_for_snr(call, snr_db, noises, sample_rate_hz):
    """Level (peak of the first harmonic, dB re full scale) that gives a call heard without distance the
    signal-to-noise ratio ``snr_db``, as truth.metrics_of defines it.

    Raises
    ------
    ValueError : nothing of the call can be recorded at this rate, or there is no steady noise to compare
        with
    """
    found = metrics_of(
        Heard(call, 0.0, 0.0),
        sample_rate_hz=sample_rate_hz,
        noise_density=density_of(noises, sample_rate_hz),
    )
    if found is None or found[METRICS["snr"].column] is None:
        raise ValueError("the call lies above the Nyquist frequency, or there is no steady noise to compare it with")
    return snr_db - found[METRICS["snr"].column]


def render(scene, sample_rate_hz, rng):
    """Sound and truth of a scene.

    Parameters
    ----------
    scene : Scene
    sample_rate_hz : float > 0, true rate (what a ×10 expanded file plays ten times slower)
    rng : numpy.random.Generator; the same state gives the same scene to the last bit

    Returns
    -------
    Rendered
    """
    count = round(scene.seconds * sample_rate_hz)
    bats = np.zeros(count)
    density = density_of(scene.noises, sample_rate_hz) if scene.noises else None
    rows, passes_before = [], 0
    for flight in scene.flights:
        pulses = pulses_of(flight, scene, rng)
        passes = max((pulse.pass_number for pulse in pulses), default=0)
        for pulse in pulses:
            _add(
                rows,
                bats,
                replace(pulse, pass_number=pulse.pass_number + passes_before),
                None,
                sample_rate_hz,
                density,
            )
            direct = rows[-1] if rows and rows[-1][0].emitted_s == pulse.emitted_s else None
            for echo in flight.echoes if direct else ():
                reflected = replace(pulse, pass_number=pulse.pass_number + passes_before, echo=echo)
                _add(rows, bats, reflected, direct, sample_rate_hz, density)
        passes_before += passes
    if scene.reverberation is not None:
        bats = _reverberate(bats, scene.reverberation, sample_rate_hz, rng)
    samples = bats
    for noise in scene.noises:
        noise.add(samples, sample_rate_hz, rng)
    samples = np.clip(samples, -1.0, 1.0).astype(np.float32)
    rows.sort(key=lambda row: row[1][_ONSET])
    truth = _truth_table(rows, samples, sample_rate_hz)
    return Rendered(samples, truth, tuple(row[0] for row in rows))


def _add(rows, samples, pulse, direct, sample_rate_hz, density):
    """Add the pulse to the samples and, if it lies in the scene, to the rows (pulse, metrics, direct row)."""
    add_pulse(samples, pulse, sample_rate_hz=sample_rate_hz)
    first, last = pulse.interval_s
    if last <= 0.0 or first >= len(samples) / sample_rate_hz:
        return
    found = metrics_of(pulse, sample_rate_hz=sample_rate_hz, noise_density=density)
    if found is None:
        return
    if found[_ONSET] + found[_DURATION] / 1e3 > 0.0 and found[_ONSET] < len(samples) / sample_rate_hz:
        rows.append((pulse, found, direct))


def _reverberate(bats, reverberation, sample_rate_hz, rng):
    time = np.arange(int((reverberation.start_s + reverberation.decay_s) * sample_rate_hz)) / sample_rate_hz
    tail = rng.standard_normal(len(time)) * 10 ** (-3.0 * (time - reverberation.start_s) / reverberation.decay_s)
    tail[time < reverberation.start_s] = 0.0
    tail *= 10 ** (reverberation.level_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return signal.oaconvolve(bats, tail)[: len(bats)]


def _truth_table(rows, samples, sample_rate_hz):
    numbers = {id(row): number for number, row in enumerate(rows, start=1)}
    crossed = _crossings(rows, sample_rate_hz)
    last_onset, table = {}, []
    for number, row in enumerate(rows, start=1):
        pulse, found, direct = row
        start, stop = found[_ONSET], found[_ONSET] + found[_DURATION] / 1e3
        span = samples[max(0, int(start * sample_rate_hz)) : max(0, int(stop * sample_rate_hz) + 1)]
        interval = None
        if direct is None:
            before = last_onset.get(pulse.pass_number)
            interval = None if before is None else (start - before) * 1e3
            last_onset[pulse.pass_number] = start
        found = found | {METRICS["clipped_share"].column: float(100.0 * np.mean(np.abs(span) >= 1.0)) if len(span) else 0.0}
        table.append(
            {
                "pulse": number,
                "bat": pulse.bat,
                "pass": pulse.pass_number,
                "taxon": pulse.taxon,
                "in_buzz": pulse.in_buzz,
                "echo_of": None if direct is None else numbers[id(direct)],
                **found,
                METRICS["interval"].column: interval,
                "echo": direct is not None,
                "cut": start < 0.0 or stop > len(samples) / sample_rate_hz,
                "overlapped": number in crossed,
            }
        )
    return pl.DataFrame(table, schema=truth_schema(), orient="row")


def truth_schema():
    """Column -> type of the truth table."""
    schema = {
        "pulse": pl.Int32,
        "bat": pl.Int32,
        "pass": pl.Int32,
        "taxon": pl.String,
        "in_buzz": pl.Boolean,
        "echo_of": pl.Int32,
    }
    schema |= {metric.column: pl.Float64 for metric in MEASURED}
    schema |= {METRICS["interval"].column: pl.Float64}
    return schema | dict.fromkeys(FLAGS, pl.Boolean)


def _crossings(rows, sample_rate_hz):
    """Numbers of the pulses whose ridge another's crosses or runs along (echoes included)."""
    crossed = set()
    for place, (pulse, found, _) in enumerate(rows):
        stop = found[_ONSET] + found[_DURATION] / 1e3
        for other_place in range(place + 1, len(rows)):
            other, other_found, _ = rows[other_place]
            start = other_found[_ONSET]
            if start >= stop:
                break
            end = min(stop, start + other_found[_DURATION] / 1e3)
            time = np.linspace(start, end, 129)
            ridges = []
            for one, its in ((pulse, found), (other, other_found)):
                harmonic = int(its[METRICS["strongest_harmonic"].column])
                ridges.append(one.parts(time, sample_rate_hz, harmonics=(harmonic,))[2][0])
            if np.min(np.abs(ridges[0] - ridges[1])) < _CROSSING_HZ:
                crossed |= {place + 1, other_place + 1}
    return crossed
