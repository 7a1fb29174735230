"""The sample of calls: even over what is declared, true to the relations, the same every time."""

import numpy as np
import pytest

from classifier.plan.calls import POINTS, calls_of


def test_shares_agree_with_closed_form(caller):
    calls = calls_of(caller(characteristic_frequency=(25.0, 34.0), duration=(4.0, 16.0), bandwidth=(7.0, 45.0)))
    tolerance = 0.001
    assert np.mean(calls.strongest_khz < 28) == pytest.approx(3 / 9, abs=tolerance)
    assert np.mean(calls.duration_ms < 5) == pytest.approx(1 / 12, abs=tolerance)
    assert np.mean((calls.strongest_khz < 28) & (calls.duration_ms < 5)) == pytest.approx(3 / 9 / 12, abs=tolerance)
    # The sum of two even ranges is a trapezium: P(f + b > 72) = the corner triangle of side 79 - 72 over its box.
    assert np.mean(calls.highest_khz > 72) == pytest.approx(7**2 / 2 / (9 * 38), abs=tolerance)


def test_geometric_middle_of_a_sweep_in_closed_form(caller):
    """P(sqrt(start * end) < m): the integral over even ends, worked out by fine summation."""
    calls = calls_of(caller(start_frequency=(60.0, 110.0), end_frequency=(28.0, 42.0)))
    ends = np.linspace(28, 42, 20001)
    expected = np.mean(np.clip(50.0**2 / ends - 60, 0, 50) / 50)
    assert np.mean(calls.strongest_khz < 50) == pytest.approx(expected, abs=0.001)


def test_the_same_every_time(caller):
    ranges = {"start_frequency": (60.0, 110.0), "end_frequency": (28.0, 42.0), "duration": (2.0, 7.0)}
    first, second = calls_of(caller(**ranges)), calls_of(caller(**ranges))
    np.testing.assert_array_equal(first.strongest_khz, second.strongest_khz)
    assert len(first.duration_ms) == POINTS


def test_relations_between_metrics_hold(caller):
    """A bandwidth that the ends do not allow takes a draw out: bandwidth = highest less lowest frequency."""
    calls = calls_of(caller(max_frequency=(50.0, 90.0), min_frequency=(30.0, 60.0), bandwidth=(20.0, 30.0)))
    width = calls.highest_khz - calls.lowest_khz
    assert width.min() >= 20 and width.max() <= 30
    assert 0 < len(width) < POINTS


def test_tail_moves_the_lower_end(caller):
    calls = calls_of(caller(characteristic_frequency=(43.0, 48.0), tail=(-12.0, 0.0), bandwidth=(10.0, 20.0)))
    assert calls.lowest_khz.min() < 35
    assert calls.strongest_khz.min() >= 43
    np.testing.assert_array_less(calls.lowest_khz + 9.99, calls.highest_khz)


def test_what_is_not_declared_is_not_known(caller):
    calls = calls_of(caller(characteristic_frequency=(33.0, 50.0)))
    assert np.isnan(calls.duration_ms).all()
    assert np.isnan(calls.highest_khz).all()
    assert not np.isnan(calls.strongest_khz).any()
    nothing = calls_of(caller())
    assert all(np.isnan(each).all() for each in vars(nothing).values())


def test_ranges_that_no_call_meets_still_say_where_each_metric_lies(caller):
    calls = calls_of(caller(min_frequency=(60.0, 70.0), max_frequency=(30.0, 40.0), duration=(2.0, 4.0)))
    assert len(calls.duration_ms) == POINTS


#: Published means of sweeping bats: start, end and peak, kHz. Sources by their keys in docs/sources.md; the
#: encyclopaedia quotes give a highest and a lowest frequency, which stand as start and end.
SWEEPS = {
    "Myotis daubentonii, ParsonsJones2000": (85, 32, 47.5),
    "Myotis mystacinus, ParsonsJones2000": (102, 34, 53),
    "Myotis brandtii, ParsonsJones2000": (103, 32, 51),
    "Myotis nattereri, RedOrbit, peak from memory": (115, 23, 53),
    "Plecotus auritus, ParsonsJones2000": (56, 27, 45),
    "Plecotus austriacus, ParsonsJones2000": (45, 18, 28),
    "Barbastella barbastellus, lower type, ParsonsJones2000": (38, 30, 33),
    "Barbastella barbastellus, higher type, ParsonsJones2000": (47, 29, 38),
    "Mystacina tuberculata, forest, Jones2003": (37.4, 18.6, 27.7),
    "Mystacina tuberculata, open, Jones2003": (36.3, 19.3, 26.6),
}


def test_published_peaks_of_sweeps_lie_near_the_geometric_mean():
    off = np.array([abs(np.sqrt(start * end) / peak - 1) for start, end, peak in SWEEPS.values()])
    assert off.mean() == pytest.approx(0.06, abs=0.005)
    assert off.max() < 0.145
