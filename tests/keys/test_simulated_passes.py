"""Labels of passes drawn from the published means that the keys rest on; test_independent.py has others."""

import polars as pl
import pytest
from populations import NAMES, outcomes


@pytest.mark.parametrize("key", NAMES)
def test_definite_labels_are_right(key):
    found = outcomes(key)
    definite = found.filter(pl.col("tier") == "definite")
    assert definite.height > 0.25 * found.height, "too few definite labels to say anything"
    wrong = definite.filter(~pl.col("right")).group_by("taxon", "label").len().sort("len", descending=True)
    assert definite["right"].mean() >= 0.98, wrong
    by_taxon = definite.group_by("taxon").agg(pl.col("right").mean(), pl.len()).filter(pl.col("len") >= 30)
    assert by_taxon["right"].min() >= 0.95, wrong


@pytest.mark.parametrize("key", NAMES)
def test_most_passes_get_their_taxon_or_its_group(key):
    """Also where they are not definite: what a person sees is mostly right, little stays unnamed."""
    found = outcomes(key)
    named = found.filter(~pl.col("label").is_in(["unidentified", "not a bat"]))
    assert named["right"].mean() >= 0.95
    assert named.height >= 0.9 * found.height
