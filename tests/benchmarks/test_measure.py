"""The accuracy benchmark in small: that it scores right, and that measuring keeps up what the full run showed."""

import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import measure
from cases import FAMILIES, SILENCES, Case, cases, render_case
from scoring import bound, match, score, score_passes
from summary import clear, error_summary, found_summary, headline, median_alike, meets, silence_summary

from classifier.simulate import SHAPES, Call, Heard, WhiteNoise


@pytest.fixture(scope="module")
def busy():
    """(Rendered, rate, noise) of a scene with several bats."""
    rendered, rate, _, noise = render_case(Case("several", "mixed", 20.0, 1, seconds=1.5))
    return rendered, rate, noise


def test_the_same_case_is_the_same_scene():
    case = Case("echo", "QCF", 20.0, 3, seconds=0.5)
    first, again = render_case(case)[0], render_case(case)[0]
    np.testing.assert_array_equal(first.samples, again.samples)
    assert not np.array_equal(first.samples[:1000], render_case(Case("echo", "QCF", 20.0, 4, seconds=0.5))[0].samples[:1000])


def test_a_run_holds_every_family_shape_and_silence():
    chosen = cases(scenes=1)
    assert {case.family for case in chosen} == set(FAMILIES)
    assert set(SHAPES) <= {case.kind for case in chosen}
    assert set(SILENCES) <= {case.kind for case in chosen}


def test_flawless_measuring_has_no_errors(busy):
    rendered, rate, noise = busy
    rows, counts = score(rendered.truth, rendered.pulses, measure.perfect(rendered), rate_hz=rate, noise=noise)
    assert rows["found"].all()
    assert counts["false"] == 0
    assert counts["reported"] == len(rendered.truth.filter(~pl.col("echo")))
    summary = error_summary(rows)
    assert summary["p95"].max() < 1e-9
    assert summary["missing"].drop_nulls().max() == 0


@pytest.mark.parametrize(("error", "stated", "coverage"), [(0.0, 0.0, None), (1.0, 0.0, 0.0), (1.0, 0.6, 100.0), (0.0, 0.6, 100.0)])
def test_what_is_exactly_nothing_says_nothing_of_errors(busy, error, stated, coverage):
    rendered, rate, noise = busy
    rows, _ = score(rendered.truth, rendered.pulses, measure.perfect(rendered), rate_hz=rate, noise=noise)
    tails = error_summary(rows.with_columns(error_tail=pl.lit(error), se_tail=pl.lit(stated))).filter(pl.col("metric") == "tail")
    assert tails["coverage"].to_list() == [coverage]


def test_errors_put_in_come_out(busy):
    """A bias of 0.5 kHz, scatter as large as the stated standard error, every tenth pulse lost, five made up."""
    rendered, rate, noise = busy
    rng = np.random.default_rng(2)
    measured = measure.perfect(rendered)
    count = len(measured)
    measured = measured.with_columns(
        pl.col("end_frequency_khz") + 0.5,
        pl.col("onset_s") + pl.Series(1e-5 * rng.standard_normal(count)),
        onset_s_se=pl.lit(1e-5),
    ).filter(pl.int_range(pl.len()) % 10 != 3)
    made_up = measured.head(5).with_columns(pl.col("onset_s") + 100.0)
    rows, counts = score(rendered.truth, rendered.pulses, pl.concat([measured, made_up]), rate_hz=rate, noise=noise)
    lost = len(range(3, count, 10))
    assert rows["found"].sum() == len(rows) - lost
    assert counts["false_other"] == 5
    by_name = {row["metric"]: row for row in error_summary(rows).iter_rows(named=True)}
    assert by_name["end_frequency"]["bias"] == pytest.approx(0.5)
    # Two standard errors hold 95.4 % of a normal; of some 70 pulses, 2.5 % more or less.
    assert by_name["onset"]["coverage"] == pytest.approx(95.4, abs=7.5)


def test_an_echo_reported_and_a_harmonic_reported_are_false_by_name():
    rendered, rate, _, noise = render_case(Case("echo", "FM linear", 30.0, 2, seconds=0.5))
    truth = measure.perfect(rendered)
    fooled = truth.with_columns(echo=pl.lit(False))
    _, counts = score(rendered.truth, rendered.pulses, fooled, rate_hz=rate, noise=noise)
    assert counts["false_echo"] == counts["false"] == rendered.truth["echo"].sum() > 0
    doubled = truth.filter(~pl.col("echo")).with_columns(*(pl.col(f"{name}_frequency_khz") * 2 for name in ("peak", "min", "max")))
    _, counts = score(rendered.truth, rendered.pulses, pl.concat([truth, doubled]), rate_hz=rate, noise=noise)
    assert counts["false_harmonic"] == counts["false"] == len(doubled)


def test_matching_keeps_two_bats_at_one_time_apart(busy):
    rendered, _, _ = busy
    shuffled = measure.perfect(rendered).with_row_index("row").sample(fraction=1.0, shuffle=True, seed=3)
    rows, columns = match(rendered.truth, shuffled)
    assert len(rows) == len(rendered.truth)
    assert (shuffled["row"].to_numpy()[columns] == rows).all()


def test_pass_scores(busy):
    rendered, _, _ = busy
    truth = rendered.truth
    measured = measure.perfect(rendered)
    passes = truth["pass"].n_unique()
    assert passes >= 2
    assert score_passes(truth, measured, truth["pass"]) == (1.0, passes, passes)
    index, right, _ = score_passes(truth, measured, pl.Series([1] * len(truth)))
    assert index == pytest.approx(0.0, abs=1e-9)
    assert right == 0
    split = truth["pass"] * 2 + (truth["onset_s"] > 0.7).cast(pl.Int32)
    assert score_passes(truth, measured, split)[1] == 0


def test_bound_is_rife_and_boorstyns_for_a_constant_amplitude():
    """Rife & Boorstyn (1974): var f = 6 / (4π² r T² N (N² − 1)) for the complex tone; r = A²/σ², σ² that of
    the complex noise, which a real tone of amplitude A in real noise of one-sided density N0 has at σ² = 2
    N0 / T."""
    noise, rate, amplitude = WhiteNoise(-70.0), 250e3, 0.1

    class Constant:
        interval_s = (0.0, 0.02)

        def parts(self, time, rate_hz):
            one = np.ones((1, len(time)))
            return amplitude * one, one * time, 40e3 * one

    count = 0.02 * rate
    density = noise.density(np.array([40e3]), rate)[0]
    ratio = amplitude**2 / (2 * density * rate)
    expected = np.sqrt(6 * rate**2 / (4 * np.pi**2 * ratio * count * (count**2 - 1))) / 1e3
    assert bound(Constant(), rate_hz=rate, noise=noise)["frequency"] == pytest.approx(expected, rel=0.01)


def test_maximum_likelihood_reaches_the_bound():
    """The peak of the spectrum weighted by the known envelope is the maximum-likelihood estimate of a
    tone's frequency: over many noises its spread must be the bound, neither more nor less."""
    noise, rate, onset = WhiteNoise(-70.0), 250e3, 2e-3
    call = Call("QCF", 8e-3, 40e3, 40e3)
    pulse = Heard(call, onset, -25.0)
    time = np.arange(3000) / rate
    amplitude, phase, _ = pulse.parts(time, rate)
    clean, weight = amplitude[0] * np.cos(2 * np.pi * phase[0]), amplitude[0]
    rng = np.random.default_rng(8)
    trials = np.linspace(-150.0, 150.0, 601)
    probe = weight * np.exp(-2j * np.pi * (40e3 + trials[:, None]) * (time - time.mean()))
    errors = []
    for _ in range(300):
        samples = clean.copy()
        noise.add(samples, rate, rng)
        power = np.abs(probe @ samples) ** 2
        top = int(np.argmax(power))
        left, middle, right = power[top - 1 : top + 2]
        errors.append(trials[top] + 0.5 * (left - right) / (left - 2 * middle + right) * (trials[1] - trials[0]))
    least = 1e3 * bound(pulse, rate_hz=rate, noise=noise)["frequency"]
    # 300 trials know a standard deviation to 4 %.
    assert np.std(errors) / least == pytest.approx(1.0, abs=0.12)


def test_a_median_that_weighs_shapes_alike_does_not_tell_how_many_pulses_there_are_of_each():
    many = [("FM linear", 1.0)] * 500
    few = [("QCF", -0.1), ("FM-QCF", 0.2), ("CF-FM", float("nan")), ("CF-FM", 0.3), ("CF-FM", 0.4), ("noctule-like", -0.25)]
    rows = pl.DataFrame(many + few, schema=["shape", "error_peak_frequency"], orient="row")
    assert rows["error_peak_frequency"].drop_nans().abs().median() == 1.0
    assert median_alike(rows, "error_peak_frequency") == 0.25


def test_targets_are_read_in_words():
    assert meets(99.6, ">= 99.5")
    assert not meets(99.4, ">= 99.5")
    assert not meets(float("nan"), "<= 1")


@pytest.fixture(scope="module")
def small_run():
    """One scene per shape at 25 dB, tones, and two seconds of each silence, as measuring sees them today."""
    chosen = cases(scenes=1, snrs=(25.0,), silence_s=2.0, families=("one", "tone", "silence"), first=50)
    return measure.run(chosen, with_passes=False)


def test_measuring_finds_every_pulse_of_a_lone_bat(small_run):
    rows, scenes = small_run
    alone = rows.filter(pl.col("family") == "one")
    assert alone["found"].mean() >= 0.98
    assert scenes.filter(pl.col("family") == "one")["false"].sum() <= 0.02 * len(alone)


def test_measuring_is_as_true_as_the_targets_at_25_db(small_run):
    rows, _ = small_run
    summary = error_summary(clear(rows.filter(pl.col("family") == "one")))
    median = {(row["metric"], row["unit"]): row["median"] for row in summary.iter_rows(named=True)}
    assert median["characteristic_frequency", "kHz"] <= 0.1
    assert median["start_frequency", "kHz"] <= 0.3
    assert median["end_frequency", "kHz"] <= 0.2


def test_tones_come_near_the_bound(small_run):
    rows, _ = small_run
    summary = error_summary(clear(rows.filter(pl.col("family") == "tone")))
    # Some 60 tones know the ratio to a tenth.
    assert summary.filter(pl.col("metric") == "peak_frequency")["ratio"][0] <= 1.5


def test_the_tables_can_be_shown(small_run, capsys):
    rows, scenes = small_run
    assert len(found_summary(rows, scenes)) == 7
    assert len(silence_summary(scenes)) == len(SILENCES)
    assert "found, one bat, %" in headline(rows, scenes)
    measure.show(rows, scenes)
    assert "times real time" in capsys.readouterr().out.replace("×", "times")
