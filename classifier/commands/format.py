"""``callkey format``: keys in canonical layout."""

import difflib
import io
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from classifier.commands import show
from classifier.errors import InputError

EXAMPLE = "callkey format keys/new-zealand.key --diff"

_STANDARD_INPUT = Path("-")
_MARK = "\ufeff"


def format(  # noqa: A001  (a command's function has the command's name)
    keys: Annotated[
        list[Path], typer.Argument(metavar="KEY", help="Key files; - for standard input, laid out on standard output.")
    ],
    check: Annotated[
        bool, typer.Option("--check", help="Change nothing; name the keys that would change, and end with 1 if any.")
    ] = False,
    diff: Annotated[bool, typer.Option("--diff", help="Change nothing; show what would change, line by line.")] = False,
) -> None:
    """Lay keys out in canonical form: the same meaning and the same comments, neatly aligned.

    A key is replaced all at once, and only if its layout changes; line ends and permissions stay as they are. A
    key with slips of form is left as it is and its slips are named; other faults do not hinder.
    """
    faulty = changes = False
    for path in keys:
        laid_out = _laid_out(path)
        if laid_out is None:
            faulty = True
            continue
        before, after = laid_out
        changes |= before != after
        if diff:
            _show_diff(path, before, after)
        if check:
            if before != after:
                print(f"{_name(path)}: would be laid out anew")
        elif diff:
            continue
        elif path == _STANDARD_INPUT:
            typer.get_binary_stream("stdout").write(after.encode("utf-8"))
        elif before == after:
            show.say(f"{path}: is in canonical layout already")
        else:
            try:
                _replace(path, after)
            except InputError as error:
                show.fault(str(error))
                faulty = True
    if faulty or (check and changes):
        raise typer.Exit(1)


def _name(path):
    return "standard input" if path == _STANDARD_INPUT else str(path)


def _laid_out(path):
    """The whole text before and after, byte for byte what the file holds; None where there are faults, which are named."""
    from classifier.key import finding, format_key, render
    from classifier.key.bases import Refusal, decoded, read_text
    from classifier.key.parse import parse
    from classifier.key.syntax import Span

    whole = decoded(sys.stdin.buffer.read()) if path == _STANDARD_INPUT else read_text(path)
    name = _name(path)
    if isinstance(whole, Refusal):
        show.say(render(finding(whole.code, whole.message, Span(name, 0, 0, 1, 1), whole.help), {}))
        return None
    text = whole.removeprefix(_MARK)
    formatted = format_key(text, name)
    if formatted is None:
        for each in parse(text, name).diagnostics:
            show.say(render(each, {name: text}))
        show.say(f"{name}: left as it is; mend what is marked above, then format again")
        return None
    if text.count("\r\n") * 2 > text.count("\n"):
        formatted = formatted.replace("\n", "\r\n")
    return whole, whole[: len(whole) - len(text)] + formatted


def _show_diff(path, before, after):
    names = _name(path), f"{_name(path)} (laid out)"
    for row in difflib.unified_diff(_rows(before), _rows(after), *names):
        print(row.rstrip("\r\n"))
        if not row.endswith("\n"):
            print("\\ No newline at end of file")


def _rows(text):
    """The lines with their ends; only a line feed ends one."""
    return list(io.StringIO(text, newline="\n"))


def _replace(path, text):
    """Put the text in place of the key, and say so; a link stays a link."""
    from classifier.survey.storage import write_atomically

    real = path.resolve()
    if not os.access(real, os.W_OK):
        raise InputError(f"{path}: is write-protected and was left as it is; allow writing, or copy it")
    try:
        write_atomically(real, text.encode("utf-8"))
    except InputError as error:
        reason = getattr(error.__cause__, "strerror", None) or str(error)
        raise InputError(
            f"{path}: could not be replaced and was left as it is ({reason.lower()}); "
            "check that its folder can be written to and has room"
        ) from error
    show.say(f"{path}: laid out anew")
