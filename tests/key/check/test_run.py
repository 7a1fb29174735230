"""The proofs as a whole: never an exception, bounded effort, and silence about keys with errors."""

import importlib.util
from pathlib import Path

import pytest
from planting import HEAD, codes_in, reading_of

from classifier.key import parse_key, read_key
from classifier.key.check import check, check_reading

ROOT = Path(__file__).parents[3]
_spec = importlib.util.spec_from_file_location("check_benchmark", ROOT / "tests" / "benchmarks" / "check.py")
benchmark = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(benchmark)


def test_a_key_with_errors_gets_those_and_what_single_statements_show():
    text = HEAD + "couplet 1\n    1a duration < 5 => Examplia a\n    1b snr > 900 dB => Examplia b\n    1c otherwise => Examplia c\n"
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
    lead = next(one for one, other in zip(lines, lines[1:], strict=False) if "a " in one and "=> Examplia" in one
                and "=> Examplia" in other)
    name, sign, number = lead.split()[1:4]
    moved = lead.replace(f"{name} {sign} {number}", f"{name} {sign} {float(number) + 6 * float(lead.split('± ')[1].split()[0]):.2f}")
    found = check_reading(parse_key(text.replace(lead, moved), "k"))
    assert "K410" in {each.code for each in found}


@pytest.mark.parametrize("path", sorted((ROOT / "keys").glob("*.key")), ids=lambda path: path.stem)
def test_no_fault_is_proven_of_the_keys_that_come_along(path):
    found = check_reading(read_key(path))
    assert [each.message for each in found if each.code.startswith("K4") and each.severity == "error"] == []


def test_examples_are_run():
    text = "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia b\n" \
        "example \"long\" duration 8 ms\n    => Examplia {}\n"
    assert codes_in(text.format("b")) == []
    assert codes_in(text.format("a")) == ["K501"]


def test_variants_are_proven_as_merged_and_point_at_the_file_where_the_text_stands(tmp_path):
    (tmp_path / "base.key").write_text(
        HEAD + "let split = 20 kHz\ncouplet 1\n    1a characteristic_frequency < split => Examplia a\n"
        "    1b characteristic_frequency >= 20 kHz => Examplia b\n", encoding="utf-8")
    (tmp_path / "variant.key").write_text('key "v" version 1\nbased on "base.key"\nlet split = 18 kHz\n', encoding="utf-8")
    assert [each.code for each in check(read_key(tmp_path / "base.key")) if each.code != "K225"] == []
    (gap,) = [each for each in check(read_key(tmp_path / "variant.key")) if each.code != "K225"]
    assert gap.code == "K403"
    assert gap.span.file.endswith("base.key")
    assert 18 <= dict(gap.witness)["characteristic_frequency"] < 20


def test_reading_of_is_what_tests_think():
    assert reading_of("couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia b\n").key.name == "planted"
