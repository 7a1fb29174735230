"""Keys for tests of the checker, and what is found in them."""

import re

from classifier.key import parse_key, walk
from classifier.key.check import check_reading

HEAD = 'key "planted" version 1\ntaxon Examplia a\ntaxon Examplia b\ntaxon Examplia c\n'
PASSES = "passes\n    definite when support >= 90 % and clear >= 5\n    possible otherwise\n"


def reading_of(body, head=HEAD):
    """The reading of a key without errors of form."""
    reading = parse_key(head + body, "planted.key")
    assert reading.key is not None, [each.message for each in reading.diagnostics]
    return reading


def found_in(body, head=HEAD, **options):
    """All that is proven about a key, as diagnostics."""
    return check_reading(reading_of(body, head), **options)


def codes_in(body, head=HEAD, **options):
    return [each.code for each in found_in(body, head, **options)]


def walked(reading, call):
    """The way of a witness, its other metrics missing."""
    from classifier.key import compile_key

    compiled = compile_key(reading.key, reading.meanings)
    return walk(compiled, dict.fromkeys(compiled.metrics) | dict(call))


def where(diagnostic):
    """What a finding is about, in the terms of oracle.expected."""
    text, code = diagnostic.message, diagnostic.code
    if code in ("K401", "K402"):
        return {(code, re.search(r"lead (\w+)", text)[1])}
    if code == "K403":
        return {(code, int(re.search(r"couplet (\d+)", text)[1]))}
    if code == "K404":
        first, second = re.match(r"(\w+) and (\w+) overlap", text).groups()
        return {(code, second, first)}
    if code == "K405":
        return {(code, diagnostic.span.start)}
    if code == "K410":
        label = re.search(r'`definite` as (?:`|")([^`"]+)', text)[1]
        taxa = re.findall(r"`(Examplia \w+)`", text.split("`definite`")[0])
        return {(code, taxon, label) for taxon in taxa}
    if code == "K412":
        return {(code, "gate")}
    if code == "K413":
        return {(code, re.search(r"`(Examplia \w+)`", text)[1])}
    return {(code, text)}
