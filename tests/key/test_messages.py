"""Findings as text and for programs."""

import json
import re
from textwrap import dedent

import classifier.key
from classifier.key import RULES, finding, has_errors, parse_key, render
from classifier.key.messages import Suggestions, did_you_mean, in_order
from classifier.key.syntax import Span


def test_a_finding_word_for_word():
    text = 'key "K" version 1\ntaxon A a\ncouplet 1\n    1a duration < 5 => A a\n    1b otherwise => A a\n'
    reading = parse_key(text, "demo.key")
    assert "\n".join(render(each, reading.texts) for each in reading.diagnostics) == dedent("""\
        demo.key:4:19: error K203 unit-missing: `duration < 5` sets a bare number beside a quantity in ms
            4 |     1a duration < 5 => A a
              |                   ^
        help: write `5 ms`""")
    assert has_errors(reading.diagnostics)


def test_related_places_and_witnesses_are_shown():
    text = "one\ntwo\n"
    shown = render(
        finding("K207", "twice", Span("f", 4, 7, 2, 1), "mend it", (("first here", Span("f", 0, 3, 1, 1)),), (("duration", 5.25),)),
        {"f": text},
    )
    assert shown.splitlines() == [
        "f:2:1: error K207 name-twice: twice",
        "    2 | two",
        "      | ^^^",
        "f:1:1: first here",
        "    1 | one",
        "      | ^^^",
        "call: duration = 5.25 ms",
        "help: mend it",
    ]


def test_very_long_and_odd_lines_are_cut_and_cleaned():
    text = "x" * 500 + "\x07bad" + "y" * 5000
    rows = render(finding("K101", "odd", Span("f", 501, 504, 1, 502)), {"f": text}).splitlines()
    assert max(map(len, rows)) < 200
    assert rows[2].index("^") == rows[1].index("bad")
    assert "\x07" not in rows[1]


def test_a_finding_without_its_text_is_still_shown():
    assert render(finding("K101", "odd", Span("f", 0, 1, 1, 1)), {}) == "f:1:1: error K101 statement-malformed: odd"


def test_findings_for_programs_are_plain_values():
    (found,) = parse_key('key "K" version 1\ntaxon A a\ncouplet 1\n1a otherwise => A a\nlet x = 5 ms\n').diagnostics
    back = json.loads(json.dumps(found.as_dict()))
    assert (back["code"], back["name"], back["severity"], back["line"], back["column"]) == ("K224", "unused-let", "warning", 5, 1)


def test_order_is_by_file_and_place_and_each_once():
    spans = [Span("b", 5, 6, 1, 6), Span("a", 1, 2, 1, 2), Span("b", 0, 1, 1, 1)]
    found = [finding("K101", "x", span) for span in (*spans, spans[0])]
    assert [(each.span.file, each.span.start) for each in in_order(found)] == [("b", 0), ("b", 5), ("a", 1)]


def test_did_you_mean():
    assert did_you_mean("duratoin", ["duration", "snr"]) == "did you mean `duration`?"
    assert did_you_mean("DURATION", ["duration", "snr"]) == "did you mean `duration`?"
    assert did_you_mean("zebra", ["duration", "snr"]) == ""
    assert did_you_mean("x" * 10_000, ["duration"]) == ""


def test_codes_and_names_of_rules_are_their_own():
    assert len({rule.name for rule in RULES.values()}) == len(RULES)
    assert all(re.fullmatch(r"K\d{3}", code) and code == rule.code for code, rule in RULES.items())
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", rule.name) for rule in RULES.values())


def test_what_is_offered_exists():
    assert all(hasattr(classifier.key, name) for name in classifier.key.__all__)


def test_of_several_names_the_nearest_is_suggested_and_of_equals_the_first():
    assert did_you_mean("duraton", ["level", "duration", "duratio"]) == "did you mean `duration`?"
    assert did_you_mean("specias", ["species", "specios"]) == "did you mean `species`?"
    assert did_you_mean("abcde", ["abcxy"]) == "did you mean `abcxy`?"  # six of ten characters agree
    assert did_you_mean("abcde", ["abxyz"]) == ""


def test_suggestions_end_where_there_are_too_many_names():
    suggest = Suggestions(comparisons=5)
    assert suggest("duraton", ["duration"] * 3) != ""
    assert suggest("duraton", ["duration"] * 3) == ""
    assert suggest("duraton", ["duration"]) == ""


def test_a_share_written_as_a_fraction_is_offered_in_percent():
    taxon = 'key "K" version 1\ntaxon A a\n    coherence 0.5 to {}\n'
    head = taxon + "couplet 1\n    1a clipped_share > {} => A a\n    1b otherwise => A a\n"
    helps = [each.help for each in parse_key(head.format("0.9", "0.05")).diagnostics]
    assert helps == ["write `90 %`, or `0.9 %` if so little is meant", "write `5 %`, or `0.05 %` if so little is meant"]
    assert [each.help for each in parse_key(head.format("90", "5")).diagnostics] == ["write `90 %`", "write `5 %`"]
