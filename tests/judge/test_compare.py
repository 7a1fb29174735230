"""Comparison with the truth: by hand, against scikit-learn, and against a published kappa."""

import numpy as np
import polars as pl
import pytest
from sklearn.metrics import precision_recall_fscore_support

from classifier.judge.compare import compare, outcome_of

GROUPS = {"long-eared bats": ("Plecotus auritus", "Plecotus austriacus")}
TAXA = ("Plecotus auritus", "Plecotus austriacus", "Nyctalus noctula")


def answers(rows):
    """A table of answers from (taxon, label, tier)."""
    return pl.DataFrame(
        [(line, *row, row[1], "1a") for line, row in enumerate(rows, start=2)],
        schema={
            "line": pl.Int64,
            "taxon": pl.String,
            "label": pl.String,
            "tier": pl.String,
            "candidates": pl.String,
            "trail": pl.String,
        },
        orient="row",
    )


HAND = answers(
    [
        ("Nyctalus noctula", "Nyctalus noctula", "definite"),
        ("Nyctalus noctula", "Nyctalus noctula", "definite"),
        ("Nyctalus noctula", "unidentified", None),
        ("Plecotus auritus", "long-eared bats", "probable"),
        ("Plecotus auritus", "Plecotus auritus", "possible"),
        ("Plecotus austriacus", "Nyctalus noctula", "definite"),
        ("Barbastella barbastellus", "long-eared bats", "possible"),
        ("not a bat", "not a bat", "definite"),
    ]
)


def test_by_hand():
    found = compare(HAND, taxa=TAXA, groups=GROUPS)
    assert found.truths == (
        "Barbastella barbastellus",
        "Nyctalus noctula",
        "Plecotus auritus",
        "Plecotus austriacus",
        "not a bat",
    )
    assert found.labels == (
        "Barbastella barbastellus",
        "Nyctalus noctula",
        "Plecotus auritus",
        "Plecotus austriacus",
        "long-eared bats",
        "unidentified",
        "not a bat",
    )
    assert found.counts == (
        (0, 0, 0, 0, 1, 0, 0),
        (0, 2, 0, 0, 0, 1, 0),
        (0, 0, 1, 0, 1, 0, 0),
        (0, 1, 0, 0, 0, 0, 0),
        (0, 0, 0, 0, 0, 0, 1),
    )
    assert found.calls["outcome"].to_list() == [
        "right",
        "right",
        "unidentified",
        "group",
        "right",
        "wrong",
        "wrong",
        "right",
    ]
    noctule = next(score for score in found.taxa if score.taxon == "Nyctalus noctula")
    assert (noctule.recall.hits, noctule.recall.total) == (2, 3)
    assert (noctule.precision.hits, noctule.precision.total) == (2, 3)
    assert noctule.most_often == "unidentified"
    long_eared = next(score for score in found.taxa if score.taxon == "Plecotus auritus")
    assert (long_eared.recall.hits, long_eared.recall_with_groups.hits, long_eared.recall.total) == (1, 2, 2)
    tiers = {tier: (share.hits, share.total) for tier, share in found.tiers}
    assert tiers == {"definite": (3, 4), "probable": (1, 1), "possible": (1, 2)}
    assert (found.right.hits, found.right_with_groups.hits, found.right.total) == (4, 5, 8)
    assert found.unknown == ("Barbastella barbastellus",)
    assert found.individuals is None


def test_counts_add_up_and_agree_with_scikit_learn():
    rng = np.random.default_rng(7)
    truth = rng.choice(TAXA, 500)
    label = np.where(rng.random(500) < 0.6, truth, rng.choice([*TAXA, *GROUPS, "unidentified"], 500))
    found = compare(answers([(t, got, "definite") for t, got in zip(truth, label, strict=True)]), taxa=TAXA, groups=GROUPS)
    assert sum(map(sum, found.counts)) == 500
    names = [score.taxon for score in found.taxa]
    precision, recall, _, support = precision_recall_fscore_support(truth, label, labels=names, zero_division=0)
    assert [score.calls for score in found.taxa] == list(support)
    np.testing.assert_allclose([score.precision.value for score in found.taxa], precision)
    np.testing.assert_allclose([score.recall.value for score in found.taxa], recall)


def test_kappa_of_a_published_table():
    """Fleiss (1981), Statistical Methods for Rates and Proportions, 2nd ed., section 13.1: two raters'
    diagnoses of 100 people, kappa 0.68 (0.676); table and value from memory."""
    table = {
        ("psychotic", "psychotic"): 75,
        ("psychotic", "neurotic"): 1,
        ("psychotic", "organic"): 4,
        ("neurotic", "psychotic"): 5,
        ("neurotic", "neurotic"): 4,
        ("neurotic", "organic"): 1,
        ("organic", "organic"): 10,
    }
    rows = [(t, got, "definite") for (t, got), count in table.items() for _ in range(count)]
    found = compare(answers(rows), taxa=("psychotic", "neurotic", "organic"), groups={})
    assert found.kappa == pytest.approx(0.676, abs=0.0005)
    assert found.kappa_named == found.kappa


def test_kappa_is_missing_where_it_is_not_defined():
    found = compare(answers([("Nyctalus noctula", "Nyctalus noctula", "definite")] * 4), taxa=TAXA, groups=GROUPS)
    assert found.kappa is None
    assert found.kappa_named is None
    assert found.right.value == 1.0


def test_a_group_counts_as_disagreement_in_kappa_but_not_among_the_named():
    rows = [("Nyctalus noctula", "Nyctalus noctula", "definite")] * 5
    rows += [("Plecotus auritus", "Plecotus auritus", "definite")] * 5
    rows += [("Plecotus austriacus", "long-eared bats", "probable")] * 5
    found = compare(answers(rows), taxa=TAXA, groups=GROUPS)
    assert found.kappa_named == pytest.approx(1.0)
    assert 0 < found.kappa < 1


def test_individuals_are_counted_where_known():
    table = HAND.with_columns(pl.Series("individual", ["a", "a", "b", None, None, "c", None, None]))
    assert compare(table, taxa=TAXA, groups=GROUPS).individuals == 3


@pytest.mark.parametrize(
    ("truth", "label", "expected"),
    [
        ("Plecotus auritus", "Plecotus auritus", "right"),
        ("Plecotus auritus", "long-eared bats", "group"),
        ("Nyctalus noctula", "long-eared bats", "wrong"),
        ("Nyctalus noctula", "not a bat", "wrong"),
        ("not a bat", "unidentified", "unidentified"),
        ("not a bat", "not a bat", "right"),
    ],
)
def test_outcomes(truth, label, expected):
    assert outcome_of(truth, label, GROUPS) == expected
