"""Pass statistics against a plain loop with numpy, one pass at a time."""

import numpy as np
import pytest

from classifier.label import statistics


@pytest.fixture
def scattered():
    """Values of 40 passes in mixed order, some missing, some passes empty."""
    rng = np.random.default_rng(3)
    of = rng.integers(0, 40, 600)
    of[of % 9 == 0] = 1
    values = rng.normal(40, 3, 600)
    values[rng.random(600) < 0.15] = np.nan
    return values, of


def by_loop(values, of, function, needs):
    return np.array(
        [
            function(x) if len(x := values[(of == p) & ~np.isnan(values)]) >= needs else np.nan
            for p in range(40)
        ]
    )


def test_median_against_a_loop(scattered):
    values, of = scattered
    found, _ = statistics.median(values, of, passes=40)
    np.testing.assert_allclose(found, by_loop(values, of, np.median, 1), rtol=1e-12)


def test_standard_error_of_the_median_holds_in_repeated_samples():
    """The scatter of the median over 3000 normal samples of 200 is the standard error it states (5 %)."""
    rng = np.random.default_rng(5)
    samples, n = 3000, 200
    of = np.repeat(np.arange(samples), n)
    found, error = statistics.median(rng.normal(50, 2, samples * n), of, passes=samples)
    assert found.std() == pytest.approx(2 * np.sqrt(np.pi / 2 / n), rel=0.05)
    assert error.mean() == pytest.approx(found.std(), rel=0.05)


def test_alternation_by_hand():
    # Steps to the next: 5, 4, 5, 4 (median 4.5); to the next but one: 1, 1, 1 (median 1); √(4.5² - 1²).
    values = np.array([20.0, 25.0, 21.0, 26.0, 22.0])
    found, _ = statistics.alternation(values, np.zeros(5, int), passes=1)
    assert found[0] == pytest.approx(4.38748)


def test_alternation_tells_two_types_from_one_that_wanders():
    rng = np.random.default_rng(11)
    n = 30
    two_types = np.where(np.arange(n) % 2, 25.0, 21.0) + rng.normal(0, 0.3, n)
    one_type = 23 + rng.normal(0, 1.5, n)
    drifting = np.linspace(20, 26, n)
    of = np.repeat([0, 1, 2], n)
    found, error = statistics.alternation(np.concatenate([two_types, one_type, drifting]), of, passes=3)
    assert found[0] == pytest.approx(4.0, abs=3 * error[0])
    assert found[1] < 1.0
    assert found[2] == 0.0


def test_alternation_needs_calls_enough():
    found, _ = statistics.alternation(np.array([20.0, 25.0, 20.0, 25.0]), np.zeros(4, int), passes=1)
    assert np.isnan(found[0])


def test_empty_tables_keep_their_shape():
    none = np.array([])
    of = np.array([], int)
    for function in (statistics.median, statistics.alternation):
        value, error = function(none, of, passes=3)
        assert value.shape == error.shape == (3,)
        assert np.isnan(value).all()
