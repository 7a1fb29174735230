"""The scenes of the accuracy benchmark: what is drawn for each case, and how a case is rendered.

A case is a few words and a seed; the same case is the same scene on every machine and in any order.
"""

import zlib
from dataclasses import dataclass, replace

import numpy as np

from classifier.simulate import (
    SHAPES,
    BirdSong,
    BushCrickets,
    Echo,
    Flight,
    Path,
    PinkNoise,
    Rain,
    RecorderNoise,
    Reverberation,
    Rubbing,
    Scene,
    Tones,
    WhiteNoise,
    Wind,
    draw_call,
    level_for_snr,
    render,
)

#: True rates; a ×10 expanded recording at a file rate of 30 kHz is one of 300 kHz to everything after
#: reading.
RATES_HZ = (192e3, 250e3, 256e3, 300e3, 384e3, 500e3)
NOISES = {"white": WhiteNoise(-75.0), "pink": PinkNoise(-75.0), "recorder": RecorderNoise(-75.0)}
SNRS_DB = (6.0, 10.0, 15.0, 20.0, 30.0, 40.0)
#: What comes and goes without any bat. Each is rendered over a recorder's floor.
SILENCES = {
    "hiss": (),
    "rain": (Rain(),),
    "heavy rain": (Rain(rate_per_s=80.0, level_db=-20.0),),
    "wind": (Wind(),),
    "tones": (Tones((19.9e3, 33e3, 40e3, 55.5e3)),),
    "crickets low": (BushCrickets(centre_hz=13e3, width_hz=6e3, syllable_s=0.06, rate_per_s=6.0),),
    "crickets": (BushCrickets(),),
    "crickets high": (BushCrickets(centre_hz=42e3, width_hz=22e3, syllable_s=0.015, rate_per_s=22.0),),
    "birds": (BirdSong(phrases_per_s=0.6),),
    "rubbing": (Rubbing(),),
}
GAP_S = 1.0


@dataclass(frozen=True)
class Case:
    """One scene to be measured.

    family   "one" bat, "echo" (one bat with an echo), "flyby" (one bat past the microphone: Doppler,
             absorption, reverberation), "clipped", "several" (two or three bats), "gap" (one bat with
             silences longer and shorter than the gap, and weak pulses), "tone" (constant frequencies, for
             the Cramér–Rao bound), "silence"
    kind     shape of the calls, or the name of the silence
    snr_db   wanted in-band signal-to-noise ratio (flyby: of its loudest part)
    number   draws another scene of the same kind
    """

    family: str
    kind: str
    snr_db: float
    number: int
    seconds: float = 2.0

    @property
    def rng(self):
        """Generator that belongs to this case alone."""
        words = f"{self.family}|{self.kind}|{self.snr_db:g}|{self.number}"
        return np.random.default_rng(zlib.crc32(words.encode()))


def render_case(case):
    """(Rendered, sample rate in Hz, name of the noise, steady noise) of a case."""
    rng = case.rng
    rate = float(rng.choice(RATES_HZ))
    name = str(rng.choice(list(NOISES)))
    noise = NOISES[name]
    if case.family == "tone":
        name, noise = "white", NOISES["white"]
    scene = _SCENES[case.family](case, rng, rate, noise)
    return render(scene, rate, rng), rate, name, noise


def _flight(case, rng, rate, noise, shape, snr_db=None, **options):
    """A bat of one shape. Horseshoe and leaf-nosed bats call more than a quarter of the time, others far
    less (Fenton, Faure & Ratcliffe 2012, from memory): the interval is at least 1.8 durations for CF-FM
    calls, 6 for others."""
    call = draw_call(shape, rng, sample_rate_hz=rate)
    level = level_for_snr(call, case.snr_db if snr_db is None else snr_db, (noise,), rate)
    silence = 1.8 if shape == "CF-FM" else 6.0
    options = {
        "interval_s": max(rng.uniform(0.06, 0.16), silence * call.duration_s),
        "start_s": rng.uniform(0.02, 0.1),
        "end_s": case.seconds - 0.09,
        "level_jitter_db": 0.3,
    } | options
    return Flight((call,), level_db=level, **options)


def _one(case, rng, rate, noise):
    return Scene(case.seconds, (_flight(case, rng, rate, noise, case.kind),), (noise,), gap_s=GAP_S)


def _echo(case, rng, rate, noise):
    echo = Echo(rng.uniform(3e-3, 15e-3), rng.uniform(-20.0, -3.0), dull_hz=rng.uniform(40e3, 200e3))
    return Scene(case.seconds, (_flight(case, rng, rate, noise, case.kind, echoes=(echo,)),), (noise,), gap_s=GAP_S)


def _flyby(case, rng, rate, noise):
    path = Path(rng.uniform(3.0, 12.0), rng.uniform(4.0, 9.0), case.seconds * rng.uniform(0.3, 0.7))
    flight = _flight(case, rng, rate, noise, case.kind, path=path, level_jitter_db=2.0)
    # Stated as heard; the level at 1 m is that plus what the closest way takes.
    flight = replace(flight, level_db=flight.level_db + 20 * np.log10(path.closest_m))
    return Scene(case.seconds, (flight,), (noise,), Reverberation(level_db=rng.uniform(-26.0, -14.0)), gap_s=GAP_S)


def _clipped(case, rng, rate, noise):
    flight = replace(_flight(case, rng, rate, noise, case.kind), level_db=rng.uniform(1.0, 8.0))
    return Scene(case.seconds, (flight,), (noise,), gap_s=GAP_S)


def _several(case, rng, rate, noise):
    flights = []
    for bat in range(rng.integers(2, 4)):
        shape = str(rng.choice(SHAPES))
        snr = case.snr_db + rng.uniform(0.0, 12.0)
        flights.append(
            _flight(
                case,
                rng,
                rate,
                noise,
                shape,
                snr,
                bat=bat + 1,
                fade_db=rng.uniform(0.0, 6.0),
                missed=rng.uniform(0.0, 0.1),
            )
        )
    return Scene(case.seconds, tuple(flights), (noise,), gap_s=GAP_S)


def _gap(case, rng, rate, noise):
    """Calling, a silence longer than the gap, calling with weak pulses and a silence shorter than the gap."""
    first, long = rng.uniform(0.8, 1.2), rng.uniform(1.3, 2.0)
    short_from = first + long + rng.uniform(0.8, 1.2)
    pauses = ((first, first + long), (short_from, short_from + rng.uniform(0.4, 0.7)))
    flight = _flight(case, rng, rate, noise, case.kind, pauses=pauses, weak=0.3, weak_db=10.0, missed=0.1)
    return Scene(case.seconds, (flight,), (noise,), gap_s=GAP_S)


def _tone(case, rng, rate, noise):
    call = draw_call("tone", rng, sample_rate_hz=rate, harmonics=False)
    level = level_for_snr(call, case.snr_db, (noise,), rate)
    flight = Flight(
        (call,),
        2.5 * call.duration_s + 0.04,
        level,
        start_s=0.05,
        end_s=case.seconds - 0.09,
        frequency_jitter=0.02,
        level_jitter_db=0.0,
    )
    return Scene(case.seconds, (flight,), (noise,), gap_s=GAP_S)


def _silence(case, rng, rate, noise):
    return Scene(case.seconds, (), (noise, *SILENCES[case.kind]), gap_s=GAP_S)


_SCENES = {
    "one": _one,
    "echo": _echo,
    "flyby": _flyby,
    "clipped": _clipped,
    "several": _several,
    "gap": _gap,
    "tone": _tone,
    "silence": _silence,
}

FAMILIES = tuple(_SCENES)


def cases(*, scenes=4, shapes=SHAPES, snrs=SNRS_DB, families=FAMILIES, silence_s=60.0, first=0):
    """All cases of a run: ``scenes`` per shape and noise level of the one-bat family, fewer of the others."""
    few = max(1, scenes // 2)
    out = []
    for snr in snrs:
        for shape in shapes:
            out += [Case("one", shape, snr, first + n) for n in range(scenes)]
            out += [Case("echo", shape, snr, first + n) for n in range(few) if snr >= 10]
            out += [Case("gap", shape, snr, first + n, seconds=6.5) for n in range(few) if snr >= 20]
            out += [Case("flyby", shape, snr, first + n, seconds=3.0) for n in range(few) if snr >= 15]
        out += [Case("several", "mixed", snr, first + n, seconds=3.0) for n in range(3 * few) if snr >= 15]
        out += [Case("tone", "tone", snr, first + n) for n in range(2 * scenes)]
    out += [Case("clipped", shape, 40.0, first) for shape in shapes]
    out += [Case("silence", kind, 0.0, first, seconds=silence_s) for kind in SILENCES]
    return [case for case in out if case.family in families]
