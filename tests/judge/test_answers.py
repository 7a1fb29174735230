"""Answers of a key to reference calls: a table of metrics, and stretches of recordings."""

from datetime import date

import polars as pl

from classifier.judge.answers import ANSWER_SCHEMA, answer_calls, answer_recordings
from classifier.judge.references import parse_references
from classifier.key import compile_key, parse_key
from classifier.metrics import FLAGS, MEASURED

KEY = """
key "Fen" version 1
taxon Examplia grandis
taxon Examplia vespera
gate
    snr >= 12 dB
couplet 1
    1a duration is missing                        => unidentified "no duration"
    1b characteristic_frequency < 30 kHz ± 1 kHz  => Examplia grandis
    1c otherwise                                  => Examplia vespera, at most probable
passes
    at least 3 pulses
    definite when support >= 90 % and clear >= 4
    possible otherwise
"""
READING = parse_key(KEY, "fen.key")
COMPILED = compile_key(READING.key, READING.meanings)


def test_a_table_of_metrics():
    table = parse_references(
        "taxon,characteristic_frequency_khz,characteristic_frequency_khz_se,duration_ms,snr_db,individual\n"
        "Examplia grandis,22,,8,,a\n"
        "Examplia vespera,40,,5,,b\n"
        "Examplia grandis,28,2,8,,a\n"
        "Examplia grandis,22,,,,a\n"
        "Examplia grandis,22,,8,3,a\n",
        "calls.csv",
    )
    found = answer_calls(table, COMPILED)
    assert dict(found.schema) == ANSWER_SCHEMA
    assert found.select("line", "label", "tier", "trail").rows() == [
        (2, "Examplia grandis", "definite", "1b"),
        (3, "Examplia vespera", "probable", "1c"),
        (4, "unidentified", None, "1b | 1c"),  # 28 kHz with a standard error of 2 kHz: 30 ± (1 + 2 · 2) kHz
        (5, "unidentified", None, "1a"),
        (6, "unidentified", None, "gated by snr >= 12 dB"),
    ]
    assert found["individual"].to_list() == ["a", "b", "a", "a", "a"]


def pulses_of(recording, rows):
    """Pulses from (onset s, frequency kHz, duration ms)."""
    frequency = [f for _, f, _ in rows]
    known = {
        "onset_s": [t for t, _, _ in rows],
        "duration_ms": [d for *_, d in rows],
        "snr_db": [30.0] * len(rows),
        **dict.fromkeys(
            (
                "characteristic_frequency_khz",
                "peak_frequency_khz",
                "start_frequency_khz",
                "end_frequency_khz",
                "level_db",
            ),
            frequency,
        ),
    }
    columns = {
        "recording": [recording] * len(rows),
        "channel": pl.Series([1] * len(rows), dtype=pl.Int16),
        "pulse": pl.Series(range(1, len(rows) + 1), dtype=pl.Int32),
    }
    for metric in MEASURED:
        columns[metric.column] = pl.Series(known.get(metric.column, [None] * len(rows)), dtype=pl.Float64)
        if metric.error_column:
            columns[metric.error_column] = pl.Series([None] * len(rows), dtype=pl.Float64)
    return pl.DataFrame(columns | {flag: [False] * len(rows) for flag in FLAGS})


def steady(start, count, frequency, duration=6.0):
    return [(start + 0.1 * i, frequency, duration) for i in range(count)]


RECORDINGS = pl.DataFrame(
    {
        "path": ["a.wav", "b.wav"],
        "site": ["fen"] * 2,
        "night": [date(2024, 6, 3)] * 2,
        "starts_at": ["2024-06-03T22:00:00+01:00", "2024-06-03T22:30:00+01:00"],
        "seconds": [10.0] * 2,
        "recorder": [None, None],
        "latitude": [52.0] * 2,
        "longitude": [0.5] * 2,
    },
    schema_overrides={"recorder": pl.String},
)


def answers(table, pulses):
    references = parse_references(table, "calls.csv")
    return answer_recordings(references, [call.recording for call in references.calls], pulses, RECORDINGS, COMPILED)


def test_stretches_of_a_recording_one_after_the_other():
    pulses = pulses_of("a.wav", steady(0.5, 8, 22.0) + steady(5.0, 6, 45.0))
    found = answers(
        "taxon,recording,start_s,end_s\n"
        "Examplia grandis,a.wav,0,2\n"
        "Examplia grandis,a.wav,0,0.75\n"
        "Examplia vespera,a.wav,4,9\n"
        "Examplia grandis,b.wav,,\n"
        "Examplia grandis,a.wav,9.5,\n",
        pulses,
    )
    assert found.select("line", "label").rows()[0] == (2, "Examplia grandis")
    # Six clear votes would be definite; the lead allows no more than probable.
    assert found.select("line", "label", "tier").rows()[2] == (4, "Examplia vespera", "probable")
    assert found.select("label", "trail").rows()[3] == ("unidentified", "no pass found")
    assert found.select("label", "trail").rows()[4] == ("unidentified", "no pass found")


def test_only_the_pulses_of_the_stretch_count():
    pulses = pulses_of("a.wav", steady(0.5, 8, 22.0))
    found = answers("taxon,recording,start_s,end_s\nExamplia grandis,a.wav,0,0.75\n", pulses)
    assert found["label"].to_list() == ["Examplia grandis"]
    assert found["trail"].to_list() == ["1b × 3"]
    assert found["tier"].to_list() == ["possible"]


def test_bats_that_fly_together_get_a_pass_each():
    """The higher bat calls longer and more often; still the row with the short stretch gets the short
    pass."""
    high, low = steady(0.5, 30, 45.0, 5.0), steady(1.24, 8, 22.0, 9.0)
    pulses = pulses_of("a.wav", sorted(high + low))
    found = answers(
        "taxon,recording,start_s,end_s\nExamplia vespera,a.wav,0.48,3.43\nExamplia grandis,a.wav,1.22,1.98\n",
        pulses,
    )
    assert found["label"].to_list() == ["Examplia vespera", "Examplia grandis"]
