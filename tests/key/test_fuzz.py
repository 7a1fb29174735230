"""Any text at all: findings, never an exception. tests/benchmarks/key_fuzz.py does the same at length."""

import random

import pytest
from fuzzing import corpus, scrambled, slow_shapes, spoiled
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.key import compile_key, format_key, parse_call, parse_key, render, run_examples


def everything(text):
    reading = parse_key(text)
    for each in reading.diagnostics:
        assert render(each, reading.texts)
        assert 0 <= each.span.start <= each.span.end <= len(text) + 1
    assert (reading.key is None) == any(each.severity == "error" for each in reading.diagnostics)
    if reading.key is not None:
        run_examples(compile_key(reading.key, reading.meanings))
    format_key(text)


@given(st.text(max_size=300))
@settings(max_examples=150, deadline=None)
def test_any_text(text):
    everything(text)
    parse_call(text)


@given(st.text(alphabet='ab1 \n\t"#=><[]()+-*/±|,.%kHzmskdurationletcoupletgatetaxonotherwise', max_size=200))
@settings(max_examples=150, deadline=None)
def test_any_text_of_the_keys_own_letters(text):
    everything(text)
    parse_call(text)


def test_spoiled_keys():
    source, texts = random.Random(3), corpus()
    for _ in range(250):
        everything(spoiled(source, texts))


@pytest.mark.parametrize("name", sorted(slow_shapes(10)))
def test_shapes_made_to_be_slow_do_no_harm(name):
    everything(slow_shapes(20_000)[name])


def test_scrambled_words():
    source = random.Random(4)
    for _ in range(250):
        everything(scrambled(source))
