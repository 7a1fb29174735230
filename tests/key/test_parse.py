"""Reading statements: the grammar, places, slips of the pen and going on after them."""

from dataclasses import fields, is_dataclass

import pytest
from hypothesis import given, settings
from keymaking import large_key
from keystrategies import sound_keys, texts
from lark import UnexpectedInput

from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.lines import HEADINGS, flattened
from classifier.key.parse import BLOCK_LINES, grammar, parse
from classifier.key.slips import SLIPS

#: A heading for lines that need a block to stand in.
OPENINGS = {
    "taxon_line": "taxon Examplia vespera\n",
    "gate_line": "gate\n",
    "couplet_line": "couplet 1\n",
    "passes_line": "passes\n",
    "refine_line": "refine Examplia vespera | Examplia matutina\n",
}


def test_grammar_builds_in_strict_mode():
    # lark's strict mode refuses every shift/reduce conflict and every pair of terminals that could match the same text.
    grammar(strict=True)


@given(texts())
@settings(max_examples=150, deadline=None)
def test_the_grammar_of_the_whole_key_takes_what_the_reader_takes(text):
    assert not parse(text, "a").diagnostics
    grammar().parse(flattened(text), start="key")


def test_the_grammar_of_the_whole_key_refuses_what_the_reader_refuses():
    for slip in SLIPS:
        for rule, statement in slip.snippets:
            with pytest.raises(UnexpectedInput):
                grammar().parse(flattened(OPENINGS.get(rule, "") + statement), start="key")


@pytest.mark.parametrize(
    ("slip", "rule", "statement"),
    [(slip, rule, statement) for slip in SLIPS for rule, statement in slip.snippets],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_malformed_snippet_gets_its_own_words_once(slip, rule, statement):
    text = OPENINGS.get(rule, "") + statement
    found = parse(text, "a").diagnostics
    assert [(each.code, each.help) for each in found] == [(slip.code, slip.help)]
    span = found[0].span
    assert len(text) - len(statement) <= span.start < span.end <= len(text)


def test_every_slip_has_a_snippet():
    assert all(slip.snippets for slip in SLIPS)


def test_all_slips_of_a_text_come_in_one_run_and_the_good_statements_are_kept():
    text = """\
key "K"
taxon Examplia vespera
    duration 6-14 ms
    snr 3 to 5 dB
cuplet 1 "misspelt heading"
    1a duration < 5 ms => Examplia vespera
    1b otherwise -> 2
couplet 2
    2a duration < 2 ms
    2b otherwise => Examplia vespera
stray words here
let x = 5 ms +
"""
    parsed = parse(text, "a")
    assert [(each.code, each.span.line) for each in parsed.diagnostics] == [
        ("K101", 1),
        ("K101", 3),
        ("K102", 5),
        ("K110", 7),
        ("K107", 9),
        ("K108", 11),
        ("K101", 12),
    ]
    taxon, couplet = parsed.statements
    assert [entry.metric for entry in taxon.entries] == ["snr"]
    assert [lead.label for lead in couplet.leads] == ["2b"]


def test_a_line_outside_any_block_is_told_so():
    (found,) = parse("1a duration < 5 ms => 2\n", "a").diagnostics
    assert found.code == "K103"
    assert "couplet" in found.help


def nodes(value):
    """Every node of a tree."""
    if isinstance(value, tuple):
        for each in value:
            yield from nodes(each)
    elif is_dataclass(value) and not isinstance(value, s.Span):
        yield value
        for each in fields(value):
            yield from nodes(getattr(value, each.name))


def reread(node, own):
    """The node read from its own text alone, in the place where such a node stands."""
    match node:
        case s.Citation():
            return parse(f"let x = y [{own}]", "a").statements[0].citations[0]
        case s.Lead(_, _, _, _, _, None):
            return parse(OPENINGS["refine_line"] + own, "a").statements[0].leads[0]
        case s.Lead():
            return parse(f"couplet 1\n{own}", "a").statements[0].leads[0]
        case s.GateLine():
            return parse(f"gate\n{own}", "a").statements[0].lines[0]
        case s.Range() | s.Similar() | s.Remark() | s.Occurs():
            return parse(OPENINGS["taxon_line"] + own, "a").statements[0].entries[0]
        case s.Gap() | s.AtLeast() | s.Tier():
            return parse(f"passes\n{own}", "a").statements[0].entries[0]
        case s.ExampleValue():
            return parse(f'example "x" {own} => gated', "a").statements[0].values[0]
        case s.Outcome():
            return parse(f'example "x" duration 5 ms => {own}', "a").statements[0].outcome
        case s.Extent():
            return parse(f"region {own}", "a").statements[0].extent
        case s.Quantity():
            return parse(f'example "x" y {own} => gated', "a").statements[0].values[0].value
        case s.Stays():
            return parse(f"{OPENINGS['refine_line']}a x => {own}", "a").statements[0].leads[0].target
        case s.ToCouplet() | s.ToTaxon() | s.ToGroup() | s.Unidentified() | s.NotABat():
            return parse(f"couplet 1\n1a x => {own}", "a").statements[0].leads[0].target
        case s.Name() | s.Call() | s.Opposite() | s.Arithmetic() | s.Zoned() | s.Compare() | s.Within():
            return parse(f"let x = {own}", "a").statements[0].value
        case s.Presence() | s.Negation() | s.AllOf() | s.AnyOf():
            return parse(f"let x = {own}", "a").statements[0].value
    return parse(own, "a").statements[0]


@given(texts())
@settings(max_examples=150, deadline=None)
def test_the_text_of_a_span_is_the_nodes_own_text(text):
    for node in nodes(parse(text, "a").statements):
        own = text[node.span.start : node.span.end]
        assert reread(node, own) == node
        assert own == own.strip()
        assert node.span.line == text.count("\n", 0, node.span.start) + 1
        assert node.span.column == node.span.start - (text.rfind("\n", 0, node.span.start) + 1) + 1


@given(sound_keys())
@settings(max_examples=60, deadline=None)
def test_comments_blanks_and_indentation_say_nothing(text):
    loose = "".join(f"\n  # note\n\t{line.replace(' ', '   ')}   # behind, => 3\n" for line in text.splitlines())
    assert parse(loose, "a").statements == parse(text, "a").statements


def test_spans_take_no_part_in_equality():
    assert parse("let x = 5 ms", "a").statements == parse("\n\n   let  x = 5 ms", "b").statements


def test_names_with_accents_are_one_however_they_are_typed():
    composed, apart = "let m\u00fcnze = 5 ms", "let mu\u0308nze = 5 ms"
    assert parse(apart, "a").statements == parse(composed, "a").statements
    assert not parse(composed, "a").diagnostics


def test_blanks_pasted_from_word_processors_are_blanks():
    assert not parse("\ufefflet\u00a0x = 5\u202fms\r\n", "a").diagnostics


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("#" * (limits.FILE_CHARACTERS + 1), "K320"),
        ("let x = " + "5 ms + " * 2000 + "5 ms", "K320"),
        ("let x = " + "(" * 900 + "5 ms" + ")" * 900, "K321"),
        ("let x = " + "not " * 900 + "y", "K321"),
        ("let x = " + "-" * 900 + "5 ms", "K321"),
        ("let x = 1" + "0" * 40 + " ms", "K320"),
        ("let e" + "\u0301" * 31 + " = 5 ms", "K320"),
        ('source S "a' + "\u0301\u0323" * 2000 + '"', "K320"),
        ("gate\n" * (limits.STATEMENTS + 1), "K322"),
        ("what is this\n" * 500, "K322"),
        ("gate\n" + "snr > 1 dB\n" * (limits.BLOCK_LINES + 5), "K322"),
    ],
)
def test_limits_are_findings(text, code):
    found = parse(text, "a").diagnostics
    assert found[-1].code == code
    assert len(found) <= limits.FINDINGS + 1


def test_as_many_accents_as_scripts_need_are_read():
    assert parse('source S "Ne' + "\u0301" * limits.MARKS + 'po"', "a").diagnostics == ()


def test_a_lead_broken_behind_and_says_how_a_line_goes_on():
    first, _ = parse("couplet 1\n    1a duration < 5 ms and\n    snr > 3 dB => 2\n", "a").diagnostics
    assert (first.code, first.span.line, first.message.split(",")[0]) == ("K101", 2, "this line ends with `and`")
    assert "start of the next line" in first.help


def test_every_rule_that_the_reader_uses_is_in_the_grammar():
    for rule in {*HEADINGS.values(), *BLOCK_LINES.values()}:
        with pytest.raises(UnexpectedInput):
            grammar().parse("§", start=rule)


def test_a_large_key_is_read_whole():
    parsed = parse(large_key(), "a")
    assert not parsed.diagnostics
    assert sum(isinstance(each, s.Couplet) for each in parsed.statements) == 200
