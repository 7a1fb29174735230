"""What the grammar finds to syntax nodes with spans, and nothing else: no checks, no lookups.

The parser calls ``Builder`` as soon as it has seen a rule whole, so no tree is built in between. A statement is read by
itself; ``start_statement`` says where it starts, so that spans count from the start of the file.
"""

import unicodedata
from bisect import bisect_right
from decimal import Decimal
from typing import NamedTuple

from lark import Token

from classifier.key import syntax as s

_OPERATORS = {"≤": "<=", "≥": ">=", "−": "-", "·": "*"}
#: Terminals that say something; the others only hold the form together.
_TELLING = frozenset(
    ("STRING", "NAME", "WORD", "NUMBER", "INTEGER", "VERSION", "UNIT", "OPERATOR", "LABEL", "LETTER", "TIER", "PRESENCE")
    + ("PLUS", "MINUS", "TIMES", "CITATION")
)


class Piece(NamedTuple):
    """What a rule came to, and where its text starts and ends in the statement (None if it has none). A node's own
    span leaves brackets around it out; its piece does not."""

    value: object
    start: int | None
    end: int | None


class Places:
    """Character offsets of one text to spans (line and column from 1)."""

    def __init__(self, text, file):
        self.file = file
        self._starts = [0]
        position = text.find("\n")
        while position >= 0:
            self._starts.append(position + 1)
            position = text.find("\n", position + 1)

    def span(self, start, end):
        line = bisect_right(self._starts, start)
        return s.Span(self.file, start, end, line, start - self._starts[line - 1] + 1)


def plain(word):
    """A name as it is compared: composed Unicode characters, so that both ways to type é are one."""
    return word if word.isascii() else unicodedata.normalize("NFC", word)


def _text(token):
    """What stands between quotation marks; runs of blanks count as one, so that a text may be laid out freely."""
    return None if token is None else " ".join(plain(token[1:-1]).split())


class Builder:
    """Makes nodes of what the parser finds. A method has the name of a rule of key.lark and takes the node's span and what
    the rule's telling parts came to, in order."""

    def __init__(self):
        self._places = Places("", "")
        self._offset = 0

    def start_statement(self, places: Places, offset: int):
        """Where the statement that is parsed next stands."""
        self._places, self._offset = places, offset

    def callback(self, method):
        """A method as the parser calls it: with all children of the rule, signs and words of form among them."""

        def called(children):
            start = end = None
            parts = []
            for child in children:
                if child is None:
                    parts.append(None)
                elif isinstance(child, Token):
                    if start is None:
                        start = child.start_pos
                    end = child.end_pos
                    if child.type in _TELLING:
                        parts.append(child)
                else:
                    value, child_start, child_end = child
                    parts.append(value)
                    if child_start is not None:
                        if start is None:
                            start = child_start
                        end = child_end
            span = None if start is None else self._places.span(self._offset + start, self._offset + end)
            return Piece(method(span, *parts), start, end)

        return called

    # ------------------------------------------------------------------------------------------------- expressions

    def quantity(self, span, number, unit):
        return s.Quantity(Decimal(str(number)), unit and str(unit), span=span)

    def number(self, span, minus, number, unit):
        value = Decimal(str(number))
        return s.Quantity(-value if minus else value, unit and str(unit), span=span)

    def name(self, span, name):
        return s.Name(plain(str(name)), span=span)

    def call(self, span, function, argument):
        return s.Call(str(function), argument, span=span)

    def atom(self, span, inner):
        return inner  # in brackets

    def opposite(self, span, minus, value):
        return s.Opposite(value, span=span)

    def arithmetic(self, span, left, operator, right):
        return s.Arithmetic(_OPERATORS.get(operator, str(operator)), left, right, span=span)

    def zoned(self, span, value, zone):
        return s.Zoned(value, zone, span=span)

    def compare(self, span, left, operator, right):
        return s.Compare(_OPERATORS.get(operator, str(operator)), left, right, span=span)

    def within(self, span, value, low, high):
        return s.Within(value, low, high, span=span)

    def presence(self, span, value, word):
        return s.Presence(value, word == "measured", span=span)

    def negation(self, span, condition):
        return s.Negation(condition, span=span)

    def all_of(self, span, *parts):
        return s.AllOf(parts, span=span)

    def any_of(self, span, *parts):
        return s.AnyOf(parts, span=span)

    # ----------------------------------------------------------------------------------------------------- targets

    def to_couplet(self, span, number):
        return s.ToCouplet(int(number), span=span)

    def taxon_name(self, span, *words):
        return s.ToTaxon(plain(" ".join(words)), span=span)

    def to_taxon(self, span, taxon):
        return taxon

    def to_group(self, span, name):
        return s.ToGroup(_text(name), span=span)

    def unidentified(self, span, reason):
        return s.Unidentified(_text(reason), span=span)

    def not_a_bat(self, span, reason):
        return s.NotABat(_text(reason), span=span)

    def stays(self, span):
        return s.Stays(span=span)

    def otherwise(self, span):
        return None

    def names(self, span, *taxa):
        return taxa

    def alternatives(self, span, *candidates):
        return candidates

    def at_most(self, span, tier):
        return str(tier)

    def citations(self, span, *tokens):
        found = []
        for token in tokens:
            start = 1
            for piece in token[1:-1].split(";"):
                words = piece.split(None, 1)
                if words:
                    at = self._offset + token.start_pos + start + len(piece) - len(piece.lstrip())
                    place = words[1].strip() if len(words) > 1 else ""
                    found.append(s.Citation(plain(words[0]), place, span=self._places.span(at, at + len(piece.strip()))))
                start += len(piece) + 1
        return tuple(found)

    # -------------------------------------------------------------------------------------------------- statements

    def key_heading(self, span, name, version):
        return s.KeyHeading(_text(name), str(version), span=span)

    def extent(self, span, *degrees):
        return s.Extent(*(each.value for each in degrees), span=span)

    def region(self, span, extent):
        return s.Region(extent, span=span)

    def based_on(self, span, path):
        return s.BasedOn(_text(path), span=span)

    def standard_errors(self, span, count):
        return s.StandardErrors(count.value, span=span)

    def source(self, span, name, text):
        return s.Source(plain(str(name)), _text(text), span=span)

    def group(self, span, name, members, citations):
        return s.Group(_text(name), members, citations, span=span)

    def without(self, span, dropped):
        kind, identity, instead = dropped
        return s.Without(kind, identity, instead, span=span)

    def without_taxon(self, span, taxon, instead=None):
        return "taxon", taxon.name, instead

    def without_couplet(self, span, number):
        return "couplet", int(number), None

    def without_group(self, span, name):
        return "group", _text(name), None

    def without_example(self, span, name):
        return "example", _text(name), None

    def without_refine(self, span, candidates):
        return "refine", candidates, None

    def let(self, span, name, value, citations):
        return s.Let(plain(str(name)), value, citations, span=span)

    def value(self, span, metric, value=None, error=None):
        return s.ExampleValue(str(metric), value, error, span=span)

    given = value

    def typed_call(self, span, *values):
        return values

    def among(self, span, taxa):
        return s.Outcome("among", taxa, span=span)

    def gated(self, span):
        return s.Outcome("gated", span=span)

    def clear(self, span, label, at_most=None):
        return s.Outcome("clear", (label,), at_most, span=span)

    def example(self, span, name, *rest):
        *values, outcome, citations = rest
        return s.Example(_text(name), tuple(values), outcome, citations, span=span)

    # ---------------------------------------------------------------------- headings of blocks, and the blocks' lines

    def taxon_heading(self, span, taxon, *rest):
        *names, citations = rest
        return s.Taxon(taxon.name, tuple(map(_text, names)), (), citations, span=span)

    def gate_heading(self, span):
        return s.Gate((), span=span)

    def couplet_heading(self, span, number, question, citations):
        return s.Couplet(int(number), _text(question), (), citations, span=span)

    def passes_heading(self, span):
        return s.Passes((), span=span)

    def refine_heading(self, span, candidates, citations):
        return s.Refine(candidates, (), citations, span=span)

    def range(self, span, metric, low, high, citations):
        return s.Range(str(metric), low, high, citations, span=span)

    def similar(self, span, taxa, citations):
        return s.Similar(taxa, citations, span=span)

    def status(self, span, text, citations):
        return s.Remark("status", _text(text), citations, span=span)

    def tells(self, span, text, citations):
        return s.Remark("tells", _text(text), citations, span=span)

    def note(self, span, text, citations):
        return s.Remark("note", _text(text), citations, span=span)

    def occurs(self, span, extent, citations):
        return s.Occurs(extent, citations, span=span)

    def gate_line(self, span, condition, citations):
        return s.GateLine(condition, citations, span=span)

    def couplet_line(self, span, label, condition, target, *rest):
        *at_most, citations = rest
        cap = at_most[0] if at_most else None
        return s.Lead(str(label[-1]), condition, target, cap, citations, int(label[:-1]), span=span)

    def refine_line(self, span, letter, condition, target, *rest):
        *at_most, citations = rest
        return s.Lead(str(letter), condition, target, at_most[0] if at_most else None, citations, span=span)

    def gap(self, span, time, citations):
        return s.Gap(time, citations, span=span)

    def at_least(self, span, pulses, citations):
        return s.AtLeast(int(pulses), citations, span=span)

    def tier(self, span, tier, *rest):
        *condition, citations = rest
        return s.Tier(str(tier), condition[0] if condition else None, citations, span=span)


class Callbacks:
    """The builder as lark's ``transformer``: an attribute for each rule that the builder has a method for."""

    def __init__(self, builder: Builder):
        for name in dir(Builder):
            if not name.startswith("_") and name not in ("callback", "start_statement"):
                setattr(self, name, builder.callback(getattr(builder, name)))
