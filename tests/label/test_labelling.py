"""Both label tables of a small survey, worked by hand from the key's text."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from classifier.key import compile_key, parse_key
from classifier.label import label
from classifier.label.account import account_of
from classifier.label.labelling import PASS_COLUMNS, PULSE_COLUMNS
from classifier.metrics import FLAGS, MEASURED

KEY = """
key "The Sallow Fen" version 1
taxon Examplia grandis "great bat"
taxon Examplia vespera
taxon Examplia matutina
group "twin bats" Examplia vespera, Examplia matutina

gate
    snr >= 12 dB

couplet 1
    1a characteristic_frequency < 20 kHz ± 1 kHz        => Examplia grandis
    1b characteristic_frequency < 60 kHz                => 2
    1c otherwise                                        => unidentified "higher than any bat of the fen"
couplet 2
    2a characteristic_frequency < 40 kHz ± 2 kHz        => Examplia vespera
    2b duration < 3 ms                                  => Examplia matutina, at most probable
    2c otherwise                                        => Examplia matutina

passes
    at least 3 pulses
    definite when support >= 90 % and clear >= 5
    probable when support >= 70 % and clear >= 3
    possible otherwise
"""


def compiled(text=KEY):
    reading = parse_key(text, "fen.key")
    assert reading.key is not None, [each.message for each in reading.diagnostics]
    return compile_key(reading.key, reading.meanings)


def survey(rows, recordings=None, alternation=None):
    """Tables of a survey. A row: recording, pass, onset s, characteristic frequency kHz, and what else is
    given."""
    alternation = alternation or {}
    recordings = recordings or {"a.wav": "2024-06-03T23:00:00+01:00"}
    columns = {metric.column: [None] * len(rows) for metric in MEASURED}
    columns |= {metric.error_column: [None] * len(rows) for metric in MEASURED if metric.error_column}
    columns |= {flag: [False] * len(rows) for flag in FLAGS}
    usual = {"snr_db": 30.0, "duration_ms": 5.0}
    interval, in_buzz = [], []
    for place, (_, _, onset, frequency, *more) in enumerate(rows):
        given = {
            "onset_s": onset,
            "characteristic_frequency_khz": frequency,
            **usual,
            **(more[0] if more else {}),
        }
        interval.append(given.pop("interval_ms", None))
        in_buzz.append(given.pop("in_buzz", False))
        for name, value in given.items():
            columns[name][place] = value
    pulses = pl.DataFrame(
        {
            "recording": pl.Series([row[0] for row in rows], dtype=pl.String),
            "channel": pl.Series([1] * len(rows), dtype=pl.Int16),
            "pulse": pl.Series(range(1, len(rows) + 1), dtype=pl.Int32),
            **{name: pl.Series(values, dtype=pl.Boolean if name in FLAGS else pl.Float64) for name, values in columns.items()},
        }
    )
    followed = pulses.select("recording", "channel", "pulse").with_columns(
        pl.Series("pass", [row[1] for row in rows], pl.Int32),
        pl.Series("interval_ms", interval, pl.Float64),
        pl.Series("in_buzz", in_buzz, pl.Boolean),
    )
    files = pl.DataFrame(
        {
            "path": list(recordings),
            "site": ["fen"] * len(recordings),
            "night": [date(2024, 6, 3)] * len(recordings),
            "starts_at": pl.Series(list(recordings.values()), dtype=pl.String),
            "latitude": [52.0] * len(recordings),
            "longitude": [0.5] * len(recordings),
        }
    )
    numbers = sorted({row[1] for row in rows} - {None})
    passes = pl.DataFrame(
        {"pass": numbers, "alternation_khz": [alternation.get(number) for number in numbers]},
        schema={"pass": pl.Int32, "alternation_khz": pl.Float64},
    )
    return pulses, files, SimpleNamespace(pulses=followed, passes=passes)


def labelled(rows, text=KEY, recordings=None, alternation=None):
    pulses, files, followed = survey(rows, recordings, alternation)
    return label(pulses, files, followed, compiled(text))


def steady(passed, count, frequency, **more):
    """A pass of pulses 0.1 s apart."""
    return [("a.wav", passed, passed + 0.1 * i, frequency, more) for i in range(count)]


def test_the_columns_are_the_contract():
    found = labelled(steady(1, 5, 15.0))
    assert (
        tuple(found.pulses.columns)
        == PULSE_COLUMNS
        == (
            "recording",
            "channel",
            "pulse",
            "pass",
            "interval_ms",
            "label",
            "candidates",
            "tier",
            "clearance",
            "trail",
            "gated_by",
        )
    )
    assert tuple(found.passes.columns) == PASS_COLUMNS
    assert PASS_COLUMNS[:18] == (
        "pass",
        "recording",
        "recordings",
        "channel",
        "site",
        "night",
        "starts_at",
        "onset_s",
        "end_s",
        "pulses",
        "usable_pulses",
        "label",
        "candidates",
        "tier",
        "support",
        "clearance",
        "feeding_buzz",
        "trail",
    )
    assert PASS_COLUMNS[18] == "duration_ms"
    assert PASS_COLUMNS[-1] == "interval_ms"


def test_a_clear_pass():
    found = labelled(steady(1, 5, 15.0))
    row = found.passes.row(0, named=True)
    assert (row["label"], row["tier"], row["support"]) == ("Examplia grandis", "definite", 100.0)
    assert row["candidates"] == "Examplia grandis 100 %"
    assert row["trail"] == "1a × 5"
    # 15 kHz stands 5 kHz from a boundary with a zone of 1 kHz.
    assert row["clearance"] == pytest.approx(5.0)
    assert (row["pulses"], row["usable_pulses"], row["feeding_buzz"]) == (5, 5, False)
    assert row["characteristic_frequency_khz"] == 15.0
    assert row["starts_at"] == "2024-06-03T23:00:01.000+01:00"
    assert (row["onset_s"], row["end_s"]) == (pytest.approx(1.0), pytest.approx(1.405))
    assert found.pulses["label"].to_list() == ["Examplia grandis"] * 5
    assert found.pulses["tier"].to_list() == ["definite"] * 5


def test_pulses_in_an_overlap_zone_have_two_candidates_and_the_group_as_label():
    rows = steady(1, 2, 34.0) + [("a.wav", 1, 1.2 + 0.1 * i, 41.0) for i in range(3)]
    found = labelled(rows)
    assert found.pulses["candidates"].to_list()[2:] == ["Examplia vespera; Examplia matutina"] * 3
    assert found.pulses["label"].to_list() == ["Examplia vespera"] * 2 + ["twin bats"] * 3
    assert found.pulses["trail"].to_list()[2] == "1b 2a | 1b 2c"
    row = found.passes.row(0, named=True)
    # Two votes and three halves: 70 %, but two clear pulses only; the group has all five.
    assert row["candidates"] == "Examplia vespera 70 %; Examplia matutina 30 %"
    assert (row["label"], row["tier"], row["support"]) == ("twin bats", "definite", 100.0)
    assert row["trail"] == "1b 2a | 1b 2c × 3 (couplet 2 unsure); 1b 2a × 2"


def test_candidates_without_a_group_are_unidentified():
    found = labelled(steady(1, 4, 20.0))
    assert found.pulses["label"].to_list() == ["unidentified"] * 4
    assert found.pulses["tier"].to_list() == [None] * 4
    row = found.passes.row(0, named=True)
    assert (row["label"], row["tier"]) == ("unidentified", None)
    assert row["candidates"] == "Examplia grandis 50 %; Examplia vespera 50 %"
    assert row["trail"] == "no candidate leads; 1a | 1b 2a × 4 (couplet 1 unsure)"


def test_at_most_holds_for_pulse_and_pass():
    found = labelled(steady(1, 6, 50.0, duration_ms=2.0))
    assert found.pulses["tier"].to_list() == ["probable"] * 6
    assert found.passes.row(0, named=True)["tier"] == "probable"
    assert labelled(steady(1, 6, 50.0)).passes["tier"].to_list() == ["definite"]


def test_the_keys_own_reason_stands_in_the_trail():
    row = labelled(steady(1, 4, 70.0)).passes.row(0, named=True)
    assert (row["label"], row["tier"]) == ("unidentified", None)
    assert row["trail"] == "1c × 4 (higher than any bat of the fen)"


def test_gated_echoing_and_buzzing_pulses_neither_vote_nor_pull_medians():
    rows = steady(1, 4, 34.0, interval_ms=90.0)
    rows += [
        ("a.wav", 1, 1.5, 70.0, {"snr_db": 5.0}),
        ("a.wav", 1, 1.6, 70.0, {"echo": True}),
        ("a.wav", 1, 1.7, 70.0, {"in_buzz": True, "interval_ms": 6.0}),
    ]
    found = labelled(rows)
    assert found.pulses["gated_by"].to_list() == [None] * 4 + ["snr >= 12 dB", "echo", "feeding buzz"]
    for column in ("label", "candidates", "tier", "clearance", "trail"):
        assert found.pulses[column].to_list()[4:] == [None] * 3
    row = found.passes.row(0, named=True)
    assert (row["pulses"], row["usable_pulses"], row["feeding_buzz"]) == (7, 4, True)
    assert (row["label"], row["tier"]) == ("Examplia vespera", "probable")
    assert (row["characteristic_frequency_khz"], row["interval_ms"]) == (34.0, 90.0)


def test_a_pass_with_too_few_usable_pulses_is_kept():
    rows = steady(1, 2, 15.0) + steady(2, 3, 15.0, snr_db=5.0)
    found = labelled(rows)
    assert found.passes["label"].to_list() == ["unidentified"] * 2
    assert found.passes["tier"].to_list() == [None, None]
    assert found.passes["trail"].to_list() == [
        "too few usable pulses: 2, the key asks for 3; 1a × 2",
        "too few usable pulses: 0, the key asks for 3",
    ]
    assert found.passes["candidates"].to_list() == ["Examplia grandis 100 %", None]
    assert found.passes["duration_ms"].to_list() == [5.0, None]


def test_a_pulse_of_no_pass_is_an_echo():
    found = labelled([*steady(1, 3, 15.0), ("a.wav", None, 3.0, 34.0)])
    assert found.passes.height == 1
    assert found.passes["pulses"].to_list() == [3]
    assert found.pulses.row(3, named=True)["gated_by"] == "echo"
    assert found.pulses.row(3, named=True)["label"] is None


def test_a_pass_that_runs_on_into_the_next_file():
    rows = [
        ("a.wav", 1, 4.8, 15.0),
        ("a.wav", 1, 4.9, 15.0),
        ("b.wav", 1, 0.1, 15.0),
        ("b.wav", 1, 0.2, 15.0),
    ]
    row = labelled(rows, recordings={"a.wav": "2024-06-03T23:00:00+01:00", "b.wav": "2024-06-03T23:00:05+01:00"}).passes.row(
        0, named=True
    )
    assert (row["recording"], row["recordings"], row["pulses"]) == ("a.wav", 2, 4)
    assert (row["onset_s"], row["end_s"]) == (pytest.approx(4.8), pytest.approx(5.205))


def test_without_a_clock():
    row = labelled(steady(1, 3, 15.0), recordings={"a.wav": None}).passes.row(0, named=True)
    assert row["starts_at"] is None
    assert row["onset_s"] == pytest.approx(1.0)


REFINE = (
    KEY
    + """
refine Examplia vespera | Examplia matutina
    a alternation >= 3 kHz ± 1 kHz          => Examplia vespera
    b median(duration) < 4 ms               => Examplia matutina, at most probable
    c otherwise                             => stays
"""
)


def test_refine_decides_on_the_whole_pass():
    """The two call types lie 8 kHz apart."""
    alternating = [("a.wav", 1, 1 + 0.1 * i, 36.0 if i % 2 else 44.0) for i in range(8)]
    row = labelled(alternating, REFINE, alternation={1: 8.0}).passes.row(0, named=True)
    assert (row["label"], row["tier"]) == ("Examplia vespera", "definite")
    assert row["trail"] == "1b 2a × 4; 1b 2c × 4; refine a"
    # Without the block the votes are equal and the group has them all.
    assert labelled(alternating).passes["label"].to_list() == ["twin bats"]


def test_refine_is_capped_by_at_most():
    row = labelled(steady(1, 6, 34.0, duration_ms=3.0), REFINE).passes.row(0, named=True)
    assert (row["label"], row["tier"]) == ("Examplia matutina", "probable")
    assert row["trail"].endswith("; refine b")


def test_refine_leaves_alone_what_stays_and_what_it_does_not_speak_of():
    row = labelled(steady(1, 6, 34.0), REFINE).passes.row(0, named=True)
    assert (row["label"], row["tier"], row["trail"]) == (
        "Examplia vespera",
        "definite",
        "1b 2a × 6; refine c",
    )
    row = labelled(steady(1, 6, 15.0), REFINE).passes.row(0, named=True)
    assert (row["label"], row["trail"]) == ("Examplia grandis", "1a × 6")
    # Too few pulses stay too few, whatever a block would say.
    row = labelled(steady(1, 2, 34.0, duration_ms=3.0), REFINE).passes.row(0, named=True)
    assert row["label"] == "unidentified"


def test_an_unsure_refine_lead_leaves_the_label():
    """Durations of 3.9 and 4.1 ms: the median's own error covers the boundary of 4 ms."""
    rows = [("a.wav", 1, 1 + 0.1 * i, 34.0, {"duration_ms": 3.8 if i % 2 else 4.1}) for i in range(6)]
    row = labelled(rows, REFINE).passes.row(0, named=True)
    assert row["label"] == "Examplia vespera"
    assert row["trail"].endswith("; refine b | c")


def test_refine_on_the_season_and_the_hour():
    text = (
        KEY
        + """
refine Examplia vespera | Examplia matutina
    a month = 6 and hour_after_sunset < 3 h and feeding_buzz   => Examplia matutina
    b otherwise                                                => stays
"""
    )
    rows = [*steady(1, 6, 34.0), ("a.wav", 1, 1.7, 34.0, {"in_buzz": True})]
    assert labelled(rows, text).passes["label"].to_list() == ["Examplia matutina"]
    assert labelled(rows[:6], text).passes["label"].to_list() == ["Examplia vespera"]
    late = {"a.wav": "2024-06-04T03:00:00+01:00"}
    assert labelled(rows, text, late).passes["label"].to_list() == ["Examplia vespera"]


def test_no_pulses_give_empty_tables_of_the_usual_shape():
    found = labelled([])
    assert tuple(found.passes.columns) == PASS_COLUMNS
    assert tuple(found.pulses.columns) == PULSE_COLUMNS
    assert found.passes.height == found.pulses.height == 0
    assert found.passes.schema == labelled(steady(1, 5, 15.0)).passes.schema
    assert found.pulses.schema == labelled(steady(1, 5, 15.0)).pulses.schema


def test_a_key_without_a_passes_block_never_says_more_than_possible():
    text = KEY[: KEY.index("passes\n")]
    found = labelled(steady(1, 9, 15.0), text)
    assert found.passes["tier"].to_list() == ["possible"]


def test_votes_do_not_depend_on_the_order_of_pulses():
    rng = np.random.default_rng(4)
    rows = [
        ("a.wav", int(p), float(t), float(f))
        for p, t, f in zip(rng.integers(1, 6, 80), rng.random(80) * 100, rng.uniform(15, 65, 80), strict=True)
    ]
    one = labelled(rows).passes
    other = labelled([rows[i] for i in rng.permutation(80)]).passes
    columns = ["pass", "label", "tier", "support", "candidates", "clearance", "pulses", "duration_ms"]
    assert one.select(columns).equals(other.select(columns))


TWO_BLOCKS = (
    KEY
    + """
group "great or dusk bats" Examplia grandis, Examplia vespera
refine Examplia grandis | Examplia vespera
    a median(duration) < 4 ms               => "great or dusk bats", at most probable
    b otherwise                             => stays
refine Examplia vespera | Examplia matutina
    a alternation >= 3 kHz ± 1 kHz          => Examplia vespera
    b otherwise                             => stays
"""
)
ALTERNATING = [("a.wav", 1, 1 + 0.1 * i, 36.0 if i % 2 else 44.0) for i in range(8)]
UNSURE = [("a.wav", 1, 1 + 0.1 * i, 34.0, {"duration_ms": 3.8 if i % 2 else 4.1}) for i in range(6)]


def _account(rows, text, **options):
    found = labelled(rows, text, **options)
    row = found.passes.row(0, named=True)
    pulses, _, _ = survey(rows)
    table = found.pulses.join(pulses, on=["recording", "channel", "pulse"], maintain_order="left")
    usable = found.pulses["gated_by"].is_null().to_numpy()
    return row, account_of(compiled(text), table, usable, row["label"], row["trail"])


@pytest.mark.parametrize(
    ("rows", "text", "options", "block", "counted_for"),
    [
        (steady(1, 6, 34.0), KEY, {}, None, "Examplia vespera"),
        (ALTERNATING, KEY, {}, None, "twin bats"),
        (ALTERNATING, REFINE, {"alternation": {1: 8.0}}, 0, "Examplia vespera | Examplia matutina"),
        (steady(1, 6, 34.0, duration_ms=3.0), REFINE, {}, 0, "Examplia vespera | Examplia matutina"),
        (steady(1, 6, 34.0), REFINE, {}, 0, "Examplia vespera"),
        (UNSURE, REFINE, {}, 0, "Examplia vespera"),
        (steady(1, 6, 34.0, duration_ms=3.0), TWO_BLOCKS, {}, 0, "Examplia grandis | Examplia vespera"),
        (ALTERNATING, TWO_BLOCKS, {"alternation": {1: 8.0}}, 1, "Examplia vespera | Examplia matutina"),
    ],
)
def test_the_account_agrees_with_the_label(rows, text, options, block, counted_for):
    """The best tier that the account says holds is the tier that the label bears."""
    row, account = _account(rows, text, **options)
    holding = [tier.tier for tier in account.tiers if tier.holds]
    assert row["tier"] is not None
    assert holding[0] == row["tier"]
    assert account.refined_by == block
    assert account.counted_for == counted_for
