"""Bytes, files and nights."""

from datetime import date

import pytest

from classifier.plan import Settings
from classifier.plan.card import bytes_per_second, file_bytes, space_of
from classifier.plan.schedule import nights_of

CLOCK = {"first_night": date(2025, 3, 1), "starts": "19:00", "ends": "05:00"}


@pytest.mark.parametrize(("bits", "bytes_each"), [(8, 1), (12, 2), (16, 2), (24, 3), (32, 4)])
def test_samples_fill_whole_bytes(bits, bytes_each):
    assert bytes_per_second(Settings(sample_rate_khz=192, bits=bits)) == 192_000 * bytes_each


def test_a_file_of_10_s_at_256_khz_and_16_bits():
    assert file_bytes(Settings(sample_rate_khz=256, longest_file_s=10, bits=16)) == 44 + 10 * 256_000 * 2


def test_a_file_is_as_large_as_a_written_one(tmp_path):
    import numpy as np
    import soundfile

    soundfile.write(tmp_path / "a.wav", np.zeros((2 * 48_000, 2), np.int16), 48_000, subtype="PCM_16")
    settings = Settings(sample_rate_khz=48, longest_file_s=2, channels=2)
    assert file_bytes(settings) == (tmp_path / "a.wav").stat().st_size


def test_continuous_recording_counts_the_night():
    settings = Settings(sample_rate_khz=256, longest_file_s=60, card_gb=64, **CLOCK)
    continuous = space_of(settings, nights_of(settings))[1]
    assert continuous.files_a_night == 600
    assert continuous.bytes_a_night == 600 * 44 + 36_000 * 512_000
    assert continuous.nights_a_card == 3


def test_triggered_recording_counts_passes_and_noise():
    settings = Settings(passes_per_night=100, pass_s=4, goes_on_s=1.5, longest_file_s=10, noise_files_per_night=20, **CLOCK)
    triggered = space_of(settings, nights_of(settings))[0]
    assert triggered.files_a_night == 120
    assert triggered.seconds_a_night == 100 * 5.5 + 20 * 10


def test_a_pass_longer_than_a_file_takes_several():
    settings = Settings(passes_per_night=100, pass_s=12, goes_on_s=1.5, longest_file_s=5, noise_files_per_night=0)
    assert space_of(settings)[0].files_a_night == 300


def test_triggered_recording_is_never_more_than_continuous():
    settings = Settings(passes_per_night=100_000, **CLOCK)
    triggered, continuous = space_of(settings, nights_of(settings))
    assert triggered.bytes_a_night == pytest.approx(continuous.bytes_a_night, rel=1e-6)


def test_without_dates_continuous_recording_is_not_known():
    triggered, continuous = space_of(Settings())
    assert (continuous.files_a_night, continuous.bytes_a_night, continuous.nights_a_card) == (None, None, None)
    assert triggered.nights_a_card is not None


def test_a_night_without_anything_fills_no_card():
    settings = Settings(passes_per_night=0, noise_files_per_night=0)
    assert space_of(settings)[0].nights_a_card is None


def test_overlapping_passes_by_simulation_take_no_more_than_counted():
    """Passes by chance over ten hours: the union of their recordings is at most the sum that is counted."""
    import numpy as np

    settings = Settings(passes_per_night=400, noise_files_per_night=0, **CLOCK)
    counted = space_of(settings, nights_of(settings))[0].seconds_a_night
    rng = np.random.default_rng(3)
    unions = []
    for _ in range(20):
        starts = np.sort(rng.uniform(0, 36_000, 400))
        unions.append(np.minimum(np.diff(starts, append=36_000.0), 5.5).sum())
    # Poisson theory: night * (1 - exp(-rate * 5.5 s)).
    assert np.mean(unions) == pytest.approx(36_000 * (1 - np.exp(-400 / 36_000 * 5.5)), rel=0.02)
    assert max(unions) <= counted
