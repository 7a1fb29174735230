"""Text to statements with their places, and every slip of the text in one run.

Each statement is read by itself with the grammar's rule for its place. Where one is refused, one finding is made of it
and reading goes on with the next statement, so that a slip costs one message and no more.
"""

import re
import threading
from dataclasses import dataclass, replace
from importlib import resources
from unicodedata import combining

from lark import Lark, UnexpectedInput

from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.lines import HEADINGS, Comment, split
from classifier.key.messages import Diagnostic, did_you_mean, finding
from classifier.key.refusals import FORMS, TEXTS, explain_slip
from classifier.key.transform import Builder, Callbacks, Places

#: The grammar's rule for the lines of each block, by the block's first word.
BLOCK_LINES = {
    "taxon": "taxon_line",
    "gate": "gate_line",
    "couplet": "couplet_line",
    "passes": "passes_line",
    "refine": "refine_line",
}
_FIELDS = {s.Taxon: "entries", s.Gate: "lines", s.Couplet: "leads", s.Passes: "entries", s.Refine: "leads"}
_NESTING = re.compile(r"[(+*/·−-]|\bnot\b")
_LONG_NUMBER = re.compile(rf"[0-9.]{{{limits.DIGITS + 2},}}")


@dataclass(frozen=True)
class Parsed:
    """What one text says by itself, before names are looked up or bases read.

    ``broken`` names the statements (kind, identity or None) that were refused, so that later checks do not complain
    of the absence of what merely has a slip in it.
    """

    statements: tuple[s.Statement, ...]
    comments: tuple[Comment, ...]
    diagnostics: tuple[Diagnostic, ...]
    broken: frozenset = frozenset()


def grammar_text() -> str:
    """The grammar as it stands in key.lark."""
    return resources.files("classifier.key").joinpath("key.lark").read_text(encoding="utf-8")


def grammar(*, strict: bool = False, **options) -> Lark:
    """The grammar as a parser with a start for the whole key and for each kind of line; it yields trees of lark's."""
    starts = ["key", "typed_call", *sorted(set(HEADINGS.values()) | set(BLOCK_LINES.values()))]
    return Lark(grammar_text(), parser="lalr", start=starts, strict=strict, maybe_placeholders=True, **options)


class StatementParser:
    """The grammar as a parser of single statements; it yields syntax nodes. For one thread at a time."""

    def __init__(self):
        self._builder = Builder()
        self._lark = grammar(keep_all_tokens=True, transformer=Callbacks(self._builder))

    def parse(self, text: str, rule: str, places: Places, offset: int):
        """The node of a statement; UnexpectedInput if the rule refuses it."""
        self._builder.start_statement(places, offset)
        return self._lark.parse(text, start=rule).value


_THREAD = threading.local()


def statement_parser() -> StatementParser:
    """This thread's parser; made at the first use, since that takes a fifth of a second."""
    if not hasattr(_THREAD, "parser"):
        _THREAD.parser = StatementParser()
    return _THREAD.parser


def parse(text: str, file: str) -> Parsed:
    """Read all statements of a text.

    Parameters
    ----------
    text : the whole file
    file : its name, for messages

    Returns
    -------
    Parsed; every slip as a Diagnostic, never an exception
    """
    places = Places(text, file)
    if len(text) > limits.FILE_CHARACTERS:
        message = f"the file has {len(text):,} characters; a key may have {limits.FILE_CHARACTERS:,}"
        return Parsed((), (), (finding("K320", message, places.span(0, 0), "divide it, or take the data out of it"),))
    return _Reader(text, places).read()


class _Reader:
    def __init__(self, text, places):
        self.text = text
        self.places = places
        self.parser = statement_parser()
        self.found = []
        self.broken = set()
        self.statements = []
        self.block = None  # the word of the block whose lines may come now
        self.open = None  # its node so far; None where its heading was refused
        self.lines = []
        self.count = 0  # of the lines of the open block, refused ones included

    def read(self):
        statements, comments = split(self.text)
        if len(statements) > limits.STATEMENTS:
            self._say("K322", f"{len(statements):,} statements; a key may have {limits.STATEMENTS:,}", 0, 0)
            statements = []
        for statement in statements:
            if len(self.found) >= limits.FINDINGS:
                self._say(
                    "K322",
                    "more faults than are worth listing; reading stops here",
                    statement.start,
                    statement.end,
                    "mend these first, then check again",
                )
                break
            self._statement(statement)
        self._close()
        comments = tuple(
            Comment(each.text, each.alone, each.start, each.line, self.places.span(each.start, each.end)) for each in comments
        )
        return Parsed(tuple(self.statements), comments, tuple(self.found), frozenset(self.broken))

    def _say(self, code, message, start, end, help=""):
        self.found.append(finding(code, message, self.places.span(start, end), help))

    def _statement(self, statement):
        if statement.first_word in HEADINGS:
            self._close()
            self._heading(statement, statement.first_word)
        elif self.block is None:
            self._stray(statement)
        else:
            self._line(statement)

    def _heading(self, statement, word):
        node = self._node(statement, HEADINGS[word], word)
        if word in BLOCK_LINES:
            self.block, self.open = word, node
        elif node is not None:
            self.statements.append(node)
        if node is None:
            self.broken.add(_broken_identity(word, statement.text))

    def _line(self, statement):
        self.count += 1
        if self.count > limits.BLOCK_LINES:
            if self.count == limits.BLOCK_LINES + 1:
                message = f"more than {limits.BLOCK_LINES} lines in one block; the rest is not read"
                self._say("K322", message, statement.start, statement.end, "divide the block")
            return
        rule = BLOCK_LINES[self.block]
        node = self._node(statement, rule, rule)
        if node is not None:
            self.lines.append(node)
        elif self.block is not None:
            self.broken.add((self.block, _identity(self.open)))

    def _close(self):
        if self.open is not None:
            field = _FIELDS[type(self.open)]
            end = self.lines[-1].span.end if self.lines else self.open.span.end
            span = self.open.span._replace(end=end)
            self.statements.append(replace(self.open, span=span, **{field: tuple(self.lines)}))
        self.block, self.open, self.lines, self.count = None, None, [], 0

    def _node(self, statement, rule, kind):
        """The statement's node, or None after saying what is wrong with it."""
        text = statement.text
        if self._too_much(statement):
            return None
        try:
            return self.parser.parse(text, rule, self.places, statement.start)
        except UnexpectedInput as error:
            self._refused(error, statement, kind)
            return None

    def _too_much(self, statement):
        text = statement.text
        start = statement.start
        if len(text) > limits.STATEMENT_CHARACTERS:
            message = f"this statement has {len(text):,} characters; it may have {limits.STATEMENT_CHARACTERS:,}"
            self._say("K320", message, start, statement.end, "divide it into several statements")
            return True
        mark = _many_marks(text)
        if mark is not None:
            message = f"more than {limits.MARKS} accents on one letter"
            self._say("K320", message, start + mark, start + mark + 1, "take them out")
            return True
        bare = TEXTS.sub("", text)
        if len(bare) > limits.STATEMENT_NESTING and len(_NESTING.findall(bare)) > limits.STATEMENT_NESTING:
            message = f"this statement has more than {limits.STATEMENT_NESTING} brackets and signs"
            self._say("K321", message, start, statement.end, "give its parts names with let")
            return True
        long = _LONG_NUMBER.search(text) if len(text) > limits.DIGITS else None
        if long and long.start() < len(text) and not _inside_text(text, long.start()):
            message = f"a number with more than {limits.DIGITS} digits"
            self._say("K320", message, start + long.start(), start + long.end(), "round it")
            return True
        return False

    def _refused(self, error, statement, kind):
        word = statement.first_word
        heading = did_you_mean(word, HEADINGS) if word and word not in FORMS else ""
        if heading and kind.endswith("_line") and self._is_misspelt_heading(statement, heading):
            self._misspelt(statement, heading)
            return
        code, start, end, message, help = explain_slip(error, statement.text, kind)
        self._say(code, message, statement.start + start, statement.start + end, help)

    def _is_misspelt_heading(self, statement, heading):
        """A body line that fails and looks like a heading: only if the block's own words are further off."""
        inner = did_you_mean(statement.first_word, [word for word in FORMS if word not in HEADINGS])
        at_margin = statement.start == 0 or self.text[statement.start - 1] == "\n"
        return at_margin or not inner

    def _stray(self, statement):
        heading = did_you_mean(statement.first_word, HEADINGS) if statement.first_word else ""
        if heading:
            self._misspelt(statement, heading)
            return
        shown = statement.first_word or statement.text.split(" ")[0][:40]
        self._say(
            "K103",
            f"`{shown}` starts no statement, and no block is open here",
            statement.start,
            statement.start + len(shown),
            "statements start with one of: " + ", ".join(HEADINGS),
        )

    def _misspelt(self, statement, suggestion):
        """Says so, and goes on as if the word had been right, so that the block's lines are not strays."""
        word = statement.first_word
        self._say("K102", f"`{word}` starts no statement", statement.start, statement.start + len(word), suggestion)
        right = suggestion.split("`")[1]
        self._close()
        self.broken.add(_broken_identity(right, statement.text))
        if right in BLOCK_LINES:
            self.block, self.open = right, None


def _many_marks(text):
    """Where a run of combining characters grows too long, or None: to compose it would take the square of its length."""
    if text.isascii():
        return None
    run = 0
    for place, character in enumerate(text):
        run = run + 1 if combining(character) else 0
        if run > limits.MARKS:
            return place
    return None


def _inside_text(text, position):
    return any(found.start() <= position < found.end() for found in TEXTS.finditer(text))


def _identity(node):
    return None if node is None else s.identity_of(node)[1]


def _broken_identity(word, text):
    """What a refused heading was about, as far as it can be guessed: ('couplet', 3), ('let', 'low_split') ..."""
    rest = text.split(None, 1)[1] if len(text.split(None, 1)) > 1 else ""
    if word == "couplet":
        number = re.match(r"\d+", rest)
        return word, int(number.group()) if number and len(number.group()) < 10 else None
    if word == "taxon":
        return word, re.split(r'["\[,:]', rest)[0].strip()
    if word in ("group", "example"):
        name = re.match(r'"([^"]*)"', rest)
        return word, name.group(1) if name else None
    name = re.match(r"\w+", rest)
    return word, name.group() if name and word in ("let", "source") else None
