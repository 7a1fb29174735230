"""The whole of measuring: real pulse, steady tones against the Cramér–Rao bound, noise, silence, blocks of any size."""

from pathlib import Path

import librosa
import numpy as np
import polars as pl
import pytest

from classifier.errors import ParameterError
from classifier.measure import MeasureSettings, measure_blocks, pulse_schema
from classifier.measure.meter import ChannelMeter
from classifier.simulate import Call, Flight, Scene, WhiteNoise, level_for_snr, render

RATE = 256_000.0


def _measured(samples, rate, block=1 << 16):
    column = np.asarray(samples, np.float32)[:, None]
    return measure_blocks((column[at : at + block] for at in range(0, len(column), block)), sample_rate_hz=rate)


@pytest.fixture(scope="module")
def bat_rate():
    return 1 / 7e-6


@pytest.fixture(scope="module")
def bat_pulse():
    """400 samples of a big brown bat; thanks to C. Condon, K. White and A. Feng, Beckman Institute, Univ. of Illinois."""
    return np.loadtxt(Path(__file__).parent / "big_brown_bat_pulse.txt").astype(np.float32)


@pytest.fixture(scope="module")
def bat_recording(bat_pulse, bat_rate):
    rng = np.random.default_rng(1)
    out = (rng.standard_normal(round(0.5 * bat_rate)) * 2e-4).astype(np.float32)
    at = round(0.2 * bat_rate)
    out[at : at + len(bat_pulse)] += bat_pulse
    return out


def test_big_brown_bat_pulse_is_one_falling_sweep_of_stated_length(bat_recording, bat_rate):
    table = _measured(bat_recording, bat_rate)
    assert len(table) == 1
    row = table.row(0, named=True)
    assert 2.2 <= row["duration_ms"] <= 2.6
    assert row["start_frequency_khz"] > row["end_frequency_khz"] + 15
    assert row["mean_slope_khz_per_ms"] < -5
    assert row["third_harmonic_db"] is not None
    assert abs(row["second_harmonic_db"]) < 6


def test_big_brown_bat_ridge_agrees_with_a_reassigned_spectrogram(bat_recording, bat_rate):
    """Independent estimate: librosa's reassigned spectrogram (method of Auger & Flandrin 1995)."""
    row = _measured(bat_recording, bat_rate).row(0, named=True)
    harmonic = row["strongest_harmonic"]
    at = round(row["onset_s"] * bat_rate)
    piece = bat_recording[at - 200 : at + 600].astype(float)
    frequency, time, magnitude = librosa.reassigned_spectrogram(
        piece, sr=bat_rate, n_fft=96, hop_length=8, win_length=96, center=False
    )
    begin, end = 200 / bat_rate, 200 / bat_rate + row["duration_ms"] / 1e3
    meter = ChannelMeter(sample_rate_hz=bat_rate, settings=MeasureSettings())
    meter.feed(bat_recording)
    course = meter.finish()["course"][0]

    def ours_at(instant):
        return np.interp((instant - begin) / (end - begin), np.linspace(0, 1, len(course)), course)

    level, distance = [], []
    for column in range(frequency.shape[1]):
        middle = column * 8 / bat_rate + 48 / bat_rate
        # nearer to this harmonic than half the way to the next
        near = np.abs(frequency[:, column] - ours_at(middle)) < 0.5 * ours_at(middle) / harmonic
        near &= np.isfinite(frequency[:, column]) & np.isfinite(time[:, column])
        if not begin <= middle <= end or not near.any():
            continue
        cell = np.flatnonzero(near)[np.argmax(magnitude[near, column])]
        # a cell's energy belongs to its reassigned instant, not to the middle of its frame
        if begin <= time[cell, column] <= end:
            level.append(20 * np.log10(magnitude[cell, column]))
            distance.append(abs(ours_at(time[cell, column]) - frequency[cell, column]))
    loud = np.array(level) > max(level) - 15
    assert loud.sum() > 15
    assert np.array(distance)[loud].max() < 1_500.0


def test_peak_frequency_of_steady_tones_nears_the_cramer_rao_bound():
    """Spread of the estimate against the bound var(f) >= 6 / (4 pi^2 r T^2 N (N^2 - 1)) (Rife & Boorstyn 1974, from memory).

    There r is amplitude squared over twice the noise of each part of a complex tone; a real tone in real noise holds
    half as much, so with r = A^2 / (2 sigma^2) the 6 becomes 12 (Kay 1993, from memory).
    """
    rng = np.random.default_rng(5)
    count, length = 60, round(0.010 * RATE)
    noise = 0.004
    signal = (rng.standard_normal(round(0.05 * RATE) * (count + 1)) * noise).astype(np.float32)
    amplitude = 0.02
    frequencies = rng.uniform(35e3, 45e3, count)
    for k, frequency in enumerate(frequencies):
        at = round(0.05 * RATE) * (k + 1) - length
        time = np.arange(length) / RATE
        signal[at : at + length] += amplitude * np.sin(2 * np.pi * frequency * time + rng.uniform(0, 6)).astype(np.float32)
    table = _measured(signal, RATE)
    assert len(table) >= 0.97 * count
    onset = table["onset_s"].to_numpy()
    which = np.clip(np.round((onset * RATE + length) / round(0.05 * RATE)).astype(int) - 1, 0, count - 1)
    error = table["peak_frequency_khz"].to_numpy() * 1e3 - frequencies[which]
    ratio = amplitude**2 / (2 * noise**2)
    bound = np.sqrt(12 / (4 * np.pi**2 * ratio / RATE**2 * length * (length**2 - 1)))
    spread = 1.4826 * np.median(np.abs(error))
    assert 0.7 * bound < spread < 1.3 * bound
    stated = table["peak_frequency_khz_se"].to_numpy() * 1e3
    assert 0.8 < np.median(stated) / bound < 1.3


def test_slope_of_linear_sweeps_nears_the_cramer_rao_bound():
    """With phase a0 + a1 n + a2 n^2 in complex noise, var(a2) >= 90 / (snr N^5) for large N (Djurić & Kay 1990, from memory);
    a real sweep in real noise holds half as much, so with r = A^2 / (2 sigma^2) the 90 becomes 180."""
    rng = np.random.default_rng(6)
    count, length = 60, round(0.010 * RATE)
    noise, amplitude = 0.004, 0.02
    signal = (rng.standard_normal(round(0.05 * RATE) * (count + 1)) * noise).astype(np.float32)
    slopes = rng.uniform(-3e6, -1e6, count)
    time = np.arange(length) / RATE
    for k, slope in enumerate(slopes):
        at = round(0.05 * RATE) * (k + 1) - length
        turns = rng.uniform(55e3, 65e3) * time + slope * time**2 / 2 + rng.uniform()
        signal[at : at + length] += amplitude * np.sin(2 * np.pi * turns).astype(np.float32)
    table = _measured(signal, RATE)
    assert len(table) >= 0.97 * count
    onset = table["onset_s"].to_numpy()
    which = np.clip(np.round((onset * RATE + length) / round(0.05 * RATE)).astype(int) - 1, 0, count - 1)
    error = table["mean_slope_khz_per_ms"].to_numpy() * 1e6 - slopes[which]
    ratio = amplitude**2 / (2 * noise**2)
    bound = RATE**2 / np.pi * np.sqrt(180 / (ratio * length**5))
    spread = 1.4826 * np.median(np.abs(error))
    assert 0.7 * bound < spread < 1.6 * bound
    stated = table["mean_slope_khz_per_ms_se"].to_numpy() * 1e6
    assert np.mean(np.abs(error) < 2 * stated) > 0.9


def test_a_pass_of_known_calls_is_found_whole_and_measured_within_its_errors():
    rng = np.random.default_rng(3)
    call = Call("FM-QCF", 0.006, 75e3, 48e3, knee_s=0.0012, knee_hz=50e3, body_s=0.005, body_hz=46e3, bend_s=0.0003)
    noise = WhiteNoise(level_db=-80)
    flight = Flight((call,), interval_s=0.09, level_db=level_for_snr(call, 25, (noise,), RATE), bat=1)
    rendered = render(Scene(3.0, (flight,), (noise,)), RATE, rng)
    truth = rendered.truth.filter(~pl.col("cut"))
    table = _measured(rendered.samples, RATE)
    onset, true_onset = table["onset_s"].to_numpy(), truth["onset_s"].to_numpy()
    nearest = np.abs(true_onset[:, None] - onset).argmin(axis=1)
    assert np.abs(onset[nearest] - true_onset).max() < 0.5e-3
    assert len(table) <= len(rendered.truth) + 1
    for name, tolerance in (("characteristic_frequency_khz", 0.1), ("peak_frequency_khz", 0.1), ("duration_ms", 0.12)):
        error = np.abs(table[name].to_numpy()[nearest] - truth[name].to_numpy())
        assert np.median(error) < tolerance, name
    error = np.abs(table["characteristic_frequency_khz"].to_numpy()[nearest] - truth["characteristic_frequency_khz"].to_numpy())
    assert np.mean(error < 3 * table["characteristic_frequency_khz_se"].to_numpy()[nearest]) > 0.85


@pytest.mark.parametrize("kind", ["hiss", "zeros", "tone"])
def test_nothing_is_reported_where_no_bat_is(kind):
    rng = np.random.default_rng(2)
    n = round(5 * RATE)
    samples = np.zeros(n, np.float32)
    if kind != "zeros":
        samples = (rng.standard_normal(n) * 1e-3).astype(np.float32)
    if kind == "tone":
        samples += 0.01 * np.sin(2 * np.pi * 40e3 * np.arange(n) / RATE).astype(np.float32)
    table = _measured(samples, RATE)
    assert len(table) == 0
    assert table.schema == pl.Schema(pulse_schema())


def test_the_result_does_not_hang_on_the_size_of_the_blocks():
    rng = np.random.default_rng(8)
    call = Call("FM hyperbolic", 0.003, 90e3, 35e3)
    noise = WhiteNoise(level_db=-80)
    flight = Flight((call,), interval_s=0.11, level_db=level_for_snr(call, 30, (noise,), RATE))
    samples = render(Scene(2.6, (flight,), (noise,)), RATE, rng).samples
    whole = _measured(samples, RATE, block=len(samples))
    assert len(whole) > 10
    for block in (1000, 77_777):
        assert _measured(samples, RATE, block=block).equals(whole)


def test_channels_are_measured_each_on_its_own():
    rng = np.random.default_rng(9)
    call = Call("QCF", 0.010, 26e3, 23e3, curvature=0.8)
    noise = WhiteNoise(level_db=-80)
    flight = Flight((call,), interval_s=0.2, level_db=level_for_snr(call, 30, (noise,), RATE))
    busy = render(Scene(2.0, (flight,), (noise,)), RATE, rng).samples
    quiet = (rng.standard_normal(len(busy)) * 1e-4).astype(np.float32)
    table = measure_blocks([np.stack([quiet, busy], axis=1)], sample_rate_hz=RATE)
    assert table["channel"].unique().to_list() == [2]
    assert table["pulse"].to_list() == list(range(1, len(table) + 1))


def test_a_pulse_cut_by_the_end_of_the_file_says_so_and_has_no_duration():
    rng = np.random.default_rng(4)
    n = round(1.0 * RATE)
    samples = (rng.standard_normal(n) * 1e-4).astype(np.float32)
    length = round(0.006 * RATE)
    time = np.arange(length) / RATE
    sweep = np.sin(2 * np.pi * (50e3 * time - 1e6 * time**2 / 2)).astype(np.float32) * 0.1
    samples[-length // 2 :] += sweep[: length // 2 + length % 2]
    row = _measured(samples, RATE).row(-1, named=True)
    assert row["cut"]
    assert row["duration_ms"] is None
    assert row["end_frequency_khz"] is None
    assert row["start_frequency_khz"] == pytest.approx(50, abs=0.6)


def test_a_sample_rate_too_low_is_refused_with_the_remedy():
    with pytest.raises(ParameterError, match="time-expanded"):
        measure_blocks([np.zeros((100, 1), np.float32)], sample_rate_hz=16_000)


def _scene(call, *, snr_db=25.0, seed=3):
    noise = WhiteNoise(-75.0)
    level = level_for_snr(call, snr_db, (noise,), RATE)
    flight = Flight((call,), level_db=level, interval_s=0.1, start_s=0.05, end_s=0.9, level_jitter_db=0.0)
    rendered = render(Scene(1.0, (flight,), (noise,)), RATE, np.random.default_rng(seed))
    return _measured(rendered.samples, RATE), rendered.truth


def test_a_steep_sweep_that_ends_low_is_not_followed_into_the_rumble():
    table, truth = _scene(Call("FM linear", 5e-3, 82e3, 17e3), snr_db=20.0)
    assert len(table) == len(truth)
    np.testing.assert_allclose(table["duration_ms"], truth["duration_ms"], atol=0.5)


def test_low_notes_that_rise_or_last_are_birds_and_low_calls_that_fall_are_bats():
    time = np.arange(round(0.5 * RATE)) / RATE

    def note(course, length, begin=0.2):
        inside = (time >= begin) & (time < begin + length)
        wave = np.zeros(len(time))
        own = time[inside] - begin
        wave[inside] = 0.05 * np.hanning(inside.sum()) ** 0.5 * np.cos(2 * np.pi * np.cumsum(course(own)) / RATE)
        return _measured(wave + 2e-4 * np.random.default_rng(4).standard_normal(len(time)), RATE)

    assert len(note(lambda at: 19e3 - 6e4 * at, 0.015)) == 1
    assert len(note(lambda at: 18e3 + 6e4 * at, 0.015)) == 0
    assert len(note(lambda at: 19e3 - 1e4 * at, 0.06)) == 0
    # what rises again no further than it began holds its own echo
    assert len(note(lambda at: 18.2e3 + 1.8e3 * np.cos(2 * np.pi * at / 0.03), 0.03)) == 1
    # higher up, horseshoe bats rise and last
    assert len(note(lambda at: 38e3 + 6e4 * at, 0.06)) == 1


@pytest.mark.parametrize(("slide", "trill"), [(-0.2, 0.0), (-0.15, 0.04), (-0.15, 0.01)])
def test_a_low_note_that_is_lost_while_it_sounds_is_no_call(slide, trill):
    """Its beginning above 9 kHz would pass for a call of some 12 ms; it goes on, lower, for 80."""
    rate = 500_000.0
    own = np.arange(round(0.08 * rate)) / rate
    course = 9300 * (1 + slide * (own / own[-1] - 0.5) + trill * np.sin(2 * np.pi * 40 * own))
    phase = 2 * np.pi * np.cumsum(course) / rate
    samples = 2e-4 * np.random.default_rng(4).standard_normal(round(0.5 * rate))
    loudness = 0.05 * np.minimum(1.0, np.minimum(own, own[-1] - own) / 0.016)
    samples[100_000 : 100_000 + len(own)] += loudness * (np.sin(phase) + 0.1 * np.sin(2 * phase) + 0.03 * np.sin(3 * phase))
    column = samples.astype(np.float32)[:, None]
    assert len(measure_blocks([column], sample_rate_hz=rate)) == 0
    assert len(measure_blocks([column], sample_rate_hz=rate, settings=MeasureSettings(low_most_end_level=9.0))) > 0
