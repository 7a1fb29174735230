"""Slices: what they say of a call is what a walk of that call says; which metrics are chosen; ranges and stretches."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from random_keys import keys

from classifier.key import compile_key, forms, parse_key, read_key, walk
from classifier.key.check.slices import slice_of, slices
from classifier.metrics import METRICS

KEYS = sorted((Path(__file__).parents[3] / "keys").glob("*.key"))
HEAD = 'key "k" version 1\n'


def compiled_of(text):
    reading = parse_key(text)
    assert reading.key is not None, [each.message for each in reading.diagnostics]
    return compile_key(reading.key, reading.meanings)


def call_at(compiled, view, row, column):
    """The whole call that a point of a slice stands for, by the meaning that Slice documents."""
    shown = {view.across: float(view.acrosses[column]), view.up: float(view.ups[row])}
    call = dict.fromkeys(compiled.metrics) | shown
    for name, value, beside in view.held:
        metric = METRICS[name]
        call[name] = min(max(value + (shown[beside] if beside else 0), metric.low), metric.high)
    return call


def assert_walks_agree(compiled, view, points, rng):
    for row, column in zip(rng.integers(0, len(view.ups), points), rng.integers(0, len(view.acrosses), points), strict=True):
        path = walk(compiled, call_at(compiled, view, row, column))
        labels = () if path.gated_by is not None else tuple(sorted(end.label for end in path.candidates))
        assert tuple(sorted(view.outcomes[view.region[row, column]])) == labels, (row, column)


@pytest.mark.parametrize("path", KEYS, ids=lambda path: path.stem)
def test_slices_of_real_keys_say_what_walks_say(path, rng):
    reading = read_key(path)
    compiled = compile_key(reading.key, reading.meanings)
    found = slices(compiled)
    assert 1 <= len(found) <= 3
    assert len({(view.across, view.up) for view in found}) == len(found)
    for view in found:
        assert_walks_agree(compiled, view, 60, rng)


@given(keys())
@settings(max_examples=40, deadline=None)
def test_slices_of_random_keys_say_what_walks_say(text):
    compiled = compiled_of(text)
    for view in slices(compiled):
        assert_walks_agree(compiled, view, 25, np.random.default_rng(5))


@given(keys())
@settings(max_examples=40, deadline=None)
def test_every_boundary_on_a_shown_metric_lies_inside_the_slice(text):
    compiled = compiled_of(text)
    edges = {}
    stack = [route.meaning for route in compiled.routes if route.meaning is not None]
    while stack:
        match stack.pop():
            case forms.Not(condition):
                stack.append(condition)
            case forms.All(parts) | forms.Any(parts):
                stack.extend(parts)
            case forms.Comparison(form=forms.Linear(terms=((forms.Measured(name), coefficient),))) as each:
                for sign in (-1, 0, 1):
                    edges.setdefault(name, set()).add(float(Fraction(each.boundary + sign * each.zone) / coefficient))
    for view in slices(compiled):
        for name, side in ((view.across, view.acrosses), (view.up, view.ups)):
            metric = METRICS[name]
            inside = [edge for edge in edges.get(name, ()) if metric.low < edge < metric.high]
            assert all(side[0] <= edge <= side[-1] for edge in inside), (name, inside)
            assert metric.low <= side[0] < side[-1] <= metric.high


def test_the_frequency_and_what_parts_the_most_taxa_besides_are_shown():
    head = HEAD + "".join(
        f"taxon Examplia {letter}\n    characteristic_frequency {low} to {low + 4} kHz\n"
        f"    duration {2 + 4 * place} to {5 + 4 * place} ms\n    characteristic_slope -3 to 0 kHz/ms\n"
        for place, (letter, low) in enumerate((("a", 20), ("b", 30), ("c", 40)))
    )
    compiled = compiled_of(
        head + "couplet 1\n    1a characteristic_slope < -1 kHz/ms => Examplia a\n    1b duration < 8 ms => Examplia b\n"
        "    1c characteristic_frequency < 35 kHz => Examplia a\n    1d otherwise => Examplia c\n"
    )
    views = slices(compiled)
    assert [(view.across, view.up) for view in views] == [
        ("characteristic_frequency", "duration"),
        ("characteristic_frequency", "characteristic_slope"),
    ]
    assert [(box.taxon, box.across, box.up) for box in views[0].boxes] == [
        ("Examplia a", (20.0, 24.0), (2.0, 5.0)),
        ("Examplia b", (30.0, 34.0), (6.0, 9.0)),
        ("Examplia c", (40.0, 44.0), (10.0, 13.0)),
    ]


def test_a_range_in_another_unit_is_shown_in_the_metrics_own():
    compiled = compiled_of(
        HEAD + "taxon Examplia a\n    duration 0.002 to 0.009 s\ntaxon Examplia b\n    snr 10 to 20 dB\n"
        "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b snr < 15 dB => Examplia b\n    1c otherwise => Examplia a\n"
    )
    boxes = {box.taxon: box for box in slice_of(compiled, "duration", "snr").boxes}
    assert boxes["Examplia a"].across == pytest.approx((2.0, 9.0))
    assert (boxes["Examplia a"].up, boxes["Examplia b"].across) == (None, None)


def test_what_the_gate_stops_has_no_label():
    compiled = compiled_of(
        HEAD + "taxon Examplia a\ngate\n    snr >= 12 dB\ncouplet 1\n    1a duration < 5 ms ± 1 ms => Examplia a\n"
        '    1b otherwise => unidentified "long"\n'
    )
    view = slice_of(compiled, "duration", "snr")
    stopped = np.array([outcome == () for outcome in view.outcomes])[view.region]
    assert (stopped == (view.ups < 12)[:, None]).all()
    both = np.array([len(outcome) == 2 for outcome in view.outcomes])[view.region]
    assert (both[~stopped] == np.broadcast_to((view.acrosses > 4) & (view.acrosses < 6), both.shape)[~stopped]).all()


def test_keys_with_fewer_than_two_metrics_have_no_slice():
    body = "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b otherwise => Examplia a\n"
    assert slices(compiled_of(HEAD + "taxon Examplia a\n" + body)) == []
