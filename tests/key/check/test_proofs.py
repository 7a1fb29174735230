"""The proofs against brute force: on random keys they find each fault that a grid of calls shows, and no other.

What is compared: unreachable leads, leads never clear, gaps, overlaps, impossible boundaries, unsafe definites (with every
metric perhaps missing), shut gates and impossible ranges. ``CALLKEY_MORE_EXAMPLES=20`` multiplies the number of keys.
"""

import os

from hypothesis import HealthCheck, given, settings
from oracle import expected
from planting import walked, where
from random_keys import keys

from classifier.key import parse_key
from classifier.key.check import check_reading

NOT_ON_A_GRID = ("K407", "K409", "K411")
MORE = int(os.environ.get("CALLKEY_MORE_EXAMPLES", "1"))
SLOW = settings(deadline=None, suppress_health_check=list(HealthCheck))


def agree(text):
    reading = parse_key(text, "random.key")
    assert reading.key is not None, [each.message for each in reading.diagnostics]
    found = check_reading(reading)
    mine = set().union(*(where(each) for each in found if each.code not in NOT_ON_A_GRID))
    grid = expected(reading)
    assert mine == grid, f"{text}\nmissed: {grid - mine}\nfalse alarms: {mine - grid}"
    return reading, found


@settings(SLOW, max_examples=120 * MORE)
@given(keys())
def test_conditions_on_single_metrics(text):
    agree(text)


@settings(SLOW, max_examples=60 * MORE)
@given(keys(sums=True))
def test_conditions_on_sums_and_related_metrics(text):
    agree(text)


@settings(SLOW, max_examples=60 * MORE)
@given(keys())
def test_each_witness_walks_as_it_is_said_to(text):
    reading, found = agree(text)
    for each in found:
        if not each.witness:
            continue
        way = walked(reading, each.witness)
        assert way.gated_by is None
        (place,) = {item[1] for item in where(each)} if each.code != "K410" else {None}
        if each.code == "K403":
            assert f"{place}-" in way.trail.replace("|", "").split()
        if each.code == "K410":
            ((end, cap),) = way.candidates.items()
            assert cap == 0
            assert {end.label} == {item[2] for item in where(each)}


@settings(SLOW, max_examples=20)
@given(keys(sums=True))
def test_the_same_key_has_the_same_findings(text):
    one, other = (check_reading(parse_key(text, "random.key")) for _ in range(2))
    assert one == other
