"""What keys and code cite stands in docs/sources.md."""

import re
from pathlib import Path

import pytest

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
