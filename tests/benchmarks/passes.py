"""How well pulses are put into passes, and how fast: scenes of known truth from tests/passes/scenes.py.

Run by hand: python tests/benchmarks/passes.py [--scenes N] [--seed N] [--only WORD]. Prints, per kind of scene, the
adjusted Rand index at 15 dB and more (mean over scenes, and over all pulses), the share of scenes under
0.97, how often a bat's pass was split and bats were merged, what became of false pulses and echoes, and
pulses a second. A bat that is silent (to the detector) for longer than the gap counts as two true passes.
"""

import argparse
import multiprocessing
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import polars as pl
from sklearn.metrics import adjusted_rand_score

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "passes")]

from scenes import SceneSettings, draw_bats, scene, true_passes  # noqa: E402

from classifier.passes import PassSettings, follow  # noqa: E402

ALTERNATING = ("Nyctalus noctula", "Barbastella barbastellus", "Chalinolobus gouldii")
TONES = ("Rhinolophus ferrumequinum", "Rhinolophus hipposideros")
SWEEPS = ("Myotis daubentonii", "Myotis nattereri", "Myotis mystacinus", "Plecotus auritus", "Mystacina tuberculata")
FLAT = (
    "Pipistrellus pipistrellus",
    "Pipistrellus pygmaeus",
    "Pipistrellus nathusii",
    "Nyctalus leisleri",
    "Eptesicus serotinus",
    "Miniopterus orianae oceanensis",
    "Vespadelus vulturnus",
    "Austronomus australis",
)
STEADY = SceneSettings(change_rate=0.05)

#: Name of the kind of scene: bats, same species, settings, species.
CASES = {
    "one bat": (1, False, SceneSettings(), None),
    "one bat, call changes often": (1, False, SceneSettings(change_rate=0.6), None),
    "one bat, faint": (1, False, SceneSettings(peak_snr_db=(12.0, 18.0)), None),
    "one bat, many false pulses": (1, False, SceneSettings(false_rate=2.0, echo_share=0.3), None),
    "one bat, two call types": (1, False, SceneSettings(), ALTERNATING),
    "one bat, feeding buzz": (1, False, SceneSettings(buzz_share=1.0, pass_s=(4.0, 10.0)), FLAT + SWEEPS),
    "two bats, species mixed": (2, False, SceneSettings(), None),
    "three bats, species mixed": (3, False, SceneSettings(), None),
    "two bats, one feeding": (2, False, SceneSettings(buzz_share=0.5), FLAT),
    "two alike, flat calls": (2, True, STEADY, FLAT),
    "two alike, sweeps": (2, True, STEADY, SWEEPS),
    "two alike, tones": (2, True, STEADY, TONES),
    "two alike, two call types each": (2, True, STEADY, ALTERNATING),
    "three alike, flat calls": (3, True, STEADY, FLAT),
}


def run_case(name, count, *, gap_s=1.0, settings=PassSettings(), seed=1):
    """Figures of ``count`` scenes of one kind, as a dict of numbers."""
    bats, same, scene_settings, names = CASES[name]
    rng = np.random.default_rng(seed)
    rows, pulses, seconds = [], 0, 0.0
    for _ in range(count):
        made = scene(rng, draw_bats(rng, bats, same=same, settings=scene_settings, names=names), settings=scene_settings)
        begun = time.process_time()
        found = follow(made.pulses, made.recordings, gap_s=gap_s, settings=settings)
        seconds += time.process_time() - begun
        pulses += made.pulses.height
        rows.append(score(made, found, gap_s))
    figures = {}
    for key in rows[0]:
        known = [row[key] for row in rows if not np.isnan(row[key])]
        figures[key] = float(np.mean(known)) if known else np.nan
    figures["under"] = float(np.mean([row["rand"] < 0.97 for row in rows]))
    figures["speed"] = pulses / seconds
    return name, figures


def score(made, found, gap_s):
    """Agreement of one scene: Rand index at 15 dB, true passes split and found passes merged, strays, buzz."""
    truth = true_passes(made, gap_s=gap_s)
    given = found.pulses["pass"].fill_null(0).to_numpy().astype(np.int64)
    given = np.where(given == 0, -np.arange(1, len(given) + 1), given)
    kind = made.truth["kind"].to_numpy()
    strong = (kind == "call") & (made.truth["snr"].to_numpy() >= 15)
    call = kind == "call"
    firm = [each for each in np.unique(truth[call]) if (truth == each).sum() >= 3]
    split = [np.mean(given[truth == each] != _mode(given[truth == each])) > 0.1 for each in firm]
    home = {_mode(given[truth == each]) for each in firm}
    buzz, said = made.truth["in_buzz"].to_numpy(), found.pulses["in_buzz"].to_numpy()
    taken = np.isin(given, list(home))
    return {
        "rand": adjusted_rand_score(truth[strong], given[strong]) if strong.sum() > 1 else np.nan,
        "split": np.mean(split) if split else np.nan,
        "merged": 1 - len(home) / len(firm) if firm else np.nan,
        "false in": taken[kind == "false"].mean() if (kind == "false").any() else np.nan,
        "echo in": taken[kind == "echo"].mean() if (kind == "echo").any() else np.nan,
        "buzz found": said[buzz].mean() if buzz.any() else np.nan,
        "buzz wrong": said[~buzz].mean(),
    }


def speed(files=200, seed=3):
    """Pulses a second through follow, one call for a survey in which one file in five holds two bats."""
    rng = np.random.default_rng(seed)
    made = [
        scene(rng, draw_bats(rng, 2 if number % 5 == 0 else 1, same=False), recording=f"site/{number:04d}.wav")
        for number in range(files)
    ]
    pulses = pl.concat([each.pulses for each in made])
    recordings = pl.concat([each.recordings for each in made])
    follow(pulses, recordings, gap_s=1.0)  # the first run compiles
    begun = time.process_time()
    follow(pulses, recordings, gap_s=1.0)
    return pulses.height / (time.process_time() - begun)


def crowd_speed(bats=12, seed=4):
    """Pulses a second where many bats call at once: the bound on a busy file."""
    rng = np.random.default_rng(seed)
    made = scene(rng, draw_bats(rng, bats, same=False))
    begun = time.process_time()
    follow(made.pulses, made.recordings, gap_s=1.0)
    return made.pulses.height / (time.process_time() - begun), made.pulses.height


def _mode(values):
    values, counts = np.unique(values, return_counts=True)
    return values[np.argmax(counts)]


def _job(job):
    name, count, seed = job
    return run_case(name, count, seed=seed)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=100)
    parser.add_argument("--only", default="")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    names = [name for name in CASES if given.only in name]
    if not given.only:
        print(f"survey of 200 files, one in five with two bats: {speed():.0f} pulses a second")
        rate, count = crowd_speed()
        print(f"twelve bats at once, {count} pulses: {rate:.0f} pulses a second")
    columns = ("rand", "under", "split", "merged", "false in", "echo in", "buzz found", "buzz wrong", "speed")
    print(f"{'':32s}" + "".join(f"{column:>11s}" for column in columns))
    # Spawned, not forked: the tables' library has threads of its own.
    # An executor, not a plain pool: that one waits for ever, in silence, for a worker that was killed.
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        for name, figures in pool.map(_job, [(name, given.scenes, given.seed) for name in names]):
            print(
                f"{name:32s}" + "".join(f"{figures[column]:11.3f}" for column in columns[:-1]) + f"{figures['speed']:11.0f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
