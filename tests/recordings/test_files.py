import os

import pytest

from classifier.errors import InputError
from classifier.recordings.files import find, search


@pytest.fixture
def card(tmp_path, monkeypatch):
    for name in (
        "b/2.wav",
        "b/10.WAV",
        "a/x.flac",
        "a/deep/y.Wav",
        "a/notes.txt",
        "a/._x.wav",
        ".trash/z.wav",
    ):
        path = tmp_path / "card" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    monkeypatch.chdir(tmp_path)
    return tmp_path / "card"


def test_folders_are_walked_in_order(card):
    assert [path.as_posix() for path in find(["card"])] == [
        "card/a/deep/y.Wav",
        "card/a/x.flac",
        "card/b/10.WAV",
        "card/b/2.wav",
    ]


def test_each_recording_once_in_whatever_way_it_is_named(card):
    assert len(find(["card", card, "card/b/2.wav", "./card/../card/a"])) == 4


def test_order_of_arguments_does_not_matter(card):
    assert find(["card/b", "card/a"]) == find(["card/a", "card/b"])


def test_a_file_given_by_name_is_taken_whatever_its_ending(card):
    found = find(["card/a/notes.txt", "card/.trash/z.wav"])
    assert [path.name for path in found] == ["z.wav", "notes.txt"]


def test_a_folder_without_recordings_is_told_and_the_others_go_on(card):
    (card / "empty").mkdir()
    found = search([card / "empty", card / "b"])
    assert len(found.files) == 2
    assert found.notices == (f"{card / 'empty'}: holds no recording (no file that ends in .wav or .flac)",)
    with pytest.raises(InputError, match="holds no recording"):
        find([card / "empty"])


def test_what_does_not_exist(card):
    with pytest.raises(InputError, match=r"missing\.wav: no such file or folder; check the spelling"):
        search([card, "missing.wav"])


def test_nothing_named():
    with pytest.raises(InputError, match="no recording was named"):
        find([])


def test_a_folder_that_cannot_be_listed(card, monkeypatch):
    real = os.scandir

    def scandir(path):
        if os.fspath(path).endswith("deep"):
            raise PermissionError(13, "Permission denied", os.fspath(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)
    found = search([card])
    assert len(found.files) == 3
    assert "deep: cannot be listed (Permission denied); its recordings are left out" in found.notices[0]
