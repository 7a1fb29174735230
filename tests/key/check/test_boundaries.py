"""Boundaries outside what metrics can be, past Nyquist, and zones finer than measuring."""

import pytest
from planting import codes_in, found_in

from classifier.metrics import METRICS

ONE = "couplet 1\n    1a {} => Examplia a\n    1b otherwise => Examplia b\n"


@pytest.mark.parametrize("name", [name for name, metric in METRICS.items() if metric.unit and metric.stage == "measure"])
def test_the_bounds_of_every_metric(name):
    metric = METRICS[name]
    for value, codes in ((metric.high + 1, ["K405"]), (metric.low - 1, ["K405"]), ((metric.low + metric.high) / 2, [])):
        text = ONE.format(f"{name} < {value:f} {metric.unit}")
        # Where 1a is always yes nothing is left for 1b.
        assert [code for code in codes_in(text) if code != "K401"] == codes, value


def test_a_boundary_at_the_very_end_of_a_range():
    assert codes_in(ONE.format("flat_share < 0 %")) == ["K405"]
    assert codes_in(ONE.format("flat_share <= 0 %")) == []
    assert codes_in(ONE.format("flat_share >= 0 %")) == ["K405", "K401"]
    assert codes_in(ONE.format("flat_share > 99 % ± 2 %")) == ["K405"]


def test_sums_that_cannot_be():
    for text in (
        "start_frequency > max_frequency + 1 kHz",
        "bandwidth < 0 kHz",
        "start_frequency - end_frequency > 500 kHz",
        "bandwidth > max_frequency",
        "abs(tail) < 0 kHz",
        "bandwidth / duration < 0 kHz/ms",
    ):
        assert codes_in(ONE.format(text)) == ["K405"], text


def test_a_dead_lead_is_not_reported_twice():
    (found,) = found_in(ONE.format("duration > 600 ms"))
    assert found.message == "`duration > 600 ms` can never be yes: duration lies between 0.05 and 500 ms"


def test_a_let_is_named_once_where_it_stands():
    text = "let long = duration > 600 ms\n" + ONE.format("long and snr > 20 dB").replace("otherwise", "long")
    found = [each for each in found_in(text) if each.code == "K405"]
    assert [each.span.line for each in found] == [5]


def test_conditions_on_passes_and_tiers():
    text = ONE.format("characteristic_frequency < 20 kHz") + (
        "passes\n    definite when support > 101 % and clear >= 5\n    possible otherwise\n"
        "refine Examplia a | Examplia b\n    a alternation > 3 kHz ± 0.01 kHz => Examplia a\n    b month > 12 => Examplia b\n"
        "    c otherwise => stays\n"
    )
    assert sorted(set(codes_in(text))) == ["K405", "K407"]


def test_the_nyquist_frequency():
    text = ONE.format("characteristic_frequency < 97 kHz and bandwidth < 60 kHz")
    assert codes_in(text) == []
    (found,) = found_in(text, sample_rate_khz=192)
    assert found.message == (
        "`characteristic_frequency < 97 kHz` has its boundary past 96 kHz, the Nyquist frequency of recordings at 192 kHz: it "
        "decides nothing there"
    )
    # A bandwidth cannot be wider than the band that is recorded.
    assert [each.message.split(" has ")[0] for each in found_in(text, sample_rate_khz=100)] == [
        "`characteristic_frequency < 97 kHz`",
        "`bandwidth < 60 kHz`",
    ]
    zoned = ONE.format("characteristic_frequency < 95 kHz ± 2 kHz")
    assert codes_in(zoned, sample_rate_khz=192) == ["K406"]


def test_zones_and_resolutions():
    for name in ("characteristic_frequency", "duration", "coherence"):
        metric = METRICS[name]
        middle = (metric.low + metric.high) / 2
        for zone, codes in ((0.99, ["K407"]), (1.0, []), (1.01, [])):
            text = ONE.format(f"{name} < {middle:f} {metric.unit} ± {zone * metric.resolution:f} {metric.unit}")
            assert codes_in(text) == codes, (name, zone)
    # Two independent metrics: the root of 0.3² + 0.2² is 0.36 kHz.
    assert codes_in(ONE.format("start_frequency - end_frequency > 9 kHz ± 0.35 kHz")) == ["K407"]
    assert codes_in(ONE.format("start_frequency - end_frequency > 9 kHz ± 0.37 kHz")) == []
