"""Pulses vote: what each pass's candidates have for them, in numbers and nothing decided yet.

Each usable pulse has one vote and spreads it evenly over its candidates. For a pass and a label

    support = 100 · (votes for the label) / (usable pulses)     percent
    clear   = usable pulses whose only candidate is the label

A group is a label too: its votes are those for its members and for itself, and a pulse is clear for a group
if all its candidates lie in it. Votes that came by a lead with ``at most`` are kept apart by the tier they
still allow.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

TIERS = ("definite", "probable", "possible")


@dataclass(frozen=True)
class Ballot:
    """Votes of all passes. P passes, L labels, G groups; tiers count 0 definite, 1 probable, 2 possible.

    support : float array (P, L), percent
    clear : int array (P, L)
    group_support : float array (P, G), percent
    group_clear : int array (P, G)
    usable : int array (P,), pulses that voted
    allowed_support, allowed_clear : arrays (3, P, L): the same, of votes whose way allows the tier
    allowed_group_support, allowed_group_clear : arrays (3, P, G)
    """

    support: np.ndarray
    clear: np.ndarray
    group_support: np.ndarray
    group_clear: np.ndarray
    usable: np.ndarray
    allowed_support: np.ndarray
    allowed_clear: np.ndarray
    allowed_group_support: np.ndarray
    allowed_group_clear: np.ndarray


def count_votes(candidates, cap, way, pass_index, *, passes: int, within) -> Ballot:
    """Count the votes of usable pulses.

    Parameters
    ----------
    candidates : bool array (k, L), the labels open to each of k ways through the key; at least one for a way
        that is taken
    cap : int array (k, L), the best tier that the way to each label allows: 0 definite, 1 probable, 2
        possible
    way : int array (n,), the way that each pulse took
    pass_index : int array (n,), its pass, 0 <= index < passes
    passes : number of passes P
    within : bool array (L, G), true where the label lies in the group

    Returns
    -------
    Ballot; a pass without usable pulses has support 0 for everything
    """
    alone = candidates.sum(axis=1, keepdims=True) == 1
    weight = candidates / np.maximum(candidates.sum(axis=1, keepdims=True), 1)
    only = candidates & alone
    groups = within.shape[1]
    group_weight = weight @ within.astype(float)
    group_only = np.zeros((len(candidates), groups), bool)
    group_cap = np.zeros((len(candidates), groups), np.int8)
    for g in range(groups):
        # Clear for a group if nothing lies outside it; its cap is the strictest of the candidates it covers.
        group_only[:, g] = ~(candidates & ~within[:, g]).any(axis=1)
        group_cap[:, g] = np.where(candidates & within[:, g], cap, 0).max(axis=1, initial=0)
    # Pulses of a pass share few ways: how often each was taken is all that is needed of them.
    taken = csr_array((np.ones(len(way)), (pass_index, way)), shape=(passes, len(candidates)))
    usable = np.bincount(pass_index, minlength=passes)

    def support_of(votes):
        # Rounded, so that thirds that make up a whole reach a boundary that they ought to reach.
        return np.round(100.0 * (taken @ votes) / np.maximum(usable, 1)[:, None], 9)

    def clear_of(pulses):
        return (taken @ pulses.astype(float)).astype(np.int64)

    tiers = range(len(TIERS))
    return Ballot(
        support=support_of(weight),
        clear=clear_of(only),
        group_support=support_of(group_weight),
        group_clear=clear_of(group_only),
        usable=usable,
        allowed_support=np.stack([support_of(weight * (cap <= tier)) for tier in tiers]),
        allowed_clear=np.stack([clear_of(only & (cap <= tier)) for tier in tiers]),
        allowed_group_support=np.stack([support_of(group_weight * (group_cap <= tier)) for tier in tiers]),
        allowed_group_clear=np.stack([clear_of(group_only & (group_cap <= tier)) for tier in tiers]),
    )
