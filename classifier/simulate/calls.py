"""Calls from stated parameters: the course of frequency, its phase, the envelope, the harmonics.

Every course is a closed formula with a closed integral, so that the frequency at any moment is known
exactly and not read back from samples.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from classifier.errors import ParameterError

SHAPES = ("QCF", "FM-QCF", "FM linear", "FM hyperbolic", "CF-FM", "noctule-like")
#: A span ends where the level has fallen this far below the pulse's peak (design: 20 dB).
SPAN_DROP_DB = 20.0
_SPAN_SHARE = 10.0 ** (-SPAN_DROP_DB / 20.0)


@dataclass(frozen=True)
class Envelope:
    """Amplitude over time: a raised-cosine rise, a body with a tilt, a raised-cosine fall.

    ``attack`` and ``release`` are shares (0 to 1, together at most 1) of the whole pulse; ``tilt_db`` is
    the level at the last moment less that at the first, apart from rise and fall, in dB.
    """

    attack: float = 0.25
    release: float = 0.3
    tilt_db: float = 0.0

    def __post_init__(self):
        if not (self.attack > 0 and self.release > 0 and self.attack + self.release <= 1.0):
            raise ParameterError(
                f"attack and release must each be greater than 0 and together at most 1, not {self.attack:g} and {self.release:g}"
            )

    def raw(self, place):
        """Amplitude at ``place`` (0 = first moment, 1 = last), any scale; 0 outside."""
        place = np.asarray(place, dtype=float)
        level = 10.0 ** (self.tilt_db * (place - 0.5) / 20.0) if self.tilt_db else np.ones_like(place)
        for edge, length in ((place, self.attack), (1.0 - place, self.release)):
            near = edge < length
            level[near] *= np.sin(0.5 * np.pi * np.maximum(edge[near], 0.0) / length) ** 2
        return level


@lru_cache(maxsize=4096)
def _span_of(envelope):
    """(place where the span starts, where it ends, peak) of an envelope; places from 0 to 1."""
    place = np.linspace(0.0, 1.0, 20001)
    level = envelope.raw(place)
    peak = level.max()
    inside = np.flatnonzero(level >= _SPAN_SHARE * peak)
    first, last = inside[0], inside[-1]

    def crossing(low, high):
        share = (_SPAN_SHARE * peak - level[low]) / (level[high] - level[low])
        return place[low] + share * (place[high] - place[low])

    return crossing(first - 1, first), crossing(last, last + 1), peak


def _bend(x, width):
    """0 far before x = 0, x far after, rounded over ``width``; and its integral. Both elementary."""
    root = np.sqrt(x * x + width * width)
    return 0.5 * (x + root), 0.25 * (x * x + x * root + width * width * np.arcsinh(x / width))


@dataclass(frozen=True)
class Call:
    """One call as the bat emits it. Times count from the start of the −20 dB span; frequencies are the
    first harmonic's.

    shape            one of SHAPES
    duration_s       length of the −20 dB span
    start_hz, end_hz frequency at the two ends of that span
    knee_s, knee_hz  FM-QCF: end of the steep sweep, start of the body; CF-FM: end of the sweep up, start of
                     the flat part
    body_s, body_hz  FM-QCF, CF-FM: late end of the body, after which the tail runs to ``end_hz`` (up or
                     down)
    bend_s           FM-QCF, CF-FM: how rounded the two bends are (knee and body are the corners before
                     rounding)
    curvature        QCF: 0 a straight line, 1 a parabola that is level at its end
    decay_s          noctule-like: time constant with which the sweep dies away
    envelope         amplitude over time
    harmonics_db     level of the first, second, third … harmonic relative to the first (so [0] is 0);
                     ``-inf`` for none
    taxon            scientific name, for the truth table
    """

    shape: str
    duration_s: float
    start_hz: float
    end_hz: float
    knee_s: float | None = None
    knee_hz: float | None = None
    body_s: float | None = None
    body_hz: float | None = None
    bend_s: float | None = None
    curvature: float = 0.8
    decay_s: float | None = None
    envelope: Envelope = Envelope()
    harmonics_db: tuple[float, ...] = (0.0,)
    taxon: str = ""

    def __post_init__(self):
        if self.shape not in SHAPES:
            raise ParameterError(f"shape must be one of {', '.join(SHAPES)}, not {self.shape!r}")
        if not self.duration_s > 0:
            raise ParameterError(f"duration_s must be greater than 0, not {self.duration_s}")
        if not (self.start_hz > 0 and self.end_hz > 0):
            raise ParameterError("start_hz and end_hz must be greater than 0")
        if not self.harmonics_db or self.harmonics_db[0] != 0.0:
            raise ParameterError("harmonics_db must begin with 0: levels are relative to the first harmonic")
        if self.shape in ("FM-QCF", "CF-FM"):
            needed = (self.knee_s, self.knee_hz, self.body_s, self.body_hz)
            if any(value is None for value in needed):
                raise ParameterError(f"a call of shape {self.shape} needs knee_s, knee_hz, body_s and body_hz")
            if not 0 < self.knee_s < self.body_s < self.duration_s:
                raise ParameterError("0 < knee_s < body_s < duration_s must hold")
        lead, trail = self.support_s
        frequency, _ = self.course(np.linspace(lead, trail, 257))
        if not np.all(np.isfinite(frequency) & (frequency > 0)):
            raise ParameterError("the course of frequency leaves the positive frequencies; choose a gentler sweep")

    @property
    def support_s(self):
        """(first, last) moment with any sound, in seconds from the span's start; the first is negative."""
        first, last, _ = _span_of(self.envelope)
        scale = self.duration_s / (last - first)
        return -first * scale, (1.0 - first) * scale

    def amplitude(self, time_s):
        """Envelope of the first harmonic, 1 at the peak. ``time_s``: any shape."""
        first, last, peak = _span_of(self.envelope)
        return self.envelope.raw(first + np.asarray(time_s) / self.duration_s * (last - first)) / peak

    def course(self, time_s):
        """(frequency in Hz, phase in cycles) of the first harmonic; the phase is 0 at the span's start."""
        time = np.asarray(time_s, dtype=float)
        return _COURSES[self.shape](self, time)

    def shifted(self, *, frequency=1.0, duration=1.0):
        """The same call with every frequency and every time multiplied by a factor."""

        def times(value, factor):
            return None if value is None else value * factor

        return replace(
            self,
            duration_s=self.duration_s * duration,
            start_hz=self.start_hz * frequency,
            end_hz=self.end_hz * frequency,
            knee_s=times(self.knee_s, duration),
            knee_hz=times(self.knee_hz, frequency),
            body_s=times(self.body_s, duration),
            body_hz=times(self.body_hz, frequency),
            bend_s=times(self.bend_s, duration),
            decay_s=times(self.decay_s, duration),
        )


def _quasi_constant(call, time):
    """Slope falls off in a straight line from (1 + curvature) to (1 − curvature) times the mean slope."""
    slope = (call.end_hz - call.start_hz) / call.duration_s
    first, change = slope * (1 + call.curvature), -2 * slope * call.curvature / call.duration_s
    return (
        call.start_hz + first * time + change * time**2 / 2,
        call.start_hz * time + first * time**2 / 2 + change * time**3 / 6,
    )


def _linear(call, time):
    """One slope throughout."""
    slope = (call.end_hz - call.start_hz) / call.duration_s
    return call.start_hz + slope * time, call.start_hz * time + slope * time**2 / 2


def _hyperbolic(call, time):
    """The period, not the frequency, changes in a straight line."""
    drift = (1 / call.end_hz - 1 / call.start_hz) / call.duration_s
    if drift == 0:
        return _linear(call, time)
    stretched = 1 + drift * call.start_hz * time
    with np.errstate(all="ignore"):
        return call.start_hz / stretched, np.log(stretched) / drift


def _decaying(call, time):
    """A sweep that dies away exponentially towards its end."""
    decay = call.decay_s or call.duration_s / 4
    whole = -np.expm1(-call.duration_s / decay)
    height = (call.start_hz - call.end_hz) / whole
    limit = call.start_hz - height
    return limit + height * np.exp(-time / decay), limit * time - height * decay * np.expm1(-time / decay)


@lru_cache(maxsize=4096)
def _bent_terms(duration_s, start_hz, end_hz, knee_s, knee_hz, body_s, body_hz, width):
    """Four coefficients of a course that starts and ends as stated and whose body lies along the line
    between the two corners: it has that line's slope, and meets it in the middle."""
    places = np.array([0.0, duration_s, 0.5 * (knee_s + body_s)])
    rows = np.ones((4, 4))
    rows[:3, 1] = places
    rows[:3, 2], rows[:3, 3] = _bend(places - knee_s, width)[0], _bend(places - body_s, width)[0]
    rows[3] = (0.0, 1.0, 1.0, 0.0)  # slope once the first bend is passed and the second is not reached
    slope = (body_hz - knee_hz) / (body_s - knee_s)
    return np.linalg.solve(rows, np.array([start_hz, end_hz, 0.5 * (knee_hz + body_hz), slope]))


def _bent(call, time):
    """Sweep, body and tail: three slopes joined by two rounded bends."""
    sweeps = min(call.knee_s, call.duration_s - call.body_s)
    width = call.bend_s or min(0.05 * call.duration_s, 0.2 * sweeps)
    terms = _bent_terms(
        call.duration_s,
        call.start_hz,
        call.end_hz,
        call.knee_s,
        call.knee_hz,
        call.body_s,
        call.body_hz,
        width,
    )
    knee, body = _bend(time - call.knee_s, width), _bend(time - call.body_s, width)
    knee_0, body_0 = _bend(-call.knee_s, width)[1], _bend(-call.body_s, width)[1]
    frequency = terms[0] + terms[1] * time + terms[2] * knee[0] + terms[3] * body[0]
    phase = terms[0] * time + terms[1] * time**2 / 2 + terms[2] * (knee[1] - knee_0) + terms[3] * (body[1] - body_0)
    return frequency, phase


_COURSES = {
    "QCF": _quasi_constant,
    "FM-QCF": _bent,
    "FM linear": _linear,
    "FM hyperbolic": _hyperbolic,
    "CF-FM": _bent,
    "noctule-like": _decaying,
}
