"""The tree of a key: every lead and couplet laid out once, in order, without crossings; against a plain recursion."""

import pytest
from hypothesis import given, settings
from keymaking import large_key
from keystrategies import sound_keys

from classifier.key import compile_key, parse_key
from classifier.key.check.tree import layout


def compiled_of(text):
    reading = parse_key(text)
    assert reading.key is not None
    return compile_key(reading.key, reading.meanings)


def plain_layout(compiled):
    """What a layout is by its definition: {lead: (row, depth, laid out beyond it)}, {couplet: (row, first, last, depth)}."""
    by_number = {station.number: station.couplet for station in compiled.stations}
    leads, couplets, next_row = {}, {}, 0

    def put(number, depth):
        nonlocal next_row
        couplets[number] = None  # taken, while its leads are laid out
        rows = []
        for lead in by_number[number].leads:
            to = getattr(lead.target, "number", None)
            if to is not None and to not in couplets:
                rows.append(put(to, depth + 1))
                leads[lead.label] = rows[-1], depth, to
            else:
                rows.append(float(next_row))
                leads[lead.label] = rows[-1], depth, None
                next_row += 1
        couplets[number] = (rows[0] + rows[-1]) / 2, rows[0], rows[-1], depth
        return couplets[number][0]

    put(compiled.stations[0].number, 0)
    return leads, couplets, next_row


@given(sound_keys())
@settings(max_examples=150, deadline=None)
def test_a_layout_is_what_its_definition_says(text):
    compiled = compiled_of(text)
    tree = layout(compiled)
    leads, couplets, rows = plain_layout(compiled)
    assert {each.label: (each.row, each.depth, each.to) for each in tree.branches} == leads
    assert {each.number: (each.row, *each.rows, each.depth) for each in tree.forks} == couplets
    assert tree.rows == rows
    assert tree.depth == max(fork.depth for fork in tree.forks)


@given(sound_keys())
@settings(max_examples=100, deadline=None)
def test_nothing_crosses(text):
    """The lines of one couplet's leads are never torn apart by those of a couplet that does not hang on it."""
    tree = layout(compiled_of(text))
    leaves = sorted(each.row for each in tree.branches if each.to is None)
    assert leaves == list(range(tree.rows))
    below = {
        fork.number: [each for each in tree.branches if each.label.rstrip("abcdefghijklmnopqrstuvwxyz") == str(fork.number)]
        for fork in tree.forks
    }

    def span(number):
        rows = []
        for each in below[number]:
            rows += span(each.to) if each.to is not None else [each.row]
        return rows

    for fork in tree.forks:
        rows = sorted(span(fork.number))
        assert rows == list(range(int(rows[0]), int(rows[0]) + len(rows)))
        order = [each.row for each in below[fork.number]]
        assert order == sorted(order)


def test_a_couplet_that_several_leads_go_to_is_laid_out_where_it_is_met_first():
    tree = layout(
        compiled_of(
            'key "k" version 1\ntaxon A a\n'
            "couplet 1\n    1a duration < 5 ms => 2\n    1b snr < 20 dB => 3\n    1c otherwise => 2\n"
            "couplet 2\n    2a snr < 9 dB => 3, at most probable\n    2b otherwise => A a\n"
            'couplet 3\n    3a otherwise => not a bat "rain"\n'
        )
    )
    kinds = {each.label: (each.kind, each.end, each.at_most) for each in tree.branches}
    assert kinds == {
        "1a": ("couplet", "2", None),
        "1b": ("elsewhere", "to 3", None),
        "1c": ("elsewhere", "to 2", None),
        "2a": ("couplet", "3", "probable"),
        "2b": ("taxon", "A a", None),
        "3a": ("not a bat", "not a bat", None),
    }


@pytest.mark.parametrize("couplets", [1, 2000])
def test_long_chains_need_no_recursion(couplets):
    tree = layout(compiled_of(large_key(couplets, 100 if couplets > 100 else 2)))
    assert (len(tree.forks), tree.depth, tree.rows) == (couplets, couplets - 1, 2 * couplets + 1)
