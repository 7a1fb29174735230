"""Scenes: what bats do in them, and whether the truth table says so."""

import numpy as np
import polars as pl
import pytest
from scipy import signal

from classifier.metrics import FLAGS, METRICS
from classifier.simulate import (
    Call,
    Echo,
    Flight,
    Path,
    Reverberation,
    Scene,
    WhiteNoise,
    level_for_snr,
    render,
)
from classifier.simulate.scenes import truth_schema

RATE = 256e3
CALL = Call("FM-QCF", 5e-3, 75e3, 45e3, knee_s=1.2e-3, knee_hz=50e3, body_s=4.6e-3, body_hz=46e3, taxon="A")
LOW = Call("QCF", 12e-3, 25e3, 22e3, taxon="B")
ONSET, DURATION, INTERVAL = (METRICS[name].column for name in ("onset", "duration", "interval"))


def scene(*flights, seconds=3.0, **options):
    return render(Scene(seconds, flights, **options), RATE, np.random.default_rng(4))


def test_truth_has_one_row_a_pulse_in_order_of_onset():
    truth = scene(Flight((CALL,), 0.1, -10.0), Flight((LOW,), 0.23, -10.0, bat=2)).truth
    assert truth.schema == pl.Schema(truth_schema())
    assert set(FLAGS) <= set(truth.columns)
    assert truth["pulse"].to_list() == list(range(1, len(truth) + 1))
    assert truth[ONSET].is_sorted()
    assert truth["taxon"].unique().sort().to_list() == ["A", "B"]
    assert truth.group_by("bat").agg(pl.col("pass").n_unique())["pass"].to_list() == [1, 1]


def test_a_scene_without_bats_has_an_empty_table_of_the_same_columns():
    got = scene(noises=(WhiteNoise(),))
    assert got.truth.schema == pl.Schema(truth_schema())
    assert len(got.truth) == 0
    assert got.samples.dtype == np.float32
    assert got.samples.shape == (int(3 * RATE),)


def test_same_generator_same_scene():
    flights = (Flight((CALL,), 0.1, -10.0, missed=0.2, weak=0.2, echoes=(Echo(6e-3, -10.0),)),)
    plan = Scene(1.0, flights, (WhiteNoise(),), Reverberation())
    first, again = (render(plan, RATE, np.random.default_rng(9)) for _ in range(2))
    np.testing.assert_array_equal(first.samples, again.samples)
    assert first.truth.equals(again.truth)


def test_samples_hold_each_pulse_where_the_truth_says():
    got = scene(Flight((CALL,), 0.1, -10.0, frequency_jitter=0.0))
    envelope = np.abs(signal.hilbert(got.samples))
    for onset, duration, level in got.truth.select(ONSET, DURATION, METRICS["level"].column).iter_rows():
        span = envelope[int(onset * RATE) : int((onset + duration / 1e3) * RATE)]
        assert 20 * np.log10(span.max()) == pytest.approx(level, abs=0.4)
        # Silence just before and after.
        assert envelope[max(0, int((onset - 0.004) * RATE)) : max(0, int((onset - 0.002) * RATE))].max(initial=0) < 1e-3


def test_echoes_are_rows_that_point_at_their_pulse():
    truth = scene(Flight((CALL,), 0.1, -10.0, echoes=(Echo(8e-3, -12.0),))).truth
    echoes, direct = truth.filter("echo"), truth.filter(~pl.col("echo"))
    assert abs(len(echoes) - len(direct)) <= 1
    joined = echoes.join(truth, left_on="echo_of", right_on="pulse", suffix="_direct")
    np.testing.assert_allclose(joined[ONSET] - joined[f"{ONSET}_direct"], 8e-3, atol=1e-9)
    level = METRICS["level"].column
    np.testing.assert_allclose(joined[level] - joined[f"{level}_direct"], -12.0, atol=1e-6)
    assert echoes[INTERVAL].null_count() == len(echoes)
    assert direct["echo_of"].null_count() == len(direct)


def test_crossing_and_only_crossing_pulses_are_overlapped():
    sweep = Call("FM linear", 8e-3, 80e3, 20e3)
    flat, far = Call("QCF", 12e-3, 40e3, 39e3), Call("QCF", 12e-3, 90e3, 89e3)

    def overlapped(other):
        flights = [Flight((call,), 5.0, -10.0, start_s=0.1, bat=bat) for bat, call in ((1, sweep), (2, other))]
        return scene(*flights, seconds=0.3).truth["overlapped"].to_list()

    assert overlapped(flat) == [True, True]
    assert overlapped(far) == [False, False]


def test_pulses_over_the_edges_are_cut():
    flight = Flight((LOW,), 0.5, -10.0, start_s=-0.004, interval_jitter=0.0, duration_jitter=0.0)
    truth = scene(flight, seconds=0.5).truth
    assert truth["cut"].to_list() == [True, True]
    assert truth[ONSET][0] < 0 < truth[ONSET][0] + truth[DURATION][0] / 1e3


def test_loud_calls_clip_for_the_share_that_the_truth_states():
    got = scene(Flight((LOW,), 0.5, 6.02, level_jitter_db=0.0), seconds=1.0)
    assert np.max(np.abs(got.samples)) == 1.0
    onset, duration, share = (
        got.truth.row(0, named=True)[ONSET],
        got.truth[DURATION][0],
        got.truth["clipped_share_percent"][0],
    )
    span = got.samples[int(onset * RATE) : int((onset + duration / 1e3) * RATE)]
    assert share == pytest.approx(100 * np.mean(np.abs(span) == 1.0), abs=0.1)
    # Where the envelope is full, an amplitude of 2 stands over 1 for two thirds of the time.
    assert 20 < share < 66.7


def test_a_bat_past_the_microphone_swells_and_fades_and_falls_in_pitch():
    tone = Call("QCF", 8e-3, 40e3, 40e3)
    path = Path(closest_m=4.0, speed_m_s=8.0, closest_s=1.5)
    truth = scene(Flight((tone,), 0.05, 0.0, path=path, level_jitter_db=0.0, frequency_jitter=0.0)).truth
    level, pitch = (truth[METRICS[name].column].to_numpy() for name in ("level", "peak_frequency"))
    assert abs(truth[ONSET][int(np.argmax(level))] - 1.5) < 0.1
    assert np.all(np.diff(pitch) < 0)
    assert pitch[0] > 40.5
    assert pitch[-1] < 39.5


def test_reverberation_has_the_stated_energy_and_dies_away():
    flight = Flight((CALL,), 5.0, 0.0, start_s=0.1)
    dry = scene(flight, seconds=0.4).samples
    wet = scene(flight, seconds=0.4, reverberation=Reverberation(decay_s=0.05, level_db=-18.0)).samples
    tail = wet.astype(float) - dry
    # The energy spreads with the tail's own random spectrum over the call's band: to 2 dB.
    assert 10 * np.log10(np.sum(tail**2) / np.sum(dry.astype(float) ** 2)) == pytest.approx(-18.0, abs=2.0)
    first, later = (np.sum(tail[int(at * RATE) : int((at + 0.01) * RATE)] ** 2) for at in (0.11, 0.13))
    assert 10 * np.log10(first / later) == pytest.approx(24.0, abs=5.0)  # 60 dB in 50 ms, 20 ms apart


@pytest.mark.parametrize("snr", [6.0, 25.0])
def test_level_for_snr_gives_that_snr(snr):
    noise = WhiteNoise(-75.0)
    level = level_for_snr(CALL, snr, (noise,), RATE)
    flight = Flight((CALL,), 0.2, level, level_jitter_db=0.0, frequency_jitter=0.0, duration_jitter=0.0)
    found = scene(flight, noises=(noise,)).truth[METRICS["snr"].column]
    np.testing.assert_allclose(found, snr, atol=0.01)


def test_level_for_snr_refuses_what_cannot_be_heard():
    with pytest.raises(ValueError, match="Nyquist"):
        level_for_snr(Call("QCF", 5e-3, 140e3, 139e3), 20.0, (WhiteNoise(),), RATE)
