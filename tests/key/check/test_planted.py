"""A sound key gets no finding; with a fault planted it gets that finding."""

import pytest
from planting import codes_in, found_in

SOUND = """\
taxon Examplia a
    characteristic_frequency 12 to 15 kHz
    duration 8 to 20 ms
taxon Examplia b
    characteristic_frequency 22 to 27 kHz
    duration 6 to 14 ms
    characteristic_slope -1 to 0.5 kHz/ms
taxon Examplia c
    characteristic_frequency 22 to 30 kHz
    duration 2 to 5 ms
    characteristic_slope -9 to -4 kHz/ms
gate
    snr >= 12 dB
    duration >= 1 ms
let steep = characteristic_slope < -2.5 kHz/ms ± 0.5 kHz/ms
couplet 1
    1a characteristic_frequency < 18 kHz ± 1 kHz => Examplia a
    1b otherwise => 2
couplet 2
    2a steep => 3
    2b characteristic_frequency < 35 kHz ± 1 kHz => Examplia b
    2c otherwise => unidentified "high and flat"
couplet 3
    3a start_frequency - end_frequency > 20 kHz ± 2 kHz => Examplia c
    3b otherwise => unidentified "steep, but a narrow sweep"
passes
    at least 3 pulses
    definite when support >= 90 % and clear >= 5
    probable when support >= 70 % and clear >= 3
    possible otherwise
"""
HEAD = 'key "planted" version 1\nregion south -34 north -33 west 150 east 151\n'

PLANTS = [
    ("K401", "    1b otherwise => 2", "    1b characteristic_frequency < 15 kHz => Examplia c\n    1c otherwise => 2"),
    ("K401", "    3b otherwise", "    3b characteristic_slope > 0 kHz/ms => Examplia b\n    3c otherwise"),
    ("K401", "    2c otherwise", "    2c duration < 0.5 ms => Examplia a\n    2d otherwise"),
    ("K402", "    2c otherwise", "    2c characteristic_frequency < 36.5 kHz ± 1 kHz => Examplia a\n    2d otherwise"),
    ("K403", '    2c otherwise => unidentified "high and flat"', "    2c characteristic_frequency > 40 kHz => Examplia a"),
    ("K403", "    3b otherwise =>", "    3b start_frequency - end_frequency < 15 kHz =>"),
    ("K404", "    2c otherwise", "    2c characteristic_frequency > 30 kHz => Examplia a\n    2d otherwise"),
    ("K405", "< 35 kHz ± 1 kHz", "< 3500 kHz ± 1 kHz"),
    ("K405", "start_frequency - end_frequency > 20 kHz", "bandwidth > -20 kHz"),
    ("K407", "< 18 kHz ± 1 kHz", "< 18 kHz ± 0.02 kHz"),
    ("K408", "taxon Examplia c\n", "taxon Examplia c\n    occurs south 10 north 20 west 150 east 151\n"),
    ("K409", "probable when support >= 70 % and clear >= 3", "probable when support >= 95 % and clear >= 8"),
    ("K409", "definite when support >= 90 % and clear >= 5", "definite when clear >= 5 and pulses < 5"),
    ("K410", "< 18 kHz ± 1 kHz", "< 23 kHz ± 0.5 kHz"),
    ("K410", "duration 2 to 5 ms\n    characteristic_slope -9 to -4 kHz/ms", "duration 2 to 5 ms"),
    ("K411", "definite when support >= 90 % and clear >= 5", "definite when support >= 50 %"),
    ("K412", "snr >= 12 dB", "snr >= 12 dB\n    snr < 10 dB"),
    ("K413", "duration 2 to 5 ms", "duration 2 to 5 ms\n    max_frequency 20 to 21 kHz"),
]


def test_the_sound_key_is_silent():
    assert found_in(SOUND, HEAD) == []


@pytest.mark.parametrize(("code", "old", "new"), PLANTS)
def test_a_planted_fault_is_found(code, old, new):
    assert SOUND.count(old) == 1
    assert code in codes_in(SOUND.replace(old, new), HEAD)


def test_boundaries_past_the_nyquist_frequency_need_a_sample_rate():
    high = SOUND.replace("< 35 kHz ± 1 kHz", "< 100 kHz ± 1 kHz")
    assert codes_in(high, HEAD) == []
    assert codes_in(high, HEAD, sample_rate_khz=192) == ["K406"]
    assert codes_in(high, HEAD, sample_rate_khz=256) == []
    # A taxon that calls where the recordings cannot reach is named once.
    assert codes_in(SOUND, HEAD, sample_rate_khz=50) == ["K406"] * 3
