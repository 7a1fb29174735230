"""Where drawn calls end: shares that can be worked out by hand."""

import numpy as np
import pytest
from planting import PASSES, reading_of

from classifier.key import compile_key
from classifier.key.check.coverage import CALLS, coverage, draw, totals

HEAD = (
    'key "c" version 1\n'
    "taxon Examplia a\n    characteristic_frequency 18 to 22 kHz\n"
    "taxon Examplia b\n    characteristic_frequency 20 to 30 kHz\n    duration 1 to 5 ms\n"
    "taxon Examplia c\n"
    'group "pair" Examplia a, Examplia b\n'
)
BODY = (
    "gate\n    duration >= 2 ms\n"
    "couplet 1\n    1a characteristic_frequency < 21 kHz ± 1 kHz => Examplia a\n    1b otherwise => Examplia b, at most probable\n"
    "passes\n    definite when support >= 90 % and clear >= 5\n    probable when support >= 70 %\n    possible otherwise\n"
)


def rows_of(body=BODY, head=HEAD):
    reading = reading_of(body, head)
    return coverage(compile_key(reading.key, reading.meanings))


def test_shares_tiers_and_verdicts():
    rows = {(row.taxon, row.label): row for row in rows_of()}
    assert {row.taxon for row in rows.values()} == {"Examplia a", "Examplia b"}
    # a: 18 to 20 is clear, 20 to 22 lies in the zone; the group covers both candidates, under the stricter cap.
    assert rows["Examplia a", "Examplia a"].share == pytest.approx(0.5, abs=4 * (0.25 / CALLS) ** 0.5)
    assert (rows["Examplia a", "Examplia a"].tier, rows["Examplia a", "Examplia a"].verdict) == ("definite", "right")
    pair = rows["Examplia a", "pair"]
    assert (pair.tier, pair.verdict, pair.couplet) == ("probable", "in a group", 1)
    # b: a quarter of its durations lies under the gate; of the rest a fifth is in the zone, the others are clear.
    assert rows["Examplia b", "gated"].share == pytest.approx(0.25, abs=0.06)
    assert rows["Examplia b", "gated"].verdict == "open"
    assert rows["Examplia b", "pair"].share == pytest.approx(0.75 * 0.2, abs=0.05)
    assert rows["Examplia b", "Examplia b"].tier == "probable"
    for taxon in ("Examplia a", "Examplia b"):
        assert sum(row.share for row in rows.values() if row.taxon == taxon) == pytest.approx(1.0)
    assert totals(rows_of())["Examplia a"]["right"] == rows["Examplia a", "Examplia a"].share


def test_without_a_group_what_is_parted_by_none_stays_open_and_a_wrong_label_is_named():
    head = HEAD.replace('group "pair" Examplia a, Examplia b\n', "")
    body = BODY.replace("< 21 kHz ± 1 kHz", "< 19 kHz ± 1 kHz")
    rows = {(row.taxon, row.label): row for row in rows_of(body, head)}
    assert (rows["Examplia a", "unidentified"].verdict, rows["Examplia a", "unidentified"].tier) == ("open", None)
    assert rows["Examplia a", "Examplia b"].verdict == "wrong"


def test_the_same_key_gives_the_same_table():
    assert rows_of() == rows_of()


def test_draws_keep_to_the_ranges_and_to_what_hangs_together():
    head = (
        'key "c" version 1\ntaxon Examplia a\n    start_frequency 30 to 60 kHz\n    end_frequency 20 to 40 kHz\n'
        "    max_frequency 40 to 60 kHz\n    min_frequency 20 to 35 kHz\n    duration 2 to 4 ms\n    bandwidth 10 to 30 kHz\n"
        "taxon Examplia b\n"
    )
    reading = reading_of("couplet 1\n    1a duration < 3 ms => Examplia a\n    1b otherwise => Examplia b\n" + PASSES, head)
    sample = draw(reading.key.taxa["Examplia a"], 500)
    values = sample.values
    assert 0 < sample.kept < 1
    for name, low, high in (("start_frequency", 30, 60), ("bandwidth", 10, 30), ("duration", 2, 4)):
        assert values[name].min() >= low
        assert values[name].max() <= high
    assert (values["start_frequency"] <= values["max_frequency"]).all()
    assert np.allclose(values["bandwidth"], values["max_frequency"] - values["min_frequency"])
    assert np.allclose(values["mean_slope"] * values["duration"], values["end_frequency"] - values["start_frequency"])
    assert draw(reading.key.taxa["Examplia b"], 500) is None
