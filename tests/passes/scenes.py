"""Synthetic tables of pulses whose bat is known: the truth that following is measured against.

No audio: a scene is what a careful measuring step would hand over, its errors included. A bat flies past on a line
(levels swell with distance), calls in its species' manner with its own frequency, rhythm and steadiness, skips
wing beats, changes its call now and then; weak pulses are lost, measured values carry errors and state them,
false pulses and unflagged echoes are strewn in.
"""

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from species import BY_NAME, SPECIES, Call

from classifier.metrics import FLAGS, MEASURED, METRICS


@dataclass(frozen=True)
class SceneSettings:
    """What troubles the scene. Times in s, levels in dB, rates per second."""

    threshold_db: float = 8.0
    false_rate: float = 0.2
    echo_share: float = 0.03
    buzz_share: float = 0.0
    change_rate: float = 0.1
    peak_snr_db: tuple = (18.0, 45.0)
    skip_share: tuple = (0.03, 0.2)
    jitter: tuple = (0.04, 0.14)
    steadiness: tuple = (0.002, 0.009)
    missing_share: float = 0.02
    pass_s: tuple = (1.0, 10.0)


@dataclass
class Scene:
    """``pulses`` and ``recordings`` as the survey holds them; ``truth`` row by row: bat (0 none), kind, buzz, snr."""

    pulses: pl.DataFrame
    recordings: pl.DataFrame
    truth: pl.DataFrame
    bats: list = field(default_factory=list)


def draw_individual(rng, species, *, shift_khz=None, settings=SceneSettings()):
    """A bat of a species: its own calls, rhythm and steadiness."""
    main = species.calls[0].char
    factor = 1 + (shift_khz / main if shift_khz is not None else rng.normal(0, species.spread))
    long = np.exp(rng.normal(0, 0.08))
    wide = np.exp(rng.normal(0, 0.06))
    calls = tuple(
        Call(
            c.char * factor,
            (c.char + (c.start - c.char) * wide) * factor,
            c.end * factor,
            c.peak * factor,
            c.duration * long,
            c.slope,
            c.level,
        )
        for c in species.calls
    )
    return {
        "species": species.name,
        "calls": calls,
        "interval": species.interval / 1e3 * np.exp(rng.normal(0, 0.12)),
        "jitter": rng.uniform(*settings.jitter),
        "skip": rng.uniform(*settings.skip_share),
        "steady": species.steady * rng.uniform(*settings.steadiness),
        "irregular": rng.uniform(0, 0.15),
    }


def _buzz_times(rng, start, interval):
    """Onsets of an approach and a terminal phase: intervals shrink to 5 to 10 ms and stay there, then a pause."""
    times, phase, step = [], [], interval
    now = start
    final = rng.uniform(0.0055, 0.0075)
    while step > final * 1.05:
        step = max(final, step * rng.uniform(0.76, 0.86))
        now += step * np.exp(rng.normal(0, 0.04))
        times.append(now)
        phase.append(step)
    for _ in range(rng.integers(8, 26)):
        now += final * np.exp(rng.normal(0, 0.03))
        times.append(now)
        phase.append(final)
    return times, phase, now + rng.uniform(0.06, 0.25)


def fly_past(rng, bat, begin, length, settings):
    """Pulses of one flight: a list of dicts with true values; ``snr`` falls off with distance and direction."""
    speed, nearest = rng.uniform(3, 9), rng.uniform(2, 8)
    middle, fade = begin + length * rng.uniform(0.3, 0.7), rng.uniform(0.3, 0.8)
    peak_snr = rng.uniform(*settings.peak_snr_db)
    buzz_at = begin + length * rng.uniform(0.2, 0.9) if rng.random() < settings.buzz_share else np.inf
    pulses, now, turn, wobble, moved, slow = [], begin + rng.uniform(0, bat["interval"]), 0, 0.0, 0.0, 0.0

    def emit(time, step, buzz_step=None):
        nonlocal wobble, moved, slow, turn
        if len(bat["calls"]) > 1 and rng.random() >= bat["irregular"]:
            turn += 1
        call = bat["calls"][turn % len(bat["calls"])]
        along = speed * (time - middle)
        distance = np.hypot(nearest, along)
        wobble = 0.7 * wobble + rng.normal(0, 2.0)
        absorbed = call.char / 40 * 1.3
        snr = (
            peak_snr
            - 20 * np.log10(distance / nearest)
            - absorbed * (distance - nearest)
            + wobble
            + rng.normal(0, 1.5)
            + call.level
        )
        edge = min(time - begin, begin + length - time) / fade
        snr -= 25 * (1 - edge) ** 2 if edge < 1 else 0.0
        if rng.random() < (0.5 if moved else settings.change_rate) * step:
            moved = 0.0 if moved else rng.choice((-1, 1)) * rng.uniform(1, 4)
        slow = 0.97 * slow + rng.normal(0, bat["steady"] * 0.3)
        doppler = -speed * along / distance / 343.0
        char = call.char * (1 + doppler + slow + rng.normal(0, bat["steady"])) + moved
        flat = abs(call.slope)
        duration = call.duration * np.exp(rng.normal(0, 0.07))
        start = char + (call.start - call.char) * np.exp(rng.normal(0, 0.08))
        end = char + (call.end - call.char) * np.exp(rng.normal(0, 0.08)) + rng.normal(0, 0.003 * char)
        peak = char + (call.peak - call.char) * np.exp(rng.normal(0, 0.1)) + rng.normal(0, 0.003 * char)
        peak += rng.normal(0, 0.25 * flat)
        char += rng.normal(0, 0.2 * flat)
        if buzz_step is not None:
            share = np.clip((0.05 - buzz_step) / 0.044, 0, 1)
            drop = 1 - 0.3 * share * (1 if buzz_step < 0.012 else 0.3)
            duration = min(duration, buzz_step * 0.35e3) if buzz_step < 0.05 else duration
            duration = duration * (1 - share) + share * rng.uniform(0.4, 1.2)
            char, end, peak = char * drop, end * drop * (1 - 0.05 * share), peak * drop
            start = char + (start - char) * (1 - 0.5 * share)
            snr -= 8 * share
        seen = np.clip(snr / 25, 0.3, 1.0)
        if flat < 5:
            start = char + (start - char) * seen
        duration *= seen ** (0.3 if flat < 5 else 0.6)
        pulses.append(
            {
                "time": time,
                "char": char,
                "start": start,
                "end": end,
                "peak": peak,
                "duration": duration,
                "slope": call.slope,
                "snr": snr,
                "in_buzz": buzz_step is not None and buzz_step < 0.012,
                "kind": "call",
            }
        )

    while now < begin + length:
        step = bat["interval"] * np.exp(rng.normal(0, bat["jitter"]))
        emit(now, step)
        if now > buzz_at:
            times, steps, now = _buzz_times(rng, now, step)
            for time, short in zip(times, steps, strict=True):
                emit(time, short, short)
            buzz_at = np.inf
            continue
        now += step * (2 if rng.random() < bat["skip"] else 1)
    return pulses


def _detected(rng, pulses, settings):
    """Keep what a detector would find; crossing pulses lose the weaker one half the time."""
    pulses = [p for p in pulses if rng.random() < 1 / (1 + np.exp(-(p["snr"] - settings.threshold_db) / 1.0))]
    pulses.sort(key=lambda p: p["time"])
    for p in pulses:
        p["overlapped"], p["mangled"], p["lost"] = False, False, False
    for i, p in enumerate(pulses):
        for q in pulses[i + 1 : i + 12]:
            if q["time"] > p["time"] + p["duration"] / 1e3:
                break
            reach = min(p["start"], p["end"], p["char"]) - 1 < max(q["start"], q["end"], q["char"]) and min(
                q["start"], q["end"], q["char"]
            ) - 1 < max(p["start"], p["end"], p["char"])
            if reach and q["bat"] != p["bat"]:
                weaker = p if p["snr"] < q["snr"] else q
                p["overlapped"] = q["overlapped"] = True
                tones = abs(p["slope"]) < 0.2 and abs(q["slope"]) < 0.2 and abs(p["char"] - q["char"]) > 1
                p["mangled"] |= not tones
                q["mangled"] |= not tones
                if rng.random() < 0.5 and abs(p["snr"] - q["snr"]) > 3:
                    weaker["lost"] = True
    return [p for p in pulses if not p["lost"]]


def _echo_of(rng, pulse):
    echo = dict(pulse)
    echo["time"] += rng.uniform(0.003, 0.015)
    echo["snr"] -= rng.uniform(3, 15)
    echo["kind"], echo["bat"] = "echo", 0
    echo["in_buzz"] = False
    return echo


def _false_pulse(rng, time):
    char = np.exp(rng.uniform(np.log(12), np.log(100)))
    slope = -np.exp(rng.uniform(np.log(0.1), np.log(15)))
    return {
        "time": time,
        "char": char,
        "start": char * rng.uniform(1, 1.6),
        "end": char * rng.uniform(0.8, 1),
        "peak": char * rng.uniform(0.95, 1.2),
        "duration": np.exp(rng.uniform(np.log(0.6), np.log(10))),
        "slope": slope,
        "snr": rng.uniform(8, 18),
        "in_buzz": False,
        "kind": "false",
        "bat": 0,
        "overlapped": False,
        "mangled": False,
    }


def measured(rng, pulses, *, recording="site/a.wav", channel=1, settings=SceneSettings()):
    """The table that measuring would write of true ``pulses`` (dicts), errors and stated standard errors included."""
    n = len(pulses)
    true = {
        k: np.array([p[k] for p in pulses], dtype=float)
        for k in ("time", "char", "start", "end", "peak", "duration", "slope", "snr")
    }
    crossed = np.array([p["overlapped"] for p in pulses], dtype=bool)
    mangled = np.array([p["mangled"] for p in pulses], dtype=bool)
    scale = 10 ** (-(np.clip(true["snr"], 3, 50) - 15) / 20) * np.where(crossed, 3.0, 1.0)
    steep = 1 + np.abs(true["slope"]) * 0.1
    sizes = {
        "onset": 2e-5 * scale,
        "duration": 0.008 * true["duration"] * scale,
        "start_frequency": 0.4 * scale,
        "end_frequency": 0.25 * scale,
        "peak_frequency": 0.05 * scale * steep,
        "characteristic_frequency": 0.1 * scale * steep,
        "characteristic_slope": 0.05 * scale * steep,
    }
    values = {
        "onset": true["time"],
        "duration": true["duration"],
        "start_frequency": true["start"],
        "end_frequency": true["end"],
        "peak_frequency": true["peak"],
        "characteristic_frequency": true["char"],
        "characteristic_slope": true["slope"],
    }
    columns = {"recording": [recording] * n, "channel": np.full(n, channel, np.int16), "pulse": np.arange(1, n + 1, dtype=np.int32)}
    found = {}
    for name, size in sizes.items():
        value = values[name] + rng.normal(0, 1, n) * size
        if name != "onset":
            wild = mangled & (rng.random(n) < 0.25)
            value = np.where(wild, value * np.exp(rng.normal(0, 0.08, n)), value)
            value = np.where(rng.random(n) < settings.missing_share, np.nan, value)
        found[name] = (value, size)
    order = np.argsort(found["onset"][0], kind="stable")
    level = true["snr"] - 70.0
    extra = {"level": level + rng.normal(0, 0.3, n), "snr": true["snr"] + rng.normal(0, 0.7, n)}
    for metric in MEASURED:
        value, size = found.get(metric.name, (extra.get(metric.name, np.full(n, np.nan)), np.full(n, np.nan)))
        if metric.name == "strongest_harmonic":
            columns[metric.column] = np.ones(n, np.int8)
            continue
        columns[metric.column] = value[order]
        if metric.error_column:
            columns[metric.error_column] = np.where(np.isnan(value), np.nan, size)[order]
    for flag in FLAGS:
        columns[flag] = crossed[order] if flag == "overlapped" else np.zeros(n, bool)
    table = pl.DataFrame(columns).with_columns(pl.col(pl.Float64).fill_nan(None))
    truth = pl.DataFrame(
        {
            "bat": np.array([p["bat"] for p in pulses], np.int32)[order],
            "kind": np.array([p["kind"] for p in pulses])[order],
            "in_buzz": np.array([p["in_buzz"] for p in pulses], bool)[order],
            "snr": true["snr"][order],
            "time": true["time"][order],
        }
    )
    return table, truth


def recordings_table(paths, *, seconds=15.0, starts=None, site="Saltmarsh", recorder="recorder 1"):
    """Rows of recordings.parquet for ``paths``; ``starts`` are ISO times or None."""
    n = len(paths)
    seconds = [float(s) for s in np.broadcast_to(seconds, n)]
    return pl.DataFrame(
        {
            "path": list(paths),
            "seconds": seconds,
            "channels": [1] * n,
            "starts_at": list(starts) if starts is not None else [None] * n,
            "site": [site] * n,
            "recorder": [recorder] * n,
            "status": ["ok"] * n,
        },
        schema_overrides={"starts_at": pl.String, "site": pl.String, "recorder": pl.String},
    )


def _flights(rng, bats, settings, length, apart):
    """Detected pulses of ``bats``, numbered from 1, flying at once (``apart`` None) or one after another."""
    pulses, begin, first = [], rng.uniform(0.3, 3.0), rng.uniform(*settings.pass_s)
    for number, bat in enumerate(bats, start=1):
        flight = first if number == 1 else rng.uniform(*settings.pass_s)
        if apart is None and number > 1:
            begin = rng.uniform(0.1, 3.0 + first)
        flown = fly_past(rng, bat, begin, flight, settings)
        if apart is not None:
            begin = begin + flight + apart
        for p in flown:
            p["bat"] = number
        pulses += flown
    return _detected(rng, pulses, settings)


def _at_once(pulses, count):
    """True if every bat has 5 pulses or more and spends half of its time, or more, beside another."""
    spans = {}
    for p in pulses:
        first, last, n = spans.get(p["bat"], (p["time"], p["time"], 0))
        spans[p["bat"]] = (min(first, p["time"]), max(last, p["time"]), n + 1)
    if len(spans) < count or min(n for _, _, n in spans.values()) < 5:
        return False
    return all(
        max(min(b, d) - max(a, c) for other, (c, d, _) in spans.items() if other != bat) >= 0.5 * (b - a)
        for bat, (a, b, _) in spans.items()
    )


def scene(rng, bats, *, settings=SceneSettings(), length=15.0, recording="site/a.wav", apart=None):
    """One file with ``bats`` (individuals, see draw_individual) flying past at once, drawn until their calls overlap.

    apart : seconds between flights that follow one another instead, or None
    """
    for _ in range(200):
        pulses = _flights(rng, bats, settings, length, apart)
        if apart is not None or (len(pulses) >= 5 if len(bats) == 1 else _at_once(pulses, len(bats))):
            break
    echoes = [_echo_of(rng, p) for p in pulses if p["snr"] > 18 and not p["in_buzz"] and rng.random() < settings.echo_share]
    span = max((p["time"] for p in pulses), default=length)
    false = [_false_pulse(rng, t) for t in rng.uniform(0, span, rng.poisson(settings.false_rate * span))]
    pulses = pulses + echoes + false
    table, truth = measured(rng, pulses, recording=recording, settings=settings)
    return Scene(table, recordings_table([recording], seconds=max(length, span + 1)), truth, list(bats))


def draw_bats(rng, count, *, same, settings=SceneSettings(), names=None):
    """Individuals for a scene: ``same`` species with call frequencies 1 to 3 kHz apart, or species at random."""
    pool = [BY_NAME[n] for n in names] if names else list(SPECIES)
    if not same:
        chosen = rng.choice(len(pool), count, replace=len(pool) < count)
        return [draw_individual(rng, pool[i], settings=settings) for i in chosen]
    species = pool[rng.integers(len(pool))]
    shift = rng.normal(0, species.spread * species.calls[0].char)
    bats = []
    for _ in range(count):
        bats.append(draw_individual(rng, species, shift_khz=shift, settings=settings))
        shift += rng.uniform(1, 3)
    return bats


def true_passes(made, *, gap_s):
    """The true pass of each pulse: one for each bat, anew after a silence of more than ``gap_s`` in its own detected
    pulses; every false pulse and echo by itself. int array in the order of the rows."""
    onset = made.pulses[METRICS["onset"].column].to_numpy()
    duration = made.pulses[METRICS["duration"].column].fill_null(3.0).to_numpy() / 1e3
    found, last, made_so_far = np.zeros(len(onset), np.int64), {}, 0
    for i, bat in enumerate(made.truth["bat"].to_list()):
        if bat and bat in last and onset[i] - last[bat][0] <= gap_s:
            found[i] = last[bat][1]
        else:
            made_so_far += 1
            found[i] = made_so_far
        if bat:
            last[bat] = (onset[i] + duration[i], found[i])
    return found
