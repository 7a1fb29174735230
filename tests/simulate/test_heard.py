"""Distance, movement, air and echoes against the handbook's figures, spreading laws and brute force."""

import numpy as np
import pytest
from scipy import optimize, signal

from classifier.metrics import METRICS
from classifier.plan.absorption import Weather, absorption_db_per_m
from classifier.simulate import Call, Echo, Heard, Path, metrics_of, synthesise
from classifier.simulate.heard import add_pulse

RATE = 384e3
#: 343 m/s, the speed of sound that the handbook's Doppler figures are computed with, is reached at this
#: temperature.
AT_343 = Weather(temperature_c=293.15 * (343.0 / 343.2) ** 2 - 273.15, humidity_percent=50.0)
TONE = Call("QCF", 10e-3, 40e3, 40e3)


@pytest.mark.parametrize(("speed", "kilohertz", "shift"), [(5, 40, 0.59), (5, 110, 1.63), (10, 40, 1.20), (10, 110, 3.30)])
def test_doppler_figures_of_the_handbook(speed, kilohertz, shift):
    """facts.csv: shift heard from a bat flying straight at the microphone, f·v/(c − v), 343 m/s."""
    call = Call("QCF", 5e-3, kilohertz * 1e3, kilohertz * 1e3)
    straight = Path(closest_m=1e-3, speed_m_s=speed, closest_s=2.0)
    found = metrics_of(Heard(call, 0.5, 0.0, path=straight, weather=AT_343), sample_rate_hz=500e3)
    assert found[METRICS["peak_frequency"].column] - kilohertz == pytest.approx(shift, abs=0.0055)


def test_a_leaving_bat_is_heard_lower_and_longer_by_the_same_factor():
    straight = Path(closest_m=1e-3, speed_m_s=8.0, closest_s=0.0)
    found = metrics_of(Heard(TONE, 1.0, 0.0, path=straight, weather=AT_343), sample_rate_hz=RATE)
    factor = 343.0 / (343.0 + 8.0)
    assert found[METRICS["peak_frequency"].column] == pytest.approx(40.0 * factor, rel=1e-5)
    # Spreading tilts the envelope by a hair over 10 ms.
    assert found[METRICS["duration"].column] == pytest.approx(10.0 / factor, rel=1e-3)


def test_moment_of_emission_solves_the_travel_time_equation():
    path = Path(closest_m=4.0, speed_m_s=9.0, closest_s=1.3)
    for heard in (0.2, 1.25, 1.4, 3.0):
        exact = optimize.brentq(lambda t, heard=heard: t + path.distance_m(t) / 340.0 - heard, heard - 1, heard)
        assert path.emitted_s(heard, 340.0) == pytest.approx(exact, abs=1e-12)


def level_at(distance_m, call=TONE, weather=AT_343):
    still = Path(closest_m=distance_m, speed_m_s=0.0, closest_s=0.0)
    found = metrics_of(Heard(call, 0.0, 0.0, path=still, weather=weather), sample_rate_hz=RATE)
    return found[METRICS["level"].column]


@pytest.mark.parametrize(("near", "far", "expected"), [(1.0, 2.0, -6.02), (2.0, 4.0, -6.02), (1.0, 10.0, -20.0)])
def test_spherical_spreading(near, far, expected):
    """facts.csv, standard acoustics: 6 dB per doubling, 20 per tenfold; what the air takes is put back."""
    air = absorption_db_per_m(40e3, AT_343)
    assert level_at(far) - level_at(near) + air * (far - near) == pytest.approx(expected, abs=0.01)
    assert level_at(1.0) == pytest.approx(-air, abs=1e-3)


def test_absorption_equals_a_filter_over_frequency():
    """The air acts on the course's own frequency, moment by moment; an FFT filter acts on the whole."""
    call, distance = Call("FM hyperbolic", 4e-3, 90e3, 35e3), 12.0
    still = Path(closest_m=distance, speed_m_s=0.0, closest_s=0.0)
    pulse = Heard(call, 0.003, 0.0, path=still, weather=Weather(20.0, 50.0))
    got = np.zeros(24576)
    add_pulse(got, pulse, sample_rate_hz=RATE)
    emitted = np.zeros(24576)
    add_pulse(emitted, Heard(call, 0.003 + distance / pulse.sound_m_s, 0.0), sample_rate_hz=RATE)
    axis = np.fft.rfftfreq(len(emitted), 1 / RATE)
    gain = np.ones(len(axis))
    gain[1:] = 10 ** (-absorption_db_per_m(axis[1:], pulse.weather) * distance / 20) / distance
    expected = np.fft.irfft(np.fft.rfft(emitted) * gain, len(emitted))
    # The difference is of second order in (change of gain over the sweep): 1.1 % of the peak here, 0.1 dB.
    assert np.max(np.abs(got - expected)) < 0.015 * np.max(np.abs(expected))


def test_far_calls_lose_their_high_start():
    call = Call("FM hyperbolic", 4e-3, 110e3, 35e3)
    spans = []
    for distance in (1.0, 25.0):
        still = Path(closest_m=distance, speed_m_s=0.0, closest_s=0.0)
        found = metrics_of(Heard(call, 0.0, 0.0, path=still), sample_rate_hz=RATE)
        spans.append((found[METRICS["start_frequency"].column], found[METRICS["duration"].column]))
    assert spans[1][0] < spans[0][0] - 5.0
    assert spans[1][1] < spans[0][1]


def test_echo_comes_late_and_weak_as_stated():
    call, echo = Call("FM linear", 3e-3, 90e3, 40e3), Echo(delay_s=7e-3, level_db=-8.0)
    samples = np.zeros(8192)
    add_pulse(samples, Heard(call, 1e-3, 0.0), sample_rate_hz=RATE)
    add_pulse(samples, Heard(call, 1e-3, 0.0, echo=echo), sample_rate_hz=RATE)
    lag = signal.correlate(samples, synthesise(call, RATE), "valid")
    direct = int(np.argmax(np.abs(lag)))
    later = direct + 1000 + int(np.argmax(np.abs(lag[direct + 1000 :])))
    assert (later - direct) / RATE == pytest.approx(7e-3, abs=1 / RATE)
    assert 20 * np.log10(abs(lag[later] / lag[direct])) == pytest.approx(-8.0, abs=0.1)


def test_dull_echo_loses_3_db_at_the_stated_frequency():
    echo = Echo(delay_s=5e-3, level_db=-10.0, dull_hz=60e3)
    assert 20 * np.log10(echo.gain(60e3)) == pytest.approx(-13.01, abs=0.01)


def test_pulses_over_the_edges_of_the_array_are_cut_there():
    whole = np.zeros(20000)
    add_pulse(whole, Heard(TONE, 0.02, 0.0), sample_rate_hz=RATE)
    start = int(0.024 * RATE)
    late = np.zeros(20000 - start)
    add_pulse(late, Heard(TONE, 0.02 - start / RATE, 0.0), sample_rate_hz=RATE)
    np.testing.assert_allclose(late, whole[start:], atol=1e-9)
    nothing = np.zeros(100)
    add_pulse(nothing, Heard(TONE, 5.0, 0.0), sample_rate_hz=RATE)
    assert not nothing.any()
