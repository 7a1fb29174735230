"""lark's tree to syntax nodes with spans, and nothing else: no checks, no lookups.

A statement is read by itself; ``Builder`` adds the place where it starts to every position, so that spans count from
the start of the file.
"""

import unicodedata
from bisect import bisect_right
from dataclasses import replace
from decimal import Decimal

from lark import Token

from classifier.key import syntax as s

_OPERATORS = {"≤": "<=", "≥": ">=", "−": "-", "·": "*"}


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


class Builder:
    """Makes nodes from the trees of one file; ``offset`` is where the statement read now starts in the text."""

    def __init__(self, places):
        self.places = places
        self.offset = 0

    def build(self, tree):
        """The node of a tree; lists of nodes for rules that only gather."""
        return getattr(self, tree.data)(tree, tree.children)

    def span(self, item):
        if isinstance(item, Token):
            return self.places.span(self.offset + item.start_pos, self.offset + item.end_pos)
        if item.meta.empty:
            return self.places.span(self.offset, self.offset)
        return self.places.span(self.offset + item.meta.start_pos, self.offset + item.meta.end_pos)

    # ------------------------------------------------------------------------------------------------- expressions

    def quantity(self, tree, children):
        number, unit = children
        return s.Quantity(Decimal(str(number)), unit and str(unit), span=self.span(tree))

    def number(self, tree, children):
        minus, number, unit = children
        value = Decimal(str(number))
        return s.Quantity(-value if minus else value, unit and str(unit), span=self.span(tree))

    def name(self, tree, children):
        return s.Name(plain(str(children[0])), span=self.span(tree))

    def call(self, tree, children):
        return s.Call(str(children[0]), self.build(children[1]), span=self.span(tree))

    def opposite(self, tree, children):
        return s.Opposite(self.build(children[1]), span=self.span(tree))

    def arithmetic(self, tree, children):
        left, operator, right = children
        sign = _OPERATORS.get(operator, str(operator))
        return s.Arithmetic(sign, self.build(left), self.build(right), span=self.span(tree))

    def zoned(self, tree, children):
        return s.Zoned(*map(self.build, children), span=self.span(tree))

    def compare(self, tree, children):
        left, operator, right = children
        sign = _OPERATORS.get(operator, str(operator))
        return s.Compare(sign, self.build(left), self.build(right), span=self.span(tree))

    def within(self, tree, children):
        return s.Within(*map(self.build, children), span=self.span(tree))

    def presence(self, tree, children):
        return s.Presence(self.build(children[0]), children[1] == "measured", span=self.span(tree))

    def negation(self, tree, children):
        return s.Negation(self.build(children[0]), span=self.span(tree))

    def all_of(self, tree, children):
        return s.AllOf(tuple(map(self.build, children)), span=self.span(tree))

    def any_of(self, tree, children):
        return s.AnyOf(tuple(map(self.build, children)), span=self.span(tree))

    # ----------------------------------------------------------------------------------------------------- targets

    def to_couplet(self, tree, children):
        return s.ToCouplet(int(children[0]), span=self.span(tree))

    def to_taxon(self, tree, children):
        return self.taxon_name(children[0], children[0].children)

    def taxon_name(self, tree, children):
        return s.ToTaxon(plain(" ".join(map(str, children))), span=self.span(tree))

    def to_group(self, tree, children):
        return s.ToGroup(_text(children[0]), span=self.span(tree))

    def unidentified(self, tree, children):
        return s.Unidentified(_text(children[0]), span=self.span(tree))

    def not_a_bat(self, tree, children):
        return s.NotABat(_text(children[0]), span=self.span(tree))

    def stays(self, tree, children):
        return s.Stays(span=self.span(tree))

    def otherwise(self, tree, children):
        return None

    def names(self, tree, children):
        return tuple(map(self.build, children))

    alternatives = names

    def citations(self, tree, children):
        found = []
        for token in children:
            start = 1
            for piece in str(token)[1:-1].split(";"):
                words = piece.split(None, 1)
                if words:
                    at = self.offset + token.start_pos + start + len(piece) - len(piece.lstrip())
                    span = self.places.span(at, at + len(piece.strip()))
                    place = words[1].strip() if len(words) > 1 else ""
                    found.append(s.Citation(plain(words[0]), place, span=span))
                start += len(piece) + 1
        return tuple(found)

    def at_most(self, tree, children):
        return str(children[0])

    # --------------------------------------------------------------------------------------------------- statements

    def key_heading(self, tree, children):
        return s.KeyHeading(_text(children[0]), str(children[1]), span=self.span(tree))

    def extent(self, tree, children):
        return s.Extent(*(self.build(child).value for child in children), span=self.span(tree))

    def region(self, tree, children):
        return s.Region(self.build(children[0]), span=self.span(tree))

    def based_on(self, tree, children):
        return s.BasedOn(_text(children[0]), span=self.span(tree))

    def standard_errors(self, tree, children):
        return s.StandardErrors(self.build(children[0]).value, span=self.span(tree))

    def source(self, tree, children):
        return s.Source(plain(str(children[0])), _text(children[1]), span=self.span(tree))

    def group(self, tree, children):
        name, members, citations = children
        return s.Group(_text(name), self.build(members), self.build(citations), span=self.span(tree))

    def without_taxon(self, tree, children):
        taxon, *instead = map(self.build, children)
        return s.Without("taxon", taxon.name, *instead, span=self.span(tree))

    def without_couplet(self, tree, children):
        return s.Without("couplet", int(children[0]), span=self.span(tree))

    def without_group(self, tree, children):
        return s.Without("group", _text(children[0]), span=self.span(tree))

    def without_example(self, tree, children):
        return s.Without("example", _text(children[0]), span=self.span(tree))

    def without_refine(self, tree, children):
        return s.Without("refine", self.build(children[0]), span=self.span(tree))

    def without(self, tree, children):
        return replace(self.build(children[0]), span=self.span(tree))

    def let(self, tree, children):
        name, value, citations = children
        return s.Let(plain(str(name)), self.build(value), self.build(citations), span=self.span(tree))

    def value(self, tree, children):
        numbers = [self.build(child) for child in children[1:]]
        return s.ExampleValue(str(children[0]), *(numbers or [None]), span=self.span(tree))

    given = value

    def typed_call(self, tree, children):
        return tuple(map(self.build, children))

    def among(self, tree, children):
        return s.Outcome("among", self.build(children[0]), span=self.span(tree))

    def gated(self, tree, children):
        return s.Outcome("gated", span=self.span(tree))

    def clear(self, tree, children):
        label, *at_most = map(self.build, children)
        return s.Outcome("clear", (label,), *at_most, span=self.span(tree))

    def example(self, tree, children):
        name, *values, outcome, citations = children
        return s.Example(
            _text(name),
            tuple(map(self.build, values)),
            self.build(outcome),
            self.build(citations),
            span=self.span(tree),
        )

    # ------------------------------------------------------------- headings (as dictionaries) and the lines of blocks

    def taxon_heading(self, tree, children):
        name, *texts, citations = children
        return s.Taxon(
            self.build(name).name, tuple(map(_text, texts)), (), self.build(citations), span=self.span(tree)
        )

    def gate_heading(self, tree, children):
        return s.Gate((), span=self.span(tree))

    def couplet_heading(self, tree, children):
        number, question, citations = children
        return s.Couplet(int(number), _text(question), (), self.build(citations), span=self.span(tree))

    def passes_heading(self, tree, children):
        return s.Passes((), span=self.span(tree))

    def refine_heading(self, tree, children):
        candidates, citations = children
        return s.Refine(self.build(candidates), (), self.build(citations), span=self.span(tree))

    def range(self, tree, children):
        metric, low, high, citations = children
        return s.Range(
            str(metric), self.build(low), self.build(high), self.build(citations), span=self.span(tree)
        )

    def similar(self, tree, children):
        return s.Similar(*map(self.build, children), span=self.span(tree))

    def _remark(self, tree, children):
        return s.Remark(tree.data, _text(children[0]), self.build(children[1]), span=self.span(tree))

    status = tells = note = _remark

    def occurs(self, tree, children):
        return s.Occurs(*map(self.build, children), span=self.span(tree))

    def gate_line(self, tree, children):
        return s.GateLine(*map(self.build, children), span=self.span(tree))

    def _lead(self, tree, children):
        label, condition, target, *at_most, citations = children
        digits = label[:-1]
        return s.Lead(
            str(label[-1]),
            self.build(condition),
            self.build(target),
            self.build(at_most[0]) if at_most else None,
            self.build(citations),
            int(digits) if digits else None,
            span=self.span(tree),
        )

    couplet_line = refine_line = _lead

    def gap(self, tree, children):
        return s.Gap(*map(self.build, children), span=self.span(tree))

    def at_least(self, tree, children):
        return s.AtLeast(int(children[0]), self.build(children[1]), span=self.span(tree))

    def tier(self, tree, children):
        tier, *condition, citations = children
        return s.Tier(
            str(tier),
            self.build(condition[0]) if condition else None,
            self.build(citations),
            span=self.span(tree),
        )


def _text(token):
    """What stands between the quotes; runs of blanks count as one, so that a text may be laid out freely."""
    return None if token is None else " ".join(plain(str(token)[1:-1]).split())
