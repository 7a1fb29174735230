"""The proofs as a whole: never an exception, bounded effort, and silence about keys with errors."""

import importlib.util
from collections import Counter
from pathlib import Path

import pytest
from planting import HEAD, PASSES, codes_in, reading_of

from classifier.key import compile_key, limits, parse_key, read_key, walk
from classifier.key.check import check, check_reading

ROOT = Path(__file__).parents[3]
_spec = importlib.util.spec_from_file_location("check_benchmark", ROOT / "tests" / "benchmarks" / "check.py")
benchmark = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(benchmark)


def test_a_key_with_errors_gets_those_and_what_single_statements_show():
    text = (
        HEAD + "couplet 1\n    1a duration < 5 => Examplia a\n    1b snr > 900 dB => Examplia b\n    1c otherwise => Examplia c\n"
    )
    assert [each.code for each in check(parse_key(text, "k"))] == ["K203", "K405"]


@pytest.mark.parametrize("text", ["", "key", 'key "x" version 1', "couplet 1\n 1a => 2", "\x00", "taxon A a\n  duration 9 to 1 ms"])
def test_nothing_is_raised(text):
    for each in check(parse_key(text, "k"), sample_rate_khz=192):
        assert each.code


@pytest.mark.parametrize("make", [benchmark.ladder_key, benchmark.tangled_key, lambda: benchmark.chain_key(40, 20)])
def test_effort_is_bounded_and_its_end_is_said(make):
    """With a thousandth of the effort nothing is claimed but what was looked at."""
    reading = parse_key(make(), "k")
    assert reading.key is not None
    whole = {(each.code, each.span) for each in check_reading(reading)}
    little = check_reading(reading, steps=200)
    assert "K491" in [each.code for each in little]
    assert {(each.code, each.span) for each in little if not each.code.startswith("K49")} <= whole


def test_a_large_sound_key_is_silent():
    reading = parse_key(benchmark.tree_key(60, 30), "k")
    assert [each.message for each in check(reading)] == []


def test_a_boundary_moved_in_a_large_key_is_found():
    text = benchmark.tree_key(60, 30)
    # The first couplet that parts two taxa: they are declared by the boxes that it gives them.
    lines = text.splitlines()
    lead = next(
        one for one, other in zip(lines, lines[1:], strict=False) if "a " in one and "=> Examplia" in one and "=> Examplia" in other
    )
    name, sign, number = lead.split()[1:4]
    moved = lead.replace(
        f"{name} {sign} {number}", f"{name} {sign} {float(number) + 6 * float(lead.split('± ')[1].split()[0]):.2f}"
    )
    found = check_reading(parse_key(text.replace(lead, moved), "k"))
    assert "K410" in {each.code for each in found}


@pytest.mark.parametrize("path", sorted((ROOT / "keys").glob("*.key")), ids=lambda path: path.stem)
def test_no_fault_is_proven_of_the_keys_that_come_along(path):
    found = check_reading(read_key(path))
    assert [each.message for each in found if each.code.startswith("K4") and each.severity == "error"] == []


def test_examples_are_run():
    text = (
        "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia b\n"
        'example "long" duration 8 ms\n    => Examplia {}\n'
    )
    assert codes_in(text.format("b")) == []
    assert codes_in(text.format("a")) == ["K501"]


def test_variants_are_proven_as_merged_and_point_at_the_file_where_the_text_stands(tmp_path):
    (tmp_path / "base.key").write_text(
        HEAD + "let split = 20 kHz\ncouplet 1\n    1a characteristic_frequency < split => Examplia a\n"
        "    1b characteristic_frequency >= 20 kHz => Examplia b\n",
        encoding="utf-8",
    )
    (tmp_path / "variant.key").write_text('key "v" version 1\nbased on "base.key"\nlet split = 18 kHz\n', encoding="utf-8")
    assert [each.code for each in check(read_key(tmp_path / "base.key")) if each.code != "K225"] == []
    (gap,) = [each for each in check(read_key(tmp_path / "variant.key")) if each.code != "K225"]
    assert gap.code == "K403"
    assert gap.span.file.endswith("base.key")
    assert 18 <= dict(gap.witness)["characteristic_frequency"] < 20


def test_reading_of_is_what_tests_think():
    assert reading_of("couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia b\n").key.name == "planted"


# ------------------------------------------------------------------------------------------------------------- limits


def fan_key(couplets, per=20):
    """Couplets 1 and 2xx send each stretch of level and of duration to a couplet of its own, and each of those has a gap."""
    blocks = -(-couplets // per)
    lines = [
        "couplet 1",
        *(f"    1{chr(97 + block)} snr < {20 + block} dB => {200 + block}" for block in range(blocks)),
        f"    1{chr(97 + blocks)} otherwise => Examplia c",
    ]
    for block in range(blocks):
        lines.append(f"couplet {200 + block}")
        lines += [
            f"    {200 + block}{chr(97 + place)} duration < {2 + place} ms => {1000 + block * per + place}" for place in range(per)
        ]
        lines.append(f"    {200 + block}{chr(97 + per)} otherwise => Examplia c")
    for number in range(blocks * per):
        lines += [
            f"couplet {1000 + number}",
            f"    {1000 + number}a flat_share < 40 % => Examplia a",
            f"    {1000 + number}b flat_share > 50 % => Examplia b",
        ]
    return "\n".join([*lines, ""])


def test_a_flood_of_like_findings_is_cut_and_said():
    """A couplet of 26 leads at most: gaps of 120 couplets, of which a hundred are listed."""
    found = check_reading(reading_of(fan_key(120)), steps=10_000_000)
    assert Counter(each.code for each in found) == {"K403": limits.FINDINGS, "K491": 1}
    assert found[-1].message == f"more than {limits.FINDINGS} findings like K403; the rest is not listed"


def test_what_was_found_before_effort_ran_out_is_kept():
    """The same key with little effort: fewer gaps, each of them a fault all the same, and a note that it is not all."""
    reading = reading_of(fan_key(120))
    compiled = compile_key(reading.key, reading.meanings)
    found = check_reading(reading, steps=60_000)
    gaps = [each for each in found if each.code == "K403"]
    assert 5 <= len(gaps) < limits.FINDINGS
    assert [each.code for each in found if each.code != "K403"] == ["K491"]
    assert "effort allowed ran out" in found[-1].message
    for each in gaps:
        way = walk(compiled, dict.fromkeys(compiled.metrics) | dict(each.witness))
        assert way.trail.endswith("-")


def test_the_proof_on_which_most_depends_comes_first():
    """An unsafe definite is found with an effort that leaves nothing for the rest."""
    body = (
        fan_key(120)
        .replace("couplet 1\n", "couplet 1\n    1a characteristic_frequency < 30 kHz => Examplia a\n")
        .replace("    1a snr", "    1h snr", 1)
    )
    body = body.replace("    1h snr < 20 dB => 200\n", "")
    head = HEAD.replace("taxon Examplia b\n", "taxon Examplia b\n    characteristic_frequency 25 to 40 kHz\n")
    found = check_reading(reading_of(body + PASSES, head), steps=20_000)
    assert {"K410", "K491"} <= {each.code for each in found}


@pytest.mark.parametrize("steps", [0, 1, 10, 100, 1000])
def test_any_effort_ends_in_findings_never_in_an_exception_and_never_in_a_claim_that_is_not_true(steps):
    text = (ROOT / "keys" / "britain-and-ireland.key").read_text(encoding="utf-8").replace(" ± 1 kHz", "")
    reading = parse_key(text, "k")
    whole = {(each.code, each.span, each.message) for each in check_reading(reading)}
    little = check_reading(reading, steps=steps)
    assert {(each.code, each.span, each.message) for each in little if not each.code.startswith("K49")} <= whole
    assert [each.code for each in little if each.code == "K491"] or little == check_reading(reading)


def test_the_same_key_gives_the_same_findings():
    reading = parse_key(benchmark.ladder_key(), "k")
    assert check_reading(reading) == check_reading(reading)
