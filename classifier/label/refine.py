"""Refine blocks: the last word on a pass, from statistics of the pass as a whole.

A block speaks of a pass if its candidates together have more than half of the votes, and the pass's label is
one of them, or a group that holds two of them or more, or 'unidentified' because none led. The first block
that speaks decides. Its leads are tried in order as in a couplet; where one outcome is left that is the
label, where several are (a lead was unsure) the label stays.

The tier of a label that a block gives is the best whose condition holds for the votes of all the block's
candidates together, no better than the lead's `at most`.
"""

from dataclasses import dataclass

import numpy as np

from classifier.key import evaluate_refine
from classifier.label.decide import NO_TIER, UNDECIDED, allowed_tier
from classifier.label.season import hours_after_sunset, month_of
from classifier.label.statistics import median
from classifier.label.text import NOT_A_BAT, UNIDENTIFIED
from classifier.label.votes import TIERS, count_votes


@dataclass(frozen=True)
class Voters:
    """The pulses that vote, n of them, in P passes.

    of : int array (n,), the place of each pulse's pass
    way : int array (n,), the row that holds for it in candidates and cap, which are (k, L)
    values, errors : float arrays (n,) by metric name
    """

    of: np.ndarray
    passes: int
    way: np.ndarray
    candidates: np.ndarray
    cap: np.ndarray
    values: dict
    errors: dict


@dataclass(frozen=True)
class Change:
    """What a refine block makes of one pass; ``trail`` names the leads taken, such as ``refine a``."""

    label: str
    tier: str | None
    support: float
    trail: str


def refined(compiled, labelling, decision, voters: Voters, facts, *, best_tier, clearance) -> dict[int, Change]:
    """The passes that refine blocks speak of, by their place, and what becomes of each.

    facts : DataFrame of passes, as classifier.label.passes.pass_facts gives it
    best_tier, clearance : as decide() takes them
    """
    changes = {}
    if not compiled.refinements or not voters.passes:
        return changes
    statistics, errors = pass_statistics(voters, facts)
    judged = evaluate_refine(
        compiled,
        pulses=voters.values,
        pulse_errors=voters.errors,
        pass_of=voters.of,
        statistics=statistics,
        statistic_errors=errors,
    )
    for block in judged:
        spoken, ballot = spoken_of(block.refinement, compiled, labelling, decision.choice, voters)
        support = ballot.group_support[:, 0]
        for place in np.flatnonzero(spoken):
            if place in changes:
                continue
            label, tier = called(decision.choice[place], labelling), int(decision.tier[place])
            shown = float(support[place])
            if block.decision[place] >= 0:
                label = compiled.ends[block.decision[place]].label
                own = allowed_tier(ballot, len(labelling.names), np.array([place]), best_tier, clearance)[0]
                tier = max(int(own), int(block.cap[place]))
            if label == UNIDENTIFIED or tier >= NO_TIER:
                label, tier = UNIDENTIFIED, NO_TIER
            trail = f"refine {block.trail[place] or '-'}"
            changes[int(place)] = Change(label, TIERS[tier] if tier < NO_TIER else None, shown, trail)
    return changes


def spoken_of(refinement, compiled, labelling, choice, voters: Voters):
    """Of which passes a block may speak, bool (P,), and the ballot whose one group is its candidates together.

    choice : int array (P,), what decide() made of the passes
    """
    names = [compiled.ends[end].label for end in refinement.candidates]
    together = taxa_of(names, labelling)
    held = np.array([taxa_of([name], labelling) <= together for name in labelling.names])[:, None]
    ballot = count_votes(voters.candidates, voters.cap, voters.way, voters.of, passes=voters.passes, within=held)
    speaks = [_speaks_of(names, each, labelling) for each in choice]
    return (ballot.group_support[:, 0] > 50.0) & np.array(speaks, bool), ballot


def pass_statistics(voters: Voters, facts) -> tuple[dict, dict]:
    """What a refine block can name of a pass, and the standard errors of it: arrays (P,) by name, NaN if
    unknown."""
    missing = np.full(len(voters.of), np.nan)
    of, passes = voters.of, voters.passes
    interval = voters.values.get("interval", missing)
    duration = voters.values.get("duration", missing)
    values, errors = {"alternation": facts["alternation"].fill_null(0.0).to_numpy()}, {}
    for name, each in (("interval", interval), ("duty_cycle", 100.0 * duration / interval)):
        values[name], errors[name] = median(each, of, passes=passes)
    values["pulses"] = np.bincount(of, minlength=passes).astype(float)
    values["feeding_buzz"] = facts["feeding_buzz"].to_numpy().astype(float)
    values["month"] = np.array([month_of(night) for night in facts["night"]], float)
    when = zip(facts["start"].to_list(), facts["night"], facts["latitude"], facts["longitude"], strict=True)
    values["hour_after_sunset"] = np.array([hours_after_sunset(*each) for each in when], float)
    return values, errors


def called(choice, labelling) -> str:
    """The label of a choice of decide(); 'unidentified' for the negative ones."""
    if choice < 0:
        return UNIDENTIFIED
    labels = len(labelling.names)
    return labelling.names[choice] if choice < labels else labelling.groups[choice - labels]


def taxa_of(names, labelling) -> frozenset:
    """The taxa that labels stand for; 'unidentified' and 'not a bat' stand for themselves."""
    return frozenset().union(
        *(labelling.members[labelling.groups.index(name)] if name in labelling.groups else {name} for name in names)
    )


def _speaks_of(names, choice, labelling):
    """Whether a block with these candidates speaks of a pass of this label."""
    if choice == UNDECIDED:
        return True
    label = called(choice, labelling)
    if choice < 0 or label in (UNIDENTIFIED, NOT_A_BAT):
        return False
    members = taxa_of([label], labelling)
    return label in names or (len(members) > 1 and len(members & taxa_of(names, labelling)) > 1)
