"""The truth of each metric against closed forms, plain loops and transforms of the samples themselves."""

import numpy as np
import pytest
from scipy import signal
from scipy.interpolate import CubicSpline

from classifier.metrics import MEASURED, METRICS
from classifier.simulate import Call, Heard, WhiteNoise, draw_call, metrics_of, synthesise

RATE = 384e3
C = {name: metric.column for name, metric in METRICS.items()}
PIPISTRELLE = Call("FM-QCF", 6e-3, 75e3, 44e3, knee_s=1.2e-3, knee_hz=50e3, body_s=5.5e-3, body_hz=46e3)
TAIL_UP = Call("FM-QCF", 6e-3, 70e3, 48e3, knee_s=1.5e-3, knee_hz=50e3, body_s=5e-3, body_hz=46e3)


def truth(call, onset=0.0123456, level=-20.0, rate=RATE, **options):
    return metrics_of(Heard(call, onset, level), sample_rate_hz=rate, **options)


def test_every_measured_metric_has_its_column():
    assert list(truth(PIPISTRELLE)) == [metric.column for metric in MEASURED]


def test_closed_forms_of_a_linear_sweep():
    found = truth(Call("FM linear", 4e-3, 90e3, 40e3))
    expected = {
        "onset": 0.0123456,
        "duration": 4.0,
        "start_frequency": 90.0,
        "end_frequency": 40.0,
        "max_frequency": 90.0,
        "min_frequency": 40.0,
        "bandwidth": 50.0,
        "mean_slope": -12.5,
        "initial_slope": -12.5,
        "flat_share": 0.0,
        "strongest_harmonic": 1.0,
        "level": -20.0,
    }
    for name, value in expected.items():
        assert found[C[name]] == pytest.approx(value, rel=1e-4), name
    # One slope throughout: no stretch is flatter than another, and there is no bend.
    for name in ("characteristic_frequency", "characteristic_slope", "tail", "knee_frequency", "knee_time"):
        assert found[C[name]] is None


def test_a_constant_tone_has_its_frequency_everywhere():
    found = truth(Call("QCF", 10e-3, 30e3, 30e3))
    for name in (
        "start_frequency",
        "end_frequency",
        "peak_frequency",
        "centre_frequency",
        "characteristic_frequency",
    ):
        assert found[C[name]] == pytest.approx(30.0, abs=1e-4)
    assert found[C["flat_share"]] == 100.0
    assert found[C["tail"]] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        PIPISTRELLE,
        TAIL_UP,
        Call("noctule-like", 15e-3, 28e3, 19e3),
        Call("FM hyperbolic", 1.5e-3, 60e3, 40e3),
    ],
)
def test_flattest_stretch_against_a_plain_loop(call):
    found = truth(call)
    length = max(0.15 * call.duration_s, 0.3e-3)
    best = (np.inf, None)
    for late in np.linspace(length, call.duration_s, 3001):
        course = call.course(np.linspace(late - length, late, 301))[0]
        moved = np.sum(np.abs(np.diff(course)))
        if moved <= best[0]:
            best = (moved, late)
    late = best[1]
    assert found[C["characteristic_frequency"]] == pytest.approx(call.course(late)[0] / 1e3, abs=0.01)
    slope = (call.course(late)[0] - call.course(late - length)[0]) / length / 1e6
    assert found[C["characteristic_slope"]] == pytest.approx(slope, abs=0.01)
    assert found[C["tail"]] == pytest.approx((call.end_hz - call.course(late)[0]) / 1e3, abs=0.01)


def test_tails_have_the_sign_of_their_sweep():
    assert truth(PIPISTRELLE)[C["tail"]] < -1.0
    assert truth(TAIL_UP)[C["tail"]] > 1.0


def test_knee_against_the_curvature_of_a_spline():
    time = np.linspace(0, 6e-3, 4001)
    course = CubicSpline(time * 1e3, PIPISTRELLE.course(time)[0] / 1e3)  # 1 kHz as long as 1 ms
    milliseconds = np.linspace(0.2, 3.0, 20001)
    curvature = course(milliseconds, 2) / (1 + course(milliseconds, 1) ** 2) ** 1.5
    place = milliseconds[np.argmax(curvature)]
    found = truth(PIPISTRELLE)
    assert found[C["knee_time"]] == pytest.approx(place, abs=0.005)
    assert found[C["knee_frequency"]] == pytest.approx(course(place), abs=0.01)


@pytest.mark.parametrize("call", [Call("QCF", 10e-3, 25e3, 22e3), Call("FM hyperbolic", 3e-3, 100e3, 40e3)])
def test_no_knee_where_nothing_bends_from_steep_to_flat(call):
    assert truth(call)[C["knee_time"]] is None


@pytest.mark.parametrize("call", [PIPISTRELLE, Call("QCF", 10e-3, 25e3, 22e3), Call("FM hyperbolic", 3e-3, 90e3, 30e3)])
def test_peak_and_centre_frequency_against_the_samples_spectrum(call):
    samples = synthesise(call, RATE)
    size = 1 << 20
    energy = np.abs(np.fft.rfft(samples, size)) ** 2
    axis = np.fft.rfftfreq(size, 1 / RATE) / 1e3
    running = np.cumsum(energy)
    found = truth(call)
    assert found[C["peak_frequency"]] == pytest.approx(axis[np.argmax(energy)], abs=0.002)
    assert found[C["centre_frequency"]] == pytest.approx(
        # The truth's own bins are 60 Hz wide for a pulse of 4 ms, and interpolated between.
        np.interp(0.5, running / running[-1], axis),
        abs=0.005,
    )


def test_louder_second_harmonic_carries_the_ridge():
    call = Call(
        "CF-FM",
        40e-3,
        37e3,
        33e3,
        knee_s=3e-3,
        knee_hz=41e3,
        body_s=37e-3,
        body_hz=41e3,
        harmonics_db=(0, 12, -6),
    )
    found = truth(call)
    assert found[C["strongest_harmonic"]] == 2
    assert found[C["start_frequency"]] == pytest.approx(74.0)
    assert found[C["characteristic_frequency"]] == pytest.approx(82.0, abs=0.3)
    assert found[C["level"]] == pytest.approx(-8.0, abs=0.01)
    assert found[C["second_harmonic"]] == pytest.approx(12.0, abs=1e-6)
    assert found[C["third_harmonic"]] == pytest.approx(-6.0, abs=1e-6)


def test_harmonics_above_the_nyquist_frequency_are_missing():
    call = Call("QCF", 10e-3, 45e3, 44e3, harmonics_db=(0, -10, -20))
    found = truth(call, rate=250e3)
    assert found[C["second_harmonic"]] == pytest.approx(-10.0, abs=0.01)
    assert found[C["third_harmonic"]] is None


def test_a_call_above_the_nyquist_frequency_is_not_there():
    assert truth(Call("QCF", 10e-3, 112e3, 110e3), rate=192e3) is None


def test_snr_against_filtered_samples():
    """Noise that passes a steep filter over the call's own band, against the power of the call's peak."""
    noise, rng = WhiteNoise(level_db=-70.0), np.random.default_rng(5)
    call = Call("FM hyperbolic", 4e-3, 80e3, 35e3)
    found = truth(call, level=-30.0, noise_density=lambda f: noise.density(f, RATE))
    samples = np.zeros(1 << 20)
    noise.add(samples, RATE, rng)
    band = signal.sosfilt(signal.butter(12, (35e3, 80e3), "band", fs=RATE, output="sos"), samples)
    measured = 10 * np.log10(0.5 * 10**-3.0 / np.mean(band**2))
    # A million samples of noise: 0.02 dB; the filter loses inside its edges what it lets in outside.
    assert found[C["snr"]] == pytest.approx(measured, abs=0.1)


def test_snr_of_a_tone_is_taken_over_2_khz():
    found = truth(Call("QCF", 10e-3, 40e3, 40e3), level=0.0, noise_density=lambda f: np.full(np.shape(f), 1e-6))
    assert found[C["snr"]] == pytest.approx(10 * np.log10(0.5 / (2000 * 1e-6)), abs=1e-3)
    assert truth(PIPISTRELLE)[C["snr"]] is None


@pytest.mark.parametrize("shape", ["FM-QCF", "CF-FM", "noctule-like", "QCF"])
def test_truth_does_not_depend_on_the_sample_rate_or_the_onset(shape):
    call = draw_call(shape, np.random.default_rng(11), sample_rate_hz=192e3)
    first, second = truth(call), truth(call, onset=0.5, rate=500e3)
    for metric in MEASURED:
        if metric.name in ("onset", "second_harmonic", "third_harmonic"):
            continue
        if first[metric.column] is None:
            assert second[metric.column] is None
        else:
            assert first[metric.column] == pytest.approx(second[metric.column], rel=2e-3, abs=2e-3), metric.name
