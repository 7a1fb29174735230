"""From sound to label: the independent populations rendered as recordings, measured, followed and labelled.

The other tests of the keys draw tables of metrics; here the metrics are measured, so that what measuring makes of a
call (the span, the flattest stretch, the tail) is in the labels.
"""

import numpy as np
import polars as pl
import pytest
from populations import populations

from classifier.label import label
from classifier.measure.meter import measure_blocks
from classifier.passes import follow
from classifier.simulate import Call, Flight, Scene, WhiteNoise, level_for_snr, render

RATE_HZ = 384_000
NOISE = WhiteNoise(level_db=-80)
#: Golden-tipped bats: some 45 kHz/ms, of which measuring finds a part only (a known limit of measuring).
TOO_STEEP = {"Phoniscus papuensis"}


def call_of(row, rng):
    """A bat's call about a population's means: bats differ here, pulses by the jitter of a Flight."""
    duration = float(row["duration_ms"]) * 1e-3 * np.exp(rng.normal(0, 0.12))
    if not row["flat_khz"]:
        start, end = float(row["start_khz"]), float(row["end_khz"])
        ends = start * np.exp(rng.normal(0, 0.05)), end * np.exp(rng.normal(0, 0.03))
        return Call("FM hyperbolic", duration, 1e3 * ends[0], 1e3 * ends[1])
    flat = float(row["flat_khz"]) + rng.normal(0, float(row["between_khz"]))
    tail = float(row["tail_khz"] or 0)
    if row["form"] == "tone":
        corners = {"knee_s": 0.002, "knee_hz": 1e3 * flat, "body_s": duration - 0.003, "body_hz": 1e3 * flat}
        return Call("CF-FM", duration, 1e3 * (flat - 8), 1e3 * (flat + tail), bend_s=0.0004, **corners)
    sweep = (float(row["start_khz"]) - float(row["flat_khz"])) * np.exp(rng.normal(0, 0.2))
    if sweep < 7:
        return Call("QCF", duration, 1e3 * (flat + sweep), 1e3 * flat, curvature=0.85)
    slope = float(row["slope_khz_per_ms"]) * np.exp(rng.normal(0, 0.35))
    knee_s, body_s = min(0.3 * duration, 0.0022), (0.85 if tail else 0.96) * duration
    knee = min(flat - slope * 1e3 * (body_s - knee_s), flat + 0.6 * sweep)
    corners = {"knee_s": knee_s, "knee_hz": 1e3 * knee, "body_s": body_s, "body_hz": 1e3 * flat}
    return Call("FM-QCF", duration, 1e3 * (flat + sweep), 1e3 * (flat + tail), bend_s=0.06 * duration, **corners)


def recorded(types, rng):
    """The pulses measured in a recording of one bat, ten of its intervals long, at 22 to 38 dB."""
    interval_s = float(types[0]["interval_ms"]) * 1e-3
    calls = tuple(call_of(row, rng) for row in types)
    level_db = level_for_snr(calls[0], rng.uniform(22, 38), (NOISE,), RATE_HZ)
    flight = Flight(calls, interval_s=interval_s, level_db=level_db, bat=1, fade_db=6)
    scene = Scene(10 * interval_s, flights=(flight,), noises=(NOISE,))
    return measure_blocks([render(scene, RATE_HZ, rng).samples[:, None]], sample_rate_hz=RATE_HZ)


@pytest.mark.parametrize("key", ["britain-and-ireland", "new-zealand", "south-east-australia"])
def test_definite_labels_of_recordings_are_right(compiled, key):
    rng = np.random.default_rng(11)
    bats = [each for each in populations(key, compiled(key), "independent_populations") if each[0] not in TOO_STEEP]
    # enough passes that one more or less does not decide
    bats *= 3 if key == "new-zealand" else 2
    truth = {f"{number:05}.wav": taxon for number, (taxon, _) in enumerate(bats)}
    pulses = pl.concat(
        recorded(types, rng).with_columns(pl.lit(name).alias("recording")) for name, (_, types) in zip(truth, bats, strict=True)
    )
    nothing = {"night": pl.Date, "starts_at": pl.String, "latitude": pl.Float64, "longitude": pl.Float64}
    recordings = pl.DataFrame({"path": list(truth)}).with_columns(
        pl.lit("site").alias("site"),
        pl.lit("recorder").alias("recorder"),
        pl.lit(5.0).alias("seconds"),
        *(pl.lit(None, kind).alias(name) for name, kind in nothing.items()),
    )
    followed = follow(pulses, recordings, gap_s=compiled(key).gap_s)
    passes = label(pulses, recordings, followed, compiled(key)).passes
    members = {group.name: {each.name for each in group.members} for group in compiled(key).key.groups.values()}
    right = [
        truth[recording] == called or truth[recording] in members.get(called, ())
        for recording, called in passes.select("recording", "label").iter_rows()
    ]
    passes = passes.with_columns(pl.Series("right", right))
    definite = passes.filter(pl.col("tier") == "definite")
    named = passes.filter(~pl.col("label").is_in(["unidentified", "not a bat"]))
    assert definite.height >= 0.3 * passes.height
    assert definite["right"].all(), definite.filter(~pl.col("right")).select("recording", "label", "trail").rows()
    assert named.height >= 0.85 * passes.height
    assert named["right"].mean() >= 0.95
