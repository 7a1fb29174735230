"""docs/writing-a-key.md is real: its keys are written, its commands run, and what they say is what the page says.

``python tests/commands/test_writing_a_key.py`` writes the page anew with what the commands say now. In the page

* a comment ``<!-- NAME -->`` above a block writes the block to a file; ``<!-- NAME: change -->`` puts each statement of
  the block in place of the file's statement on the same thing, or behind the last one of its kind,
* a block ``console`` holds a command behind ``$`` and its answer. ``[…]`` stands for lines that were left out; the line
  behind it says where the answer goes on.
"""

import io
import os
import re
import shlex
import sys
import tempfile
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
import typer

PAGE = Path(__file__).parents[2] / "docs" / "writing-a-key.md"
_BLOCK = re.compile(r"(?:^<!-- (?P<file>\S+?)(?P<change>: change)? -->\n)?^```(?P<kind>\w+)\n(?P<body>.*?)^```$", re.M | re.S)
_LEFT_OUT = "[…]"
#: Rows of the demo's table of bats: the number of the bat and of its pass. A change in measuring may number passes anew,
#: so the page's one command that names a pass takes that of bat 10 from there.
_BAT = re.compile(r" *(\d+)  [A-Z]\S+ \S+ +\d+/\d+ +(\d+) ")
_PASSES = {}
#: Wide enough for the tables, and what a page can show.
COLUMNS = "100"


def fresh_page() -> str:
    """The page with its keys written and its commands run, one after the other, in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        return _BLOCK.sub(_done, PAGE.read_text(encoding="utf-8"))


def _done(block):
    if block["file"]:
        path = Path(block["file"])
        text = changed(path.read_text(encoding="utf-8"), block["body"]) if block["change"] else block["body"]
        path.write_text(text, encoding="utf-8")
    elif block["kind"] == "console":
        command, _, shown = block["body"].partition("\n")
        command = re.sub(r"(explain demo/survey) \d+", rf"\1 {_PASSES.get('10')}", command)
        said = answer(command)
        if "callkey demo" in command:
            _PASSES.update(row.groups() for row in map(_BAT.match, said) if row)
        return "\n".join(["```console", command, *picked(said, shown.splitlines()), "```"])
    return block[0]


def answer(command) -> list[str]:
    """What a command of the page says, line by line, both streams as they come to a terminal."""
    from classifier.commands.application import application

    mark, name, *words = shlex.split(command)
    assert (mark, name) == ("$", "callkey"), command
    said = io.StringIO()
    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = COLUMNS
    try:
        with redirect_stdout(said), redirect_stderr(said):
            application(words, standalone_mode=False)
    except (SystemExit, typer.Exit) as end:
        assert getattr(end, "code", getattr(end, "exit_code", None)) in (0, 1), said.getvalue()
    finally:
        os.environ.pop("COLUMNS") if before is None else os.environ.update(COLUMNS=before)
    return [line.rstrip() for line in said.getvalue().strip("\n").split("\n")]


def picked(said, shown) -> list[str]:
    """Of what was said, the lines that the page shows: stretches between ``[…]``, each from its first line on."""
    stretches, rows = [[]], []
    for row in shown:
        stretches[-1].append(row) if row != _LEFT_OUT else stretches.append([])
    if len(stretches) == 1:
        return said
    start = 0
    for place, stretch in enumerate(stretches):
        if place:
            rows.append(_LEFT_OUT)
        if not stretch:
            continue
        if place:
            start = next((at for at in range(start, len(said)) if said[at] == stretch[0]), None)
            assert start is not None, f"no command of the page says {stretch[0]!r} here"
        stop = len(said) if place == len(stretches) - 1 else start + len(stretch)
        rows += said[start:stop]
        start = stop
    return rows


def changed(text, new) -> str:
    """A key's text with the statements of ``new`` in it."""
    have = statements(text)
    for statement in statements(new):
        like = [place for place, each in enumerate(have) if identity(each) == identity(statement)]
        kind = [place for place, each in enumerate(have) if each.split()[0] == statement.split()[0]]
        if like:
            have[like[0]] = statement
        elif kind:
            have.insert(kind[-1] + 1, statement)
        elif statement.startswith(("group", "let")):
            have.insert(next(place for place, each in enumerate(have) if each.startswith("couplet")), statement)
        else:
            have.append(statement)
    return "\n\n".join(have) + "\n"


def statements(text) -> list[str]:
    """Each statement with the lines of its block."""
    return [each.rstrip() for each in re.findall(r"^\S.*\n(?:(?:[ \t].*)?\n)*", text, re.M)]


def identity(statement) -> str:
    """What a statement is on: its first line's words up to the name."""
    first = statement.split("\n")[0]
    return re.match(r'(couplet \d+|\w+ "[^"]*"|taxon [^"]*|\w+ \w+|\w+)', first)[1].strip()


@pytest.fixture(scope="module")
def pages():
    """The page as it stands and as it would be made now, block by block."""
    text = PAGE.read_text(encoding="utf-8")
    return [[match[0] for match in _BLOCK.finditer(each)] for each in (text, fresh_page())]


def test_every_command_says_what_the_page_says(pages):
    remedy = "run `python tests/commands/test_writing_a_key.py`, then read the page: does its text still fit?"
    for stands, would in zip(*pages, strict=True):
        assert stands == would, remedy


def test_it_teaches_what_it_must(pages):
    """Each step is there, and went as the text around it says."""
    told = [each for each in pages[1] if each.startswith("```console")]
    commands = [each.split("\n")[1] for each in told]
    for words in ("new", "check", "check --explain", "format", "demo", "explain", "label", "compare"):
        assert any(command.startswith(f"$ callkey {words} ") for command in commands), words
    assert any("--call" in command for command in commands)
    checks = [each for each in told if "$ callkey check three-bats.key" in each]
    codes = [sorted(set(re.findall(r"(?:error|warning) (K\d+)", each))) for each in checks]
    assert codes == [["K202", "K203"], ["K403", "K410"], [], ["K501"], [], ["K225", "K410"], []]
    assert all("no faults" in each for each, found in zip(checks, codes, strict=True) if not found)


def test_its_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", PAGE.read_text(encoding="utf-8")):
        assert (PAGE.parent / target).exists(), target


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    os.environ.pop("NO_COLOR", None)
    PAGE.write_text(fresh_page(), encoding="utf-8")
