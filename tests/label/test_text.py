"""The small texts of the label tables: what is written can be read again."""

import pytest

from classifier.label import text


def test_support_is_read_as_written():
    written = text.join_support([("Examplia minor", 62.4), ("whiskered, Brandt's bats", 37.0), ("not a bat", 0.6)])
    assert written == "Examplia minor 62 %; whiskered, Brandt's bats 37 %; not a bat 0.6 %"
    assert text.split_candidates(written) == ("Examplia minor", "whiskered, Brandt's bats", "not a bat")
    assert text.split_candidates(None) == ()


@pytest.mark.parametrize(
    ("trail", "couplets"),
    [
        ("1b 2a", ()),
        ("1a | 1b 2b", ("1",)),
        ("1b 2a | 1b 2b 3a | 1b 2b 3b", ("2", "3")),
        ("1b 12a | 1b 12-", ("12",)),
        (None, ()),
    ],
)
def test_couplets_that_part(trail, couplets):
    assert text.parting_couplets(trail) == couplets


def test_ways_that_come_to_the_same_end_part_nothing():
    ends = {"1a": "A", "2a": "A", "2b": "B"}
    assert text.parting_couplets("1a | 1b 2a", ends) == ()
    assert text.parting_couplets("1a | 1b 2a | 1b 2b", ends) == ("1", "2")
    assert text.parting_couplets("1a | 1b 2a | 1b 2b", ends, among=("A",)) == ()


def test_the_commonest_ways_stand_first():
    ways = [("1a", 2, ""), ("1b 2a", 9, ""), ("1b 2a | 1b 2b", 2, "couplet 2 unsure"), ("1c", 1, "too high")]
    assert text.join_trails(ways) == "1b 2a × 9; 1a × 2; 1b 2a | 1b 2b × 2 (couplet 2 unsure); and 1 more"
