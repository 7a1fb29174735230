"""The Wilson score interval against published intervals and against its formula."""

import math

import pytest

from classifier.judge.intervals import share_of

# Newcombe, R. G. (1998), Two-sided confidence intervals for the single proportion: comparison of seven
# methods, Statistics in Medicine 17:857-872, Table I, method 3 (score method of Wilson 1927). Values from
# memory.
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0000, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("hits", "total", "low", "high"), NEWCOMBE)
def test_agrees_with_newcombes_table(hits, total, low, high):
    share = share_of(hits, total)
    assert (round(share.low, 4), round(share.high, 4)) == (low, high)


@pytest.mark.parametrize(("hits", "total"), [(0, 1), (1, 1), (3, 7), (250, 251), (40, 80)])
def test_agrees_with_wilsons_formula(hits, total):
    """Wilson (1927), Probable inference, J. Am. Stat. Assoc. 22:209-212: the two roots of his quadratic."""
    z = 1.959963984540054
    p, n = hits / total, total
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    share = share_of(hits, total)
    assert share.low == pytest.approx(max(0.0, centre - half), abs=1e-12)
    assert share.high == pytest.approx(min(1.0, centre + half), abs=1e-12)


def test_nothing_counted_has_no_share():
    share = share_of(0, 0)
    assert (share.hits, share.total, share.value, share.low, share.high) == (0, 0, None, None, None)


def test_all_right_is_not_certainty():
    assert share_of(5, 5).low < 0.6
