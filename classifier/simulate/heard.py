"""A pulse as a microphone hears it: distance, the bat's movement, the air, echoes, the recorder's band
limit.

All of these act on the amplitude and the time axis of a closed formula, so that what arrives is still known
exactly at every moment: its phase, its frequency and its amplitude, harmonic by harmonic.
"""

from dataclasses import dataclass, field

import numpy as np

from classifier.plan.absorption import Weather, absorption_db_per_m, speed_of_sound_m_s
from classifier.simulate.calls import Call

#: The recorder passes everything up to the first share of its Nyquist frequency and nothing from the second
#: on.
BAND_LIMIT = (0.93, 0.995)
_REFERENCE_DISTANCE_M = 1.0


@dataclass(frozen=True)
class Path:
    """Straight, level flight past the microphone.

    closest_m   distance at the closest point, metres, > 0
    speed_m_s   flight speed
    closest_s   time at which the bat is there, seconds from the start of the scene
    """

    closest_m: float
    speed_m_s: float
    closest_s: float

    def distance_m(self, time_s):
        """Distance between bat and microphone at ``time_s`` (any shape)."""
        return np.hypot(self.closest_m, self.speed_m_s * (np.asarray(time_s, dtype=float) - self.closest_s))

    def emitted_s(self, heard_s, sound_m_s):
        """When the sound that arrives at ``heard_s`` left the bat: t = τ + r(τ)/c solved for τ."""
        heard = np.asarray(heard_s, dtype=float) - self.closest_s
        slack = sound_m_s**2 - self.speed_m_s**2
        root = np.sqrt((sound_m_s * self.speed_m_s * heard) ** 2 + slack * self.closest_m**2)
        return self.closest_s + (sound_m_s**2 * heard - root) / slack

    def compression(self, emitted_s, sound_m_s):
        """dτ/dt, the Doppler factor on every frequency: c/(c − v) for a bat flying straight at us."""
        along = self.speed_m_s * (np.asarray(emitted_s, dtype=float) - self.closest_s)
        closing = self.speed_m_s * along / np.hypot(self.closest_m, along)
        return 1.0 / (1.0 + closing / sound_m_s)


@dataclass(frozen=True)
class Heard:
    """One pulse at the microphone.

    call        what the bat emits
    emitted_s   when the call's span starts at the bat, in seconds from the start of the scene
    level_db    peak of the first harmonic re a full-scale sine: at 1 m from the bat if there is a ``path``,
                else as heard
    path        where the bat flies; None: it stands at the microphone (no delay, no absorption, no Doppler)
    weather     the air along the path
    echo        Echo, if this is the reflection and not the direct sound
    phase       of the first harmonic at the span's start, in cycles
    bat, taxon, pass_number, in_buzz     carried into the truth table
    """

    call: Call
    emitted_s: float
    level_db: float
    path: Path | None = None
    weather: Weather = field(default_factory=Weather)
    echo: "Echo | None" = None
    phase: float = 0.0
    bat: int = 1
    taxon: str = ""
    pass_number: int = 1
    in_buzz: bool = False

    @property
    def sound_m_s(self):
        """Speed of sound in this pulse's air."""
        return float(speed_of_sound_m_s(self.weather.temperature_c))

    def _arrival(self, emitted_s):
        delay = self.echo.delay_s if self.echo else 0.0
        if self.path is not None:
            delay += float(self.path.distance_m(emitted_s)) / self.sound_m_s
        return emitted_s + delay

    @property
    def interval_s(self):
        """(first, last) moment at which anything of the pulse arrives."""
        lead, trail = self.call.support_s
        return self._arrival(self.emitted_s + lead), self._arrival(self.emitted_s + trail)

    def parts(self, time_s, sample_rate_hz, harmonics=None):
        """Amplitude, phase and frequency of each harmonic as heard.

        Parameters
        ----------
        time_s : float array, shape (n,), seconds from the start of the scene
        sample_rate_hz : float; what lies above BAND_LIMIT of its Nyquist frequency is not recorded
        harmonics : numbers of the harmonics wanted (1 = first); None for all that the call has

        Returns
        -------
        amplitude (full scale = 1), phase (cycles), frequency (Hz) : float arrays, shape (harmonics, n)
        """
        time = np.asarray(time_s, dtype=float)
        compression, distance = 1.0, _REFERENCE_DISTANCE_M
        arrived = time - (self.echo.delay_s if self.echo else 0.0)
        emitted = arrived
        if self.path is not None:
            emitted = self.path.emitted_s(arrived, self.sound_m_s)
            compression = self.path.compression(emitted, self.sound_m_s)
            distance = self.path.distance_m(emitted)
        course, phase = self.call.course(emitted - self.emitted_s)
        envelope = self.call.amplitude(emitted - self.emitted_s) * 10.0 ** (self.level_db / 20.0)
        envelope = envelope * _REFERENCE_DISTANCE_M / distance
        numbers = np.arange(1, len(self.call.harmonics_db) + 1) if harmonics is None else np.asarray(harmonics)
        levels = np.array([self.call.harmonics_db[number - 1] for number in numbers])
        numbers = numbers[:, None]
        emitted_hz = numbers * course
        frequency = emitted_hz * compression
        amplitude = envelope * 10.0 ** (levels[:, None] / 20.0) * _band_limit(frequency, sample_rate_hz)
        if self.path is not None:
            air = absorption_db_per_m(np.maximum(frequency, 1.0), self.weather)
            amplitude = amplitude * 10.0 ** (-air * distance / 20.0)
        if self.echo is not None:
            amplitude = amplitude * self.echo.gain(frequency)
        # Harmonics leave the voice in a fixed relation; odd offsets keep their peaks from adding at one
        # moment.
        offset = 0.25 * (numbers - 1)
        return amplitude, numbers * (phase + self.phase) + offset, frequency


@dataclass(frozen=True)
class Echo:
    """A reflection of a call: later, weaker, and duller the more its surface and the longer way swallow
    high sound.

    delay_s    behind the direct sound, seconds, > 0
    level_db   relative to the direct sound, dB
    dull_hz    frequency at which a further 3 dB is lost (first-order roll-off in amplitude); None for an
               even mirror
    """

    delay_s: float
    level_db: float
    dull_hz: float | None = None

    def gain(self, frequency_hz):
        """Amplitude factor at ``frequency_hz`` (any shape)."""
        even = 10.0 ** (self.level_db / 20.0)
        if self.dull_hz is None:
            return even
        return even / np.sqrt(1.0 + (np.asarray(frequency_hz) / self.dull_hz) ** 2)


def _band_limit(frequency_hz, sample_rate_hz):
    """Gain of the recorder's anti-alias filter: 1, then a quarter cosine down to 0."""
    share = frequency_hz / (0.5 * sample_rate_hz)
    if share.max(initial=0.0) <= BAND_LIMIT[0]:
        return 1.0
    place = np.clip((share - BAND_LIMIT[0]) / (BAND_LIMIT[1] - BAND_LIMIT[0]), 0.0, 1.0)
    return np.where(place < 1.0, np.cos(0.5 * np.pi * place), 0.0)


def add_pulse(samples, pulse, *, sample_rate_hz):
    """Add ``pulse`` to ``samples`` (float array, shape (n,), sample 0 at scene time 0) in place.

    What lies outside the array is left out, as a recorder that starts late or stops early leaves it out.
    """
    first_s, last_s = pulse.interval_s
    first = max(0, int(np.ceil(first_s * sample_rate_hz)))
    last = min(len(samples), int(np.floor(last_s * sample_rate_hz)) + 1)
    if last <= first:
        return
    amplitude, phase, _ = pulse.parts(np.arange(first, last) / sample_rate_hz, sample_rate_hz)
    samples[first:last] += np.sum(amplitude * np.sin(2 * np.pi * phase), axis=0)


def synthesise(call, sample_rate_hz, *, level_db=0.0, onset_s=None):
    """The bare samples of one call: no distance, no noise.

    Parameters
    ----------
    call : Call
    sample_rate_hz : float > 0
    level_db : float, peak of the first harmonic re a full-scale sine (harmonics come on top)
    onset_s : float, where the −20 dB span starts, counted from the first sample; need not fall on a sample.
        None puts the first trace of sound on the first sample

    Returns
    -------
    float32 array, shape (n,), full scale = 1; long enough to hold the whole call
    """
    lead, trail = call.support_s
    onset_s = -lead if onset_s is None else onset_s
    samples = np.zeros(int(np.ceil((onset_s + trail) * sample_rate_hz)) + 1)
    add_pulse(samples, Heard(call, onset_s, level_db), sample_rate_hz=sample_rate_hz)
    return samples.astype(np.float32)
