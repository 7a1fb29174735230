"""Canonical layout: same meaning, comments kept, stable."""

from textwrap import dedent

import pytest
from hypothesis import given, settings
from keymaking import large_key
from keystrategies import sound_keys, texts

from classifier.key.format import format_key
from classifier.key.lines import split
from classifier.key.parse import parse


def words(comments):
    return [comment.text for comment in comments]


def belongings(text):
    """Each comment with the number of the statement or line of a block that it belongs to: the one it stands in, behind or
    above (docs/key-language.md, section 11)."""
    statements, comments = split(text)
    return sorted((sum(statement.lines[1] < comment.line for statement in statements), comment.text) for comment in comments)


@given(texts())
@settings(max_examples=300, deadline=None)
def test_formatting_keeps_meaning_and_comments_and_is_stable(text):
    before = parse(text, "a")
    assert not before.diagnostics, before.diagnostics
    formatted = format_key(text)
    after = parse(formatted, "a")
    assert after.statements == before.statements
    assert sorted(words(after.comments)) == sorted(words(before.comments))
    assert belongings(formatted) == belongings(text)
    assert format_key(formatted) == formatted


@given(sound_keys())
@settings(max_examples=100, deadline=None)
def test_sound_keys_stay_the_same_key(text):
    formatted = format_key(text)
    assert parse(formatted, "a").statements == parse(text, "a").statements
    assert format_key(formatted) == formatted


def test_layout_word_for_word():
    untidy = dedent("""\
        key "K"  version 1
        standard errors 2
        # about the split
        let   low=16kHz+/-0.5kHz   # half a kilohertz


        taxon A b "c d"
          duration 6 to 14 ms [H p. 3]
        # of many
          characteristic_frequency 24 to 30 kHz [H]
        gate
        snr>=12dB
        couplet 1 "how low?"
          1a characteristic_frequency<low and not(duration<5 ms or(snr<3 dB)) => A b , at most probable [H p. 1]
        1b otherwise=>unidentified "too   high"
          # 1c not yet
        couplet 2
        2a otherwise => 1
        """)
    assert format_key(untidy) == dedent("""\
        key "K" version 1
        standard errors 2

        # about the split
        let low = 16 kHz ± 0.5 kHz  # half a kilohertz

        taxon A b "c d"
            duration 6 to 14 ms                    [H p. 3]
            # of many
            characteristic_frequency 24 to 30 kHz  [H]

        gate
            snr >= 12 dB

        couplet 1 "how low?"
            1a characteristic_frequency < low and not (duration < 5 ms or snr < 3 dB)
                                                                     => A b, at most probable  [H p. 1]
            1b otherwise                                             => unidentified "too high"
            # 1c not yet

        couplet 2
            2a otherwise => 1
        """)


def test_long_lists_go_on_behind_commas():
    members = ", ".join(f"Genus species{'x' * place}" for place in range(12))
    formatted = format_key(f'group "many" {members}\n')
    rows = formatted.splitlines()
    assert len(rows) > 1
    assert all(len(row) <= 110 for row in rows)
    assert all(row.endswith(",") for row in rows[:-1])


def test_slips_are_not_formatted():
    assert format_key("couplet one\n") is None


@pytest.mark.parametrize("text", ["", "\n\n", "# only words\n\n# more\n"])
def test_texts_without_statements(text):
    formatted = format_key(text)
    assert formatted == "".join(f"{line}\n" for line in text.split("\n") if line)
    assert format_key(formatted) == formatted


def test_arrows_of_a_couplet_stand_under_each_other(wetlands_text):
    for text in (wetlands_text, large_key(10, 5)):
        block = []
        for row in format_key(text).splitlines():
            if row.startswith(" ") and "=>" in row:
                block.append(row.index("=>"))
            elif row and not row.startswith(" "):
                assert len(set(block)) <= 1
                block = []
