"""What keys and code cite stands in docs/sources.md."""

import re
from pathlib import Path

import pytest

from classifier.key import syntax
from classifier.metrics import METRICS

ROOT = Path(__file__).parents[2]
NAMES = sorted(path.stem for path in (ROOT / "keys").glob("*.key"))
KNOWN = set(re.findall(r"\*\*([\w-]+)\*\*", (ROOT / "docs" / "sources.md").read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", NAMES)
def test_every_source_of_a_key_has_an_entry(reading, name):
    assert set(reading(name).key.sources) <= KNOWN


@pytest.mark.parametrize("name", ["britain-and-ireland", "new-zealand", "south-east-australia"])
def test_every_declared_source_is_cited(reading, name):
    text = reading(name).text
    citations = re.findall(r"\[([^\]\n]*)\]", text)
    cited = {part.split()[0] for each in citations for part in each.split(";") if part.strip()}
    assert set(reading(name).key.sources) <= cited


def test_every_metric_names_a_known_source():
    assert {metric.source for metric in METRICS.values()} <= KNOWN


def test_every_source_cited_in_brackets_by_code_has_an_entry():
    for path in (ROOT / "classifier").rglob("*.py"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if re.search(r"Sources?: \[", line):
                cited = set(re.findall(r"\[([\w-]+)\]", line))
                assert cited <= KNOWN, (path, cited)


def statements_with_numbers(reading):
    """(what, text, citations) of each statement and line of a key's own text that may hold a number."""
    for statement in reading.statements:
        match statement:
            case syntax.Taxon(entries=entries):
                parts = [(statement.name, each) for each in entries]
            case syntax.Couplet(leads=leads) | syntax.Refine(leads=leads):
                parts = [(each.label, each) for each in leads]
            case syntax.Gate(lines=entries) | syntax.Passes(entries=entries):
                parts = [(type(statement).__name__, each) for each in entries]
            case syntax.Let() | syntax.Group() | syntax.Example():
                parts = [(statement.name, statement)]
            case _:
                continue
        for what, part in parts:
            yield what, reading.text[part.span.start : part.span.end], part.citations


def holds_number(text):
    """Whether a number stands in it that is not a couplet's, nor part of the name of a let, nor in a lead's reason."""
    bare = re.sub(r"\[[^\]]*\]|#[^\n]*", "", text)
    bare = re.sub(r"^\s*\d+[a-z]\s|=>\s*\d+|\b[a-z]\w*_\w*\b", "", bare)
    return re.search(r"\d", bare.split("=>")[0]) is not None


@pytest.mark.parametrize("name", NAMES)
def test_every_number_carries_a_source(reading, name):
    found = list(statements_with_numbers(reading(name)))
    numbered = [each for each in found if holds_number(each[1])]
    assert len(numbered) > 0.3 * len(found)
    assert [(what, text) for what, text, citations in numbered if not citations] == []


@pytest.mark.parametrize("name", NAMES)
def test_what_rests_on_a_recalled_source_is_marked_as_memory(reading, name):
    """Where all sources of a range are recalled ones, `memory` stands beside them."""
    key = reading(name).key
    recalled = {each.name for each in key.sources.values() if each.text.rstrip(".").endswith("Recalled")}
    assert recalled
    for taxon in key.taxa.values():
        for entry in taxon.entries:
            cited = {each.source for each in getattr(entry, "citations", ())}
            assert "memory" in cited or not cited or cited - recalled - {"chosen"} or cited == {"chosen"}, (
                taxon.name, cited)  # fmt: skip
