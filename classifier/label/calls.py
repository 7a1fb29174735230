"""Single calls through the key: what each may be, how sure that is, and the way it took."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from classifier.key import evaluate
from classifier.label.text import NOT_A_BAT, UNIDENTIFIED, join_candidates
from classifier.label.votes import TIERS


@dataclass(frozen=True)
class Labelling:
    """The labels that a key can give and how groups hold them.

    names : the L labels that a way through the key can end in, in the order of its ends: taxa, groups,
        'unidentified' and 'not a bat', each once
    groups : names of the G declared groups
    members : for each group the taxa it holds
    within : bool array (L, G), true where all that the label stands for lies in the group
    nameless : place of 'unidentified' in names, -1 if no way ends there
    of_end : int array, place in names of each end of the compiled key
    """

    names: tuple[str, ...]
    groups: tuple[str, ...]
    members: tuple[frozenset, ...]
    within: np.ndarray
    nameless: int
    of_end: np.ndarray

    @property
    def sizes(self) -> np.ndarray:
        return np.array([len(each) for each in self.members], int)


def labelling_of(compiled) -> Labelling:
    """The labels of a compiled key."""
    called = [_name_of(end) for end in compiled.ends]
    names = tuple(dict.fromkeys(called))
    groups = {group.name: frozenset(taxon.name for taxon in group.members) for group in compiled.key.groups.values()}
    stands_for = [groups.get(name, frozenset({name})) for name in names]
    within = np.array([[taxa <= held for held in groups.values()] for taxa in stands_for], bool)
    return Labelling(
        names,
        tuple(groups),
        tuple(groups.values()),
        within.reshape(len(names), len(groups)),
        names.index(UNIDENTIFIED) if UNIDENTIFIED in names else -1,
        np.array([names.index(name) for name in called], int),
    )


def _name_of(end) -> str:
    return {"unidentified": UNIDENTIFIED, "not a bat": NOT_A_BAT}.get(end.kind, end.label)


@dataclass(frozen=True)
class Keyed:
    """n calls as the key leaves them. What follows from the way a call took stands once for each of k ways.

    usable : bool array (n,), false where the gate says no
    gated_by : list of n, text of the gate line or None
    clearance : float array (n,)
    way : int array (n,), the row of the arrays below; the last row, without candidates, for gated calls
    candidates : bool array (k, L); cap : int array (k, L), best tier that the way to each label allows
    trail, reason : object arrays (k,) of str
    parted_by : int array (k,), number of the couplet that parted the candidates, or 0
    """

    usable: np.ndarray
    gated_by: list
    clearance: np.ndarray
    way: np.ndarray
    candidates: np.ndarray
    cap: np.ndarray
    trail: np.ndarray
    reason: np.ndarray
    parted_by: np.ndarray


def key_calls(compiled, labelling: Labelling, values, errors) -> Keyed:
    """Put n calls through the key.

    values, errors : mappings from metric name to float array (n,), key units; an absent metric is missing
        everywhere
    """
    verdicts = evaluate(compiled, values, errors)
    ways = verdicts.patterns
    shape = len(ways.candidates), len(labelling.names)
    candidates, cap = np.zeros(shape, bool), np.full(shape, len(TIERS) - 1, np.int8)
    for end, label in enumerate(labelling.of_end):
        met = ways.candidates[:, end]
        candidates[:, label] |= met
        # Of several ways to the same label the kindest counts.
        cap[met, label] = np.minimum(cap[met, label], ways.cap[met, end])
    gates = np.array([*compiled.gate_names, None], object)
    way = np.where(verdicts.pattern < 0, shape[0] - 1, verdicts.pattern)
    return Keyed(
        verdicts.usable,
        gates[verdicts.gated_by].tolist(),
        verdicts.clearance,
        way,
        candidates,
        cap,
        ways.trail,
        ways.reason,
        ways.parted_by,
    )


def call_columns(keyed: Keyed, labelling: Labelling, keep=None) -> pl.DataFrame:
    """The columns label, candidates, tier, clearance, trail of calls; all null where ``keep`` is false or
    gated.

    One candidate is the label; several are the smallest declared group that holds them all, or
    'unidentified'. The tier is what the way allows; 'unidentified' has none.
    """
    shown = keyed.usable if keep is None else keyed.usable & keep
    words = [_in_words(np.flatnonzero(open_to), labelling) for open_to in keyed.candidates]
    strictest = np.where(keyed.candidates, keyed.cap, 0).max(axis=1, initial=0)
    by_way = pl.DataFrame(
        {
            "label": pl.Series([label for label, _ in words], dtype=pl.String),
            "candidates": pl.Series([names for _, names in words], dtype=pl.String),
            "tier": pl.Series(
                [TIERS[tier] if label != UNIDENTIFIED else None for tier, (label, _) in zip(strictest, words, strict=True)],
                dtype=pl.String,
            ),
            "trail": pl.Series(keyed.trail.tolist(), dtype=pl.String),
        }
    )
    seen = pl.Series("seen", shown)
    rows = by_way[keyed.way] if len(keyed.way) else by_way.clear()
    clearance = pl.Series("clearance", keyed.clearance, pl.Float64).fill_nan(None)
    return rows.with_columns(clearance).select(
        pl.when(seen).then(pl.col(name)).alias(name) for name in ("label", "candidates", "tier", "clearance", "trail")
    )


def _in_words(places, labelling):
    """Label and list of candidates for one combination of candidates."""
    names = [labelling.names[place] for place in places]
    if len(names) == 1:
        return names[0], names[0]
    covering = [g for g in range(len(labelling.groups)) if labelling.within[places, g].all()]
    covering.sort(key=lambda g: (len(labelling.members[g]), g))
    label = labelling.groups[covering[0]] if covering and names else UNIDENTIFIED
    return label, join_candidates(names)
