"""docs/key-language.md says what the program does: its key is sound, its grammar, names and limits are the real ones."""

import re
from pathlib import Path

import pytest

from classifier.key import format_key, limits, parse_key, run_examples
from classifier.key.lines import HEADINGS
from classifier.key.parse import grammar_text
from classifier.key.units import WRITTEN
from classifier.key.vocabulary import NAMES, PASS, PULSE, SOURCELESS, SUMMARIES, TIER

PAGE = Path(__file__).parents[2] / "docs" / "key-language.md"


@pytest.fixture(scope="module")
def page():
    return PAGE.read_text(encoding="utf-8")


def fenced(page, language):
    return re.findall(rf"```{language}\n(.*?)```", page, re.S)


def test_its_key_is_sound_formatted_and_its_examples_hold(page):
    (key,) = fenced(page, "key")
    reading = parse_key(key)
    assert reading.diagnostics == ()
    assert format_key(key) == key
    assert len(reading.key.examples) == 2
    assert run_examples(reading.key) == []


def test_its_grammar_is_the_grammar(page):
    assert fenced(page, "lark") == [grammar_text()]


def test_every_name_unit_and_word_stands_in_it(page):
    names = [*NAMES[PASS], *NAMES[TIER], *SUMMARIES, *WRITTEN, *SOURCELESS]
    assert [name for name in names if f"`{name}" not in page] == []
    assert [word for word in HEADINGS if not re.search(rf"`{word}\b", page)] == []
    for quality in (*NAMES[PASS].values(), *NAMES[TIER].values()):
        assert quality.definition in page
    assert not set(NAMES[PULSE]) & (set(NAMES[TIER]) | set(NAMES[PASS]) - {"interval"})


def test_its_limits_are_the_limits(page):
    section = page.split("## 12.")[1].split("## 13.")[0]
    numbers = {int(each.replace(",", "")) for each in re.findall(r"\| ([\d,]+) \|", section)}
    assert numbers == {
        limits.FILE_CHARACTERS,
        limits.STATEMENT_CHARACTERS,
        limits.STATEMENT_NESTING,
        limits.DIGITS,
        limits.STATEMENTS,
        limits.BLOCK_LINES,
        limits.COUPLETS,
        limits.TAXA,
        limits.BASES,
        limits.COMPARISONS,
        limits.MEANING_DEPTH,
        limits.NUMBER_BITS,
        limits.MARKS,
        limits.EXAMPLE_STEPS,
        limits.FINDINGS,
        limits.ALL_FINDINGS,
    }


def test_its_blocks_of_statements_can_be_read(page):
    frame = 'key "K" version 1\ntaxon Examplia vespera\ntaxon Examplia matutina\nsource H12 "A (2012)."\n'
    frame += "let flat = abs(characteristic_slope) < 0.3 kHz/ms\n"
    for block in re.findall(r"(?:^    .*\n)+", page.split("## 4.")[1].split("```lark")[0], re.M):
        found = parse_key(frame + re.sub(r"^    ", "", block, flags=re.M)).diagnostics
        # Pieces of a key lack couplets, or the couplet that they lead on to.
        assert {each.code for each in found if each.severity == "error"} <= {"K308", "K210"}, block
