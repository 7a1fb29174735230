"""Keys based on other keys: what a variant changes, where bases may lie, and the faults of both."""

import os

import pytest

from classifier.key import compile_key, parse_key, read_key, walk
from classifier.key import syntax as s

BASE = """\
key "Tableland" version 2
region south -36 north -33 west 148 east 152
source H12 "Author (2012)."
taxon Alba alba
    duration 2 to 9 ms [H12]
    similar Clara clara, Bruna bruna
taxon Bruna bruna
taxon Clara clara
group "pale bats" Alba alba, Clara clara
let split = 24 kHz ± 1 kHz
gate
    snr >= 12 dB
couplet 1
    1a characteristic_frequency < split => 2
    1b otherwise => Clara clara
couplet 2
    2a duration < 5 ms => Alba alba
    2b otherwise => Bruna bruna
refine Alba alba | Clara clara
    a pulses > 3 => Alba alba
    b otherwise => Clara clara
refine Alba alba | Bruna bruna | Clara clara
    a pulses > 9 => Clara clara
    b otherwise => stays
example "low" characteristic_frequency 20 kHz, duration 3 ms => Alba alba
example "high" characteristic_frequency 40 kHz => Clara clara
"""


def variant(text, base=BASE):
    return parse_key('key "Wetlands" version 1\nbased on "base.key"\n' + text, "wet.key", resolver=lambda name, file: (name, base))


def errors(reading):
    return [(each.code, each.span.file, each.span.line) for each in reading.diagnostics if each.severity == "error"]


def test_everything_not_said_comes_from_the_base():
    reading = variant("")
    assert reading.diagnostics == ()
    own = parse_key(BASE).key
    assert reading.key.name == "Wetlands"
    assert [each for each in reading.key.statements if not isinstance(each, s.KeyHeading)] == [
        each for each in own.statements if not isinstance(each, s.KeyHeading)
    ]


def test_a_let_set_anew_moves_every_boundary_that_names_it():
    key = variant("let split = 30 kHz ± 1 kHz\n").key
    assert walk(key, {"characteristic_frequency": 26.0, "duration": 3.0}).trail == "1a 2a"
    assert walk(variant("").key, {"characteristic_frequency": 26.0, "duration": 3.0}).trail == "1b"


def test_blocks_take_the_place_of_the_bases_blocks():
    key = variant(
        "gate\n    snr >= 6 dB\ncouplet 2\n    2a otherwise => Bruna bruna\ntaxon Alba alba\n    snr 1 to 2 dB\n"
        'example "low" characteristic_frequency 20 kHz => Bruna bruna\n'
    ).key
    assert [len(couplet.leads) for couplet in key.couplets.values()] == [2, 1]
    assert [line.condition.right.value for line in key.gate.lines] == [6]
    assert [entry.metric for entry in key.taxa["Alba alba"].ranges] == ["snr"]
    assert [example.name for example in key.examples] == ["low", "high"]
    assert list(key.taxa) == ["Alba alba", "Bruna bruna", "Clara clara"]


def test_a_variant_adds_taxa_and_couplets():
    reading = variant(
        "taxon Dura dura\ncouplet 2\n    2a duration < 5 ms => 3\n    2b otherwise => Bruna bruna\n"
        "couplet 3\n    3a snr < 20 dB => Dura dura\n    3b otherwise => Alba alba\n"
    )
    assert reading.diagnostics == ()
    assert list(reading.key.couplets) == [1, 2, 3]


def test_a_taxon_taken_out_is_gone_everywhere():
    key = variant('without Clara clara => unidentified "not in the wetlands"\n').key
    assert list(key.taxa) == ["Alba alba", "Bruna bruna"]
    assert key.taxa["Alba alba"].similar == ("Bruna bruna",)
    assert [each.name for each in key.groups["pale bats"].members] == ["Alba alba"]
    # The first refine has one taxon left, the second two, without the lead to the third.
    assert [[each.name for each in refine.candidates] for refine in key.refines] == [["Alba alba", "Bruna bruna"]]
    assert [lead.label for lead in key.refines[0].leads] == ["b"]
    assert [example.name for example in key.examples] == ["low"]
    assert walk(key, {"characteristic_frequency": 40.0}).reason == "not in the wetlands"


def test_leads_to_a_taxon_taken_out_must_be_seen_to():
    reading = variant("without Clara clara\n")
    assert errors(reading) == [("K202", "base.key", 15)]
    (fault,) = [each for each in reading.diagnostics if each.code == "K202"]
    assert fault.related[0][1].file == "wet.key"
    assert fault.related[0][1].line == 3
    mended = variant("without Clara clara\ncouplet 1\n    1a otherwise => 2\n")
    assert errors(mended) == []


def test_other_things_are_taken_out_by_name():
    key = variant('without group "pale bats"\nwithout example "low"\nwithout refine Clara clara | Alba alba\n').key
    assert not key.groups
    assert [example.name for example in key.examples] == ["high"]
    assert len(key.refines) == 1
    key = variant("without couplet 2\ncouplet 1\n    1a otherwise => Alba alba\n").merged
    assert list(key.couplets) == [1]


@pytest.mark.parametrize(
    "text", ["without Nemo nullus\n", "without couplet 9\n", 'without group "x"\n', "without refine Alba alba | Bruna bruna\n"]
)
def test_taking_out_what_is_not_there(text):
    assert errors(variant(text)) == [("K306", "wet.key", 3)]


def test_messages_name_the_file_and_line_where_the_text_stands():
    reading = variant("", BASE.replace("duration < 5 ms", "duration < 5"))
    assert errors(reading) == [("K203", "base.key", 17)]
    assert "base.key" in reading.texts
    assert compile_key(variant("").key).key.name == "Wetlands"


# ---------------------------------------------------------------------------------------------------- on disk


def write(folder, name, text):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_base_lies_beside_the_key_whatever_the_working_folder(tmp_path, monkeypatch):
    write(tmp_path, "base.key", BASE)
    path = write(tmp_path, "wet.key", 'key "Wetlands" version 1\nbased on "base.key"\n')
    assert read_key(path).key.name == "Wetlands"
    monkeypatch.chdir(tmp_path)
    assert read_key("wet.key").key.name == "Wetlands"


def test_a_base_lies_in_the_keys_folder(tmp_path, monkeypatch):
    (tmp_path / "keys").mkdir()
    (tmp_path / "mine").mkdir()
    write(tmp_path / "keys", "base.key", BASE)
    monkeypatch.setattr("classifier.key.bases.KEYS_FOLDER", (tmp_path / "keys").resolve())
    path = write(tmp_path / "mine", "wet.key", 'key "Wetlands" version 1\nbased on "base.key"\n')
    assert read_key(path).key.name == "Wetlands"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("missing.key", "K303"),
        ("bsae.key", "K303"),
        ("../base.key", "K305"),
        ("/etc/passwd", "K305"),
        ("..", "K305"),
        ("sub/base.key", "K305"),
        ("C:\\base.key", "K305"),
        ("", "K305"),
        ("folder.key", "K303"),
        ("latin.key", "K303"),
        ("link.key", "K305"),
        ("x" * 3000, "K303"),
    ],
)
def test_bases_that_cannot_be_had(tmp_path, name, code):
    inner = tmp_path / "inner"
    inner.mkdir()
    write(tmp_path, "base.key", BASE)
    write(inner, "base.key", BASE)
    (inner / "folder.key").mkdir()
    (inner / "latin.key").write_bytes("taxon Ünica".encode("latin-1"))
    os.symlink(tmp_path / "base.key", inner / "link.key")
    path = write(inner, "wet.key", f'key "W" version 1\nbased on "{name}"\ncouplet 1\n1a duration < 5 ms => Alba alba\n')
    reading = read_key(path)
    found = [each for each in reading.diagnostics if each.severity == "error" and each.code != "K202"]
    assert [each.code for each in found] == [code]
    assert found[0].span.line == 2
    assert found[0].help
    if name == "bsae.key":
        assert found[0].help == "did you mean `base.key`?"


def test_keys_in_a_circle(tmp_path):
    write(tmp_path, "one.key", 'key "1" version 1\nbased on "two.key"\n')
    write(tmp_path, "two.key", 'key "2" version 1\nbased on "three.key"\n')
    write(tmp_path, "three.key", 'key "3" version 1\nbased on "one.key"\n')
    reading = read_key(tmp_path / "one.key")
    (found,) = [each for each in reading.diagnostics if each.code == "K304"]
    assert found.message.endswith("one.key → two.key → three.key → one.key")
    assert found.span.file.endswith("three.key")


def test_a_long_row_of_bases_ends_in_a_finding():
    def resolver(name, file):
        return name, f'key "x" version 1\nbased on "n{int(name[1:-4]) + 1}.key"\n'

    reading = parse_key('key "x" version 1\nbased on "n0.key"\n', "start.key", resolver=resolver)
    assert "K322" in {each.code for each in reading.diagnostics}


def test_a_file_that_is_missing_or_no_text(tmp_path):
    assert [each.code for each in read_key(tmp_path / "none.key").diagnostics] == ["K310"]
    path = tmp_path / "latin.key"
    path.write_bytes(b'key "K" version 1\ntaxon \xdcnica\n')
    (found,) = read_key(path).diagnostics
    assert found.code == "K310"
    assert "line 2" in found.message


@pytest.mark.parametrize("name", ["nix.key", "../base.key"])
def test_what_may_stand_in_a_base_that_cannot_be_had_is_not_missed(tmp_path, name):
    """One finding, not one for each name that the base declares; faults of the variant's own are still named."""
    text = (
        f'key "W" version 1\nbased on "{name}"\ntaxon Alba alba\n    duration 9 to 4 ms [X1]\ncouplet 3\n'
        '    3a flat => Bruna bruna\n    3b snr > 12 kHz => 7\n    3c otherwise => "pair"\n'
    )
    reading = read_key(write(tmp_path, "wet.key", text))
    codes = [each.code for each in reading.diagnostics]
    assert codes in (["K303", "K222", "K204"], ["K305", "K222", "K204"])
