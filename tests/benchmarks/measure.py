"""How true measuring and pass-following are: synthetic scenes of known truth, measured and scored.

    python tests/benchmarks/measure.py --quick                    some 20 s, to run over and over while
    tuning python tests/benchmarks/measure.py --workers 2                the full benchmark
    python tests/benchmarks/measure.py --shape FM-QCF --snr 15    one corner of it

Per shape and noise level it prints pulses found, pulses reported that are none, and of each metric the
bias, the median and the 95th percentile of the error's size, the share of pulses whose true value lies
within ± 2 standard errors, and the spread over the Cramér–Rao bound where there is a bound to speak of;
then passes, tones and silence. Errors count pulses heard clear of others (not overlapped, not cut, not of a
buzz); pulses found count all.
"""

import argparse
import json
import multiprocessing
import os
import pickle
import sys
import time
import zlib
from functools import lru_cache
from pathlib import Path

# One thread a process, so that the speed printed is that of one core. Must be set before numpy is loaded.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import cases as cases_module
import polars as pl
from cases import FAMILIES, GAP_S, SNRS_DB, cases, render_case
from scoring import score, score_passes
from summary import clear, error_summary, found_summary, headline, meets, silence_summary

import classifier.simulate
from classifier.metrics import FLAGS, MEASURED
from classifier.simulate import SHAPES

BLOCK_FRAMES = 1 << 17


def default_measure(samples, rate_hz):
    """Pulses of a scene as classifier.measure sees them, read in blocks as a file is."""
    from classifier.measure import measure_blocks

    column = samples[:, None]
    blocks = (column[at : at + BLOCK_FRAMES] for at in range(0, len(column), BLOCK_FRAMES))
    return measure_blocks(blocks, sample_rate_hz=rate_hz)


def default_follow(pulses, seconds, rate_hz):
    """Column of pass numbers beside the pulses, as classifier.passes gives them."""
    from classifier.passes import follow

    recordings = pl.DataFrame(
        {
            "path": ["scene.wav"],
            "bytes": [0],
            "sample_rate": [rate_hz],
            "channels": [1],
            "seconds": [seconds],
            "time_expansion": [1.0],
            "starts_at": ["2026-06-01T22:00:00+01:00"],
            "night": ["2026-06-01"],
            "site": ["bench"],
            "latitude": [None],
            "longitude": [None],
            "recorder": ["simulated"],
            "status": ["ok"],
            "message": [""],
        }
    )
    named = pulses.with_columns(recording=pl.lit("scene.wav"))
    return follow(named, recordings, gap_s=GAP_S).pulses["pass"]


def run_case(case, measure=default_measure, follow=default_follow, keep=None):
    """Rows (one per true pulse) and a dict of counts of one case; ``follow`` None leaves passes out,
    ``keep`` is a folder that rendered scenes are kept in."""
    rendered, rate, noise_name, noise = kept(case, keep) if keep else render_case(case)
    began = time.perf_counter()
    measured = measure(rendered.samples, rate)
    took = time.perf_counter() - began
    rows, counts = score(rendered.truth, rendered.pulses, measured, rate_hz=rate, noise=noise)
    words = {"family": case.family, "kind": case.kind, "snr": case.snr_db, "number": case.number}
    rows = rows.with_columns(
        *(pl.lit(value).alias(name) for name, value in words.items()),
        noise=pl.lit(noise_name),
        rate=pl.lit(rate),
    )
    counts = words | {"noise": noise_name, "rate": rate, "seconds": case.seconds, "took": took} | counts
    counts |= {"rand": None, "passes_right": 0, "passes": 0}
    if follow is not None and case.family in ("one", "several", "gap", "flyby", "echo") and len(measured):
        passes = follow(measured, case.seconds, rate)
        index, right, number = score_passes(rendered.truth, measured, passes)
        counts |= {"rand": float(index), "passes_right": right, "passes": number}
    return rows, counts


def kept(case, folder):
    """render_case, from ``folder`` if the scene was rendered before with the same simulator."""
    path = Path(folder) / f"{_digest()}-{zlib.crc32(repr(case).encode()):08x}.pickle"
    if path.exists():
        return pickle.loads(path.read_bytes())
    rendered = render_case(case)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pickle.dumps(rendered))
    return rendered


@lru_cache(maxsize=1)
def _digest():
    """Digest of everything that decides what a scene sounds like."""
    folder = Path(classifier.simulate.__file__).parent
    sources = [*sorted(folder.glob("*.py")), Path(cases_module.__file__)]
    return f"{zlib.crc32(b''.join(path.read_bytes() for path in sources)):08x}"


def _run_case(job):
    case, with_passes, keep = job
    return run_case(case, follow=default_follow if with_passes else None, keep=keep)


def run(chosen, *, workers=1, with_passes=True, keep=None, progress=None):
    """Scores of many cases.

    Returns
    -------
    rows, scenes : DataFrames, a row per true pulse and a row per case; the same whatever the number of
    workers
    """
    jobs = [(case, with_passes, keep) for case in chosen]
    if workers > 1:
        with multiprocessing.get_context("spawn").Pool(workers) as pool:
            results = [_note(progress, result) for result in pool.imap(_run_case, jobs, chunksize=1)]
    else:
        results = [_note(progress, _run_case(job)) for job in jobs]
    rows = [result[0] for result in results if len(result[0])]
    return (
        pl.concat(rows, how="vertical_relaxed") if rows else pl.DataFrame(),
        pl.DataFrame([result[1] for result in results], infer_schema_length=None),
    )


def _note(progress, result):
    if progress is not None:
        progress()
    return result


def perfect(rendered):
    """What flawless measuring would report: the truth as a table of pulses (to test the benchmark itself)."""
    columns = [metric.column for metric in MEASURED] + list(FLAGS)
    return rendered.truth.select(*columns)


def show(rows, scenes, *, detail=True):
    """Print the tables."""
    from rich.console import Console
    from rich.table import Table

    console = Console(width=None if sys.stdout.isatty() else 150)

    def table(title, frame):
        view = Table(title=title, title_justify="left", box=None, padding=(0, 1), header_style="bold")
        for name in frame.columns:
            view.add_column(name, justify="left" if frame[name].dtype == pl.String else "right")
        for row in frame.iter_rows():
            view.add_row(*(_cell(value) for value in row))
        if len(frame):
            console.print(view)

    if len(rows):
        table("pulses and passes (percent; false ones of those reported)", found_summary(rows, scenes))
        calls = clear(rows.filter(pl.col("family") != "tone"))
        if detail:
            for (kind, snr), part in calls.group_by(["kind", "snr"], maintain_order=True):
                table(f"{kind}, {snr:g} dB", error_summary(part))
        table("all calls, 15 dB and more", error_summary(calls.filter(pl.col("true_snr") >= 14.5)))
        tones = error_summary(clear(rows.filter(pl.col("family") == "tone")))
        table("tones, all levels", tones)
    table("without bats", silence_summary(scenes))
    goals = [
        {"figure": name, "value": value, "target": target, "": "" if meets(value, target) else "missed"}
        for name, (value, target) in headline(rows, scenes).items()
    ]
    table("targets", pl.DataFrame(goals))
    audio, took = scenes["seconds"].sum(), scenes["took"].sum()
    console.print(
        f"{audio:.0f} s of audio in {len(scenes)} scenes, measured in {took:.1f} s ({audio / max(took, 1e-9):.0f} × real time)"
    )


def _cell(value):
    if value is None or value != value:
        return ""
    return value if isinstance(value, str) else f"{value:d}" if isinstance(value, int) else f"{value:.4g}"


def main(arguments=None):
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few scenes and two noise levels")
    parser.add_argument("--scenes", type=int, help="scenes per shape and noise level (default 4, quick 2)")
    parser.add_argument("--first", type=int, default=0, help="number of the first scene: draws other scenes")
    parser.add_argument("--shape", action="append", choices=SHAPES, help="only this shape; may be repeated")
    parser.add_argument("--snr", action="append", type=float, help="only this noise level, dB; may be repeated")
    parser.add_argument("--family", action="append", choices=FAMILIES, help="only these; may be repeated")
    parser.add_argument("--silence", type=float, help="seconds of each kind of silence (default 60, quick 10)")
    parser.add_argument("--keep", metavar="FOLDER", help="keep rendered scenes there, and use those that are")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--no-passes", action="store_true", help="leave pass-following out")
    parser.add_argument("--short", action="store_true", help="no table per shape and noise level")
    parser.add_argument("--json", action="store_true", help="print the target figures as JSON, no tables")
    options = parser.parse_args(arguments)
    chosen = cases(
        scenes=options.scenes or (2 if options.quick else 4),
        silence_s=options.silence or (10.0 if options.quick else 60.0),
        first=options.first,
        shapes=tuple(options.shape or SHAPES),
        snrs=tuple(options.snr or ((15.0, 25.0) if options.quick else SNRS_DB)),
        families=tuple(options.family or FAMILIES),
    )
    began = time.perf_counter()
    rows, scenes = run(chosen, workers=options.workers, with_passes=not options.no_passes, keep=options.keep)
    if options.json:
        figures = headline(rows, scenes).items()
        print(
            json.dumps(
                {name: {"value": value, "target": target, "met": meets(value, target)} for name, (value, target) in figures},
                indent=1,
            )
        )
        return
    show(rows, scenes, detail=not (options.quick or options.short))
    print(f"{time.perf_counter() - began:.1f} s in all")


if __name__ == "__main__":
    main()
