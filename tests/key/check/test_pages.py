"""Every rule has its page; its bad example raises exactly that rule, and the same put right raises nothing."""

import random
import re
from pathlib import Path

import pytest

from classifier.key import RULES, parse_key, read_key
from classifier.key.check import check
from classifier.key.check.pages import page_of

PAGES = Path(__file__).parents[3] / "docs" / "rules"
_FENCE = re.compile(r"^```(\w+) ?(.*?)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
HEAD = 'key "Demo" version 1\n\ntaxon Examplia grandis\ntaxon Examplia vespera\n\n'


def tangled():
    """A key that needs more effort than is allowed: conditions of many choices, most of which cannot be met all at once."""
    rng = random.Random(5)
    names = (
        ("duration", "ms"),
        ("snr", "dB"),
        ("level", "dB"),
        ("flat_share", "%"),
        ("coherence", "%"),
        ("second_harmonic", "dB"),
        ("third_harmonic", "dB"),
        ("onset", "s"),
        ("tail", "kHz"),
        ("interval", "ms"),
        ("start_frequency", "kHz"),
        ("clipped_share", "%"),
    )
    lines = [HEAD]
    for place in range(264):
        parts = [f"{name} {rng.choice('<>')} {rng.randint(4, 9)} {unit}" for name, unit in rng.sample(names, 3)]
        lines.append(f"let c{place} = " + " or ".join(parts))
    for couplet in range(1, 61):
        all_of = " and ".join(f"c{each}" for each in rng.sample(range(264), 66))
        onward = couplet + 1 if couplet < 60 else "Examplia vespera"
        lines += [f"couplet {couplet}", f"    {couplet}a {all_of} => Examplia grandis", f"    {couplet}b otherwise => {onward}"]
    return "\n".join(lines) + "\n"


def examples(code):
    """(bad, good): lists of (kind, what else stands behind it, text)."""
    text = (PAGES / f"{code}.md").read_text(encoding="utf-8")
    bad, _, good = text.partition("\n## Put right\n")
    return [_FENCE.findall(part) for part in (bad, good)]


def found_in(fences, folder):
    """Codes of all findings about an example."""
    options = " ".join(body.strip() for kind, _, body in fences if kind == "option")
    rate = re.search(r"--sample-rate ([\d.]+)kHz", options)
    files = {rest.strip(): body for kind, rest, body in fences if kind == "key"}
    kind, rest, body = fences[0]
    if kind == "bytes":
        path = folder / "demo.key"
        path.write_bytes(bytes.fromhex(body))
        reading = read_key(path)
    elif kind == "python":
        reading = parse_key(eval(body, {"head": HEAD, "tangled": tangled}), "key")
    else:
        for name, content in files.items():
            (folder / (name or "key")).write_text(content, encoding="utf-8")
        # Through files as soon as there is a base, so that the search for bases is the real one.
        reading = read_key(folder / "key") if len(files) > 1 else parse_key(body, "key")
    return [each.code for each in check(reading, sample_rate_khz=float(rate[1]) if rate else None)]


def test_each_rule_has_a_page_and_each_page_a_rule():
    assert {path.stem for path in PAGES.glob("K*.md")} == set(RULES)


@pytest.mark.parametrize("code", sorted(RULES))
def test_the_page_says_what_the_table_of_rules_says(code):
    lines = (PAGES / f"{code}.md").read_text(encoding="utf-8").splitlines()
    rule = RULES[code]
    assert lines[0] == f"# {code} {rule.name}"
    assert lines[2] == f"*{rule.severity}*: {rule.summary}"
    for heading in ("**What it finds.**", "**Why it matters.**", "**Limits.**", "**Source.**"):
        assert any(line.startswith(heading) for line in lines), heading


@pytest.mark.parametrize("code", sorted(RULES))
def test_the_bad_example_raises_this_rule_alone(code, tmp_path):
    bad, _ = examples(code)
    assert set(found_in(bad, tmp_path)) == {code}


@pytest.mark.parametrize("code", sorted(RULES))
def test_the_good_example_is_silent(code, tmp_path):
    _, good = examples(code)
    assert found_in(good, tmp_path) == []


def test_the_list_of_pages_is_whole():
    listed = (PAGES / "README.md").read_text(encoding="utf-8")
    for code, rule in RULES.items():
        assert f"| [{code} {rule.name}]({code}.md) | {rule.severity} | {rule.summary} |" in listed


def test_pages_are_found_where_the_package_is():
    assert page_of("K410").startswith("# K410 definite-unsafe")
