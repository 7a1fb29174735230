"""Random calls: each shape over the frequencies, lengths and slopes that bats use."""

from dataclasses import replace

import numpy as np

from classifier.simulate.calls import Call, Envelope

#: Steepest sweep that is drawn, in Hz/s (20 kHz/ms).
STEEPEST_HZ_PER_S = 20e6
#: Share of the Nyquist frequency that the first harmonic stays under, so that a recorder loses nothing of
#: it.
_ROOM = 0.9


def draw_call(shape, rng, *, sample_rate_hz, harmonics=True):
    """A random call of one shape; all bounds are chosen to span what the handbook's rows show.

    Durations 1.5 to 60 ms and frequencies 10 to 110 kHz over all shapes together; sweeps up to 20 kHz/ms;
    attack and release 15 to 35 % of the pulse; a tilt of up to 6 dB either way. One call in ten has a
    second harmonic louder than its first.

    Parameters
    ----------
    shape : one of calls.SHAPES, or "tone" (a constant frequency)
    rng : numpy.random.Generator
    sample_rate_hz : float > 0; the first harmonic stays under 0.9 of its Nyquist frequency
    harmonics : False draws the first harmonic alone

    Returns
    -------
    Call
    """
    top = _ROOM * sample_rate_hz / 2
    envelope = Envelope(rng.uniform(0.15, 0.35), rng.uniform(0.15, 0.35), rng.uniform(-6.0, 6.0))
    call = _DRAWS[shape](rng, min(top, 115e3), envelope)
    if not harmonics:
        return call
    second = rng.uniform(3.0, 8.0) if rng.uniform() < 0.1 else rng.uniform(-40.0, -12.0)
    highest = max(call.start_hz, call.end_hz, call.knee_hz or 0.0)
    if second > 0 and 2 * highest > top:
        second = -20.0
    return replace(call, harmonics_db=(0.0, second, min(second, 0.0) - rng.uniform(5.0, 20.0)))


def _tone(rng, top, envelope):
    frequency = rng.uniform(15e3, min(110e3, top))
    return Call("QCF", rng.uniform(3e-3, 40e-3), frequency, frequency, envelope=envelope)


def _qcf(rng, top, envelope):
    duration, end = rng.uniform(4e-3, 30e-3), rng.uniform(10e3, min(60e3, 0.9 * top))
    return Call(
        "QCF",
        duration,
        end * rng.uniform(1.02, 1.12),
        end,
        curvature=rng.uniform(0.4, 0.95),
        envelope=envelope,
    )


def _fm_qcf(rng, top, envelope):
    duration, body = rng.uniform(3e-3, 20e-3), rng.uniform(17e3, min(75e3, 0.7 * top))
    knee_s, body_s = duration * rng.uniform(0.15, 0.35), duration * rng.uniform(0.85, 0.94)
    knee = body + min(rng.uniform(0.2e3, 3e3), 0.5e6 * (body_s - knee_s))
    start = knee + min(rng.uniform(8e3, 50e3), STEEPEST_HZ_PER_S * knee_s, top - knee)
    tail = rng.choice([rng.uniform(-6e3, -1e3), rng.uniform(1e3, 4e3), -0.1e3])
    tail = float(np.clip(tail, -6e6 * (duration - body_s), 6e6 * (duration - body_s)))
    return Call(
        "FM-QCF",
        duration,
        start,
        body + tail,
        knee_s=knee_s,
        knee_hz=knee,
        body_s=body_s,
        body_hz=body,
        bend_s=duration * rng.uniform(0.03, 0.08),
        envelope=envelope,
    )


def _fm_linear(rng, top, envelope):
    start, end = rng.uniform(50e3, min(110e3, top)), rng.uniform(15e3, 45e3)
    shortest = max(1.5e-3, (start - end) / STEEPEST_HZ_PER_S)
    return Call("FM linear", rng.uniform(shortest, max(8e-3, shortest)), start, end, envelope=envelope)


def _fm_hyperbolic(rng, top, envelope):
    start = rng.uniform(50e3, min(110e3, top))
    end = start / rng.uniform(1.6, 3.5)
    # The sweep is steepest at its start: f0 (f0/f1 - 1) / D.
    shortest = max(1.5e-3, start * (start / end - 1) / STEEPEST_HZ_PER_S)
    return Call("FM hyperbolic", rng.uniform(shortest, max(9e-3, 1.2 * shortest)), start, end, envelope=envelope)


def _cf_fm(rng, top, envelope):
    duration, flat = rng.uniform(10e-3, 60e-3), rng.uniform(30e3, min(110e3, top))
    knee_s, body_s = rng.uniform(1e-3, 3e-3), duration - rng.uniform(1.5e-3, 4e-3)
    return Call(
        "CF-FM",
        duration,
        flat - rng.uniform(2e3, 8e3),
        flat - rng.uniform(6e3, 18e3),
        knee_s=knee_s,
        knee_hz=flat,
        body_s=body_s,
        body_hz=flat,
        bend_s=rng.uniform(0.2e-3, 0.5e-3),
        envelope=Envelope(min(0.35, 3e-3 / duration), min(0.35, 4e-3 / duration), envelope.tilt_db),
    )


def _noctule_like(rng, top, envelope):
    end, duration = rng.uniform(14e3, 28e3), rng.uniform(8e-3, 25e-3)
    return Call(
        "noctule-like",
        duration,
        end + rng.uniform(2e3, 10e3),
        end,
        decay_s=duration * rng.uniform(0.15, 0.4),
        envelope=envelope,
    )


_DRAWS = {
    "tone": _tone,
    "QCF": _qcf,
    "FM-QCF": _fm_qcf,
    "FM linear": _fm_linear,
    "FM hyperbolic": _fm_hyperbolic,
    "CF-FM": _cf_fm,
    "noctule-like": _noctule_like,
}
