"""Checks with figures that no boundary of the keys was set by.

independent_calls.csv: calls whose source is not cited by the ranges of their taxon nor by the boundaries about it.
Column ``seen``: read or second hand (from the sources' extracts), *read, another region* (kept out of the keys for
that reason), or memory. **Figures from memory are rounded and of low confidence**: means of Barataud2015 and
RussoJones2002 for Europe, middles of ranges of Reinhold2001 for Australia (which shares workers and recordings with
PennayLawReinhold2004, so it is independent in print only), Parsons2001 for New Zealand. Column ``answer``: clear
(whatever is open is the taxon or a group that holds it), among (one of several), elsewhere (the key names others or
nobody: known limits, told below).

independent_populations.csv: populations about such means, in the form of simulated_populations.csv.
"""

import csv
from pathlib import Path

import polars as pl
import pytest
from answers import answer, holds
from population_numbers import numbers
from populations import NAMES, outcomes

from classifier.metrics import METRICS

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
with (HERE / "independent_calls.csv").open(encoding="utf-8") as file:
    CALLS = list(csv.DictReader(file))
MEASURES = ("duration", "start_frequency", "end_frequency", "peak_frequency", "characteristic_frequency")
COLUMNS = {METRICS[name].column: name for name in MEASURES}
#: Known limits. A peak alone of a long-eared bat, whose energy lies anywhere from 25 to 50 kHz; short wide calls of
#: bats recorded in Western Australia, which are nobody's search calls in the east; pitches of other regions.
ELSEWHERE = {
    ("Plecotus auritus", "north-west England"): {"Pipistrellus nathusii"},
    ("Chalinolobus gouldii", "south-western Australia"): {"unidentified"},
    ("Chalinolobus morio", "southern Western Australia"): {"unidentified"},
    ("Scotorepens balstoni", "Western Australia"): {"broad-nosed bats and false pipistrelle, 34 to 38 kHz"},
    ("Miniopterus australis", "New Caledonia"): {"unidentified", "forest, bent-wing and wattled bats, 42 to 57 kHz"},
}


@pytest.mark.parametrize("call", CALLS, ids=lambda call: f"{call['taxon']}, {call['place']}, {call['source']}")
def test_a_call_comes_to_what_is_written_beside_it(compiled, call):
    ends, _ = answer(compiled(call["key"]), call, COLUMNS)
    right = [holds(end, call["taxon"]) for end in ends]
    assert call["answer"] == ("clear" if all(right) else "among" if any(right) else "elsewhere")
    if call["answer"] == "elsewhere":
        assert {end.label for end in ends} == ELSEWHERE[call["taxon"], call["place"]]


def test_no_call_can_become_definite_as_another(compiled):
    for call in CALLS:
        ends, caps = answer(compiled(call["key"]), call, COLUMNS)
        if len(ends) == 1 and caps[0] == 0:
            assert holds(ends[0], call["taxon"]), call


def test_how_many_calls_of_the_keys_own_regions_come_home():
    """Counted, so that a change shows."""
    own = [call for call in CALLS if "another region" not in call["seen"]]
    counts = {what: sum(call["answer"] == what for call in own) for what in ("clear", "among", "elsewhere")}
    assert counts == {"clear": 45, "among": 2, "elsewhere": 1}


def test_sources_are_not_those_of_the_boundaries(reading):
    """What is cited by the taxon's own ranges, or by a let or lead that parts it, is not independent."""
    for call in CALLS:
        key = reading(call["key"]).key
        if call["seen"] == "memory":
            assert call["source"] not in key.sources, call
        elif "another region" not in call["seen"]:
            cited = {each.source for entry in key.taxa[call["taxon"]].ranges for each in entry.citations}
            if call["taxon"].startswith("Pipistrellus"):
                splits = (key.lets["nathusius_split"], key.lets["soprano_split"])
                cited |= {each.source for let in splits for each in let.citations}
            assert call["source"] not in cited, call


@pytest.mark.parametrize("times", [1.0, 1.5])
@pytest.mark.parametrize("key", NAMES)
def test_definite_labels_of_independent_passes_are_right(key, times):
    """Also where bats and pulses vary half as much again as assumed."""
    found = outcomes(key, "independent_populations", times=times)
    definite = found.filter(pl.col("tier") == "definite")
    assert definite.height > 0.2 * found.height, "too few definite labels to say anything"
    assert definite["right"].mean() >= 0.98, definite.filter(~pl.col("right"))
    by_taxon = definite.group_by("taxon").agg(pl.col("right").mean(), pl.len()).filter(pl.col("len") >= 30)
    assert by_taxon["right"].min() >= 0.95, by_taxon.sort("right")


def test_the_printed_numbers_are_fresh():
    """docs/keys/simulated.csv, which the index of the keys shows; rounding of other machines is allowed for."""
    printed = pl.read_csv(ROOT / "docs" / "keys" / "simulated.csv")
    now = numbers()
    assert printed.select("key", "populations", "spread", "passes").equals(now.select("key", "populations", "spread", "passes"))
    for column in ("definite_right_percent", "probable_right_percent", "named_percent", "named_right_percent"):
        off = (printed[column] - now[column]).abs().max()
        assert off <= 0.2, f"{column}: run `python tests/keys/population_numbers.py > docs/keys/simulated.csv`"


def test_low_sopranos_are_taken_for_common_pipistrelles_as_the_key_says(compiled):
    """Montauban2021: where common pipistrelles are absent sopranos call as low as 44 kHz. No key by pitch tells
    them."""
    call = dict.fromkeys((METRICS[name].column for name in MEASURES), "")
    call |= {"peak_frequency_khz": "46", "characteristic_frequency_khz": "45.5", "duration_ms": "5.7"}
    ends, _ = answer(compiled("britain-and-ireland"), call, COLUMNS)
    assert [end.label for end in ends] == ["Pipistrellus pipistrellus"]
    notes = compiled("britain-and-ireland").key.taxa["Pipistrellus pygmaeus"].remarks("note")
    assert any("down to 44 kHz are on record" in note for note in notes)
