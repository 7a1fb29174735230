"""What one bat does: its rhythm, missed and weak calls, silences, buzzes, alternating call types."""

import numpy as np
import polars as pl
import pytest

from classifier.metrics import METRICS
from classifier.simulate import Buzz, Call, Flight, Scene, render

RATE = 256e3
CALL = Call("FM-QCF", 5e-3, 75e3, 45e3, knee_s=1.2e-3, knee_hz=50e3, body_s=4.6e-3, body_hz=46e3)
LOW = Call("QCF", 12e-3, 25e3, 22e3)
ONSET, INTERVAL = METRICS["onset"].column, METRICS["interval"].column


def scene(*flights, seconds=3.0, **options):
    return render(Scene(seconds, flights, **options), RATE, np.random.default_rng(4))


def test_intervals_have_the_stated_mean_and_spread():
    got = scene(Flight((LOW,), 0.2, -10.0, interval_jitter=0.05), seconds=60.0).truth[INTERVAL].drop_nulls()
    # 300 intervals of 10 ms spread: the mean to 0.6 ms, the spread to 0.4 (one standard error each).
    assert got.mean() == pytest.approx(200.0, abs=2.0)
    assert got.std() == pytest.approx(10.0, abs=1.5)


def test_missed_calls_leave_whole_multiples_of_the_rhythm():
    got = scene(Flight((LOW,), 0.2, -10.0, interval_jitter=0.0, missed=0.3), seconds=20.0).truth[INTERVAL].drop_nulls()
    steps = got.to_numpy() / 200.0
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-6)
    assert steps.max() >= 2


def test_weak_calls_are_weaker_by_the_stated_amount():
    flight = Flight((LOW,), 0.2, -10.0, level_jitter_db=0.0, weak=0.5, weak_db=15.0)
    levels = scene(flight, seconds=5.0).truth[METRICS["level"].column].to_numpy()
    assert set(np.round(levels)) == {-10.0, -25.0}


def test_silence_longer_than_the_gap_ends_the_pass_and_shorter_does_not():
    flight = Flight((CALL,), 0.1, -10.0, pauses=((1.0, 1.6), (2.5, 4.0)))
    truth = scene(flight, seconds=6.0, gap_s=1.0).truth
    assert truth["pass"].unique().to_list() == [1, 2]
    second = truth.filter(pl.col("pass") == 2)
    assert second[ONSET].min() > 4.0
    assert second[INTERVAL][0] is None
    assert truth[INTERVAL].max() < 1000


def test_buzz_collapses_to_its_fast_interval_and_search_goes_on():
    truth = scene(Flight((CALL,), 0.09, -10.0, buzz=Buzz(1.0, fast_s=0.006)), seconds=3.0).truth
    buzz = truth.filter("in_buzz")
    assert len(buzz) == 20
    assert buzz[INTERVAL].min() == pytest.approx(6.0, abs=1.0)
    assert buzz[INTERVAL].is_between(4.5, 25.0).all()
    after = truth.filter(pl.col(ONSET) > buzz[ONSET].max())
    assert after[INTERVAL].median() == pytest.approx(90.0, rel=0.15)
    # Handbook: a terminal buzz has at most 160 to 190 calls a second.
    assert 1000 / buzz[INTERVAL].min() < 190
    assert truth["pass"].unique().to_list() == [1]


def test_alternating_caller_gives_its_types_in_turn_in_one_pass():
    other = Call("QCF", 14e-3, 20e3, 19e3, taxon="B")
    truth = scene(Flight((LOW, other), 0.2, -10.0)).truth
    high = truth[METRICS["end_frequency"].column].to_numpy() > 20.5
    assert np.all(high[::2])
    assert not np.any(high[1::2])
    assert truth["pass"].n_unique() == 1
