"""Published calls come to their taxon or its group.

published_calls.csv holds one call a row: the mean where the source gives one, else the middle of the range
that it gives; where an encyclopaedia quotes a lowest and a highest frequency, these stand as end and start
(they are probably the cited papers' means). The column ``source`` names the source by its key in
docs/sources.md; "from memory" marks figures recalled and not looked up. ``answer``: clear (whatever the key
leaves open is the taxon or a group that holds it) or among (the taxon is one of several answers, because
the figures are too few to say more).

Left out, with the reason: figures from outside the region (Chalinolobus gouldii, C. morio and Scotorepens
balstoni of Western Australia, Miniopterus australis of New Caledonia, Miniopterus orianae orianae), spans
printed as characteristic frequencies (Myotis and Nyctophilus in the Bayside table), a genus row (Ozimops),
a range of peaks without anything else (Plecotus auritus, Merseyside), a range of durations without anything
else (Mystacina, Eglinton Valley).
"""

import csv
from pathlib import Path

import pytest
from answers import answer, holds

from classifier.metrics import METRICS

with (Path(__file__).parent / "published_calls.csv").open(encoding="utf-8") as file:
    CALLS = list(csv.DictReader(file))
NAMES = ("duration", "start_frequency", "end_frequency", "peak_frequency", "characteristic_frequency")
COLUMNS = {METRICS[name].column: name for name in NAMES}


@pytest.mark.parametrize("call", CALLS, ids=lambda call: f"{call['taxon']}, {call['place']}, {call['source']}")
def test_call_comes_to_its_taxon_or_group(compiled, call):
    ends, _ = answer(compiled(call["key"]), call, COLUMNS)
    right = [holds(end, call["taxon"]) for end in ends]
    assert all(right) if call["answer"] == "clear" else any(right), [end.label for end in ends]


def test_no_published_call_can_become_definite_as_another_taxon(compiled):
    """Also where the answer is among several, a wrong one must not be open to `definite` all by itself."""
    for call in CALLS:
        ends, caps = answer(compiled(call["key"]), call, COLUMNS)
        if len(ends) == 1 and caps[0] == 0:
            assert holds(ends[0], call["taxon"]), call


def test_most_published_calls_are_clear():
    """Left open: peaks without duration (3), a start that includes a harmonic, a range of ends."""
    clear = sum(call["answer"] == "clear" for call in CALLS)
    assert clear >= 0.9 * len(CALLS)


@pytest.mark.parametrize("name", ["britain-and-ireland", "new-zealand"])
def test_every_taxon_has_a_published_call(reading, name):
    tried = {call["taxon"] for call in CALLS if call["key"] == name}
    assert tried == set(reading(name).key.taxa)
