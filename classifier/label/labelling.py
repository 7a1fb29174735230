"""Pulses, passes and a key come together: the two label tables of a survey."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from classifier.key import evaluate_tiers
from classifier.label.calls import call_columns, key_calls, labelling_of
from classifier.label.decide import NO_TIER, POSSIBLE, TOO_FEW, decide
from classifier.label.passes import MEDIANS, pass_facts
from classifier.label.refine import Voters, called, refined
from classifier.label.statistics import median
from classifier.label.text import NO_LEADER_TEXT, TOO_FEW_TEXT, join_support, join_trails
from classifier.label.votes import TIERS, count_votes
from classifier.metrics import METRICS

#: Why a pulse never comes before the key, beside the key's own gate.
ECHO, BUZZ = "echo", "feeding buzz"

PULSE_COLUMNS = (
    "recording",
    "channel",
    "pulse",
    "pass",
    "interval_ms",
    "label",
    "candidates",
    "tier",
    "clearance",
    "trail",
    "gated_by",
)
PASS_COLUMNS = (
    "pass",
    "recording",
    "recordings",
    "channel",
    "site",
    "night",
    "starts_at",
    "onset_s",
    "end_s",
    "pulses",
    "usable_pulses",
    "label",
    "candidates",
    "tier",
    "support",
    "clearance",
    "feeding_buzz",
    "trail",
    *(metric.column for metric in MEDIANS),
)


@dataclass(frozen=True)
class Labels:
    """The two label tables of a survey, with the columns PASS_COLUMNS and PULSE_COLUMNS; see
    docs/tables.md."""

    passes: pl.DataFrame
    pulses: pl.DataFrame


def label(pulses: pl.DataFrame, recordings: pl.DataFrame, followed, compiled) -> Labels:
    """Label the pulses and passes of a survey with a key.

    Every pulse goes through the key by itself; a pass gathers the votes of its usable pulses (let through by
    the gate, no echo, not in a feeding buzz), and refine blocks then decide on the pass as a whole.

    Parameters
    ----------
    pulses, recordings : DataFrames as in pulses.parquet and recordings.parquet
    followed : Followed, as classifier.passes.follow gives it for the same pulses, rows in the same order
    compiled : CompiledKey

    Returns
    -------
    Labels; a row for every pulse in the order given, and for every pass in the order of its number
    """
    labelling = labelling_of(compiled)
    found = followed.pulses
    both = pulses.with_columns(found["pass"], found[METRICS["interval"].column], found["in_buzz"].fill_null(False))
    values, errors = metric_arrays(both)
    keyed = key_calls(compiled, labelling, values, errors)
    # A pulse of no pass is an echo, whether measuring or following found that out.
    echo = (both["echo"].fill_null(False) | both["pass"].is_null()).to_numpy()
    kept = ~(echo | both["in_buzz"].to_numpy())
    usable = keyed.usable & kept
    pulse_labels = _pulse_table(both, keyed, labelling, kept, echo)
    in_pass = both["pass"].is_not_null().to_numpy()
    both = both.with_columns(pl.Series("usable", usable))
    facts = pass_facts(both.filter(in_pass), recordings, followed.passes)
    pass_labels = _pass_table(facts, both, keyed, usable & in_pass, labelling, compiled, values, errors)
    return Labels(pass_labels, pulse_labels)


def tiers_of(compiled):
    """The key's passes block as decide() wants it; without tiers in the key every label is possible and no
    more."""

    def best_tier(support, clear, pulses, clearance):
        if not compiled.tiers:
            return np.full(len(support), POSSIBLE)
        found = evaluate_tiers(compiled, support=support, clear=clear, pulses=pulses, clearance=clearance)
        return np.where(found < 0, NO_TIER, found).astype(int)

    return best_tier


def metric_arrays(table: pl.DataFrame):
    """Values and standard errors of a table's metric columns by metric name: float arrays, missing NaN."""
    values, errors = {}, {}
    for metric in METRICS.values():
        for column, into in ((metric.column, values), (metric.error_column, errors)):
            if column in table.columns:
                into[metric.name] = table[column].cast(pl.Float64).fill_null(np.nan).to_numpy()
    return values, errors


def _pulse_table(both, keyed, labelling, kept, echo):
    gated_by = (
        pl.when(pl.Series(echo))
        .then(pl.lit(ECHO))
        .when(both["in_buzz"])
        .then(pl.lit(BUZZ))
        .otherwise(pl.Series(keyed.gated_by, dtype=pl.String))
    )
    table = pl.concat(
        [
            both.select("recording", "channel", "pulse", "pass", METRICS["interval"].column),
            call_columns(keyed, labelling, kept),
            both.select(gated_by.alias("gated_by")),
        ],
        how="horizontal",
    )
    return table.select(PULSE_COLUMNS)


def _pass_table(facts, both, keyed, usable, labelling, compiled, values, errors):
    """The table of passes. ``usable`` is over all pulses: those that vote in their pass."""
    rows = np.flatnonzero(usable)
    of = np.searchsorted(facts["pass"].to_numpy(), both["pass"].gather(rows).to_numpy())
    voters = Voters(
        of,
        facts.height,
        keyed.way[rows],
        keyed.candidates,
        keyed.cap,
        {name: each[rows] for name, each in values.items()},
        {name: each[rows] for name, each in errors.items()},
    )
    best_tier = tiers_of(compiled)
    ballot = count_votes(voters.candidates, voters.cap, voters.way, of, passes=facts.height, within=labelling.within)
    clearance, _ = median(keyed.clearance[rows], of, passes=facts.height)
    decision = decide(
        ballot,
        best_tier=best_tier,
        clearance=clearance,
        at_least=compiled.least_pulses,
        within=labelling.within,
        sizes=labelling.sizes,
        nameless=labelling.nameless,
    )
    labels = [called(choice, labelling) for choice in decision.choice]
    tiers = [TIERS[tier] if tier < len(TIERS) else None for tier in decision.tier]
    supports = [_support(place, choice, ballot, decision) for place, choice in enumerate(decision.choice)]
    trails = _trails(keyed, rows, of, facts.height, compiled.least_pulses, ballot, decision)
    for place, change in refined(compiled, labelling, decision, voters, facts, best_tier=best_tier, clearance=clearance).items():
        labels[place], tiers[place], supports[place] = change.label, change.tier, change.support
        trails[place] = f"{trails[place]}; {change.trail}"
    return facts.with_columns(
        pl.Series("label", labels, pl.String),
        pl.Series("tier", tiers, pl.String),
        pl.Series("support", supports, pl.Float64),
        pl.Series("clearance", clearance, pl.Float64).fill_nan(None),
        pl.Series("candidates", _candidates(ballot, labelling), pl.String),
        pl.Series("trail", trails, pl.String),
    ).select(PASS_COLUMNS)


def _support(place, choice, ballot, decision):
    """Support of the pass's label; of its leading candidate where none was chosen; null without votes."""
    if not ballot.usable[place]:
        return None
    labels = ballot.support.shape[1]
    if choice >= labels:
        return float(ballot.group_support[place, choice - labels])
    return float(ballot.support[place, choice if choice >= 0 else decision.leader[place]])


def _candidates(ballot, labelling):
    """Candidates of each pass with their support, most first, equals in the order of the key."""
    texts = []
    for support in ballot.support.tolist():
        met = [place for place, share in enumerate(support) if share > 0]
        order = sorted(met, key=lambda place: (-support[place], place))
        texts.append(join_support((labelling.names[place], support[place]) for place in order) or None)
    return texts


def _trails(keyed, rows, of, passes, at_least, ballot, decision):
    """For each pass the ways of its voting pulses, behind the reason where it could not be named."""
    remarks = [
        "; ".join(filter(None, [f"couplet {parted} unsure" if parted else "", reason]))
        for parted, reason in zip(keyed.parted_by, keyed.reason, strict=True)
    ]
    counts = [[] for _ in range(passes)]
    taken, numbers = np.unique(of * len(keyed.trail) + keyed.way[rows], return_counts=True)
    for each, count in zip(taken.tolist(), numbers.tolist(), strict=True):
        place, way = divmod(each, len(keyed.trail))
        counts[place].append((keyed.trail[way], count, remarks[way]))
    texts = []
    for place, choice in enumerate(decision.choice):
        ways = join_trails(counts[place])
        texts.append("; ".join(filter(None, [_why_unnamed(place, choice, at_least, ballot), ways])))
    return texts


def _why_unnamed(place, choice, at_least, ballot):
    if choice == TOO_FEW:
        return f"{TOO_FEW_TEXT}: {ballot.usable[place]}, the key asks for {max(at_least, 1)}"
    return NO_LEADER_TEXT if choice < 0 else ""
