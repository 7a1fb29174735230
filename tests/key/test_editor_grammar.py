"""docs/editor/callkey.tmLanguage.json follows the language, and colours a key as the language's own lexer reads it."""

import importlib.util
import json
import re
from pathlib import Path

import pytest
from highlight import Highlighter

from classifier.key.lines import HEADINGS, split
from classifier.key.parse import BLOCK_LINES, grammar, grammar_text
from classifier.key.syntax import TIERS
from classifier.key.units import WRITTEN
from classifier.key.vocabulary import FUNCTIONS, NAMES, PASS, PULSE, TIER
from classifier.metrics import METRICS

ROOT = Path(__file__).parents[2]
EDITOR = ROOT / "docs" / "editor"
KEYS = [*sorted((ROOT / "keys").glob("*.key")), Path(__file__).with_name("wetlands.key")]
REMEDY = "run `python docs/editor/make_grammar.py`"
#: What the lexer calls a token, and the scopes that it may have. Words of the grammar's own are looked at one by one.
SCOPES = {
    "STRING": {"string.quoted.double"},
    "CITATION": {"constant.other.citation"},
    "NUMBER": {"constant.numeric"},
    "INTEGER": {"constant.numeric"},
    "VERSION": {"constant.numeric"},
    "LABEL": {"entity.name.label"},
    "LETTER": {"entity.name.label"},
    "UNIT": {"keyword.other.unit"},
    "OPERATOR": {"keyword.operator.comparison"},
    "TIER": {"constant.language.tier"},
    "PRESENCE": {"keyword.other"},
    "PLUS": {"keyword.operator.arithmetic"},
    "MINUS": {"keyword.operator.arithmetic"},
    "TIMES": {"keyword.operator.arithmetic"},
    "_PLUS_MINUS": {"keyword.operator.zone"},
    "WORD": {"entity.name.type.taxon", "variable.other.let"},
    "_PULSES": {"support.variable.statistic", "keyword.other"},
}


@pytest.fixture(scope="module")
def made():
    return json.loads((EDITOR / "callkey.tmLanguage.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def highlighter(made):
    return Highlighter(made)


def scopes_of(highlighter, text):
    return set(filter(None, highlighter.scopes(text)))


def test_it_is_what_the_language_gives_now(made):
    specification = importlib.util.spec_from_file_location("make_grammar", EDITOR / "make_grammar.py")
    maker = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(maker)
    assert made == maker.grammar(), REMEDY


@pytest.mark.parametrize("word", sorted(set(re.findall(r'"([a-z]+)"', grammar_text())) - {"a"}))
def test_every_word_of_the_grammar_is_a_keyword(highlighter, word):
    (scope,) = scopes_of(highlighter, f"  {word} ")
    assert scope.split(".")[0] in ("keyword", "support"), REMEDY


def test_headings_open_statements_and_single_letters_stand_in_their_phrase(highlighter):
    for word in HEADINGS:
        assert scopes_of(highlighter, word) == {"keyword.control"}
    assert highlighter.scopes("x => not a bat")[5:] == ["keyword.other"] * 9


@pytest.mark.parametrize("name", sorted(METRICS))
def test_every_metric_is_known(highlighter, name):
    assert set(highlighter.scopes(f"{name} < 5")[: len(name)]) == {"support.variable.metric"}, REMEDY
    assert "support.variable.metric" not in scopes_of(highlighter, f"my_{name}_2")


def test_every_statistic_function_tier_and_unit_is_known(highlighter):
    for name in {*NAMES[PASS], *NAMES[TIER]} - set(NAMES[PULSE]):
        assert scopes_of(highlighter, name) == {"support.variable.statistic"}, name
    for name in FUNCTIONS:
        assert highlighter.scopes(f"{name}(x)")[0] == "support.function"
    for name in TIERS:
        assert scopes_of(highlighter, f" {name}") == {"constant.language.tier"}
    for name in (*WRITTEN, "kHz/ms", "kHz*ms"):
        assert set(highlighter.scopes(f"5 {name}")[2:]) == {"keyword.other.unit"}, name


@pytest.mark.parametrize("path", KEYS, ids=lambda path: path.stem)
def test_a_key_is_coloured_as_the_lexer_reads_it(highlighter, path):
    """Token by token against lark's reading of each statement with the grammar itself."""
    text = path.read_text(encoding="utf-8")
    scopes = highlighter.scopes(text)
    statements, comments = split(text)
    for comment in comments:
        assert set(scopes[comment.start : comment.end]) == {"comment.line.number-sign"}
    parser, block, seen = grammar(keep_all_tokens=True), None, set()
    for statement in statements:
        if statement.first_word in HEADINGS:
            block = statement.first_word
            rule = HEADINGS[block]
        else:
            rule = BLOCK_LINES[block]
        for token in parser.parse(statement.text, start=rule).scan_values(lambda each: each is not None):
            start = statement.start + token.start_pos
            got = set(scopes[start : start + len(token)]) - {""}
            seen.add(token.type)
            if token.type == "NAME":
                wanted = (
                    {"support.variable.metric"}
                    if token in NAMES[PULSE]
                    else {"support.variable.statistic"}
                    if token in {*NAMES[PASS], *NAMES[TIER]}
                    else {"support.function"}
                    if token in FUNCTIONS
                    else {"variable.other.let"}
                )
            elif token == "=>":
                wanted = {"keyword.operator.arrow"}
            elif token in ("(", ")", ",", "|"):
                wanted = {"punctuation.separator"}
            elif token.type in SCOPES:
                wanted = SCOPES[token.type]
            elif token == statement.first_word and token in HEADINGS:
                wanted = {"keyword.control"}
            else:
                assert all(each.split(".")[0] in ("keyword", "support") for each in got), (token, got)
                wanted = got
            assert got and got <= wanted, f"line {statement.lines[0]}: `{token}` ({token.type}) is {got}, not {wanted}"
    assert {"STRING", "NUMBER", "LABEL", "WORD", "UNIT", "TIER"} <= seen


def test_an_unclosed_text_is_marked(highlighter):
    assert "invalid.illegal.unclosed" in scopes_of(highlighter, 'taxon Examplia vespera "dusk bat')


def test_the_folder_is_an_extension_that_names_its_grammar(made):
    package = json.loads((EDITOR / "package.json").read_text(encoding="utf-8"))
    (language,) = package["contributes"]["languages"]
    (declared,) = package["contributes"]["grammars"]
    assert declared == {"language": language["id"], "scopeName": made["scopeName"], "path": "./callkey.tmLanguage.json"}
    assert language["extensions"] == [f".{each}" for each in made["fileTypes"]]
    settings = json.loads((EDITOR / language["configuration"]).read_text(encoding="utf-8"))
    assert settings["comments"] == {"lineComment": "#"}
