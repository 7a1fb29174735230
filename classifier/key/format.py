"""Canonical layout: one key text for one meaning, comments kept, the same again when formatted again.

Layout
------
* Blocks and their neighbours are parted by one blank line; between other statements, and between the lines of a block, the
  author's blank lines are kept, at most one in a row.
* Lines of a block are indented by four blanks. The arrows of a couplet's leads stand under each other, and so do the
  citations of a block.
* What is longer than a line goes on behind a comma, or before and, or, =>, |, [.
* A comment on a line of its own stays above the statement that it stood above (at the end of a block it stays there if it
  is indented); a comment behind a statement stays behind it, two blanks off.
"""

from dataclasses import dataclass, field
from itertools import pairwise

from classifier.key import syntax as s
from classifier.key import text as t
from classifier.key.collector import collector_paused
from classifier.key.lines import HEADINGS, Comment, continues, split
from classifier.key.parse import parse

WIDTH = 110
#: Statements that stand free: blocks, and examples with their two rows.
_FREE = frozenset(word for word, rule in HEADINGS.items() if rule != "heading") | {"example"}
#: A citation at the end of a row may stand out a little.
_WIDEST = 120
_INDENT = 4
_FURTHEST_ARROW = 60
_FURTHEST_CITATION = 90


@dataclass
class _Line:
    """A statement to lay out. ``pieces`` may be broken between each other; ``arrow`` is what stands behind =>."""

    indent: int
    pieces: list[str]
    arrow: str = ""
    citation: str = ""
    blank_before: bool = False
    above: list[tuple[bool, str, int]] = field(default_factory=list)  # comments: blank before, text, indent
    behind: str = ""


@collector_paused()
def format_key(text: str, file: str = "key") -> str | None:
    """The text in canonical layout, or None if it has slips of form (then ``parse`` names them).

    parse(format_key(text)) says the same as parse(text); comments are kept word for word.
    """
    parsed = parse(text, file)
    if parsed.diagnostics:
        return None
    statements = split(text)[0]
    lines = []
    for node in parsed.statements:
        lines.extend(_block_lines(node))
    if not lines:
        return "".join(f"{comment.text}\n" for comment in parsed.comments)
    ending = _place_comments(lines, statements, parsed.comments, text)
    _blank_lines(lines, statements, text)
    result = []
    for block in _blocks(lines):
        result.extend(_lay_out(block))
    for blank, comment, indent in ending:
        result.extend([""] * blank + [" " * indent + comment])
    while result and not result[0]:
        result.pop(0)
    return "\n".join(result) + "\n"


# --------------------------------------------------------------------------------------------- statements to lines


def _block_lines(node):
    """The lines of a statement, in the order of their text."""
    heading = _heading(node)
    match node:
        case s.Taxon(_, _, entries) | s.Passes(entries):
            return [heading, *(_entry(entry) for entry in entries)]
        case s.Gate(rows):
            return [heading, *(_condition_line(row.condition, row.citations) for row in rows)]
        case s.Couplet(_, _, leads) | s.Refine(_, leads):
            return [heading, *(_lead(lead) for lead in leads)]
    return [heading]


def _line(indent, *pieces, arrow="", citations=()):
    return _Line(indent, [piece for piece in pieces if piece], arrow, t.citations_text(citations))


def _listed(first, names):
    """Pieces of a list: broken behind commas. ``first`` stands before the first name."""
    pieces = [f"{name}," for name in names[:-1]] + [names[-1]]
    return [f"{first} {pieces[0]}", *pieces[1:]]


def _heading(node):
    match node:
        case s.KeyHeading(name, version):
            return _line(0, f'key "{name}" version {version}')
        case s.Region(extent):
            return _line(0, f"region {t.extent_text(extent)}")
        case s.BasedOn(path):
            return _line(0, f'based on "{path}"')
        case s.StandardErrors(count):
            return _line(0, f"standard errors {t.number_text(count)}")
        case s.Source(name, words):
            return _line(0, f'source {name} "{words}"')
        case s.Group(name, members, citations):
            return _line(0, *_listed(f'group "{name}"', [each.name for each in members]), citations=citations)
        case s.Without():
            return _line(0, *_without(node))
        case s.Let(name, value, citations):
            first, *rest = t.pieces(value)
            return _line(0, f"let {name} = {first}", *rest, citations=citations)
        case s.Example(name, values, outcome, citations):
            listed = _listed(f'example "{name}"', [_value(each) for each in values])
            return _line(0, *listed, arrow=_outcome(outcome), citations=citations)
        case s.Taxon(name, common_names, _, citations):
            return _line(0, " ".join([f"taxon {name}", *(f'"{each}"' for each in common_names)]), citations=citations)
        case s.Gate():
            return _line(0, "gate")
        case s.Couplet(number, question, _, citations):
            asked = f' "{question}"' if question is not None else ""
            return _line(0, f"couplet {number}{asked}", citations=citations)
        case s.Passes():
            return _line(0, "passes")
        case s.Refine(candidates, _, citations):
            first, *rest = _alternatives(candidates)
            return _line(0, f"refine {first}", *rest, citations=citations)
    raise TypeError(f"no statement: {node!r}")


def _alternatives(candidates):
    texts = [t.target_text(each) for each in candidates]
    return [texts[0], *(f"| {each}" for each in texts[1:])]


def _without(node):
    match node.kind:
        case "taxon":
            instead = f" => {t.target_text(node.instead)}" if node.instead is not None else ""
            return [f"without {node.identity}{instead}"]
        case "couplet":
            return [f"without couplet {node.identity}"]
        case "refine":
            first, *rest = _alternatives(node.identity)
            return [f"without refine {first}", *rest]
    return [f'without {node.kind} "{node.identity}"']


def _value(value):
    if value.value is None:
        return f"{value.metric} missing"
    error = f" ± {t.quantity_text(value.error)}" if value.error is not None else ""
    return f"{value.metric} {t.quantity_text(value.value)}{error}"


def _outcome(outcome):
    match outcome.kind:
        case "among":
            return f"among {t.names_text(outcome.labels)}"
        case "gated":
            return "gated"
    cap = f", at most {outcome.at_most}" if outcome.at_most else ""
    return t.target_text(outcome.labels[0]) + cap


def _entry(entry):
    match entry:
        case s.Range(metric, low, high, citations):
            return _line(_INDENT, f"{metric} {t.quantity_text(low)} to {t.quantity_text(high)}", citations=citations)
        case s.Similar(taxa, citations):
            return _line(_INDENT, *_listed("similar", [each.name for each in taxa]), citations=citations)
        case s.Remark(kind, words, citations):
            return _line(_INDENT, f'{kind} "{words}"', citations=citations)
        case s.Occurs(extent, citations):
            return _line(_INDENT, f"occurs {t.extent_text(extent)}", citations=citations)
        case s.Gap(time, citations):
            return _line(_INDENT, f"gap {t.quantity_text(time)}", citations=citations)
        case s.AtLeast(pulses, citations):
            word = "pulse" if pulses == 1 else "pulses"
            return _line(_INDENT, f"at least {pulses} {word}", citations=citations)
        case s.Tier(tier, None, citations):
            return _line(_INDENT, f"{tier} otherwise", citations=citations)
        case s.Tier(tier, condition, citations):
            first, *rest = t.pieces(condition)
            return _line(_INDENT, f"{tier} when {first}", *rest, citations=citations)
    raise TypeError(f"no line of a block: {entry!r}")


def _condition_line(condition, citations):
    return _line(_INDENT, *t.pieces(condition), citations=citations)


def _lead(lead):
    first, *rest = ["otherwise"] if lead.condition is None else t.pieces(lead.condition)
    return _line(_INDENT, f"{lead.label} {first}", *rest, arrow=t.lead_target_text(lead), citations=lead.citations)


# ------------------------------------------------------------------------------------- comments and blank lines


def _place_comments(lines, statements, comments: tuple[Comment, ...], text):
    """Hang each comment on its line; returns those that stand behind the last statement."""
    starts = [statement.lines[0] for statement in statements]
    source = text.split("\n")
    ending, place = [], 0
    for comment in comments:
        while place < len(statements) and statements[place].lines[1] < comment.line:
            place += 1
        blank = comment.line > 1 and not source[comment.line - 2].strip()
        if place == len(statements):
            at_margin = comment.span.column == 1 or not lines[-1].indent
            ending.append((blank, comment.text, 0 if at_margin else _INDENT))
            continue
        line = lines[place]
        if comment.alone or line.behind:
            within = starts[place] <= comment.line
            # An indented comment behind the last line of a block belongs to the block, not to the next heading.
            inside = not line.indent and comment.span.column > 1 and place > 0 and lines[place - 1].indent
            indent = _INDENT if line.indent or (inside and not within) else 0
            line.above.append((blank and not within, comment.text, indent))
        else:
            line.behind = comment.text
    return ending


def _blank_lines(lines, statements, text):
    source = text.split("\n")
    for line, statement in zip(lines, statements, strict=True):
        line.blank_before = statement.lines[0] > 1 and not source[statement.lines[0] - 2].strip()
    for before, line in pairwise(lines):
        if not line.indent and (before.indent or _family(line) != _family(before) or _family(line) in _FREE):
            _stand_free(line)
    lines[0].blank_before = bool(lines[0].above) and lines[0].blank_before


def _family(line):
    """What kind of statement a line is; those that say what the key is belong together."""
    word = line.pieces[0].split(None, 1)[0]
    return "key" if word in ("region", "based", "standard") else word


def _stand_free(line):
    """A blank line before the statement, above its comments."""
    own = [place for place, (_, _, indent) in enumerate(line.above) if not indent]
    if own:
        _, comment, indent = line.above[own[0]]
        line.above[own[0]] = (True, comment, indent)
    else:
        line.blank_before = True


# ------------------------------------------------------------------------------------------------------- layout


def _blocks(lines):
    """Lines gathered with their heading."""
    block = []
    for line in lines:
        if block and not line.indent:
            yield block
            block = []
        block.append(line)
    yield block


def _lay_out(block):
    arrow_column = (
        min(
            max((len(_whole(line)) for line in block if line.arrow and line.indent), default=0),
            _FURTHEST_ARROW,
        )
        + 1
    )
    bodies = [_body(line, arrow_column) for line in block]
    fits = [len(body[-1]) for line, body in zip(block, bodies, strict=True) if line.citation]
    column = max((each for each in fits if each <= _FURTHEST_CITATION), default=0) + 2
    result = []
    for line, body in zip(block, bodies, strict=True):
        for blank, comment, indent in line.above:
            result.extend([""] * blank + [" " * indent + comment])
        if line.blank_before:
            result.append("")
        result.extend(_with_citation(body, line, column))
    return result


def _whole(line):
    return " " * line.indent + " ".join(line.pieces)


def _body(line, arrow_column):
    """The statement's rows without citation and comment."""
    rows = _broken(line)
    if not line.arrow:
        return rows
    if not line.indent:  # an example: its outcome has a row of its own
        return [*rows, f"{' ' * _INDENT}=> {line.arrow}"]
    if len(rows) == 1 and len(rows[0]) < arrow_column:
        return [f"{rows[0]:<{arrow_column}}=> {line.arrow}"]
    return [*rows, f"{' ' * arrow_column}=> {line.arrow}"]


def _broken(line):
    """Pieces filled into rows of at most WIDTH, where a break is certain to be read as no break."""
    rows, row = [], " " * line.indent + line.pieces[0]
    deeper = " " * (line.indent + 2 * _INDENT)
    for before, piece in pairwise(line.pieces):
        if len(row) + 1 + len(piece) > WIDTH and continues(before, piece):
            rows.append(row)
            row = deeper + piece
        else:
            row += f" {piece}"
    return [*rows, row]


def _with_citation(body, line, column):
    rows = list(body)
    if line.citation:
        gap = max(column - len(rows[-1]), 2)
        if len(rows[-1]) + gap + len(line.citation) <= _WIDEST:
            rows[-1] += " " * gap + line.citation
        else:
            rows.append(f"{' ' * (line.indent + 2 * _INDENT)}{line.citation}")
    if line.behind:
        rows[-1] += f"  {line.behind}"
    return rows
