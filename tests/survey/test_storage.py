import errno
import os
import shutil
import subprocess
import sys

import pytest

from classifier.errors import InputError
from classifier.survey.storage import locked, make_folder, remove_temporary, write_atomically, write_together


def failing(code):
    def fail(*_):
        raise OSError(code, os.strerror(code))

    return fail


def test_write_and_overwrite(tmp_path):
    path = tmp_path / "a"
    write_atomically(path, b"one")
    write_atomically(path, b"two")
    assert path.read_bytes() == b"two"
    assert os.listdir(tmp_path) == ["a"]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full; make room and run again"),
        (errno.EDQUOT, "the disk is full"),
        (errno.EROFS, "the folder cannot be written to; give another folder with -o"),
        (errno.EACCES, "the folder cannot be written to"),
        (errno.EIO, "Input/output error; run again when that is mended"),
    ],
)
@pytest.mark.parametrize("where", ["fsync", "replace"])
def test_a_failed_write_keeps_what_was_there(tmp_path, monkeypatch, code, words, where):
    (tmp_path / "a").write_bytes(b"old")
    monkeypatch.setattr(os, where, failing(code))
    with pytest.raises(InputError, match=words) as caught:
        write_together({tmp_path / "a": b"new", tmp_path / "b": b"new"})
    assert str(tmp_path) in str(caught.value)
    assert str(caught.value).endswith("Nothing was lost: what was there and what was measured is kept.")
    assert os.listdir(tmp_path) == ["a"]
    assert (tmp_path / "a").read_bytes() == b"old"


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="needs a small disk of its own")
def test_a_disk_that_is_really_full(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    if not mount or subprocess.run([mount, "-t", "tmpfs", "-o", "size=64k", "tmpfs", disk], check=False).returncode:
        pytest.skip("no disk can be mounted here")
    try:
        write_atomically(disk / "a", b"old")
        with pytest.raises(InputError, match="the disk is full"):
            write_atomically(disk / "a", bytes(1 << 20))
        assert (disk / "a").read_bytes() == b"old"
        assert os.listdir(disk) == ["a"]
    finally:
        subprocess.run(["umount", disk], check=True)


def test_remains_of_a_killed_run(tmp_path):
    (tmp_path / ".a.parquet.77.tmp").touch()
    (tmp_path / "a.tmp").touch()
    remove_temporary(tmp_path)
    remove_temporary(tmp_path / "missing")
    assert os.listdir(tmp_path) == ["a.tmp"]


def test_a_file_where_a_folder_is_needed(tmp_path):
    (tmp_path / "a").touch()
    for path in (tmp_path / "a", tmp_path / "a" / "b"):
        with pytest.raises(InputError, match="a file stands where a folder is needed"):
            make_folder(path)


def test_lock_within_one_process(tmp_path):
    with (
        locked(tmp_path),
        pytest.raises(InputError, match="another run is writing to this survey"),
        locked(tmp_path),
    ):
        pass
    with locked(tmp_path):
        pass
    assert os.listdir(tmp_path) == []


def test_lock_between_processes_and_after_a_kill(tmp_path):
    code = (
        "import sys, time\nfrom classifier.survey.storage import locked\n"
        "with locked(sys.argv[1]):\n    print('held', flush=True)\n    time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", code, tmp_path], stdout=subprocess.PIPE) as other:
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(InputError, match="wait until it is done"), locked(tmp_path):
            pass
        other.kill()
    with locked(tmp_path):
        pass


def test_lock_in_a_folder_that_cannot_be_written_to(tmp_path):
    with pytest.raises(InputError, match="cannot be written"), locked(tmp_path / "missing"):
        pass
