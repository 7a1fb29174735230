"""How fast measuring is, beside one spectrogram of the same audio.

    python tests/benchmarks/speed.py                    the two ratios, on five minutes of a survey mix
    python tests/benchmarks/speed.py --memory           peak memory of measuring an hour in one file
    python tests/benchmarks/speed.py --growth           time against length of audio
    python tests/benchmarks/speed.py --workers 2        speed with workers over speed with one, on a night of the mix

The survey mix: 256 kHz, 16 bits, one file in five busy with two bats that make 20 pulses a second between
them, the rest a recorder's hiss, every other one with bush-crickets. Timed on our side is the whole of
``callkey measure`` (finding and reading the files, measuring, writing the tables) but for the start of its worker
process, whose task is done here, in the same process as the transforms. On the other side stands
the transform alone, of audio that already lies in memory:

(a) scipy.signal.ShortTimeFFT, Hann 512, half overlap, magnitude;
(b) the same as one scipy.fft.rfft over strided float32 frames, magnitude.

All in one process on one core, in turn, best of several rounds.
"""

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

# One thread a process, so that cores are compared and not thread pools. Must be set before numpy is loaded.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402
import scipy.fft  # noqa: E402
import soundfile  # noqa: E402
from scipy.signal import ShortTimeFFT  # noqa: E402
from scipy.signal.windows import hann  # noqa: E402

from classifier.simulate import BushCrickets, Flight, RecorderNoise, Scene, draw_call, render  # noqa: E402
from classifier.survey import measure_survey, measuring  # noqa: E402
from classifier.survey import workers as workers_module  # noqa: E402

RATE_HZ = 256_000
FILE_S = 12.0
FRAME, STEP = 512, 256
#: Files that one recorder brings home from a busy night (chosen): workers are compared on so many.
NIGHT_FILES = 600


def scene(number):
    """The ``number``-th file of the mix."""
    rng = np.random.default_rng(number)
    noise = [RecorderNoise(-85.0)]
    flights = []
    if number % 5 == 0:
        for bat, shape in enumerate(rng.choice(["FM-QCF", "QCF", "FM hyperbolic", "noctule-like"], 2, replace=False)):
            call = draw_call(str(shape), rng, sample_rate_hz=RATE_HZ)
            flights.append(
                Flight(
                    (call,),
                    interval_s=0.1,
                    level_db=rng.uniform(-50.0, -25.0),
                    start_s=0.03 + 0.05 * bat,
                    end_s=FILE_S - 0.1,
                    bat=bat + 1,
                    fade_db=6.0,
                )
            )
    elif number % 2:
        noise.append(BushCrickets(level_db=-45.0))
    return Scene(FILE_S, tuple(flights), tuple(noise)), rng


def make_mix(folder, files):
    """Write the mix; return the paths."""
    paths = []
    for number in range(files):
        path = folder / f"mix-{number:03d}.wav"
        drawn, rng = scene(number)
        samples = render(drawn, RATE_HZ, rng).samples
        soundfile.write(path, np.clip(samples, -1, 1), RATE_HZ, subtype="PCM_16")
        paths.append(path)
    return paths


def short_time(samples):
    """(a) as its documentation has it."""
    return np.abs(ShortTimeFFT(hann(FRAME, sym=False), STEP, fs=RATE_HZ).stft(samples))


def strided(samples):
    """(b) the least that can be done for the same numbers."""
    frames = np.lib.stride_tricks.sliding_window_view(samples, FRAME)[::STEP]
    return np.abs(scipy.fft.rfft(frames * hann(FRAME, sym=False).astype(np.float32), axis=1))


def here(function, tasks, workers, lost):
    """Stands in for ``classifier.survey.workers.run_tasks``: the tasks one after the other in this process."""
    yield from ((number, function(task)) for number, task in enumerate(tasks))


def measured(paths, workers=None):
    """Seconds that a whole run into a new survey folder takes, and pulses found; without workers, in this process."""
    measuring.run_tasks = workers_module.run_tasks if workers else here
    try:
        with tempfile.TemporaryDirectory() as folder:
            began = time.perf_counter()
            result = measure_survey(paths, Path(folder) / "survey", workers=workers or 1)
            return time.perf_counter() - began, result.pulses
    finally:
        measuring.run_tasks = workers_module.run_tasks


def ratios(paths, rounds):
    """Print both ratios."""
    audio = [soundfile.read(path, dtype="float32")[0] for path in paths]
    seconds = sum(len(samples) for samples in audio) / RATE_HZ
    best = {"measure": np.inf, "a": np.inf, "b": np.inf}
    pulses = 0
    for _ in range(rounds):
        for name, transform in (("a", short_time), ("b", strided)):
            began = time.perf_counter()
            for samples in audio:
                transform(samples)
            best[name] = min(best[name], time.perf_counter() - began)
        took, pulses = measured(paths)
        best["measure"] = min(best["measure"], took)
    print(f"{seconds:.0f} s of audio in {len(paths)} files, {pulses} pulses ({pulses / seconds:.1f} a second)")
    for name, words in (
        ("measure", "callkey measure, whole"),
        ("a", "(a) ShortTimeFFT, Hann 512"),
        ("b", "(b) rfft over strided frames"),
    ):
        print(f"{words:30} {best[name]:7.2f} s  {seconds / best[name]:6.0f} × real time")
    print(f"faster than (a): {best['a'] / best['measure']:.1f} ×   (target: at least 6)")
    print(f"time over (b):   {best['measure'] / best['b']:.2f} ×   (target: at most 2.5)")


def memory(paths):
    """Print the peak memory of measuring one file of an hour, in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        long = Path(folder) / "hour.wav"
        together(paths, long, 3600.0)
        command = [sys.executable, __file__, "--alone", str(long)]
        print(subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip())


def growth(paths):
    """Print the time for one, two and four times the audio in one file."""
    with tempfile.TemporaryDirectory() as folder:
        for seconds in (120.0, 240.0, 480.0):
            long = Path(folder) / "long.wav"
            together(paths, long, seconds)
            took = min(measured([long])[0] for _ in range(2))
            print(f"{seconds:5.0f} s of audio: {took:6.2f} s, {1e3 * took / seconds:.2f} ms a second")


def together(paths, target, seconds):
    """Write the files one after the other, round and round, until ``seconds`` are full."""
    left = round(seconds * RATE_HZ)
    with soundfile.SoundFile(target, "w", RATE_HZ, 1, "PCM_16") as out:
        while left > 0:
            for path in paths:
                samples = soundfile.read(path, dtype="int16")[0][:left]
                out.write(samples)
                left -= len(samples)


def side_by_side(paths, workers, rounds):
    """Print how much faster several workers are than one, starts included, on a night of files."""
    with tempfile.TemporaryDirectory(dir=paths[0].parent) as folder:
        night = [Path(folder) / f"{number:04d}.wav" for number in range(NIGHT_FILES)]
        for number, name in enumerate(night):
            os.link(paths[number % len(paths)], name)
        one = min(measured(night, 1)[0] for _ in range(rounds))
        more = min(measured(night, workers)[0] for _ in range(rounds))
    print(
        f"{NIGHT_FILES} files, {NIGHT_FILES * FILE_S / 60:.0f} min of audio: one worker {one:.2f} s, "
        f"{workers} workers {more:.2f} s: {one / more:.2f} × as fast   (target with two: 1.8)"
    )


def alone(path):
    """Measure one file and print the peak memory of this process."""
    from classifier.measure import measure_blocks
    from classifier.recordings import blocks, inspect

    base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    recording = inspect(path)
    reading = blocks(recording, frames=1 << 17)
    pulses = measure_blocks(reading, sample_rate_hz=RATE_HZ)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{recording.seconds:.0f} s in one file, {len(pulses)} pulses: peak {peak:.0f} MB"
        f" ({base:.0f} MB before the first block)   (target: under 400)"
    )


def main(arguments=None):
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=25, help="files in the mix, 12 s each")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--keep", metavar="FOLDER", help="keep the mix there, and use it if it is")
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--growth", action="store_true")
    parser.add_argument("--workers", type=int, help="compare this many workers with one")
    parser.add_argument("--alone", help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.alone:
        alone(options.alone)
        return
    folder = Path(options.keep or tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    try:
        paths = sorted(folder.glob("mix-*.wav"))[: options.files]
        if len(paths) < options.files:
            paths = make_mix(folder, options.files)
        if options.memory:
            memory(paths)
        elif options.growth:
            growth(paths)
        elif options.workers:
            side_by_side(paths, options.workers, options.rounds)
        else:
            ratios(paths, options.rounds)
    finally:
        if not options.keep:
            shutil.rmtree(folder)


if __name__ == "__main__":
    main()
