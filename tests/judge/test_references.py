"""Reading CALLS.csv: what is kept, and the sentence each fault gets."""

import pytest

from classifier.errors import InputError
from classifier.judge.references import parse_references, read_references


def test_a_table_of_metrics():
    found = parse_references(
        "taxon,characteristic_frequency_khz,characteristic_frequency_khz_se,duration_ms,individual,colour\n"
        "Myotis bechsteinii,47.5,0.2,3.1,ring 12,brown\n"
        "\n"
        "not a bat,12,,,,\n",
        "calls.csv",
    )
    assert found.kind == "metrics"
    assert found.faults == ()
    assert found.unused_columns == ("colour",)
    first, second = found.calls
    assert first.values == {"characteristic_frequency": 47.5, "duration": 3.1}
    assert first.errors == {"characteristic_frequency": 0.2}
    assert first.about == {"individual": "ring 12"}
    assert (second.line, second.taxon, second.values) == (4, "not a bat", {"characteristic_frequency": 12.0})


def test_a_table_of_recordings():
    found = parse_references(
        "recording,taxon,start_s,end_s\na.wav,Nyctalus noctula,0.5,2\nb.wav,Nyctalus  leisleri,,\n",
        "calls.csv",
    )
    assert found.kind == "recordings"
    assert [(c.recording, c.taxon, c.start_s, c.end_s) for c in found.calls] == [
        ("a.wav", "Nyctalus noctula", 0.5, 2.0),
        ("b.wav", "Nyctalus leisleri", None, None),
    ]


def test_semicolons_and_a_byte_order_mark(tmp_path):
    path = tmp_path / "calls.csv"
    path.write_bytes("\ufefftaxon;duration_ms\nMyotis nattereri;3.5\n".encode())
    assert read_references(path).calls[0].values == {"duration": 3.5}


def test_every_faulty_row_is_named_and_the_others_kept():
    found = parse_references(
        "taxon,duration_ms,duration_ms_se\n"
        ",3,\n"
        'Myotis nattereri,"3,5",\n'
        "Myotis nattereri,nan,\n"
        "Myotis nattereri,,\n"
        "Myotis nattereri,3\n"
        "Myotis nattereri,3,-1\n"
        "Myotis nattereri,3,0.1\n",
        "calls.csv",
    )
    assert [call.line for call in found.calls] == [8]
    assert found.faults == (
        "calls.csv:2: `taxon` is blank; name the bat, or write `not a bat`, or take the row out",
        "calls.csv:3: `duration_ms` is `3,5`, which is not a number; write 3.5",
        "calls.csv:4: `duration_ms` is `nan`; write a number or leave it blank",
        "calls.csv:5: every metric of this call is blank; fill in at least one or take the row out",
        "calls.csv:6: this row has 2 cells and the header 3; quote cells that hold commas",
        "calls.csv:7: `duration_ms_se` is -1; a standard error cannot be negative",
    )


def test_faults_of_recording_rows():
    found = parse_references("taxon,recording,start_s,end_s\nA b,,,\nA b,a.wav,-1,\nA b,a.wav,2,1\nA b,a.wav,,0\n", "calls.csv")
    assert found.calls == ()
    assert [fault.split(";")[0] for fault in found.faults] == [
        "calls.csv:2: `recording` is blank",
        "calls.csv:3: `start_s` is -1",
        "calls.csv:4: `end_s` 1 does not lie after `start_s` 2",
        "calls.csv:5: `end_s` 0 does not lie after `start_s` 0",
    ]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "the table is empty"),
        ("taxon,duration_ms\n", "has a header and no calls"),
        ("species,duration_ms\nA b,3\n", "no column `taxon`"),
        ("taxon,colour\nA b,3\n", "neither a column `recording` nor one of a metric"),
        (
            "taxon,duration\nA b,3\n",
            "the column `duration` names no unit; give it in ms and call it `duration_ms`",
        ),
        ("taxon,duration_ms,duration_ms\nA b,3,4\n", "`duration_ms` stands twice"),
        ('taxon,duration_ms\n"A b,3\n', "does not read as CSV"),
    ],
)
def test_what_is_no_such_table(text, sentence):
    with pytest.raises(InputError, match=sentence):
        parse_references(text, "calls.csv")


def test_what_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_references(tmp_path / "absent.csv")
    with pytest.raises(InputError, match="this is a folder"):
        read_references(tmp_path)
    (tmp_path / "calls.csv").write_bytes(b"taxon\n\xff\xfe")
    with pytest.raises(InputError, match="not UTF-8"):
        read_references(tmp_path / "calls.csv")
