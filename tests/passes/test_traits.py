"""Traits, their variances, and echo scores."""

import numpy as np
import polars as pl
import pytest

from classifier.errors import ParameterError
from classifier.passes.settings import PassSettings
from classifier.passes.traits import echo_scores, traits

SETTINGS = PassSettings()


def test_missing_metrics_weigh_nothing(bat):
    table = bat(np.arange(4) * 0.1)
    bare = table.select("recording", "channel", "pulse", "onset_s")
    found = traits(bare, SETTINGS)
    assert not found.weight.any()
    assert np.isnan(found.level).all()
    blank = table.with_columns(pl.lit(None, pl.Float64).alias("characteristic_frequency_khz"))
    found = traits(blank, SETTINGS)
    assert not found.weight[:, 0].any()
    assert found.weight[:, 1:].all()


def test_a_standard_error_adds_to_the_spread(bat):
    table = bat(np.arange(3) * 0.1, 50.0)
    sure = traits(table, SETTINGS).weight[:, 0]
    unsure = traits(table.with_columns(pl.lit(1.0).alias("characteristic_frequency_khz_se")), SETTINGS).weight[:, 0]
    # 1 kHz of 50 kHz are 2 per cent: variances add.
    assert 1 / unsure == pytest.approx(1 / sure + 4.0, rel=0.02)


def test_steep_pulses_are_trusted_less(bat):
    table = bat(np.arange(3) * 0.1)
    flat = traits(table, SETTINGS).weight[:, 0]
    steep = traits(table.with_columns(pl.lit(-10.0).alias("characteristic_slope_khz_per_ms")), SETTINGS).weight[:, 0]
    assert (steep < flat / 10).all()


def test_an_echo_is_fainter_alike_and_close_behind(bat, together):
    def score(delay, khz, level):
        both = together(bat([0.5], 45.0, level_db=-30), bat([0.5 + delay], khz, level_db=level))
        return echo_scores(both["onset_s"].to_numpy(), traits(both, SETTINGS), SETTINGS)

    assert score(0.008, 45.0, -40)[1] > 5
    assert score(0.008, 45.0, -40)[0] == -np.inf
    assert score(0.008, 60.0, -40)[1] < -20
    assert score(0.008, 45.0, -28)[1] == -np.inf
    assert score(0.050, 45.0, -40)[1] == -np.inf


def test_settings_must_be_positive():
    with pytest.raises(ParameterError, match=r"PassSettings\.level_db must be above 0, not 0"):
        PassSettings(level_db=0)
