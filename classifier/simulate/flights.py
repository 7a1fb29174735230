"""Flights: when one bat calls, with what, and how loud; feeding buzzes, missed calls, silences."""

from dataclasses import dataclass

import numpy as np

from classifier.simulate.calls import Call
from classifier.simulate.heard import Echo, Heard, Path


@dataclass(frozen=True)
class Buzz:
    """A feeding buzz: the intervals collapse while calls grow shorter, steeper and fainter.

    start_s       when the approach begins (scene time)
    approach      number of calls over which the interval falls from the search interval to ``slow_s``
    pulses        number of calls of the buzz itself, whose interval falls from ``slow_s`` to ``fast_s``
    pause_s       silence after it
    drop          factor on the frequencies by the end of the buzz
    """

    start_s: float
    approach: int = 8
    pulses: int = 20
    slow_s: float = 0.015
    fast_s: float = 0.006
    pause_s: float = 0.25
    drop: float = 0.75
    fade_db: float = 10.0


@dataclass(frozen=True)
class Flight:
    """One bat over the length of a scene.

    calls               one or more call types, given in turn (an alternating caller has two)
    interval_s          mean onset-to-onset interval at the bat
    level_db            peak level re a full-scale sine: at 1 m if there is a ``path``, else as heard
    start_s, end_s      first and last moment at which it calls; None: the scene's end
    path                flight past the microphone (Path); None: no distance, no Doppler, no absorption
    fade_db             without a path: how far the level falls from the middle of the flight to both ends
    interval_jitter, frequency_jitter, duration_jitter   pulse-to-pulse standard deviation, as a share
    level_jitter_db     the same for level (head turning), dB
    missed              share of calls left out (the rhythm goes on)
    weak, weak_db       share of calls that are weaker, and by how much
    pauses              (from, to) in scene time, in which it is silent
    echoes              Echo of each reflecting surface
    """

    calls: tuple[Call, ...]
    interval_s: float
    level_db: float
    start_s: float = 0.0
    end_s: float | None = None
    path: Path | None = None
    fade_db: float = 0.0
    interval_jitter: float = 0.06
    frequency_jitter: float = 0.005
    duration_jitter: float = 0.04
    level_jitter_db: float = 1.0
    missed: float = 0.0
    weak: float = 0.0
    weak_db: float = 12.0
    pauses: tuple[tuple[float, float], ...] = ()
    buzz: Buzz | None = None
    echoes: tuple[Echo, ...] = ()
    bat: int = 1
    taxon: str = ""


def pulses_of(flight, scene, rng):
    """The direct pulses of one flight, in order; pass_number counts from 1 within the flight."""
    end = scene.seconds if flight.end_s is None else flight.end_s
    pulses, moment, turn, pass_number, last = [], flight.start_s, 0, 1, None
    buzz_waits = flight.buzz is not None
    while moment < end:
        if buzz_waits and moment >= flight.buzz.start_s:
            buzz_waits = False
            burst, moment = _buzz_pulses(flight, scene, rng, moment, pass_number)
            pulses += burst
            last = burst[-1].emitted_s + burst[-1].call.duration_s
            continue
        silent = any(start <= moment < stop for start, stop in flight.pauses)
        if not silent and rng.uniform() >= flight.missed:
            if last is not None and moment - last > scene.gap_s:
                pass_number += 1
            call = flight.calls[turn % len(flight.calls)].shifted(
                frequency=_factor(rng, flight.frequency_jitter),
                duration=_factor(rng, flight.duration_jitter),
            )
            level = _level(flight, end, moment) + flight.level_jitter_db * rng.standard_normal()
            level -= flight.weak_db if rng.uniform() < flight.weak else 0.0
            pulses.append(_heard(flight, scene, rng, call, moment, level, pass_number))
            last = moment + call.duration_s
        turn += 1
        moment += flight.interval_s * _factor(rng, flight.interval_jitter)
    return pulses


def _factor(rng, spread):
    return max(0.3, 1.0 + spread * rng.standard_normal())


def _level(flight, end, moment):
    place = (moment - flight.start_s) / max(end - flight.start_s, 1e-9)
    return flight.level_db - flight.fade_db * (1.0 - np.sin(np.pi * place))


def _heard(flight, scene, rng, call, moment, level_db, pass_number, in_buzz=False):
    return Heard(
        call,
        moment,
        level_db,
        path=flight.path,
        weather=scene.weather,
        phase=rng.uniform(),
        bat=flight.bat,
        taxon=flight.taxon or call.taxon,
        pass_number=pass_number,
        in_buzz=in_buzz,
    )


def _buzz_pulses(flight, scene, rng, moment, pass_number):
    """Approach and buzz from ``moment`` on, and the moment of the next search call."""
    buzz, call = flight.buzz, flight.calls[0]
    end = scene.seconds if flight.end_s is None else flight.end_s
    approach = np.geomspace(flight.interval_s, buzz.slow_s, buzz.approach + 1)[1:]
    intervals = np.concatenate([approach, np.geomspace(buzz.slow_s, buzz.fast_s, buzz.pulses)])
    pulses = []
    for number, interval in enumerate(intervals):
        final = max(0.0, (number - buzz.approach) / max(1, buzz.pulses - 1))
        shorter = min(1.0, 0.4 * interval / call.duration_s)
        shaped = Call(
            "FM hyperbolic",
            max(0.4e-3, call.duration_s * shorter),
            call.start_hz * (1 - (1 - buzz.drop) * final),
            call.end_hz * (1 - (1 - buzz.drop) * final),
            envelope=call.envelope,
            harmonics_db=call.harmonics_db,
        )
        level = _level(flight, end, moment) - buzz.fade_db * number / len(intervals)
        pulses.append(_heard(flight, scene, rng, shaped, moment, level, pass_number, in_buzz=number >= buzz.approach))
        moment += interval * _factor(rng, 0.03)
    return pulses, moment + buzz.pause_s
