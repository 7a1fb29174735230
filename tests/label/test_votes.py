"""Votes of a pass worked by hand, and against a plain count."""

import numpy as np
import pytest

from classifier.label.votes import count_votes

# Labels A, B, C; the group holds A and B.
WITHIN = np.array([[True], [True], [False]])


def test_by_hand():
    """Pass 0: A, A, A or B, B or C. Pass 1: no pulse. Pass 2: A or B, twice."""
    candidates = np.array([[1, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 1], [1, 1, 0], [1, 1, 0]], bool)
    cap = np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 1], [0, 1, 0], [0, 0, 0]])
    votes = count_votes(candidates, cap, np.arange(6), np.array([0, 0, 0, 0, 2, 2]), passes=3, within=WITHIN)
    assert votes.usable.tolist() == [4, 0, 2]
    # Pass 0: A has 1 + 1 + 1/2 of four votes, B 1/2 + 1/2, C 1/2.
    np.testing.assert_allclose(votes.support, [[62.5, 25.0, 12.5], [0, 0, 0], [50, 50, 0]])
    assert votes.clear.tolist() == [[2, 0, 0], [0, 0, 0], [0, 0, 0]]
    np.testing.assert_allclose(votes.group_support[:, 0], [87.5, 0, 100])
    assert votes.group_clear[:, 0].tolist() == [3, 0, 2]
    # Of A's votes in pass 0 the second came by a lead that allows no more than probable.
    np.testing.assert_allclose(votes.allowed_support[:, 0, 0], [37.5, 62.5, 62.5])
    assert votes.allowed_clear[:, 0, 0].tolist() == [1, 2, 2]
    # A pulse of the group is capped by the strictest of the candidates it keeps within the group.
    np.testing.assert_allclose(votes.allowed_group_support[:, 0, 0], [37.5, 62.5, 87.5])
    np.testing.assert_allclose(votes.allowed_group_support[:, 2, 0], [50, 100, 100])
    assert votes.allowed_group_clear[:, 2, 0].tolist() == [1, 2, 2]


def test_support_adds_up_and_order_does_not_matter():
    rng = np.random.default_rng(2)
    candidates = rng.random((300, 3)) < 0.4
    candidates[~candidates.any(axis=1), 0] = True
    cap = rng.integers(0, 3, (300, 3))
    of = rng.integers(0, 20, 300)
    votes = count_votes(candidates, cap, np.arange(300), of, passes=20, within=WITHIN)
    np.testing.assert_allclose(votes.support.sum(axis=1), 100.0)
    np.testing.assert_allclose(votes.group_support[:, 0], votes.support[:, :2].sum(axis=1))
    shuffled = rng.permutation(300)
    again = count_votes(candidates, cap, shuffled, of[shuffled], passes=20, within=WITHIN)
    np.testing.assert_allclose(again.support, votes.support)
    assert (again.allowed_group_clear == votes.allowed_group_clear).all()
    for p in range(20):
        mine = candidates[of == p]
        assert votes.support[p, 0] == pytest.approx(100 * np.mean(mine[:, 0] / mine.sum(axis=1)))
        assert votes.clear[p, 1] == sum(row.tolist() == [False, True, False] for row in mine)


def test_no_groups_and_no_pulses():
    votes = count_votes(
        np.zeros((0, 2), bool),
        np.zeros((0, 2), int),
        np.zeros(0, int),
        np.zeros(0, int),
        passes=2,
        within=np.zeros((2, 0), bool),
    )
    assert votes.support.shape == (2, 2)
    assert votes.group_support.shape == (2, 0)
    assert votes.allowed_group_support.shape == (3, 2, 0)
    assert votes.support.sum() == 0
