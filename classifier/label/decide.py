"""From votes to one label a pass, with its tier.

The rule, in the order it is tried. *By its numbers* means: support and clear as counted, no `at most` looked
at.

    1. Fewer usable pulses than the key asks for: 'unidentified'.
    2. More than half of the votes say 'unidentified': that.
    3. The leading candidate (most support of those with a name; the first declared of equals), if it is
       `definite` or `probable` by its numbers.
    4. The smallest declared group that holds the leading candidate and is `definite` or `probable` by its
    numbers. 5. The leading candidate, if it is `possible` by its numbers and has more than half of the votes.
    6. The smallest group that holds it, likewise.
    7. 'unidentified', because no candidate leads.

The tier is then the best whose condition holds when only those votes are counted whose way through the key
allows that tier; at least half of the label's votes must be such.
"""

from dataclasses import dataclass

import numpy as np

from classifier.label.votes import TIERS, Ballot

#: The place of each tier in TIERS, and what stands for none.
DEFINITE, PROBABLE, POSSIBLE, NO_TIER = 0, 1, 2, 3


@dataclass(frozen=True)
class Decision:
    """What each of P passes is called. ``choice`` counts labels first, then groups; -1 is 'unidentified' for
    want of a leader, -2 for want of pulses. ``tier`` is 0 to 2, or 3 for none. ``leader`` is the leading
    label."""

    choice: np.ndarray
    tier: np.ndarray
    leader: np.ndarray


UNDECIDED, TOO_FEW = -1, -2


def decide(ballot: Ballot, *, best_tier, clearance, at_least: int, within, sizes, nameless) -> Decision:
    """Decide the label and tier of every pass.

    Parameters
    ----------
    ballot : Ballot of P passes, L labels and G groups
    best_tier : function of float arrays (m,) support, clear, pulses and clearance to int (m,): the best tier
        whose condition holds, NO_TIER where none does
    clearance : float array (P,), median clearance of the pass's usable pulses
    at_least : usable pulses that a pass needs
    within : bool array (L, G), true where the label lies in the group
    sizes : int array (G,), number of members of each group
    nameless : int, the place of 'unidentified' among the labels, or -1

    Returns
    -------
    Decision
    """
    passes, labels = ballot.support.shape
    groups = within.shape[1]
    enough = ballot.usable >= max(at_least, 1)
    named = np.arange(labels) != nameless
    leader = np.where(named, ballot.support, -1.0).argmax(axis=1) if labels else np.zeros(passes, np.int64)
    rows = np.arange(passes)
    lead_support = ballot.support[rows, leader] if labels else np.zeros(passes)

    def met(support, clear):
        """The best tier by the numbers, (P,)."""
        return best_tier(support, clear.astype(float), ballot.usable.astype(float), clearance)

    lead_tier = met(lead_support, ballot.clear[rows, leader]) if labels else np.full(passes, NO_TIER)
    group = _smallest_group(ballot, leader, within, sizes, met, at_best=PROBABLE)
    loose = _smallest_group(ballot, leader, within, sizes, met, at_best=POSSIBLE, more_than=50.0)
    # The weakest claim first; each stronger one overwrites it.
    choice = np.where(loose >= 0, labels + loose, UNDECIDED)
    choice = np.where((lead_tier <= POSSIBLE) & (lead_support > 50.0), leader, choice)
    choice = np.where(group >= 0, labels + group, choice)
    choice = np.where((lead_tier <= PROBABLE) & (lead_support > 0.0), leader, choice)
    if nameless >= 0:
        choice = np.where(ballot.support[:, nameless] > 50.0, nameless, choice)
    choice = np.where(enough, choice, TOO_FEW)
    tier = np.full(passes, NO_TIER)
    for place in range(labels + groups):
        mine = np.flatnonzero((choice == place) & (choice != nameless))
        if len(mine):
            tier[mine] = allowed_tier(ballot, place, mine, best_tier, clearance)
    # A named label that no tier of the key fits is none.
    choice = np.where((choice >= 0) & (choice != nameless) & (tier == NO_TIER), UNDECIDED, choice)
    return Decision(choice, tier, leader)


def _smallest_group(ballot, leader, within, sizes, met, *, at_best, more_than=0.0):
    """For each pass the smallest group that holds its leader and reaches a tier; -1 where none does."""
    passes, groups = ballot.group_support.shape
    found = np.full(passes, -1)
    for g in sorted(range(groups), key=lambda g: (-sizes[g], -g)):
        tier = met(ballot.group_support[:, g], ballot.group_clear[:, g])
        fits = within[leader, g] & (tier <= at_best) & (ballot.group_support[:, g] > more_than)
        found = np.where(fits, g, found)
    return found


def allowed_tier(ballot, place, mine, best_tier, clearance):
    """The best tier of the passes ``mine`` for one label or group, counting only votes that allow it."""
    labels = ballot.support.shape[1]
    if place < labels:
        support, clear, every = ballot.allowed_support, ballot.allowed_clear, ballot.support[mine, place]
    else:
        place -= labels
        support, clear = ballot.allowed_group_support, ballot.allowed_group_clear
        every = ballot.group_support[mine, place]
    best = np.full(len(mine), NO_TIER)
    for tier in reversed(range(len(TIERS))):
        counted = support[tier][mine, place]
        reached = best_tier(
            counted,
            clear[tier][mine, place].astype(float),
            ballot.usable[mine].astype(float),
            clearance[mine],
        )
        best = np.where((reached <= tier) & (counted >= every / 2) & (every > 0), tier, best)
    return best
