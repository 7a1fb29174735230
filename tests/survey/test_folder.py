import os

import polars as pl
import pytest

from classifier.errors import InputError, ParameterError
from classifier.survey import Survey, measure_survey, open_survey
from classifier.survey.storage import locked

KEY = "key ‘moor’\r\n# exact, to the last blank \n"
PASSES = pl.DataFrame({"pass": [1, 2], "label": ["Myotis", None], "support": [66.66666666666667, None]})
PULSES = pl.DataFrame({"pulse": [1, 2, 3], "clearance": [0.1234567891, 2.0, None]})


@pytest.fixture
def survey(tmp_path, record):
    """A survey of one recording that is too slow to be measured."""
    path = record(tmp_path / "calls" / "a.wav", rate=44_100)
    return measure_survey([path.parent], tmp_path / "survey").survey


def test_labels_come_back_as_they_were(survey):
    folder = survey.write_labels("the moor", KEY, PASSES, PULSES, settings={"gap_s": 1.5})
    assert sorted(os.listdir(folder)) == [
        "key.txt",
        "passes.csv",
        "passes.parquet",
        "pulses.csv",
        "pulses.parquet",
    ]
    labels = survey.labels("the moor")
    assert labels.key_text == KEY
    assert labels.passes.equals(PASSES)
    assert labels.pulses.equals(PULSES)
    assert labels.current
    assert (folder / "passes.csv").read_text(encoding="utf-8") == "pass,label,support\n1,Myotis,66.6667\n2,,\n"
    told = open_survey(survey.folder).settings["labels"]["the moor"]
    assert (told["passes"], told["gap_s"], len(told["key_sha256"])) == (2, 1.5, 64)


def test_several_labels_and_writing_over_them(survey):
    survey.write_labels("b", KEY, PASSES, PULSES)
    survey.write_labels("a", KEY, PASSES, PULSES)
    survey.write_labels("b", KEY + "# more", PASSES[:1], PULSES)
    assert survey.label_names() == ["a", "b"]
    assert survey.labels("b").passes.height == 1
    assert survey.labels("a").passes.height == 2


def test_same_labels_give_the_same_bytes(survey):
    def written():
        folder = survey.write_labels("a", KEY, PASSES, PULSES)
        return {path.name: path.read_bytes() for path in folder.iterdir()}

    assert written() == written()


def test_other_files_beside_the_labels_are_left_alone(survey):
    folder = survey.write_labels("a", KEY, PASSES, PULSES)
    (folder / "notes.txt").write_text("seen with J.")
    survey.write_labels("a", KEY, PASSES, PULSES)
    assert (folder / "notes.txt").read_text() == "seen with J."


def test_labels_outlive_measuring_and_say_that_they_are_old(survey, record, stub, settings, tmp_path):
    survey.write_labels("a", KEY, PASSES, PULSES)

    def measured():
        folders = [tmp_path / "calls"]
        return measure_survey(folders, survey.folder, settings=settings, measure=stub.measure, workers=1).survey

    assert measured().labels("a").current
    record(tmp_path / "calls" / "b.wav", 0.375)
    again = measured()
    assert not again.labels("a").current
    assert "a" in again.settings["labels"]
    again.write_labels("a", KEY, PASSES, PULSES)
    assert again.labels("a").current


def test_tables_and_key_that_do_not_belong_together(survey):
    folder = survey.write_labels("a", KEY, PASSES, PULSES)
    (folder / "key.txt").write_text("another key")
    with pytest.raises(InputError, match=r"not made with the key\.txt beside them.*label again"):
        survey.labels("a")


def test_a_failed_write_leaves_the_labels_as_they_were(survey, monkeypatch):
    survey.write_labels("a", KEY, PASSES, PULSES)

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        with pytest.raises(InputError, match="the disk is full"):
            survey.write_labels("a", "new", PASSES[:0], PULSES[:0])
    assert survey.labels("a").key_text == KEY
    assert survey.labels("a").passes.equals(PASSES)


def test_labels_while_another_run_writes(survey):
    with locked(survey.folder), pytest.raises(InputError, match="another run is writing"):
        survey.write_labels("a", KEY, PASSES, PULSES)


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "a\\b", ".hidden", "a ", " a", "a.", "a\nb"])
def test_names_that_are_no_folder(tmp_path, name):
    with pytest.raises(ParameterError, match="cannot be named"):
        Survey(tmp_path, {}).write_labels(name, KEY, PASSES, PULSES)


def test_labels_that_are_not_there(survey):
    with pytest.raises(InputError, match="there are no labels `b` in this survey; it has none"):
        survey.labels("b")
    survey.write_labels("moor", KEY, PASSES, PULSES)
    with pytest.raises(InputError, match=r"it has moor"):
        survey.labels("../labels/moor")


def test_is_of(survey, tmp_path):
    calls = tmp_path / "calls"
    assert survey.is_of([calls])
    assert survey.is_of([calls / ".." / "calls", calls])
    assert not survey.is_of([calls / "pond"])
    assert not survey.is_of([calls, tmp_path])


def test_folders_that_are_no_survey(tmp_path):
    with pytest.raises(InputError, match=r"is no survey folder \(it holds no survey\.toml\); make one with"):
        open_survey(tmp_path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("not toml", "cannot be read"),
        ("", "cannot be read"),
        ("[survey]\nformat = 1\n[recordings]\nroot = ''\n", r"says nothing on \['paths'\]"),
        (
            "[survey]\nformat = 99\ncallkey = '9.9'\n[recordings]\nroot = ''\npaths = []\n",
            r"newer callkey \(9\.9\)",
        ),
        (b"\xff", "cannot be read"),
    ],
)
def test_settings_that_cannot_be_read(tmp_path, text, words):
    (tmp_path / "survey.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError, match=words):
        open_survey(tmp_path)
