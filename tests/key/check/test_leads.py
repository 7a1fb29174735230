"""Leads that get no call: the causes that are named are enough, and none of them could be left out."""

import pytest
from planting import codes_in, found_in

THREE = (
    "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b characteristic_frequency < 20 kHz => Examplia b\n"
    "    1c snr > 30 dB => Examplia c\n    1d {} => Examplia a\n    1e otherwise => Examplia b\n"
)


@pytest.mark.parametrize(
    ("condition", "causes"),
    [
        ("duration < 3 ms", ["1a"]),
        ("characteristic_frequency < 10 kHz", ["1b"]),
        ("characteristic_frequency < 20 kHz and snr > 10 dB and duration > 8 ms", ["1b"]),
        ("duration < 5 ms or characteristic_frequency < 20 kHz", ["1a", "1b"]),
        ("duration < 4 ms or snr > 40 dB", ["1a", "1c"]),
    ],
)
def test_the_leads_that_take_its_calls(condition, causes):
    (found,) = found_in(THREE.format(condition))
    assert found.code == "K401"
    assert [text.split()[0] for text, _ in found.related] == causes


def test_a_lead_in_a_zone_is_reached():
    text = THREE.replace("duration < 5 ms", "duration < 5 ms ± 1 ms").format("duration < 5.5 ms")
    assert codes_in(text) == ["K402"]
    assert codes_in(text.replace("< 5.5 ms", "< 4 ms")) == ["K401"]
    # The edge of the zone itself is decided: 4 ms is a yes of 1a.
    assert codes_in(text.replace("< 5.5 ms", "<= 4 ms")) == ["K401"]
    assert codes_in(text.replace("< 5.5 ms", "< 4.01 ms")) == ["K402"]


def test_what_hangs_on_a_dead_lead_is_not_reported_by_itself():
    text = (
        "couplet 1\n    1a duration < 5 ms => Examplia a\n    1b duration < 4 ms => 2\n    1c otherwise => Examplia b\n"
        "couplet 2\n    2a snr > 20 dB => 3\n    2b otherwise => Examplia c\n"
        "couplet 3\n    3a snr > 10 dB => Examplia c\n    3b otherwise => Examplia b\n"
    )
    (found,) = found_in(text)
    assert "couplets 2 and 3 cannot be reached" in found.message


def test_a_couplet_with_several_ways_to_it():
    """What comes to couplet 3 is above 20 kHz by one way and long by the other."""
    text = (
        "couplet 1\n    1a characteristic_frequency < 20 kHz => 2\n    1b otherwise => 3\n"
        "couplet 2\n    2a duration > 10 ms => 3\n    2b otherwise => Examplia a\n"
        "couplet 3\n    3a {} => Examplia c\n    3b otherwise => Examplia b\n"
    )
    assert codes_in(text.format("characteristic_frequency < 15 kHz")) == []
    assert codes_in(text.format("duration < 5 ms")) == []
    assert codes_in(text.format("characteristic_frequency < 15 kHz and duration < 5 ms")) == ["K401"]


def test_more_ways_than_are_kept_apart_claim_nothing_that_is_not_so():
    """A ladder on many metrics: the number of ways doubles with each step."""
    names = ("duration", "snr", "level", "flat_share", "coherence", "second_harmonic", "third_harmonic")
    units = ("ms", "dB", "dB", "%", "%", "dB", "dB")
    lines = []
    for number in range(1, 15):
        name, unit = names[number % 7], units[number % 7]
        ends = (number + 1, f"{number + 1}") if number < 14 else ("Examplia a", "Examplia b")
        side = 'unidentified "x"'
        lines += [
            f"couplet {number}",
            f"    {number}a {name} > {number % 5 + 3} {unit} and snr > {number} dB => {ends[0]}",
            f"    {number}b coherence < {number} % => {side}",
            f"    {number}c otherwise => {ends[1]}",
        ]
    assert "K401" not in codes_in("\n".join(lines) + "\n")


def test_refine_blocks():
    text = (
        "couplet 1\n    1a characteristic_frequency < 20 kHz => Examplia a\n    1b otherwise => Examplia b\n"
        "refine Examplia a | Examplia b\n    a median(duration) > 5 ms => Examplia a\n"
        "    b median(duration) > {} ms => Examplia b\n    c otherwise => stays\n"
    )
    assert codes_in(text.format(3)) == []
    (found,) = found_in(text.format(8))
    assert found.code == "K401"
    assert found.message.startswith("no pass comes to lead b of refine: a takes every pass before")
