"""Shares of calls missed, reason by reason."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.plan import Settings
from classifier.plan.calls import Calls, calls_of
from classifier.plan.misses import ABOVE_BAND, ABOVE_NYQUIST, BELOW_BAND, TOO_SHORT, misses_of

RECORDER = Settings(sample_rate_khz=192, trigger_floor_khz=17, trigger_ceiling_khz=80, shortest_event_ms=3)


def calls(strongest, duration, highest=None):
    strongest = np.array(strongest, float)
    return Calls(strongest, strongest, np.array(highest or strongest, float), np.array(duration, float))


def test_each_reason_by_itself_and_together():
    found = misses_of(calls([16, 17, 50, 80, 85, 96, 120, 50], [5, 5, 5, 5, 5, 5, 2, 2]), RECORDER)
    assert found.below_band == 1 / 8
    assert found.above_band == 1 / 8
    assert found.above_nyquist == 2 / 8
    assert found.too_short == 2 / 8
    assert found.missed == 5 / 8  # the call of 120 kHz and 2 ms counts once
    assert found.complete
    assert list(found.reasons) == [ABOVE_NYQUIST, TOO_SHORT, BELOW_BAND, ABOVE_BAND]


def test_a_call_that_triggers_and_reaches_above_is_cut():
    found = misses_of(calls([40, 40, 10, 40], [5, 5, 5, 1], [95, 97, 120, 120]), RECORDER)
    assert found.cut == 1 / 4


def test_what_the_key_does_not_say_is_not_known():
    found = misses_of(calls([20, 16], [np.nan, np.nan], [np.nan, np.nan]), RECORDER)
    assert found.too_short is None and found.cut is None
    assert found.missed == 0.5 and not found.complete
    nothing = misses_of(calls([np.nan], [np.nan]), RECORDER)
    assert nothing.missed is None and nothing.below_band is None and nothing.reasons == {}


def test_continuous_recording_misses_only_what_is_above_half_the_rate():
    found = misses_of(calls([5, 50, 100], [1, 1, 1]), replace(RECORDER, recording="continuous"))
    assert (found.below_band, found.above_band, found.too_short) == (0, 0, 0)
    assert found.missed == found.above_nyquist == 1 / 3
    assert misses_of(calls([5], [np.nan]), replace(RECORDER, recording="continuous")).complete


@pytest.mark.parametrize(
    ("setting", "expected"),
    [
        ({"trigger_floor_khz": 28}, {"below_band": 3 / 9}),
        ({"trigger_floor_khz": 11, "shortest_event_ms": 6}, {"too_short": 2 / 12}),
        ({"trigger_ceiling_khz": 30}, {"above_band": 4 / 9}),
        ({"sample_rate_khz": 56, "trigger_ceiling_khz": None}, {"above_nyquist": 6 / 9}),
    ],
)
def test_shares_of_declared_ranges_in_closed_form(caller, setting, expected):
    sample = calls_of(caller(characteristic_frequency=(25.0, 34.0), duration=(4.0, 16.0)))
    found = misses_of(sample, replace(RECORDER, **setting))
    for name, share in expected.items():
        assert getattr(found, name) == pytest.approx(share, abs=0.001)


CALL = st.tuples(st.floats(5, 200), st.floats(0.5, 60))


@given(st.lists(CALL, min_size=1, max_size=30), st.floats(0, 40), st.floats(0, 20))
@settings(max_examples=60, deadline=None)
def test_laws(drawn, floor, event):
    """The whole is no less than any part and no more than their sum; a harder trigger never misses less."""
    sample = calls(*zip(*drawn, strict=True))
    found = misses_of(sample, replace(RECORDER, trigger_floor_khz=floor, shortest_event_ms=event))
    parts = [found.above_nyquist, found.below_band, found.above_band, found.too_short]
    assert max(parts) - 1e-12 <= found.missed <= sum(parts) + 1e-12
    harder = misses_of(sample, replace(RECORDER, trigger_floor_khz=floor + 5, shortest_event_ms=event + 1))
    assert harder.missed >= found.missed
