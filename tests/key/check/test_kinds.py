"""Bounds and resolutions of quantities, against values at random calls and against numerical slopes."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planting import reading_of

from classifier.key.check.kinds import interval, resolution
from classifier.key.walk import _form
from classifier.metrics import METRICS

QUANTITIES = [
    ("start_frequency - end_frequency", "kHz"),
    ("2 * start_frequency - 0.5 * end_frequency + 3 kHz", "kHz"),
    ("abs(characteristic_slope)", "kHz/ms"),
    ("abs(start_frequency - end_frequency - 5 kHz)", "kHz"),
    ("characteristic_slope * duration", "kHz"),
    ("(start_frequency - end_frequency) / duration", "kHz/ms"),
    ("start_frequency / characteristic_slope", "ms"),
    ("-abs(tail) * (flat_share / coherence)", "kHz"),
]


def form_of(quantity, unit):
    reading = reading_of(f"couplet 1\n    1a {quantity} < 1 {unit} => Examplia a\n    1b otherwise => Examplia b\n")
    return reading.meanings[id(reading.key.couplets[1].leads[0].condition)].form


@pytest.mark.parametrize(("quantity", "unit"), QUANTITIES)
@given(parts=st.lists(st.floats(0, 1), min_size=8, max_size=8))
@settings(max_examples=60, deadline=None)
def test_no_call_lies_outside_the_bounds(quantity, unit, parts):
    form = form_of(quantity, unit)
    call = {
        name: (metric.low + part * (metric.high - metric.low), None)
        for part, (name, metric) in zip(np.resize(parts, len(METRICS)), METRICS.items(), strict=True)
    }
    try:
        value, _ = _form(form, call)
    except ZeroDivisionError:
        return
    low, high = interval(form)
    assert low - 1e-9 * abs(low) <= value <= high + 1e-9 * abs(high) or not math.isfinite(value)


@pytest.mark.parametrize(("quantity", "unit"), QUANTITIES[:4])
def test_bounds_of_sums_and_of_what_is_bent_are_reached(quantity, unit):
    """Where each metric stands once the bounds are met at some corner of what the metrics can be."""
    form = form_of(quantity, unit)
    names = sorted({name for name in METRICS if name in quantity})
    corners = np.array(np.meshgrid(*[(METRICS[name].low, METRICS[name].high) for name in names])).reshape(len(names), -1).T
    inner = [dict(zip(names, corner, strict=True)) for corner in corners]
    zero = {
        "abs(characteristic_slope)": {"characteristic_slope": 0.0},
        "abs(start_frequency - end_frequency - 5 kHz)": {"start_frequency": 50.0, "end_frequency": 45.0},
    }.get(quantity)
    calls = inner + ([zero] if zero else [])
    values = [_form(form, {name: (value, None) for name, value in call.items()})[0] for call in calls]
    assert (min(values), max(values)) == pytest.approx(interval(form))


def test_a_resolution_is_what_errors_of_the_metrics_add_up_to():
    """First order, independent errors (JCGM100, 5.1.2, recalled): against draws of normal errors."""
    rng = np.random.default_rng(3)
    form = form_of("2 * start_frequency - 0.5 * end_frequency + 3 kHz", "kHz")
    draws = 2 * rng.normal(0, METRICS["start_frequency"].resolution, 200_000)
    draws -= 0.5 * rng.normal(0, METRICS["end_frequency"].resolution, 200_000)
    assert resolution(form) == pytest.approx(draws.std(), rel=0.01)
