"""Terms and cases against a table of all calls: a handful of cells on three axes can be listed whole."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from classifier.key.check.cases import (
    EVERYTHING,
    NOTHING,
    Case,
    Effort,
    Term,
    TooHard,
    both,
    either,
    narrow,
    settled,
)

AXES, CELLS = 3, 4
FULL = (1 << CELLS) - 1
EVERYWHERE = dict.fromkeys(range(AXES), FULL)
CALLS = list(product(range(CELLS), repeat=AXES))


def literal(axis, mask):
    return Term(((axis, mask),), (), 1 << axis) if mask else NOTHING


LITERALS = st.builds(lambda axis, mask: ("is", axis, mask), st.integers(0, AXES - 1), st.integers(0, FULL))
FORMULAS = st.recursive(
    LITERALS, lambda inner: st.tuples(st.sampled_from(("and", "or")), st.lists(inner, min_size=1, max_size=4)), max_leaves=14
)


def term_of(formula):
    if formula[0] == "is":
        return literal(*formula[1:])
    parts = [term_of(part) for part in formula[1]]
    return both(parts) if formula[0] == "and" else either(parts, EVERYWHERE)


def holds(formula, call):
    if formula[0] == "is":
        return bool(1 << call[formula[1]] & formula[2])
    return (all if formula[0] == "and" else any)(holds(part, call) for part in formula[1])


def calls_of(cells):
    return {call for call in CALLS if all(1 << at & mask for at, mask in zip(call, cells, strict=True))}


@given(st.lists(FORMULAS, min_size=1, max_size=4))
def test_settled_cases_are_the_calls_that_meet_all_conditions(formulas):
    effort = Effort(100_000)
    case = Case((FULL,) * AXES)
    for formula in formulas:
        case = narrow(case, term_of(formula), effort) if case is not None else None
    found = set()
    if case is not None:
        for each in settled(case, effort):
            assert not each.choices
            assert calls_of(each.cells)
            found |= calls_of(each.cells)
    assert found == {call for call in CALLS if all(holds(formula, call) for formula in formulas)}


@given(FORMULAS, FORMULAS)
def test_a_case_within_another_has_no_call_outside_it(one, other):
    effort = Effort(100_000)
    full = Case((FULL,) * AXES)
    first, second = narrow(full, term_of(one), effort), narrow(full, term_of(other), effort)
    if first is not None and second is not None and first.within(second):
        assert all(holds(other, call) for call in CALLS if holds(one, call))


def test_what_is_always_and_what_is_never():
    assert both([]) == EVERYTHING
    assert either([], EVERYWHERE) is NOTHING
    assert either([literal(0, 0b0011), literal(0, 0b1100)], EVERYWHERE) == EVERYTHING
    assert both([literal(0, 0b0011), literal(0, 0b1100)]) is NOTHING
    assert narrow(Case((FULL,) * AXES), NOTHING, Effort(10)) is None


def test_effort_ends():
    effort = Effort(3)
    with pytest.raises(TooHard):
        for _ in range(10):
            effort.spend()
    whole = Effort(100)
    part = whole.part(10)
    with pytest.raises(TooHard):
        part.spend(11)
    assert whole.left == 89
