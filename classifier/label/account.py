"""The account of one pass: its ways through the key, and what each tier asked for and got."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from classifier.key.text import expression_text
from classifier.label.calls import key_calls, labelling_of
from classifier.label.decide import decide
from classifier.label.labelling import metric_arrays, tiers_of
from classifier.label.refine import Voters, spoken_of
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
    counted_for : whose votes the tiers count: the label's, or those of a refine block's candidates together where
        that block gave the label
    at_most : the best tier that the refine block's lead allows; None where it gave no label or sets no limit
    refined_by : the place, among the key's refine blocks, of the one that spoke of the pass; None without one
    """

    ways: tuple[Way, ...]
    tiers: tuple[TierAccount, ...]
    counted_for: str
    at_most: str | None
    refined_by: int | None


def account_of(compiled, pulses: pl.DataFrame, usable, label: str, trail: str = "") -> Account:
    """Account for the label of one pass.

    Parameters
    ----------
    compiled : CompiledKey that labelled it
    pulses : DataFrame, the pulses of the pass in order of onset, with their metric columns
    usable : bool array, which of them voted
    label : the pass's label
    trail : the pass's trail, which says what a refine block made of it

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
    column, counted_for, best, refined_by = _column(ballot, label, labelling), label, 0, None
    _, mark, letters = trail.rpartition("; refine ")
    if mark:
        voters = Voters(of, 1, keyed.way[rows], keyed.candidates, keyed.cap, {}, {})
        refined_by, together = _speaker(compiled, labelling, ballot, clearance, voters)
        lead = _lead_taken(compiled, refined_by, letters)
        if lead is not None:
            column = _Column(together.allowed_group_support, together.allowed_group_clear, together.group_support, 0)
            names = [compiled.ends[end].label for end in compiled.refinements[refined_by].candidates]
            counted_for, best = " | ".join(names), lead.cap
    nameless = labelling.nameless >= 0 and label == labelling.names[labelling.nameless]
    tiers = () if column is None or nameless else _tiers(compiled, ballot.usable, column, clearance, best)
    return Account(_ways(keyed, rows, labelling), tiers, counted_for, TIERS[best] if best else None, refined_by)


@dataclass(frozen=True)
class _Column:
    """Where a ballot holds the votes that count for a label: arrays, and the place in them."""

    support: tuple
    clear: tuple
    every: np.ndarray
    place: int


def _column(ballot, label, labelling):
    if label in labelling.names:
        place = labelling.names.index(label)
        return _Column(ballot.allowed_support, ballot.allowed_clear, ballot.support, place)
    if label in labelling.groups:
        place = labelling.groups.index(label)
        return _Column(ballot.allowed_group_support, ballot.allowed_group_clear, ballot.group_support, place)
    return None


def _speaker(compiled, labelling, ballot, clearance, voters):
    """The place of the refine block that speaks of the one pass, and the ballot of its candidates together."""
    decision = decide(
        ballot,
        best_tier=tiers_of(compiled),
        clearance=clearance,
        at_least=compiled.least_pulses,
        within=labelling.within,
        sizes=labelling.sizes,
        nameless=labelling.nameless,
    )
    for place, refinement in enumerate(compiled.refinements):
        spoken, together = spoken_of(refinement, compiled, labelling, decision.choice, voters)
        if spoken[0]:
            return place, together
    return None, None


def _lead_taken(compiled, block, letters):
    """The route by which a block gave the label; None where it left the label as it was."""
    if block is None:
        return None
    # several letters: a lead was unsure, and the label stayed
    taken = [route for route in compiled.refinements[block].routes if route.label == letters]
    return taken[0] if taken and taken[0].end is not None else None


def _ways(keyed, rows, labelling):
    by_way = {}
    for row in rows:
        by_way.setdefault(int(keyed.way[row]), []).append(int(row))
    ways = []
    for way, mine in by_way.items():
        typical = sorted(mine, key=lambda row: (keyed.clearance[row], row))[len(mine) // 2]
        names = tuple(labelling.names[place] for place in np.flatnonzero(keyed.candidates[way]))
        ways.append(Way(keyed.trail[way], len(mine), names, int(keyed.parted_by[way]), keyed.reason[way], typical))
    return tuple(sorted(ways, key=lambda way: (-way.pulses, way.trail)))


def _tiers(compiled, usable, column, clearance, best):
    """What each tier of the key asks for, and the votes counted for it. ``best`` is the best tier allowed."""
    best_tier = tiers_of(compiled)
    every = column.every[0, column.place]
    found = []
    for entry in compiled.key.passes.tiers if compiled.key.passes else ():
        tier = TIERS.index(entry.tier)
        counted, sure = column.support[tier][:1, column.place], column.clear[tier][:1, column.place]
        reached = best_tier(counted, sure.astype(float), usable.astype(float), clearance)[0]
        text = "otherwise" if entry.condition is None else f"when {expression_text(entry.condition)}"
        holds = bool(reached <= tier and counted[0] >= every / 2 and every > 0 and tier >= best)
        found.append(TierAccount(entry.tier, text, float(counted[0]), int(sure[0]), holds))
    return tuple(found)
