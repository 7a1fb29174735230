"""What a recorder hears beside bats: its own floor, weather, insects, electronics, birds, rubbing.

Each noise is a frozen dataclass with ``add(samples, sample_rate_hz, rng)``, which adds it in place to a
float array of shape (n,), full scale = 1. Steady noises also know their one-sided power density,
``density(frequency_hz, sample_rate_hz)`` in full scale² per Hz, which the truth table's signal-to-noise
ratio is taken from.

Steady levels are stated as ``level_db``: power in a 1 kHz band at 40 kHz relative to a full-scale sine.
Levels, rates and courses of all of them are chosen to look like field recordings; none is a published
figure.
"""

from dataclasses import dataclass

import numpy as np
from scipy import signal

_SINE_POWER = 0.5
_ANCHOR_HZ = 40e3
_TAPS = 1025


def _density_at_anchor(level_db):
    return _SINE_POWER * 10.0 ** (level_db / 10.0) / 1000.0


@dataclass(frozen=True)
class WhiteNoise:
    """The same power in every hertz."""

    level_db: float = -80.0

    def density(self, frequency_hz, sample_rate_hz):
        """One-sided power density, full scale² per Hz."""
        return np.full(np.shape(frequency_hz), _density_at_anchor(self.level_db))

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        scale = np.sqrt(_density_at_anchor(self.level_db) * sample_rate_hz / 2)
        samples += scale * rng.standard_normal(len(samples), dtype=np.float32)


class _Coloured:
    """Gaussian noise through a linear-phase filter; the density stated is the filter's real one."""

    def _taps(self, sample_rate_hz):
        axis = np.linspace(0.0, sample_rate_hz / 2, 513)
        return signal.firwin2(_TAPS, axis, np.sqrt(self._wanted(axis)), fs=sample_rate_hz)

    def density(self, frequency_hz, sample_rate_hz):
        """One-sided power density, full scale² per Hz."""
        shape = np.shape(frequency_hz)
        _, gain = signal.freqz(self._taps(sample_rate_hz), worN=np.ravel(frequency_hz), fs=sample_rate_hz)
        return (np.abs(gain) ** 2).reshape(shape)

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        white = rng.standard_normal(len(samples) + _TAPS - 1, dtype=np.float32) * np.float32(np.sqrt(sample_rate_hz / 2))
        samples += signal.oaconvolve(white, self._taps(sample_rate_hz).astype(np.float32), mode="valid")


@dataclass(frozen=True)
class PinkNoise(_Coloured):
    """Power falling by 3 dB an octave; flat below 1 kHz."""

    level_db: float = -80.0

    def _wanted(self, frequency_hz):
        return _density_at_anchor(self.level_db) * _ANCHOR_HZ / np.maximum(frequency_hz, 1000.0)


@dataclass(frozen=True)
class RecorderNoise(_Coloured):
    """The floor of a recorder: a microphone's resonance, a rise to low and to high frequencies, hum and
    weak tones.

    hum_hz      mains frequency whose first harmonics are picked up; 0 for none
    spurs_hz    steady tones of the electronics, each 6 dB over the noise of a 100 Hz band
    """

    level_db: float = -85.0
    hum_hz: float = 50.0
    spurs_hz: tuple[float, ...] = (32.0e3, 48.0e3)

    def _wanted(self, frequency_hz):
        low = (6000.0 / np.maximum(frequency_hz, 500.0)) ** 2
        resonance = 2.0 / (1.0 + ((frequency_hz - 62e3) / 12e3) ** 2)
        high = (frequency_hz / 130e3) ** 2
        return _density_at_anchor(self.level_db) / 1.62 * (1.0 + low + resonance + high)

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place, hum and tones included."""
        super().add(samples, sample_rate_hz, rng)
        time = np.arange(len(samples)) / sample_rate_hz
        if self.hum_hz:
            for number, level_db in ((1, 34.0), (2, 24.0), (3, 28.0)):
                amplitude = np.sqrt(2 * 1000.0 * _density_at_anchor(self.level_db)) * 10 ** (level_db / 20)
                samples += amplitude * np.sin(2 * np.pi * (number * self.hum_hz * time + rng.uniform()))
        for spur in self.spurs_hz:
            if spur < sample_rate_hz / 2:
                power = 100.0 * float(self.density(np.array([spur]), sample_rate_hz)[0]) * 10**0.6
                samples += np.sqrt(2 * power) * np.sin(2 * np.pi * (spur * time + rng.uniform()))


class _Passing:
    """A noise that comes and goes: no steady density."""

    def density(self, frequency_hz, sample_rate_hz):
        """None of its own: what comes and goes is no part of the floor."""
        return np.zeros(np.shape(frequency_hz))


def _place(samples, piece, first):
    """Add ``piece`` at index ``first``, cut to the array."""
    start, stop = max(0, first), min(len(samples), first + len(piece))
    if stop > start:
        samples[start:stop] += piece[start - first : stop - first]


def _moments(rng, rate_per_s, seconds):
    return np.sort(rng.uniform(0.0, seconds, rng.poisson(rate_per_s * seconds)))


def _db(level):
    return 10.0 ** (level / 20.0)


@dataclass(frozen=True)
class Rain(_Passing):
    """Drops on leaves, water and housing: sharp clicks over a wide band, with a few low damped resonances."""

    rate_per_s: float = 15.0
    level_db: float = -30.0
    spread_db: float = 8.0

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        for moment in _moments(rng, self.rate_per_s, len(samples) / sample_rate_hz):
            time = np.arange(int(0.004 * sample_rate_hz)) / sample_rate_hz
            click = rng.standard_normal(len(time)) * np.exp(-time / rng.uniform(0.5e-4, 3e-4))
            for _ in range(3):
                resonance, decay = np.exp(rng.uniform(*np.log((2e3, 25e3)))), rng.uniform(0.1e-3, 0.5e-3)
                click += 2.0 * np.sin(2 * np.pi * resonance * time) * np.exp(-time / decay)
            level = _db(self.level_db + self.spread_db * rng.standard_normal())
            _place(samples, level / np.max(np.abs(click)) * click, int(moment * sample_rate_hz))


@dataclass(frozen=True)
class Wind(_Passing):
    """Low-frequency rumble in gusts, with bursts that reach some 10 kHz."""

    level_db: float = -25.0

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        count = len(samples)
        rumble = signal.lfilter(*signal.butter(1, 300.0, fs=sample_rate_hz), rng.standard_normal(count))
        slow = np.interp(
            np.linspace(0, 1, count),
            np.linspace(0, 1, max(2, int(2 * count / sample_rate_hz) + 2)),
            rng.gamma(1.5, 0.7, max(2, int(2 * count / sample_rate_hz) + 2)),
        )
        samples += _db(self.level_db) / np.std(rumble) * rumble * slow
        hiss = signal.lfilter(*signal.butter(2, 4000.0, fs=sample_rate_hz), rng.standard_normal(count))
        samples += 0.05 * _db(self.level_db) / np.std(hiss) * hiss * slow**2


@dataclass(frozen=True)
class BushCrickets(_Passing):
    """Songs of bush-crickets: trains of syllables, each a hail of tooth strikes ringing in a wide band.

    centre_hz, width_hz   middle and width of the band of one song (8 to 60 kHz in nature)
    syllable_s            length of a syllable
    rate_per_s            syllables a second while it sings
    song_s, pause_s       mean length of a song and of the silence between
    """

    level_db: float = -35.0
    centre_hz: float = 25e3
    width_hz: float = 14e3
    syllable_s: float = 0.03
    rate_per_s: float = 14.0
    song_s: float = 3.0
    pause_s: float = 2.0
    strikes_per_s: float = 4000.0

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        seconds, moment = len(samples) / sample_rate_hz, rng.uniform(0.0, self.pause_s)
        while moment < seconds:
            stop = moment + rng.exponential(self.song_s)
            while moment < min(stop, seconds):
                piece = self._syllable(sample_rate_hz, rng) * _db(self.level_db + rng.normal(0, 2))
                _place(samples, piece, int(moment * sample_rate_hz))
                moment += rng.normal(1.0, 0.05) / self.rate_per_s
            moment += rng.exponential(self.pause_s)

    def _syllable(self, sample_rate_hz, rng):
        count = int(self.syllable_s * rng.normal(1.0, 0.1) * sample_rate_hz)
        strikes = np.zeros(count)
        gaps = rng.normal(1.0, 0.15, int(2 * count / sample_rate_hz * self.strikes_per_s) + 2) / self.strikes_per_s
        places = (np.cumsum(np.abs(gaps)) * sample_rate_hz).astype(int)
        places = places[places < count]
        strikes[places] = rng.normal(0.0, 1.0, len(places)) + 1.5
        ring = np.arange(int(0.0008 * sample_rate_hz)) / sample_rate_hz
        body = np.zeros(count)
        for share in (-0.4, -0.15, 0.1, 0.35):
            resonance = self.centre_hz + share * self.width_hz
            if resonance < 0.48 * sample_rate_hz:
                tone = np.sin(2 * np.pi * (resonance * ring + rng.uniform())) * np.exp(-ring * self.width_hz)
                body += signal.oaconvolve(strikes * rng.uniform(0.5, 1.0), tone)[:count]
        place = np.linspace(0, 1, count)
        body *= np.clip(place / 0.6, 0, 1) * np.clip((1 - place) / 0.15, 0, 1)
        return body / (np.max(np.abs(body)) or 1.0)


@dataclass(frozen=True)
class Tones(_Passing):
    """Steady tones of lamps, chargers and dimmers; they may wander slowly and throb with the mains."""

    frequencies_hz: tuple[float, ...] = (19.9e3, 40.0e3)
    level_db: float = -45.0
    wander_hz: float = 50.0
    throb: float = 0.3

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        time = np.arange(len(samples)) / sample_rate_hz
        for frequency in self.frequencies_hz:
            if frequency >= 0.49 * sample_rate_hz:
                continue
            rate, start = rng.uniform(0.05, 0.3), rng.uniform()
            wander = self.wander_hz / (2 * np.pi * rate) * np.sin(2 * np.pi * (rate * time + start))
            envelope = 1.0 + self.throb * np.sin(2 * np.pi * (100.0 * time + rng.uniform()))
            samples += _db(self.level_db) * envelope * np.sin(2 * np.pi * (frequency * time + rng.uniform()) + wander)


@dataclass(frozen=True)
class BirdSong(_Passing):
    """Phrases of whistled, sliding notes from 2.5 to 9 kHz with weak overtones."""

    level_db: float = -25.0
    phrases_per_s: float = 0.3

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        for moment in _moments(rng, self.phrases_per_s, len(samples) / sample_rate_hz):
            for _ in range(rng.integers(3, 12)):
                time = np.arange(int(rng.uniform(0.03, 0.25) * sample_rate_hz)) / sample_rate_hz
                middle, slide = rng.uniform(2500, 9000), rng.uniform(-0.3, 0.3)
                trill = rng.uniform(0, 0.05) * np.sin(2 * np.pi * rng.uniform(15, 60) * time)
                course = middle * (1 + slide * (time / time[-1] - 0.5) + trill)
                phase = 2 * np.pi * np.cumsum(course) / sample_rate_hz
                note = np.sin(phase) + 0.1 * np.sin(2 * phase) + 0.03 * np.sin(3 * phase)
                note *= signal.windows.tukey(len(time), 0.4) * _db(self.level_db + rng.normal(0, 3))
                _place(samples, note, int(moment * sample_rate_hz))
                moment += len(time) / sample_rate_hz + rng.uniform(0.02, 0.1)


@dataclass(frozen=True)
class Rubbing(_Passing):
    """Twigs, straps and fur against the microphone: crackling bursts over a wide band."""

    level_db: float = -30.0
    rate_per_s: float = 0.8

    def add(self, samples, sample_rate_hz, rng):
        """Add it in place."""
        for moment in _moments(rng, self.rate_per_s, len(samples) / sample_rate_hz):
            count = int(rng.uniform(0.01, 0.25) * sample_rate_hz)
            crackle = rng.standard_normal(count) * rng.gamma(0.3, 1.0, count)
            band = signal.butter(1, (2e3, min(rng.uniform(15e3, 50e3), 0.45 * sample_rate_hz)), "band", fs=sample_rate_hz)
            rough = np.abs(signal.lfilter(*signal.butter(1, 120.0, fs=sample_rate_hz), rng.standard_normal(count)))
            piece = signal.lfilter(*band, crackle) * rough * signal.windows.tukey(count, 0.3)
            level = _db(self.level_db + rng.normal(0, 4))
            _place(samples, level * piece / (np.max(np.abs(piece)) or 1.0), int(moment * sample_rate_hz))
