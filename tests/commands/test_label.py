"""What `callkey label` says beside the table: cautions; and keys that are based on another."""

from datetime import date

import polars as pl

from classifier.commands.label import CAUTIONS, cautions_for, default_name, tiers_by
from classifier.key import parse_key

KEY = parse_key("""
key "Sallow Fen / north" version 1
region south 51 north 53 west -1 east 2
taxon Examplia grandis
    status "vulnerable (invented list)"
taxon Examplia vespera
    status "least concern"
taxon Examplia matutina
    status "endangered (invented list)"
group "twin bats" Examplia vespera, Examplia matutina
couplet 1
    1a duration < 5 ms => Examplia grandis
    1b duration < 9 ms => "twin bats"
    1c otherwise       => Examplia matutina
""").key

PASSES = pl.DataFrame(
    {
        "site": ["fen"] * 5,
        "night": [date(2024, 6, 3)] * 5,
        "label": ["twin bats", "unidentified", "twin bats", "not a bat", "Examplia vespera"],
        "tier": ["probable", None, "definite", "possible", "definite"],
    }
)


def recordings(*places):
    return pl.DataFrame(
        {"latitude": [p[0] for p in places], "longitude": [p[1] for p in places]},
        schema={"latitude": pl.Float64, "longitude": pl.Float64},
    )


def test_cautions_name_listed_bats_and_places_outside_the_region():
    found = cautions_for(PASSES, recordings((52.0, 0.0), (56.0, 0.0), (None, None), (52.0, 3.0)), KEY)
    assert found[:2] == [
        "2 recordings lie outside the region that the key is written for.",
        "Examplia matutina, which is listed (endangered (invented list)), may be among twin bats.",
    ]
    assert tuple(found[2:]) == CAUTIONS


def test_tiers_by_label_with_what_is_no_bat_last():
    table = tiers_by(PASSES, ["site", "night", "label"])
    assert table.select("label", "passes", "definite", "probable", "possible").rows() == [
        ("twin bats", 2, 1, 1, 0),
        ("Examplia vespera", 1, 1, 0, 0),
        ("unidentified", 1, 0, 0, 0),
        ("not a bat", 1, 0, 0, 1),
    ]


def test_the_keys_name_makes_the_folders_name():
    assert default_name(KEY, "x.key") == "sallow-fen-north"


def test_a_key_based_on_another_can_be_audited_and_explained_as_long_as_its_base_is_there(labelled, field, callkey):
    survey, _ = labelled
    (field / "north.key").write_text('key "North fen" version 1\nbased on "fen.key"\n', encoding="utf-8")
    assert callkey("label", survey, "--key", field / "north.key").exit_code == 0
    audit = callkey("audit", survey, "--name", "north-fen")
    assert audit.exit_code == 0
    assert "which of the twins?" in audit.stdout
    assert callkey("explain", survey, 1, "--name", "north-fen").exit_code == 0
    base = (field / "fen.key").read_text(encoding="utf-8")
    try:
        (field / "fen.key").write_text(base + "# revised\n", encoding="utf-8")
        changed = callkey("explain", survey, 1, "--name", "north-fen")
    finally:
        (field / "fen.key").write_text(base, encoding="utf-8")
    assert changed.exit_code == 1
    assert "label again with the key as it is now" in changed.stderr
