"""What clipping takes away: the share of a sine that is left against its transform, and calls driven beyond full scale."""

import numpy as np
import pytest

from classifier.measure import measure_blocks
from classifier.measure.overload import MOST, before_limit, kept
from classifier.simulate import Call, Envelope

#: At 256 kHz the third harmonic that clipping makes would be folded onto the sweep.
RATE = 384_000.0


@pytest.mark.parametrize("amplitude", [0.3, 1.0, 1.01, 1.3, 2.0, 2.9])
def test_what_is_kept_is_the_first_harmonic_of_the_clipped_sine(amplitude):
    turns = np.arange(2**16) / 2**16
    spectrum = np.fft.rfft(np.clip(amplitude * np.cos(2 * np.pi * turns), -1.0, 1.0))
    left, rise = kept(amplitude)
    assert left == pytest.approx(2 * spectrum[1].real / len(turns), abs=1e-6)
    step = 1e-5
    assert rise == pytest.approx((kept(amplitude + step)[0] - kept(amplitude - step)[0]) / (2 * step), abs=2e-3)


@pytest.mark.parametrize("amplitude", [0.3, 1.0, 1.01, 1.3, 2.0, 2.9])
def test_the_amplitude_comes_back(amplitude):
    assert before_limit(kept(amplitude)[0]) == pytest.approx(amplitude, rel=1e-6)


def test_what_can_be_left_of_no_sine_comes_back_as_the_most():
    assert before_limit(4 / np.pi) == before_limit(2.0) == MOST


def _pulse(times, *, limit):
    """The one pulse of a recording of a call at ``times`` full scale, cut off there or not."""
    call = Call("FM-QCF", 6e-3, 70e3, 45e3, knee_s=1.2e-3, knee_hz=50e3, body_s=5e-3, body_hz=46e3, envelope=Envelope(0.3, 0.4))
    time = np.arange(round(0.12 * RATE)) / RATE - 0.05
    first, last = call.support_s
    inside = (time > first) & (time < last)
    samples = 1e-4 * np.random.default_rng(4).standard_normal(len(time))
    samples[inside] += times * call.amplitude(time[inside]) * np.cos(2 * np.pi * call.course(time[inside])[1])
    if limit:
        samples = np.clip(samples, -1.0, 1.0)
    pulses = measure_blocks([samples[:, None].astype(np.float32)], sample_rate_hz=RATE)
    return pulses.sort("level_db").row(-1, named=True)


@pytest.mark.parametrize("over_db", [1.0, 2.0, 6.0])
def test_a_clipped_call_is_flagged_and_measured_as_if_the_recorder_had_no_limit(over_db):
    """In between, where the body of the call stands at an eighth of the rate, samples always meet the same places of the sine,
    and the level comes out up to 1.5 dB too high."""
    clipped, whole = _pulse(10 ** (over_db / 20), limit=True), _pulse(0.5, limit=True)
    assert clipped["clipped_share_percent"] > 2.0
    assert whole["clipped_share_percent"] == 0.0
    assert clipped["level_db"] == pytest.approx(over_db, abs=0.4)
    # taken as it was recorded it stands at 0.6, 1.1 and 1.7 dB, and lasts 0.3, 0.9 and 3.7 % too long
    assert clipped["duration_ms"] == pytest.approx(whole["duration_ms"], rel=4e-3)
    assert clipped["start_frequency_khz"] == pytest.approx(whole["start_frequency_khz"], abs=0.2)
    assert clipped["end_frequency_khz"] == pytest.approx(whole["end_frequency_khz"], abs=0.02)


def test_a_file_that_holds_more_than_full_scale_was_not_cut_off_there():
    over = _pulse(2.0, limit=False)
    assert over["level_db"] == pytest.approx(20 * np.log10(2.0), abs=0.1)
