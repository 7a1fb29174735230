"""A small survey, made once: two bats in turn, a file that is no recording, and a key for them."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from classifier.commands.application import application
from classifier.simulate import Call, Flight, Scene, WhiteNoise, level_for_snr, render

RATE_HZ = 256_000

KEY = """\
key "Sallow Fen" version 2
taxon Examplia grandis "great bat"
    status "vulnerable (invented list)"
taxon Examplia vespera
taxon Examplia matutina
group "twin bats" Examplia vespera, Examplia matutina

gate
    snr >= 8 dB

couplet 1 "how low is the flat part?"
    1a characteristic_frequency < 30 kHz ± 1 kHz    => Examplia grandis
    1b otherwise                                    => 2
couplet 2 "which of the twins?"
    2a characteristic_frequency < 47 kHz ± 5 kHz    => Examplia vespera
    2b otherwise                                    => Examplia matutina

passes
    gap 1 s
    at least 3 pulses
    definite when support >= 90 % and clear >= 5
    probable when support >= 70 % and clear >= 3
    possible otherwise
"""

GREAT = Call("QCF", 0.012, 24e3, 21e3, curvature=0.8, taxon="Examplia grandis")
TWIN = Call(
    "FM-QCF",
    0.006,
    75e3,
    47e3,
    knee_s=0.0012,
    knee_hz=50e3,
    body_s=0.005,
    body_hz=47e3,
    bend_s=0.0003,
    taxon="Examplia vespera",
)


def write_recording(path, call, *, seconds=1.6, interval_s=0.12, seed=1):
    """A recording of one bat at 35 dB over white noise."""
    noise = WhiteNoise(level_db=-80)
    level = level_for_snr(call, 35, (noise,), RATE_HZ)
    scene = Scene(seconds, flights=(Flight((call,), interval_s=interval_s, level_db=level, bat=1),), noises=(noise,))
    got = render(scene, RATE_HZ, np.random.default_rng(seed))
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, got.samples, RATE_HZ, subtype="PCM_16")


@pytest.fixture(scope="session")
def field(tmp_path_factory) -> Path:
    """A folder with recordings/fen/*.wav, one of them faulty, fen.key and an empty place to work in."""
    folder = tmp_path_factory.mktemp("field")
    write_recording(folder / "recordings" / "fen" / "20240603_220000.wav", GREAT)
    write_recording(folder / "recordings" / "fen" / "20240603_220500.wav", TWIN, seed=2)
    (folder / "recordings" / "fen" / "20240603_221000.wav").write_text("this is a text\n")
    (folder / "fen.key").write_text(KEY, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def runner():
    """Runs a command line inside this process."""
    return CliRunner()


@pytest.fixture(scope="session")
def callkey(runner):
    """Call the command with its words as arguments."""
    return lambda *words: runner.invoke(application, [str(word) for word in words])


@pytest.fixture(scope="session")
def labelled(field, callkey):
    """The survey folder after `callkey label`, and what that printed."""
    result = callkey(
        "label",
        field / "recordings",
        "--key",
        field / "fen.key",
        "-o",
        field / "survey",
        "--timezone",
        "+01:00",
        "--workers",
        1,
    )
    return field / "survey", result
