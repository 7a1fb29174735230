"""What lies near 0 Hz, taken out where a low sound is heard."""

import numpy as np
import pytest
from scipy import signal

from classifier.measure import measure_blocks
from classifier.measure.rumble import CUT_HZ, ORDER, high_passed
from classifier.simulate import Call, Flight, Scene, WhiteNoise, level_for_snr, render

RATE = 256_000.0


@pytest.mark.parametrize("count", [3, 400, 5000])
def test_the_filter_is_scipys_run_forwards_and_backwards(count):
    rng = np.random.default_rng(count)
    samples = (rng.standard_normal(count) + 5 * np.sin(np.arange(count) / 300) + 2).astype(np.float32)
    numerator, denominator = signal.butter(ORDER, CUT_HZ, "highpass", fs=RATE)
    room = min(256, count - 1)
    expected = signal.filtfilt(numerator, denominator, samples.astype(float), padlen=room)
    # scipy starts from the very steady state of the first value, which of a filter without a constant is silence as well
    found = high_passed(samples, np.concatenate([numerator, denominator[1:]]), 256)
    np.testing.assert_allclose(found, expected, atol=1e-5)


def test_a_low_call_is_measured_through_mains_hum_as_if_there_were_none():
    noise = WhiteNoise(-75.0)
    call = Call("QCF", 15e-3, 13.0e3, 12.2e3)
    level_db = level_for_snr(call, 25.0, (noise,), RATE)
    flight = Flight((call,), 0.15, level_db, start_s=0.05, end_s=1.9)
    scene = render(Scene(2.0, (flight,), (noise,)), RATE, np.random.default_rng(8))
    # ten times as loud as the call
    hum = 10 ** (level_db / 20 + 1) * np.sin(2 * np.pi * 150.0 * np.arange(len(scene.samples)) / RATE)
    plain, hummed = (
        measure_blocks([samples.astype(np.float32)[:, None]], sample_rate_hz=RATE)
        for samples in (scene.samples, scene.samples + hum)
    )
    assert len(plain) == len(hummed) == len(scene.truth)
    for name in ("peak_frequency_khz", "start_frequency_khz", "end_frequency_khz"):
        np.testing.assert_allclose(hummed[name], plain[name], atol=0.05)
        assert hummed[f"{name}_se"].median() < 1.2 * plain[f"{name}_se"].median()
