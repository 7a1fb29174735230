"""Where drawn calls end: shares worked out by hand, by integration, and by walking other draws one by one."""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from planting import PASSES, reading_of
from scipy import integrate

from classifier.key import compile_key, read_key, walk
from classifier.key.check.coverage import CALLS, coverage, draw, totals
from classifier.key.check.ground import ranges_of
from classifier.key.check.relations import order_pairs

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


# ----------------------------------------------------------------------------- against other ways to come to the shares


def by_walking(compiled, taxon, calls, seed):
    """{label: share} by drawing calls at random of our own and walking each: the label by its definition in docs/labels.md
    for a pass of such calls (one candidate: that; several: the smallest group that holds them all; else unidentified)."""
    rng = np.random.default_rng(seed)
    ranges = {name: tuple(map(float, ends)) for name, ends in ranges_of(taxon).items()}
    counts, drawn = Counter(), 0
    while drawn < calls:
        call = {name: rng.uniform(*ends) for name, ends in ranges.items()}
        if "max_frequency" in call and "min_frequency" in call:
            call["bandwidth"] = call["max_frequency"] - call["min_frequency"]
        if "end_frequency" in call and "characteristic_frequency" in call:
            call["tail"] = call["end_frequency"] - call["characteristic_frequency"]
        if {"start_frequency", "end_frequency", "duration"} <= call.keys():
            call["mean_slope"] = (call["end_frequency"] - call["start_frequency"]) / call["duration"]
        if any(not ranges[name][0] <= call[name] <= ranges[name][1] for name in ranges):
            continue
        if any(call[small] > call[large] for small, large in order_pairs(set(call))):
            continue
        drawn += 1
        path = walk(compiled, dict.fromkeys(compiled.metrics) | call)
        counts["gated" if path.gated_by is not None else label_of(compiled, list(path.candidates))] += 1
    return {label: count / calls for label, count in counts.items()}


def label_of(compiled, ends):
    if len(ends) == 1:
        return ends[0].label
    taxa = set().union(
        *({end.label} if end.kind == "taxon" else set(end.members) if end.kind == "group" else {None} for end in ends)
    )
    holding = [
        (len(group.members), name)
        for name, group in compiled.key.groups.items()
        if taxa <= {member.name for member in group.members}
    ]
    return min(holding)[1] if holding else "unidentified"


@pytest.mark.parametrize("name", ["new-zealand", "britain-and-ireland", "south-east-australia-inland-plains"])
def test_shares_of_real_keys_are_those_of_walked_draws(name):
    """Two samples of one share differ by less than 4.5 standard errors (over some 60 shares, chance alone exceeds that
    about once in 2000 runs; seeds are fixed)."""
    reading = read_key(Path(__file__).parents[3] / "keys" / f"{name}.key")
    compiled = compile_key(reading.key, reading.meanings)
    table = {}
    for row in coverage(compiled):
        table.setdefault(row.taxon, Counter())[row.label] += row.share
    calls = 400
    for taxon in list(reading.key.taxa.values())[:8]:
        if taxon.name not in table:
            continue
        walked = by_walking(compiled, taxon, calls, seed=11)
        for label in {*walked, *table[taxon.name]}:
            one, other = table[taxon.name][label], walked.get(label, 0.0)
            share = (one * CALLS + other * calls) / (CALLS + calls)
            error = (share * (1 - share) * (1 / CALLS + 1 / calls)) ** 0.5
            assert abs(one - other) <= 4.5 * error + 1e-9, (taxon.name, label, one, other)


def test_the_share_in_a_slanted_zone_is_its_area():
    """start - end < 8 kHz over a square of 10 by 10 kHz: areas of triangles, and scipy's double integral of them."""
    head = (
        'key "c" version 1\ntaxon Examplia a\n    start_frequency 30 to 40 kHz\n    end_frequency 20 to 30 kHz\n'
        "taxon Examplia b\n    snr 5 to 6 dB\n"
    )
    body = (
        "couplet 1\n    1a start_frequency - end_frequency < 8 kHz ± 2 kHz => Examplia a\n    1b otherwise => Examplia b\n" + PASSES
    )
    reading = reading_of(body, head)
    rows = {
        row.label: row.share
        for row in coverage(compile_key(reading.key, reading.meanings), calls=20_000)
        if row.taxon == "Examplia a"
    }

    def area(most):
        """The share of the square in which start - end < most: with u, v from 0 to 10, u + (10 - v) < most."""
        return integrate.dblquad(lambda v, u: 1 / 100, 0, 10, lambda u: min(10, max(0, 10 + u - most)), 10)[0]

    assert area(6) == pytest.approx(0.18, abs=1e-6)
    assert rows["Examplia a"] == pytest.approx(area(6), abs=0.011)
    assert rows["unidentified"] == pytest.approx(area(10) - area(6), abs=0.014)
    assert rows["Examplia b"] == pytest.approx(1 - area(10), abs=0.014)


def test_the_tier_is_what_the_passes_block_gives_a_pass_of_such_calls():
    """definite asks for clearance: calls that stand near the boundary never have it."""
    passes = "passes\n    definite when clearance >= 4\n    probable when support >= 70 %\n    possible otherwise\n"
    body = "couplet 1\n    1a duration < 5 ms ± 1 ms => Examplia a\n    1b otherwise => Examplia b\n" + passes
    head = 'key "c" version 1\ntaxon Examplia a\n    duration 3 to 3.9 ms\ntaxon Examplia b\n    duration 11 to 20 ms\n'
    rows = {row.taxon: row for row in rows_of(body, head)}
    # |3.45 - 5| / 1 = 1.55 in the middle of a's range; |15.5 - 5| / 1 = 10.5 in that of b's.
    assert (rows["Examplia a"].tier, rows["Examplia b"].tier) == ("probable", "definite")
