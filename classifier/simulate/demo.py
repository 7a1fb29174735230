"""The demo survey: recordings and truth tables made from a recipe (TOML), such as demo.toml beside this
file.

A recipe holds an invented survey: its place and weather, call types with their sources, recorders, and
recordings with the bats that fly through them. The same recipe gives the same files.
"""

import tomllib
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import resources
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

from classifier import __version__
from classifier.errors import InputError, ParameterError
from classifier.metrics import METRICS
from classifier.plan.absorption import Weather
from classifier.simulate import noises
from classifier.simulate.calls import Call, Envelope
from classifier.simulate.files import write_recording
from classifier.simulate.flights import Buzz, Flight
from classifier.simulate.heard import Echo
from classifier.simulate.heard import Path as FlightPath
from classifier.simulate.scenes import Reverberation, Scene, render

_ONSET, _DURATION = METRICS["onset"].column, METRICS["duration"].column
_NOISES = {
    "recorder": noises.RecorderNoise,
    "white": noises.WhiteNoise,
    "pink": noises.PinkNoise,
    "rain": noises.Rain,
    "wind": noises.Wind,
    "bush-crickets": noises.BushCrickets,
    "tones": noises.Tones,
    "bird song": noises.BirdSong,
    "rubbing": noises.Rubbing,
}


@dataclass(frozen=True)
class Demo:
    """What make_demo wrote.

    folder      where it all lies; paths in the tables are relative to it
    recordings  the sound files, sorted
    truth       truth.csv: a row per pass and recording (pass, taxon, recording, start_s, end_s, pulses,
                individual, site, date, feeding_buzz, identified_by); start and end from the first to the
                last pulse, 20 ms either side. A table of reference calls as ``callkey compare`` takes it
    pulses      truth_pulses.csv: a row per pulse, with what a perfect measurement would give
    timezone    name of the zone that the recorders' clocks keep
    """

    folder: Path
    recordings: tuple[Path, ...]
    truth: Path
    pulses: Path
    timezone: str


def make_demo(folder, *, recipe=None, progress=None):
    """Make the recordings and truth tables of a recipe.

    Parameters
    ----------
    folder : path; made if need be. Files of the same names are written over, others are left alone
    recipe : path of a TOML recipe; None for the demo that comes with the program
    progress : called with (done, total) after each recording, or None

    Returns
    -------
    Demo

    Raises
    ------
    InputError : the recipe cannot be read, or a part of it makes no sense; the message names file and part
    """
    folder = Path(folder)
    text, name = _recipe_text(recipe)
    try:
        plan = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name}: this is not valid TOML ({error}); mend the recipe") from None
    try:
        return _make(folder, plan, progress)
    except KeyError as error:
        raise InputError(f"{name}: the recipe needs {error} and does not have it") from None
    except (TypeError, ParameterError) as error:
        raise InputError(f"{name}: a part of the recipe makes no sense ({error})") from None


def _recipe_text(recipe):
    if recipe is None:
        return resources.files("classifier.simulate").joinpath("demo.toml").read_text(encoding="utf-8"), "demo.toml"
    try:
        return Path(recipe).read_text(encoding="utf-8"), str(recipe)
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{recipe}: the recipe cannot be read ({error}); give a TOML file in UTF-8") from None


def _make(folder, plan, progress):
    survey = plan["survey"]
    calls = {name: _call(entry) for name, entry in plan["calls"].items()}
    seconds, rows, passes_before, bats_before = {}, [], 0, 0
    for place, entry in enumerate(plan["recordings"]):
        recorder = plan["recorders"][entry["recorder"]]
        scene = _scene(entry, survey, calls)
        rate = float(recorder["sample_rate_hz"])
        rng = np.random.default_rng([survey["seed"], zlib.crc32(f"{entry['recorder']} {entry['starts_at']}".encode())])
        rendered = render(scene, rate, rng)
        truth = rendered.truth.with_columns(pl.col("pass") + passes_before, pl.col("bat") + bats_before)
        passes_before = max([passes_before, *truth["pass"].to_list()])
        bats_before = max([bats_before, *truth["bat"].to_list()])
        files = _write_files(folder, survey, recorder, entry, rendered.samples, rate, truth)
        for path, saved_s, part in files:
            seconds[path] = saved_s
            rows.append(part)
        if progress is not None:
            progress(place + 1, len(plan["recordings"]))
    pulses = pl.concat(rows)
    truth_path, pulses_path = folder / "truth.csv", folder / "truth_pulses.csv"
    pulses.write_csv(pulses_path, float_precision=6)
    pass_table(pulses, seconds).write_csv(truth_path, float_precision=4)
    recordings = tuple(folder / path for path in sorted(seconds))
    return Demo(folder, recordings, truth_path, pulses_path, survey["timezone"])


def _call(entry):
    entry = {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}
    entry.pop("source", None)
    if "envelope" in entry:
        entry["envelope"] = Envelope(**entry["envelope"])
    return Call(**entry)


def _scene(entry, survey, calls):
    flights = tuple(_flight(number, flight, calls) for number, flight in enumerate(entry.get("flights", ()), start=1))
    sounds = tuple(_noise(noise) for noise in entry["noises"])
    reverberation = Reverberation(**entry["reverberation"]) if "reverberation" in entry else None
    return Scene(entry["seconds"], flights, sounds, reverberation, Weather(**survey["weather"]), survey["gap_s"])


def _noise(entry):
    entry = {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}
    return _NOISES[entry.pop("kind")](**entry)


def _flight(number, entry, calls):
    entry = dict(entry)
    types = tuple(calls[name] for name in entry.pop("calls"))
    for name, kind in (("path", FlightPath), ("buzz", Buzz)):
        if name in entry:
            entry[name] = kind(**entry[name])
    entry["echoes"] = tuple(Echo(**echo) for echo in entry.get("echoes", ()))
    entry["pauses"] = tuple(tuple(pause) for pause in entry.get("pauses", ()))
    return Flight(types, bat=number, taxon=types[0].taxon, **entry)


def _write_files(folder, survey, recorder, entry, samples, rate, truth):
    """Cut a scene at its file ends, write the files; of each (path, seconds saved, rows of the truth)."""
    starts_at = datetime.fromisoformat(f"{entry['starts_at']}{survey['utc_offset']}")
    edges = [0.0, *entry.get("files_end_s", ()), entry["seconds"]]
    expansion, keep = entry.get("time_expansion", 1), entry.get("keep", 1.0)
    for begin, end in pairwise(edges):
        clock = starts_at + timedelta(seconds=begin)
        path = f"{entry['recorder']}/{clock:%Y%m%d_%H%M%S}.{entry.get('format', 'wav')}"
        metadata = {
            "Timestamp": clock.isoformat(),
            "Loc Position": f"{recorder['latitude']} {recorder['longitude']}",
            "Site": entry["recorder"],
            "Make": recorder["make"],
            "Model": recorder["model"],
            "Serial": recorder["serial"],
            "Temperature Ext": survey["weather"]["temperature_c"],
            "Note": f"simulated, {survey['name']}, callkey {__version__}",
        }
        if expansion == 1:
            metadata["Samplerate"] = round(rate)
        part = samples[round(begin * rate) : round(end * rate)]
        write_recording(folder / path, part, rate, time_expansion=expansion, metadata=metadata, keep=keep)
        # A pulled card loses the end of the file: what lay there was never recorded. (44 bytes of header.)
        saved = begin + (end - begin if keep == 1.0 else max(0.0, keep * (end - begin) - 44 / 2 / rate))
        middle = pl.col(_ONSET) + pl.col(_DURATION) / 2e3
        rows = truth.filter((middle >= begin) & (middle < saved))
        stop = rows[_ONSET] + rows[_DURATION] / 1e3
        numbers = {old: new for new, old in enumerate(rows["pulse"], start=1)}
        rows = rows.with_columns(
            pl.col(_ONSET) - begin,
            pl.col("pulse", "echo_of").replace_strict(numbers, default=None, return_dtype=pl.Int32),
            cut=pl.Series((rows[_ONSET] < begin) | (stop > saved), dtype=pl.Boolean),
        )
        about = {"recording": path, "site": entry["recorder"], "date": f"{_night(clock):%Y-%m-%d}"}
        words = (pl.lit(value).alias(name) for name, value in about.items())
        yield path, saved - begin, rows.select(*words, pl.all())


def _night(clock):
    """Date of the evening that a night belongs to: nights run from noon to noon."""
    return (clock - timedelta(hours=12)).date()


def pass_table(pulses, seconds):
    """The passes of a truth table of pulses, a row per pass and recording; ``seconds``: recording -> length."""
    return (
        pulses.filter(~pl.col("echo"))
        .group_by("pass", "recording", maintain_order=True)
        .agg(
            pl.col("taxon").first(),
            start_s=(pl.col(_ONSET).min() - 0.02).clip(0.0),
            end_s=pl.min_horizontal(
                (pl.col(_ONSET) + pl.col(_DURATION) / 1e3).max() + 0.02,
                pl.col("recording").first().replace_strict(seconds or {"": 0.0}, return_dtype=pl.Float64),
            ),
            pulses=pl.len(),
            individual=pl.format("bat {}", pl.col("bat").first()),
            site=pl.col("site").first(),
            date=pl.col("date").first(),
            feeding_buzz=pl.col("in_buzz").any(),
            identified_by=pl.lit("simulated"),
        )
        .select(
            "pass",
            "taxon",
            "recording",
            "start_s",
            "end_s",
            "pulses",
            "individual",
            "site",
            "date",
            "feeding_buzz",
            "identified_by",
        )
        .sort("pass", "recording")
    )
