"""A key against calls whose bat is known: confusion, precision, recall, kappa, and how often each tier is
right."""

from dataclasses import dataclass

import polars as pl

from classifier.judge.intervals import Share, share_of

#: The labels that are no taxon and no group.
NOT_NAMED = ("unidentified", "not a bat")
TIERS = ("definite", "probable", "possible")


@dataclass(frozen=True)
class TaxonScore:
    """What the key does with one taxon.

    ``recall``: of this taxon's calls, those labelled with it. ``recall_with_groups``: those labelled with it
    or with a group that holds it. ``precision``: of the calls labelled with it, those that are it.
    ``most_often``: the label it gets most often when it does not get its own, None if that never happens.
    """

    taxon: str
    calls: int
    labelled: int
    recall: Share
    recall_with_groups: Share
    precision: Share
    most_often: str | None


@dataclass(frozen=True)
class Comparison:
    """The key's answers beside the truth, and what they add up to.

    calls : DataFrame, a row a reference call: line, taxon, label, tier, candidates, trail, outcome, where
        outcome is 'right' (the taxon itself), 'group' (a group that holds it), 'wrong', or 'unidentified'
    truths, labels : what the rows and columns of ``counts`` stand for; truths sorted, labels as taxa, groups,
        unidentified, not a bat
    counts : tuple of rows of int
    kappa : chance-corrected agreement over all calls, a group or 'unidentified' counting as disagreement;
        None where it is not defined (one label alone)
    kappa_named : the same over the calls that were labelled with one taxon; None where there are fewer than
        two
    unknown : taxa of the table that the key does not declare: it can never get these right
    """

    unit: str
    calls: pl.DataFrame
    truths: tuple[str, ...]
    labels: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    taxa: tuple[TaxonScore, ...]
    tiers: tuple[tuple[str, Share], ...]
    right: Share
    right_with_groups: Share
    kappa: float | None
    kappa_named: float | None
    individuals: int | None
    unknown: tuple[str, ...]


def compare(answers: pl.DataFrame, *, taxa, groups, unit="call") -> Comparison:
    """Hold answers against the truth.

    Parameters
    ----------
    answers : DataFrame with columns line (int), taxon (str, the truth), label (str), tier (str or null),
        candidates, trail (str), and individual (str or null) where known; at least one row
    taxa : iterable of str, the taxa that the key declares
    groups : mapping from a group's label to the taxa it holds
    unit : 'call' or 'pass', what a row stands for

    Returns
    -------
    Comparison
    Source: [Cohen1960] for kappa, [Wilson1927] for the intervals
    """
    truth, label = answers["taxon"].to_list(), answers["label"].to_list()
    holds = {name: frozenset(members) for name, members in groups.items()}
    outcome = [outcome_of(t, got, holds) for t, got in zip(truth, label, strict=True)]
    calls = answers.with_columns(pl.Series("outcome", outcome, dtype=pl.String))
    truths = tuple(sorted(set(truth), key=_last("not a bat")))
    labels = _columns(truth, label, holds)
    right, grouped = outcome.count("right"), outcome.count("group")
    named = [i for i, got in enumerate(label) if got not in holds and got != "unidentified"]
    known = {*taxa, "not a bat"}
    individuals = answers["individual"].drop_nulls().n_unique() if "individual" in answers.columns else 0
    return Comparison(
        unit=unit,
        calls=calls,
        truths=truths,
        labels=labels,
        counts=_confusion(truth, label, truths, labels),
        taxa=tuple(_score(name, truth, label, holds) for name in truths),
        tiers=tuple((tier, _tier_share(tier, answers["tier"].to_list(), outcome)) for tier in TIERS),
        right=share_of(right, len(truth)),
        right_with_groups=share_of(right + grouped, len(truth)),
        kappa=_kappa(truth, label),
        kappa_named=_kappa([truth[i] for i in named], [label[i] for i in named]),
        individuals=individuals or None,
        unknown=tuple(name for name in truths if name not in known),
    )


def outcome_of(truth: str, label: str, groups) -> str:
    """'right', 'group', 'wrong' or 'unidentified'; ``groups`` maps a group's label to the taxa it holds."""
    if label == truth:
        return "right"
    if label == "unidentified":
        return "unidentified"
    return "group" if truth in groups.get(label, ()) else "wrong"


def _last(*names):
    """A sort key that puts these names behind all others, in the order given."""
    return lambda name: (names.index(name) + 1 if name in names else 0, name)


def _columns(truth, label, groups):
    """Labels in reading order: taxa, then groups, then 'unidentified' and 'not a bat', which always stand."""
    met = {*truth, *label}
    taxa = sorted(name for name in met if name not in groups and name not in NOT_NAMED)
    return (*taxa, *sorted(name for name in met if name in groups), *NOT_NAMED)


def _confusion(truth, label, truths, labels):
    from sklearn.metrics import confusion_matrix

    every = [*labels, *(name for name in truths if name not in labels)]
    counts = confusion_matrix(truth, label, labels=every)
    return tuple(tuple(int(counts[every.index(t), every.index(got)]) for got in labels) for t in truths)


def _score(taxon, truth, label, groups):
    """Precision and recall of one taxon, as in [common-usage]: shares of its column and of its row."""
    own = [got for t, got in zip(truth, label, strict=True) if t == taxon]
    labelled = label.count(taxon)
    hits = own.count(taxon)
    with_groups = sum(outcome_of(taxon, got, groups) in ("right", "group") for got in own)
    others = sorted({got for got in own if got != taxon}, key=lambda got: (-own.count(got), got))
    return TaxonScore(
        taxon,
        len(own),
        labelled,
        share_of(hits, len(own)),
        share_of(with_groups, len(own)),
        share_of(hits, labelled),
        others[0] if others else None,
    )


def _tier_share(tier, tiers, outcome):
    """How often a label of this tier holds: the taxon itself, or a group that has it among its members."""
    met = [result for given, result in zip(tiers, outcome, strict=True) if given == tier]
    return share_of(sum(result in ("right", "group") for result in met), len(met))


def _kappa(truth, label):
    """Cohen's kappa, None where chance agreement is total or there is nothing to agree on."""
    if len(truth) < 2 or len({*truth, *label}) < 2:
        return None
    from sklearn.metrics import cohen_kappa_score

    return float(cohen_kappa_score(truth, label))
