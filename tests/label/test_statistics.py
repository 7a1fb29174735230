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
    return np.array([function(x) if len(x := values[(of == p) & ~np.isnan(values)]) >= needs else np.nan for p in range(40)])


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


def test_empty_tables_keep_their_shape():
    value, error = statistics.median(np.array([]), np.array([], int), passes=3)
    assert value.shape == error.shape == (3,)
    assert np.isnan(value).all()
