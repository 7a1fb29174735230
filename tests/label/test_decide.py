"""One label a pass: every rule with a pass worked by hand.

Labels are 0 A, 1 B, 2 C, 3 unidentified; groups are 4 (A, B) and 5 (A, B, C). Tiers as in the printed example
of the key language: definite when support >= 90 % and clear >= 5, probable when support >= 70 % and clear >=
3, possible otherwise.
"""

import numpy as np
import pytest

from classifier.label.decide import NO_TIER, TOO_FEW, UNDECIDED, decide
from classifier.label.votes import count_votes

WITHIN = np.array([[1, 1], [1, 1], [0, 1], [0, 0]], bool)
A, B, C, NONE, AB, ABC = range(6)
NAMES = {A: "A", B: "B", C: "C", NONE: "?"}


def printed_rule(support, clear, pulses, clearance):
    return np.where((support >= 90) & (clear >= 5), 0, np.where((support >= 70) & (clear >= 3), 1, 2))


def decided(*pulses, rule=printed_rule, at_least=3):
    """Decide one pass. A pulse is the tuple of its candidates, or (candidates, cap) with a cap for all of
    them."""
    candidates = np.zeros((len(pulses), 4), bool)
    cap = np.zeros((len(pulses), 4), int)
    for row, pulse in enumerate(pulses):
        open_to, limit = pulse if isinstance(pulse[0], tuple) else (pulse, 0)
        candidates[row, list(open_to)] = True
        cap[row] = limit
    ballot = count_votes(candidates, cap, np.arange(len(pulses)), np.zeros(len(pulses), int), passes=1, within=WITHIN)
    found = decide(
        ballot,
        best_tier=rule,
        clearance=np.array([2.0]),
        at_least=at_least,
        within=WITHIN,
        sizes=np.array([2, 3]),
        nameless=NONE,
    )
    return int(found.choice[0]), int(found.tier[0])


@pytest.mark.parametrize(
    ("pulses", "choice", "tier"),
    [
        ([(A,)] * 5, A, 0),  # 100 %, five clear
        ([(A,)] * 4, A, 1),  # 100 %, but four clear only
        ([(A,)] * 3 + [(B,)], A, 1),  # 75 %, three clear
        ([(A,)] * 9 + [(B,)], A, 0),  # 90 % counts as 90 %
        ([(A,)] * 8 + [(B,)], A, 1),  # 89 %
        ([(A,)] * 2, TOO_FEW, NO_TIER),
        ([(A, B)] * 6, AB, 0),  # none clear for A or B, all clear for the group
        ([(A,)] * 2 + [(A, B)] * 2, AB, 1),  # A has 75 % but two clear pulses; the group has four
        ([(A,)] * 3 + [(B,)] * 2, AB, 0),  # A has 60 %: the group covers all five
        ([(A,)] * 3 + [(C,)] * 2, ABC, 0),  # only the wide group holds both
        (
            [(A,)] * 2 + [(B,)] * 1 + [(C,)] * 1,
            AB,
            1,
        ),  # the narrow group at 75 % before the wide one at 100 %
        ([(NONE,)] * 3 + [(A,)] * 2, NONE, NO_TIER),  # more than half of the votes are unidentified
        ([(NONE,)] * 2 + [(A,)] * 2, UNDECIDED, NO_TIER),  # half are, and A has no more than half
        ([(A,)] * 3 + [(NONE,)] * 2, A, 2),  # A has 60 %: possible
        ([(A,)] * 2 + [(B,)] * 2 + [(NONE,)] * 3, AB, 2),  # neither leads, the group has 57 %
        ([(A,)] * 2 + [(B,)] * 2 + [(NONE,)] * 4, UNDECIDED, NO_TIER),  # 50 % is not more than half
    ],
)
def test_the_rule(pulses, choice, tier):
    assert decided(*pulses) == (choice, tier)


def test_at_most_lowers_the_tier_and_not_the_label():
    capped = [((A,), 1)] * 6
    assert decided(*capped) == (A, 1)
    assert decided(*[((A,), 2)] * 6) == (A, 2)
    # Nine of ten votes may be definite: 90 % of all votes is enough. Eight of ten is not.
    assert decided(*[(A,)] * 9, ((A,), 1)) == (A, 0)
    assert decided(*[(A,)] * 8, *[((A,), 1)] * 2) == (A, 1)


def test_a_rule_without_conditions_cannot_lift_a_cap():
    def always(support, clear, pulses, clearance):  # definite otherwise
        return np.zeros(len(support), int)

    assert decided(*[(A,)] * 4, rule=always) == (A, 0)
    assert decided(*[((A,), 1)] * 4, rule=always) == (A, 1)
    # Half of the votes allow it: enough. Less than half: not.
    assert decided(*[(A,)] * 2, *[((A,), 1)] * 2, rule=always) == (A, 0)
    assert decided((A,), *[((A,), 1)] * 3, rule=always) == (A, 1)


def test_a_key_may_ask_for_clearance_and_pulses():
    def careful(support, clear, pulses, clearance):
        return np.where(clearance >= 3, 0, np.where(pulses >= 4, 1, NO_TIER))

    assert decided(*[(A,)] * 4, rule=careful) == (A, 1)
    assert decided(*[(A,)] * 3, rule=careful) == (UNDECIDED, NO_TIER)


def test_without_groups_and_without_an_unidentified_end():
    candidates = np.array([[1, 0], [1, 1], [1, 0], [0, 1]], bool)
    none = np.zeros((2, 0), bool)
    ballot = count_votes(candidates, np.zeros((4, 2), int), np.arange(4), np.array([0, 0, 0, 1]), passes=3, within=none)
    found = decide(
        ballot,
        best_tier=printed_rule,
        clearance=np.ones(3),
        at_least=1,
        within=none,
        sizes=np.zeros(0, int),
        nameless=-1,
    )
    assert found.choice.tolist() == [0, 1, TOO_FEW]
    assert found.tier.tolist() == [2, 2, NO_TIER]
