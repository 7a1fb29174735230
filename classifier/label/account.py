"""The account of one pass: its ways through the key, and what each tier asked for and got."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from classifier.key.text import expression_text
from classifier.label.calls import key_calls, labelling_of
from classifier.label.labelling import metric_arrays, tiers_of
from classifier.label.statistics import median
from classifier.label.votes import TIERS, count_votes


@dataclass(frozen=True)
class Way:
    """Pulses of the pass that took the same way. ``pulse`` is the place, among the pulses given, of the one
    whose clearance is the median of them: the typical one. ``candidates`` are labels; ``parted_by`` a couplet
    or 0."""

    trail: str
    pulses: int
    candidates: tuple[str, ...]
    parted_by: int
    reason: str
    pulse: int


@dataclass(frozen=True)
class TierAccount:
    """One tier of the passes block: its condition as text, the votes counted for it (those whose way allows
    the tier), and whether it holds."""

    tier: str
    condition: str
    support: float
    clear: int
    holds: bool


@dataclass(frozen=True)
class Account:
    """ways : most pulses first
    tiers : as the key orders them; () for a pass that is unidentified
    statistics : what refine blocks can name of a pass, as (name, value, standard error); () without such
        blocks
    """

    ways: tuple[Way, ...]
    tiers: tuple[TierAccount, ...]


def account_of(compiled, pulses: pl.DataFrame, usable, label: str) -> Account:
    """Account for the label of one pass.

    Parameters
    ----------
    compiled : CompiledKey that labelled it
    pulses : DataFrame, the pulses of the pass in order of onset, with their metric columns
    usable : bool array, which of them voted
    label : the pass's label

    Returns
    -------
    Account
    """
    labelling = labelling_of(compiled)
    values, errors = metric_arrays(pulses)
    rows = np.flatnonzero(usable)
    keyed = key_calls(compiled, labelling, values, errors)
    of = np.zeros(len(rows), np.int64)
    ballot = count_votes(keyed.candidates, keyed.cap, keyed.way[rows], of, passes=1, within=labelling.within)
    clearance, _ = median(keyed.clearance[rows], of, passes=1)
    return Account(_ways(keyed, rows, labelling), _tiers(compiled, ballot, label, labelling, clearance))


def _ways(keyed, rows, labelling):
    by_way = {}
    for row in rows:
        by_way.setdefault(int(keyed.way[row]), []).append(int(row))
    ways = []
    for way, mine in by_way.items():
        typical = sorted(mine, key=lambda row: (keyed.clearance[row], row))[len(mine) // 2]
        names = tuple(labelling.names[place] for place in np.flatnonzero(keyed.candidates[way]))
        ways.append(
            Way(keyed.trail[way], len(mine), names, int(keyed.parted_by[way]), keyed.reason[way], typical)
        )
    return tuple(sorted(ways, key=lambda way: (-way.pulses, way.trail)))


def _tiers(compiled, ballot, label, labelling, clearance):
    """What each tier of the key asks for, and the votes counted for it."""
    if label in labelling.names:
        place = labelling.names.index(label)
        support, clear, every = ballot.allowed_support, ballot.allowed_clear, ballot.support[0, place]
    elif label in labelling.groups:
        place = labelling.groups.index(label)
        support, clear = ballot.allowed_group_support, ballot.allowed_group_clear
        every = ballot.group_support[0, place]
    else:
        return ()
    if labelling.nameless >= 0 and label == labelling.names[labelling.nameless]:
        return ()
    best_tier = tiers_of(compiled)
    found = []
    for entry in compiled.key.passes.tiers if compiled.key.passes else ():
        tier = TIERS.index(entry.tier)
        counted, sure = support[tier][:1, place], clear[tier][:1, place]
        reached = best_tier(counted, sure.astype(float), ballot.usable.astype(float), clearance)[0]
        text = "otherwise" if entry.condition is None else f"when {expression_text(entry.condition)}"
        holds = bool(reached <= tier and counted[0] >= every / 2 and every > 0)
        found.append(TierAccount(entry.tier, text, float(counted[0]), int(sure[0]), holds))
    return tuple(found)
