"""A key's text to statements-to-be: comments taken out, lines that go on joined, and no character moved.

Everything here keeps offsets: a comment, a tab or an end of line inside a statement becomes blanks of the same length,
so a position in a statement is a position in the file.
"""

import re
from dataclasses import dataclass

from classifier.key.syntax import Span

#: Words that start a statement at the outer level; blocks end where the next of them begins.
HEADINGS = {
    "key": "heading",
    "region": "heading",
    "based": "heading",
    "standard": "heading",
    "source": "heading",
    "group": "heading",
    "without": "heading",
    "let": "heading",
    "example": "heading",
    "taxon": "taxon_heading",
    "gate": "gate_heading",
    "couplet": "couplet_heading",
    "passes": "passes_heading",
    "refine": "refine_heading",
}
_GOES_ON = re.compile(r"(=>|(and|or)(?!\w)|[|\[+*/±,])")
_FIRST_WORD = re.compile(r"[^\W\d][\w\u0300-\u036f]*")
_LABEL = re.compile(r"[0-9]*[a-z](?!\w)")
_BLANKS = str.maketrans({"\t": " ", "\r": " ", "\xa0": " ", "\u202f": " ", "\u2007": " ", "\u2009": " ", "\ufeff": " "})


@dataclass(frozen=True)
class Comment:
    """``text`` starts with ``#``. ``alone``: nothing else stands on its line."""

    text: str
    alone: bool
    start: int
    line: int
    span: Span | None = None

    @property
    def end(self) -> int:
        return self.start + len(self.text)


@dataclass(frozen=True)
class Statement:
    """The plain text of one statement: ``text[start:end]`` of the file with blanks for what is not its own.

    ``first_word`` is '' unless it starts with a word. ``lines`` are the numbers of its first and last line.
    """

    start: int
    text: str
    first_word: str
    lines: tuple[int, int]

    @property
    def end(self) -> int:
        return self.start + len(self.text)


def comment_start(line: str) -> int:
    """Where the comment begins in a line, or its length; a # inside closed quotation marks is text."""
    mark = line.find("#")
    if mark < 0:
        return len(line)
    position = 0
    while True:
        opening = line.find('"', position)
        if opening < 0 or mark < opening:
            return mark
        closing = line.find('"', opening + 1)
        if closing < 0:
            return mark
        position = closing + 1
        mark = line.find("#", position) if mark < position else mark
        if mark < 0:
            return len(line)


def split(text: str) -> tuple[list[Statement], list[Comment]]:
    """All statements and all comments of a text, in order."""
    statements, comments = [], []
    pieces, begin, length, first, last = [], 0, 0, 0, 0
    comma = False
    offset = 0

    def close():
        if pieces:
            joined = "".join(pieces).rstrip(" ")
            word = _FIRST_WORD.match(joined)
            statements.append(Statement(begin, joined, word.group() if word else "", (first, last)))
            pieces.clear()

    for number, line in enumerate(text.split("\n"), 1):
        cut = comment_start(line)
        own = line[:cut].translate(_BLANKS)
        content = own.strip(" ")
        if cut < len(line):
            comments.append(Comment(line[cut:].rstrip(" \t\r"), not content, offset + cut, number))
        if content:
            goes_on = pieces and (_GOES_ON.match(content) or (comma and not _starts_afresh(content)))
            if not goes_on:
                close()
                indent = len(own) - len(own.lstrip(" "))
                begin, first = offset + indent, number
                pieces.append(own[indent:])
            else:
                pieces.append(" " * (offset - length) + own)
            length = offset + len(own)
            last = number
            comma = content.endswith(",")
        offset += len(line) + 1
    close()
    return statements, comments


def _starts_afresh(content):
    """Whether a line can only be the start of a statement, even behind a comma."""
    word = _FIRST_WORD.match(content)
    return bool(_LABEL.match(content)) or (word is not None and word.group() in HEADINGS)


def continues(before: str, after: str) -> bool:
    """Whether a line end between these two pieces of a statement is read as part of it."""
    return bool(_GOES_ON.match(after)) or (before.endswith(",") and not _starts_afresh(after))


def flattened(text: str) -> str:
    """The text as key.lark's rule ``key`` reads it: comments and joins blanked, every statement on a line of its own."""
    result = ["\n" if character == "\n" else " " for character in text]
    for statement in split(text)[0]:
        result[statement.start : statement.end] = statement.text
    return "".join(result) + "\n"
