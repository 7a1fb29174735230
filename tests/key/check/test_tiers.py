"""Tiers that are never given, and definite labels without a clear pulse."""

import pytest
from planting import codes_in, found_in

COUPLET = "couplet 1\n    1a characteristic_frequency < 20 kHz => Examplia a\n    1b otherwise => Examplia b\n"


@pytest.mark.parametrize(
    ("passes", "codes"),
    [
        ("definite when support >= 90 % and clear >= 5\n    probable when support >= 70 % and clear >= 3", []),
        ("definite when support >= 70 % and clear >= 3\n    probable when support >= 90 % and clear >= 5", ["K409"]),
        ("definite when support >= 70 % and clear >= 3\n    probable when support >= 90 % and clear >= 2", []),
        ("definite when clear >= 5 and pulses < 5", ["K409"]),
        ("definite when clear >= 5 and pulses < 6", []),
        ("at least 8 pulses\n    definite when clear >= 5 and pulses < 8", ["K409"]),
        ("definite when clear > 4 and clear < 5", ["K409"]),
        ("definite when support > 50 %", []),
        ("definite when support >= 50 %", ["K411"]),
        ("definite when pulses >= 10", ["K411"]),
        ("definite when clearance >= 3 and support >= 90 %", []),
        ("definite otherwise", ["K411"]),
        ("definite when support >= 20 % or clear >= 3", ["K411"]),
    ],
)
def test_passes_blocks(passes, codes):
    assert codes_in(COUPLET + f"passes\n    {passes}\n") == codes


def test_caps_on_every_way():
    capped = COUPLET.replace("Examplia a", "Examplia a, at most possible").replace("Examplia b", "Examplia b, at most probable")
    (found,) = found_in(capped + "passes\n    definite when support >= 90 % and clear >= 5\n    probable when clear >= 3\n")
    assert found.message.startswith("`definite` is never given: every way to a taxon or group has `at most probable`")
