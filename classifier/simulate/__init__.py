"""Synthetic calls and scenes of known truth: what the accuracy benchmark, tests and the demo are made of."""

from classifier.simulate.calls import SHAPES, Call, Envelope
from classifier.simulate.demo import Demo, make_demo
from classifier.simulate.draw import draw_call
from classifier.simulate.files import wav_bytes, write_recording
from classifier.simulate.flights import Buzz, Flight
from classifier.simulate.heard import Echo, Heard, Path, synthesise
from classifier.simulate.noises import (
    BirdSong,
    BushCrickets,
    PinkNoise,
    Rain,
    RecorderNoise,
    Rubbing,
    Tones,
    WhiteNoise,
    Wind,
)
from classifier.simulate.scenes import (
    Rendered,
    Reverberation,
    Scene,
    density_of,
    level_for_snr,
    render,
)
from classifier.simulate.truth import metrics_of

__all__ = [
    "SHAPES",
    "BirdSong",
    "BushCrickets",
    "Buzz",
    "Call",
    "Demo",
    "Echo",
    "Envelope",
    "Flight",
    "Heard",
    "Path",
    "PinkNoise",
    "Rain",
    "RecorderNoise",
    "Rendered",
    "Reverberation",
    "Rubbing",
    "Scene",
    "Tones",
    "WhiteNoise",
    "Wind",
    "density_of",
    "draw_call",
    "level_for_snr",
    "make_demo",
    "metrics_of",
    "render",
    "synthesise",
    "wav_bytes",
    "write_recording",
]
