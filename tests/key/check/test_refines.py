"""Leads of refine blocks that no pass comes to, against the evaluation of passes drawn at random."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planting import found_in, reading_of

from classifier.key import compile_key

BODY = "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia b\nrefine Examplia a | Examplia b\n"
CONDITIONS = [
    f"alternation {sense} {value} kHz{zone}" for sense in ("<", "<=", ">", ">=") for value in (2, 3) for zone in ("", " ± 1 kHz")
]
CONDITIONS += ["feeding_buzz", "not feeding_buzz", "month = 6", "month from 5 to 7", "duty_cycle < 10 % and alternation > 3 kHz"]


def dead_in(leads):
    text = BODY + "".join(
        f"    {'abcd'[place]} {condition} => Examplia {'ab'[place % 2]}\n" for place, condition in enumerate(leads)
    )
    return {each.message.split(" of refine")[0][-1] for each in found_in(text) if each.code == "K401"}, reading_of(text)


@given(st.lists(st.sampled_from([*CONDITIONS, "not ({})"]), min_size=1, max_size=4))
@settings(max_examples=80, deadline=None)
def test_a_lead_is_dead_if_and_only_if_no_pass_of_a_grid_comes_to_it(leads):
    leads = [lead.format(CONDITIONS[place]) for place, lead in enumerate(leads)]
    dead, reading = dead_in(leads)
    compiled = compile_key(reading.key, reading.meanings)
    grid = np.array(
        np.meshgrid(
            [0, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5],
            [0, 1],
            [4, 5, 6, 7, 8],
            [5, 10, 15],
        )
    ).reshape(4, -1)
    statistics = dict(zip(("alternation", "feeding_buzz", "month", "duty_cycle"), grid.astype(float), strict=True))
    assert dead == never_taken(compiled, statistics)


def never_taken(compiled, statistics):
    """Letters of leads that are no, or come after a plain yes, in every pass."""
    from classifier.key import forms as f

    def truth(meaning):
        """(yes, no) of each pass, by docs/key-language.md section 4, without standard errors."""
        match meaning:
            case f.Fact(name):
                return statistics[name] > 0, statistics[name] == 0
            case f.Not(inner):
                yes, no = truth(inner)
                return no, yes
            case f.All(parts):
                pairs = [truth(part) for part in parts]
                return np.all([yes for yes, _ in pairs], axis=0), np.any([no for _, no in pairs], axis=0)
            case f.Any(parts):
                pairs = [truth(part) for part in parts]
                return np.any([yes for yes, _ in pairs], axis=0), np.all([no for _, no in pairs], axis=0)
            case f.Comparison():
                ((atom, _),) = meaning.form.terms
                values, boundary, zone = statistics[atom.name], float(meaning.boundary), float(meaning.zone)
                if meaning.sense == "=":
                    return values == boundary, values != boundary
                sign = 1 if meaning.sense[0] == "<" else -1
                values, boundary = sign * values, sign * boundary
                strict = len(meaning.sense) == 1
                yes = (values <= boundary - zone) & ((values < boundary) | (not strict))
                no = (values >= boundary + zone) & ((values > boundary) | strict)
                return yes, no
        raise TypeError(meaning)

    (refinement,) = compiled.refinements
    left, never = np.ones(len(statistics["month"]), bool), set()
    for route in refinement.routes:
        yes, no = truth(route.meaning)
        if not (left & ~no).any():
            never.add(route.label)
        left &= ~yes
    return never


def test_what_stands_behind_otherwise_free_leads_is_named_with_its_reason():
    dead, _ = dead_in(["alternation >= 3 kHz", "alternation > 4 kHz", "alternation < 3 kHz", "month = 6"])
    assert dead == {"b", "d"}


@pytest.mark.parametrize("condition", ["median(duration) < 5 ms and spread(duration) > 1 ms", "share(duration < 5 ms) >= 0 %"])
def test_summaries_that_can_be_met_are_not_called_dead(condition):
    assert dead_in([condition])[0] == set()


def test_a_share_beyond_all_is_dead():
    found = found_in(BODY + "    a share(duration < 5 ms) > 100 % => Examplia a\n    b otherwise => stays\n")
    assert {each.code for each in found} & {"K401", "K405"}
