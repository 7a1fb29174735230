"""Calls against scipy's chirps, their own Hilbert transform, and the parameters they were given."""

import numpy as np
import pytest
from scipy import signal

from classifier.errors import ParameterError
from classifier.simulate import SHAPES, Call, Envelope, synthesise

RATE = 500e3
CALLS = {
    "QCF": Call("QCF", 12e-3, 25e3, 22e3),
    "FM-QCF": Call("FM-QCF", 6e-3, 75e3, 44e3, knee_s=1.2e-3, knee_hz=50e3, body_s=5.5e-3, body_hz=46e3),
    "FM-QCF, tail up": Call("FM-QCF", 6e-3, 70e3, 48e3, knee_s=1.5e-3, knee_hz=50e3, body_s=5e-3, body_hz=46e3),
    "FM linear": Call("FM linear", 3e-3, 90e3, 40e3),
    "FM hyperbolic": Call("FM hyperbolic", 4e-3, 90e3, 30e3),
    "CF-FM": Call("CF-FM", 40e-3, 75e3, 65e3, knee_s=3e-3, knee_hz=82e3, body_s=37e-3, body_hz=82e3, bend_s=0.4e-3),
    "noctule-like": Call("noctule-like", 15e-3, 28e3, 19e3),
}
every_call = pytest.mark.parametrize("call", CALLS.values(), ids=CALLS.keys())


def test_every_shape_is_tested():
    assert {call.shape for call in CALLS.values()} == set(SHAPES)


@pytest.mark.parametrize(("name", "method"), [("FM linear", "linear"), ("FM hyperbolic", "hyperbolic")])
def test_equals_scipys_chirp_under_its_envelope(name, method):
    call = CALLS[name]
    onset = 1e-3
    got = synthesise(call, RATE, onset_s=onset)
    time = np.arange(len(got)) / RATE - onset
    sweep = signal.chirp(time, call.start_hz, call.duration_s, call.end_hz, method, phi=-90)
    np.testing.assert_allclose(got, call.amplitude(time) * sweep, atol=2e-6)


@every_call
def test_phase_is_the_integral_of_frequency(call):
    time = np.linspace(*call.support_s, 200_001)
    frequency, phase = call.course(time)
    # Second-order differences of a phase of some 1000 cycles: accurate to about 1 part in 10^6 here.
    np.testing.assert_allclose(np.gradient(phase, time)[1:-1], frequency[1:-1], rtol=3e-6)
    assert call.course(0.0)[1] == pytest.approx(0.0, abs=1e-12)


@every_call
def test_hilbert_frequency_of_the_samples_follows_the_course(call):
    """The instantaneous frequency of the analytic signal, taken from samples alone."""
    onset = 2e-3
    samples = synthesise(call, RATE, onset_s=onset)
    turns = np.unwrap(np.angle(signal.hilbert(samples))) / (2 * np.pi)
    got = np.gradient(turns) * RATE
    time = np.arange(len(samples)) / RATE - onset
    inside = (time > 0.1 * call.duration_s) & (time < 0.9 * call.duration_s)
    # A sweep's analytic signal is only nearly its envelope and phase: 0.3 % at 20 kHz/ms.
    np.testing.assert_allclose(got[inside], call.course(time[inside])[0], rtol=4e-3)


@every_call
def test_hilbert_envelope_stays_within_20_db_over_the_stated_duration(call):
    onset = 2.00037e-3  # not on a sample
    samples = synthesise(call, RATE, onset_s=onset)
    envelope = np.abs(signal.hilbert(samples))
    loud = np.flatnonzero(envelope >= 0.1 * envelope.max())
    # To one sample at either end, and the ripple of a sweep's Hilbert envelope.
    assert loud[0] / RATE == pytest.approx(onset, abs=2.5e-5 + 0.004 * call.duration_s)
    assert (loud[-1] - loud[0]) / RATE == pytest.approx(call.duration_s, abs=4e-5 + 0.008 * call.duration_s)


@every_call
def test_span_ends_exactly_20_db_down(call):
    ends = call.amplitude(np.array([0.0, call.duration_s]))
    np.testing.assert_allclose(20 * np.log10(ends), -20.0, atol=1e-3)
    assert call.amplitude(np.linspace(0, call.duration_s, 20001)).max() == pytest.approx(1.0, abs=1e-6)
    assert np.all(call.amplitude(np.array(call.support_s)) < 1e-9)


@every_call
def test_course_runs_through_the_stated_points(call):
    places = [(0.0, call.start_hz), (call.duration_s, call.end_hz)]
    if call.knee_s is not None:
        places += [(0.5 * (call.knee_s + call.body_s), 0.5 * (call.knee_hz + call.body_hz))]
    for time, frequency in places:
        assert call.course(time)[0] == pytest.approx(frequency, rel=1e-9)


def test_a_later_onset_between_samples_is_a_pure_delay():
    """The cross-spectrum of a call and the same call 0.37 samples later has the phase −2πf·delay."""
    call, delay = CALLS["QCF"], 0.37 / RATE
    first, second = (synthesise(call, RATE, onset_s=3e-3 + shift)[:10000] for shift in (0.0, delay))
    count = min(len(first), len(second))
    cross = np.fft.rfft(second[:count]) * np.conj(np.fft.rfft(first[:count]))
    frequency = np.fft.rfftfreq(count, 1 / RATE)
    inside = np.abs(cross) > 0.01 * np.abs(cross).max()
    got = -np.angle(cross[inside]) / (2 * np.pi * frequency[inside])
    np.testing.assert_allclose(got, delay, rtol=1e-3)


def test_harmonics_stand_at_whole_multiples_and_stated_levels():
    call = Call("QCF", 20e-3, 30e3, 30e3, harmonics_db=(0.0, -12.0, -30.0))
    samples = synthesise(call, RATE)
    size = 1 << 19  # padded, so that no line falls between two bins
    level = 20 * np.log10(np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size)) + 1e-12)
    axis = np.fft.rfftfreq(size, 1 / RATE)

    def at(frequency):
        return level[np.abs(axis - frequency) < 500].max()

    assert at(60e3) - at(30e3) == pytest.approx(-12.0, abs=0.01)
    assert at(90e3) - at(30e3) == pytest.approx(-30.0, abs=0.01)


def test_nothing_folds_back_from_above_the_nyquist_frequency():
    call = Call("QCF", 20e-3, 40e3, 40e3, harmonics_db=(0.0, 0.0, 0.0))
    samples = synthesise(call, 192e3)  # harmonics at 80 and 120 kHz; 120 would fold to 72
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    axis = np.fft.rfftfreq(len(samples), 1 / 192e3)
    assert spectrum[np.abs(axis - 72e3) < 1e3].max() < 1e-5 * spectrum.max()
    assert spectrum[np.abs(axis - 80e3) < 1e3].max() > 0.5 * spectrum.max()


def test_shifted_scales_every_time_and_frequency():
    call = CALLS["FM-QCF"]
    other = call.shifted(frequency=1.1, duration=0.9)
    time = np.linspace(0, call.duration_s, 50)
    width = call.bend_s  # None: follows the duration by itself
    assert width is None
    np.testing.assert_allclose(other.course(0.9 * time)[0], 1.1 * call.course(time)[0], rtol=1e-9)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"shape": "square"}, "shape must be one of"),
        ({"duration_s": 0.0}, "duration_s"),
        ({"start_hz": -1.0}, "start_hz and end_hz"),
        ({"harmonics_db": (3.0,)}, "begin with 0"),
        ({"shape": "CF-FM"}, "needs knee_s"),
        ({"end_hz": 2e3}, "leaves the positive frequencies"),
    ],
)
def test_refuses_calls_that_are_none(change, words):
    stated = {"shape": "FM linear", "duration_s": 3e-3, "start_hz": 90e3, "end_hz": 40e3} | change
    with pytest.raises(ParameterError, match=words):
        Call(**stated)


@pytest.mark.parametrize("shares", [(0.0, 0.3), (0.6, 0.5)])
def test_refuses_envelopes_that_are_none(shares):
    with pytest.raises(ParameterError, match="attack and release"):
        Envelope(*shares)
