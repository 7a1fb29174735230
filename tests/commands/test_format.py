"""`callkey format`: what it writes, what it leaves alone, and how it ends."""

import os
import re
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from classifier.commands.application import application
from classifier.key import format_key
from classifier.key.parse import parse

RUNNER = CliRunner()
ROOT = Path(__file__).parents[2]
UNTIDY = """\
key "Two bats"  version 1
# grandis is the larger
taxon Examplia grandis
  characteristic_frequency 12 to 18kHz   # of many calls
taxon Examplia vespera
couplet 1
1a characteristic_frequency<20 kHz+/-1 kHz=>Examplia grandis
1b otherwise=>Examplia vespera
"""
TIDY = """\
key "Two bats" version 1

# grandis is the larger
taxon Examplia grandis
    characteristic_frequency 12 to 18 kHz  # of many calls

taxon Examplia vespera

couplet 1
    1a characteristic_frequency < 20 kHz ± 1 kHz => Examplia grandis
    1b otherwise                                 => Examplia vespera
"""
MARK = b"\xef\xbb\xbf"


@pytest.fixture
def key(tmp_path):
    path = tmp_path / "two.key"
    path.write_bytes(UNTIDY.encode())
    return path


def run(*words, **more):
    return RUNNER.invoke(application, ["format", *map(str, words)], **more)


def test_a_key_is_laid_out_in_place(key):
    result = run(key)
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", f"{key}: laid out anew\n")
    assert key.read_text(encoding="utf-8") == TIDY
    assert os.listdir(key.parent) == ["two.key"]


def test_a_canonical_key_is_not_touched(key):
    key.write_text(TIDY, encoding="utf-8")
    os.utime(key, ns=(10**18, 10**18))
    before = key.stat()
    result = run(key)
    assert (result.exit_code, result.stderr) == (0, f"{key}: is in canonical layout already\n")
    assert (key.stat().st_mtime_ns, key.stat().st_ino) == (before.st_mtime_ns, before.st_ino)


def test_check_names_what_would_change_and_changes_nothing(key, tmp_path):
    good = tmp_path / "good.key"
    good.write_text(TIDY, encoding="utf-8")
    result = run(good, key, "--check")
    assert (result.exit_code, result.stdout, result.stderr) == (1, f"{key}: would be laid out anew\n", "")
    assert key.read_text() == UNTIDY
    assert (run(good, "--check").exit_code, run(good, "--check").output) == (0, "")


def test_diff_shows_what_would_change_and_changes_nothing(key):
    result = run(key, "--diff")
    assert (result.exit_code, result.stderr) == (0, "")
    assert key.read_text() == UNTIDY
    assert result.stdout.startswith(f'--- {key}\n+++ {key} (laid out)\n@@ -1,8 +1,11 @@\n-key "Two bats"  version 1\n')
    both = run(key, "--check", "--diff")
    assert (both.exit_code, both.stdout) == (1, f"{result.stdout}{key}: would be laid out anew\n")


@pytest.mark.skipif(shutil.which("patch") is None, reason="no patch program")
@pytest.mark.parametrize("text", [UNTIDY, UNTIDY.removesuffix("\n")])
def test_a_diff_is_one_that_patch_takes(key, text):
    """Against an outside reader of unified diffs (POSIX patch)."""
    key.write_text(text)
    difference = run(key, "--diff").stdout
    subprocess.run(["patch", "--silent", str(key)], input=difference.encode(), check=True)
    assert key.read_text(encoding="utf-8") == TIDY


def test_standard_input_to_standard_output():
    result = run("-", input=UNTIDY)
    assert (result.exit_code, result.stdout, result.stderr) == (0, TIDY, "")
    checked = run("-", "--check", input=UNTIDY)
    assert (checked.exit_code, checked.stdout) == (1, "standard input: would be laid out anew\n")
    assert run("-", "--check", input=TIDY).exit_code == 0


def test_bytes_go_through_a_pipe_unchanged():
    """In a process of its own, where standard output may have another encoding."""
    done = subprocess.run(
        [sys.executable, "-m", "classifier", "format", "-"],
        input=UNTIDY.replace("\n", "\r\n").encode(),
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
        check=True,
    )
    assert done.stdout == TIDY.replace("\n", "\r\n").encode()


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", MARK])
def test_line_ends_and_byte_order_mark_stay(key, end, mark):
    key.write_bytes(mark + UNTIDY.replace("\n", end).encode())
    assert run(key).exit_code == 0
    assert key.read_bytes() == mark + TIDY.replace("\n", end).encode()
    assert run(key, "--check").exit_code == 0


def test_mixed_line_ends_become_those_of_most_lines(key):
    key.write_bytes(TIDY.encode().replace(b"\n", b"\r\n", 2))
    assert run(key).exit_code == 0
    assert key.read_bytes() == TIDY.encode()


def test_a_comment_behind_a_byte_order_mark_is_not_moved(key):
    key.write_bytes(MARK + b"# first\n" + TIDY.encode())
    run(key)
    assert key.read_bytes().startswith(MARK + b"# first\nkey ")


def test_slips_of_form_are_named_and_the_key_left_alone(key, tmp_path):
    bad = tmp_path / "bad.key"
    bad.write_text(UNTIDY.replace("=>Examplia vespera", "Examplia vespera").replace("couplet 1\n", "couplet one\n"))
    before = bad.read_bytes()
    result = run(bad, key)
    assert result.exit_code == 1
    assert re.search(rf"^{bad}:6:\d+: error K101 statement-malformed: ", result.stderr, re.M)
    assert f"{bad}: left as it is; mend what is marked above, then format again" in result.stderr
    assert bad.read_bytes() == before
    assert key.read_text(encoding="utf-8") == TIDY  # the other one is laid out all the same


def test_other_faults_do_not_hinder(key):
    key.write_text(UNTIDY.replace("12 to 18kHz", "18 to 12").replace("Examplia vespera\ncouplet", "Examplia alba\ncouplet"))
    assert run(key).exit_code == 0
    assert "characteristic_frequency 18 to 12  # of many calls" in key.read_text(encoding="utf-8")


def test_what_is_no_key_is_named(tmp_path, key):
    (tmp_path / "latin.key").write_bytes('key "Küste" version 1\n'.encode("latin-1"))
    result = run(tmp_path / "none.key", tmp_path / "latin.key", tmp_path, key)
    assert result.exit_code == 1
    lines = result.stderr.splitlines()
    assert lines[0].startswith(f"{tmp_path / 'none.key'}:1:1: error K310 file-unreadable: the file cannot be read: no such file")
    assert f"{tmp_path / 'latin.key'}:1:1: error K310 file-unreadable: line 1 is not text in UTF-8" in lines
    assert any(line.startswith(f"{tmp_path}:1:1: error K310") for line in lines)
    assert lines[-1] == f"{key}: laid out anew"


def test_permissions_and_links_stay(key, tmp_path):
    key.chmod(0o640)
    link = tmp_path / "link.key"
    try:
        link.symlink_to(key)
    except OSError:
        pytest.skip("no links here")
    assert run(link).exit_code == 0
    assert link.is_symlink()
    assert key.read_text(encoding="utf-8") == TIDY
    assert stat.S_IMODE(key.stat().st_mode) == 0o640


def test_a_place_that_cannot_be_written(key, tmp_path, monkeypatch):
    """Each key has its own sentence, and the next one is still laid out."""
    other = tmp_path / "other.key"
    other.write_text(UNTIDY)
    really = os.replace

    def full(source, target):
        if Path(target) == key:
            raise OSError(28, "No space left on device")
        really(source, target)

    monkeypatch.setattr(os, "replace", full)
    result = run(key, other)
    assert result.exit_code == 1
    assert result.stderr.splitlines()[0].startswith(f"fault  {key}: could not be replaced and was left as it is (no space left")
    assert key.read_text() == UNTIDY
    assert other.read_text(encoding="utf-8") == TIDY
    assert sorted(os.listdir(tmp_path)) == ["other.key", "two.key"]


def test_a_write_protected_key_is_left_alone(key, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode, **more: mode != os.W_OK)  # root may write everywhere
    result = run(key)
    assert (result.exit_code, key.read_text()) == (1, UNTIDY)
    assert "is write-protected and was left as it is" in result.stderr


@given(
    st.lists(st.sampled_from(UNTIDY.splitlines()[2:]), max_size=6),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["", "\ufeff"]),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12),
)
@settings(max_examples=60, deadline=None)
def test_the_command_keeps_meaning_comments_and_rests(tmp_path_factory, rows, end, mark, words):
    """Any order of lines, with a comment of any words: same meaning, same comments, and the second time nothing to do."""
    path = tmp_path_factory.mktemp("any") / "any.key"
    text = mark + end.join([UNTIDY.splitlines()[0], f"# {words}", *rows, ""])
    path.write_bytes(text.encode())
    result = run(path)
    before = parse(text, "any")
    if before.diagnostics:
        assert (result.exit_code, path.read_bytes()) == (1, text.encode())
        return
    after = parse(path.read_bytes().decode(), "any")
    assert result.exit_code == 0
    assert after.statements == before.statements
    assert sorted(each.text for each in after.comments) == sorted(each.text for each in before.comments)
    assert run(path, "--check").exit_code == 0


# ------------------------------------------------------------------------------ the keys and pages that come along


@pytest.mark.parametrize("path", sorted((ROOT / "keys").glob("*.key")), ids=lambda path: path.stem)
def test_the_keys_that_come_along_are_canonical(path):
    assert run(path, "--check").output == ""


def _whole_keys():
    for page in sorted((ROOT / "docs").rglob("*.md")):
        for place, text in enumerate(re.findall(r"^```key.*?\n(.*?)^```$", page.read_text(encoding="utf-8"), re.M | re.S)):
            yield pytest.param(text, id=f"{page.stem}-{place}")


@pytest.mark.parametrize("text", list(_whole_keys()))
def test_the_keys_in_the_docs_are_canonical(text):
    """Those with slips of form, which pages of rules show, have no layout."""
    assert format_key(text) in (text, None)
