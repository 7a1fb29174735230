"""The speed benchmark runs, in small; how fast it finds measuring is for people to read, never a test."""

import importlib.util
import re
from pathlib import Path

SPEED = Path(__file__).parent / "speed.py"


def _speed():
    spec = importlib.util.spec_from_file_location("speed", SPEED)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_both_ratios_are_printed_and_the_busy_file_has_its_pulses(capsys, tmp_path):
    speed = _speed()
    speed.main(["--files", "2", "--rounds", "1", "--keep", str(tmp_path)])
    out = capsys.readouterr().out
    assert re.search(r"faster than \(a\): +[\d.]+ ×", out)
    assert re.search(r"time over \(b\): +[\d.]+ ×", out)
    seconds, pulses = map(int, re.search(r"(\d+) s of audio in 2 files, (\d+) pulses", out).groups())
    assert seconds == 24
    # two bats at 20 pulses a second between them in the first file, hiss and insects in the second
    assert 0.85 * 240 < pulses < 1.1 * 240


def test_files_are_laid_end_to_end_until_the_time_is_full(tmp_path):
    import soundfile

    speed = _speed()
    paths = speed.make_mix(tmp_path, 1)
    speed.together(paths, tmp_path / "long.wav", 15.0)
    info = soundfile.info(tmp_path / "long.wav")
    assert info.frames == 15 * speed.RATE_HZ
    assert (info.samplerate, info.subtype) == (speed.RATE_HZ, "PCM_16")
