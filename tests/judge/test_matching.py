"""True passes beside found passes, worked by hand."""

import polars as pl

from classifier.judge.matching import match_passes

TRUTH = pl.DataFrame(
    [("a.wav", 1, "Examplia minor", False, 0.1 * i, 40.0) for i in range(6)]
    + [("a.wav", 2, "Examplia major", False, 0.1 * i + 0.001, 60.0) for i in range(4)]
    + [("a.wav", 2, "Examplia major", True, 0.1 * i + 0.011, 60.0) for i in range(4)]
    + [("b.wav", 3, "Auritia ripae", False, 0.2, 30.0)],
    schema=["recording", "pass", "taxon", "echo", "onset_s", "peak_frequency_khz"],
    orient="row",
)

PULSES = pl.DataFrame(
    [("a.wav", 7, 0.1 * i + 0.0002, 40.3) for i in range(5)]
    + [("a.wav", 8, 0.1 * i + 0.0012, 59.0) for i in range(3)]
    + [("a.wav", None, 0.011, 60.0), ("a.wav", 9, 0.75, 40.0)],
    schema={
        "recording": pl.String,
        "pass": pl.Int32,
        "onset_s": pl.Float64,
        "peak_frequency_khz": pl.Float64,
    },
    orient="row",
)

PASSES = pl.DataFrame(
    {
        "pass": [7, 8, 9],
        "label": ["Examplia minor", "examples", "unidentified"],
        "tier": ["definite", "probable", None],
    },
    schema_overrides={"pass": pl.Int32},
)


def test_each_bat_finds_its_own_pass_though_they_fly_together():
    found = match_passes(TRUTH, PULSES, PASSES, groups={"examples": ("Examplia major", "Examplia media")})
    columns = ["true_pass", "true_pulses", "found_pulses", "pass", "shared_pulses", "label", "outcome"]
    assert found.select(columns).rows() == [
        (1, 6, 5, 7, 5, "Examplia minor", "right"),
        (2, 4, 3, 8, 3, "examples", "group"),
        (3, 1, 0, None, 0, None, "missed"),
    ]


def test_nothing_found_is_all_missed():
    found = match_passes(TRUTH, PULSES.clear(), PASSES.clear(), groups={})
    assert found["outcome"].to_list() == ["missed"] * 3
    assert found["found_pulses"].to_list() == [0, 0, 0]
