"""What planning takes from a key: ranges, loudness, listing, and names that people write."""

import pytest

from classifier.errors import InputError
from classifier.key import parse_key
from classifier.plan.callers import LOUD, QUIET, callers_of

TEXT = """\
key "Sallow Fen" version 1
source H12 "Author (2012)."
taxon Examplia vespera "dusk bat"
    characteristic_frequency 24 to 30 kHz [H12]
    duration 0.006 to 0.014 s [H12]
    status "vulnerable (invented list)"
    note "source level 104 to 112 dB at 10 cm" [H12 p. 3]
taxon Examplia matutina "dawn bat"
    status "not threatened in Tamble"
    note "whispers: recorders miss it"
taxon Examplia grandis
    status "least concern"
group "small bats" Examplia vespera, Examplia matutina
couplet 1
    1a otherwise => Examplia vespera
"""
KEY = parse_key(TEXT).merged


def by_name(**more):
    return {each.name: each for each in callers_of(KEY, **more)}


def test_ranges_come_in_khz_and_ms():
    assert by_name()["Examplia vespera"].ranges == {
        "characteristic_frequency": (24.0, 30.0),
        "duration": (6.0, pytest.approx(14.0)),
    }


def test_the_keys_own_source_level_goes_before_the_defaults():
    level = by_name()["Examplia vespera"].level
    assert (level.low_db, level.middle_db, level.high_db) == (104, 108, 112)
    assert level.source == "the key: H12 p. 3" and not level.assumed


def test_without_one_a_default_that_says_so():
    found = by_name()
    assert found["Examplia matutina"].level is QUIET and found["Examplia matutina"].quiet
    assert found["Examplia grandis"].level is LOUD and LOUD.assumed


def test_the_settings_go_before_both():
    found = by_name(source_levels={"dusk bat": 125})
    assert found["Examplia vespera"].level.middle_db == 125
    assert found["Examplia vespera"].level.source == "given in the settings"


def test_who_is_listed():
    assert [name for name, each in by_name().items() if each.listed] == ["Examplia vespera"]


@pytest.mark.parametrize("name", ["Dusk  Bat", "examplia vespera", "Examplia vespera"])
def test_a_taxon_by_any_of_its_names(name):
    assert list(by_name(only=[name])) == ["Examplia vespera"]


def test_a_group_is_its_members():
    assert list(by_name(only=["small bats"])) == ["Examplia vespera", "Examplia matutina"]


def test_an_unknown_name_is_answered_with_the_nearest():
    with pytest.raises(InputError, match="no taxon or group `Examplia vesperra`; did you mean `Examplia vespera`?"):
        callers_of(KEY, only=["Examplia vesperra"])
    with pytest.raises(InputError, match="source_level_db: the key knows no taxon or group `dodo`; it knows 3 taxa"):
        callers_of(KEY, source_levels={"dodo": 100})


def test_frequencies_that_are_none_are_refused_with_their_place():
    text = 'key "N" version 1\ntaxon Examplia vespera\n    peak_frequency -5 to 5 kHz\n'
    with pytest.raises(InputError, match="bad.key:3: Examplia vespera declares a peak_frequency from -5 on.*mend"):
        callers_of(parse_key(text, "bad.key").merged)


def test_a_key_without_taxa_is_refused():
    with pytest.raises(InputError, match="declares no taxon.*add taxon blocks"):
        callers_of(parse_key('key "Empty" version 1\n').merged)


@pytest.mark.parametrize(
    ("key", "listed", "quiet"),
    [
        ("new-zealand", 2, ["Mystacina tuberculata"]),
        (
            "britain-and-ireland",
            5,
            ["Plecotus auritus", "Plecotus austriacus", "Myotis nattereri", "Myotis bechsteinii"],
        ),
    ],
)
def test_what_shipped_keys_say(shipped, key, listed, quiet):
    found = callers_of(shipped(key))
    assert sum(each.listed for each in found) == listed
    assert [each.name for each in found if each.quiet] == quiet


def test_the_barbastelles_level_is_the_published_one(shipped):
    """Seibert2015: 81 and 82 dB at 1 m, which is 101 and 102 dB at 10 cm."""
    (bat,) = callers_of(shipped("britain-and-ireland"), only=["barbastelle"])
    assert bat.level.source.startswith("the key: Seibert2015")
    assert bat.level.low_db <= 81 + 20 <= bat.level.middle_db <= 82 + 20 <= bat.level.high_db
