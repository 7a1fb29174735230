"""Keys in editors: a language server with the findings of `callkey check`, names to choose from, and what a name means.

``python -m classifier.editor`` speaks the Language Server Protocol over standard input and output; it needs the extra
``editor``. What is said lies in plain functions on text (``findings``, ``names_at``, ``meaning_at``); ``serve`` only passes it
on. Lines and columns count from 0 and columns in characters here; the protocol's own counting is that of pygls.
"""

import re
import sys
from dataclasses import dataclass

from classifier.key import Diagnostic, KeyReading, parse_key
from classifier.key.bases import files_beside
from classifier.key.check import check
from classifier.key.lines import HEADINGS, comment_start
from classifier.key.syntax import TIERS, BasedOn, Span
from classifier.key.text import citations_text, quantity_text, short_number
from classifier.key.vocabulary import NAMES, PASS, PULSE, SUMMARIES, TIER
from classifier.metrics import METRICS

_WORD = re.compile(r"[\w.'’×-]+")
_LEVELS = {"passes": TIER, "refine": PASS}


@dataclass(frozen=True)
class Offer:
    """Something to choose from: ``kind`` is metric, statistic, function, let, taxon, group, couplet, source or word."""

    text: str
    kind: str
    detail: str = ""
    explanation: str = ""


def read(text: str, file: str) -> KeyReading:
    """The key as it stands in the editor; its bases come from disk."""
    return parse_key(text, file, resolver=files_beside)


def findings(reading: KeyReading) -> list[tuple[Diagnostic, Span, str]]:
    """What `callkey check` says: finding, place in this file, message with its remedy. What stands in a base is put on the
    `based on` line and says where it is."""
    found = []
    based = next((each.span for each in reading.statements if isinstance(each, BasedOn)), Span(reading.file, 0, 0, 1, 1))
    for each in check(reading):
        message = f"{each.message}\n{each.help}".strip()
        if each.span.file == reading.file:
            found.append((each, each.span, message))
        else:
            found.append((each, based, f"{each.span.file}:{each.span.line}: {message}"))
    return found


# ------------------------------------------------------------------------------------------------ names to choose from


def names_at(reading: KeyReading, line: int, column: int) -> list[Offer]:
    """What may be written at a place: behind an arrow where a lead can go, in brackets sources, else what can be compared."""
    row = reading.text.split("\n")[line][:column]
    if comment_start(row) < len(row) or (row.count('"') % 2 and "=>" not in row):
        return []
    key = reading.merged
    if row.rfind("[") > row.rfind("]"):
        return [Offer(name, "source", source.text) for name, source in key.sources.items()] + [
            Offer("chosen", "source", "set for this key"),
            Offer("memory", "source", "recalled and not looked up"),
        ]
    heading = _heading_above(reading.text, line)
    taxa = [Offer(name, "taxon", ", ".join(taxon.common_names), _taxon(taxon)) for name, taxon in key.taxa.items()]
    groups = [Offer(f'"{name}"', "group", ", ".join(each.name for each in group.members)) for name, group in key.groups.items()]
    if "=>" in row:
        if "," in row[row.rfind("=>") :]:
            return [Offer(f"at most {tier}", "word") for tier in TIERS[1:]]
        ends = [Offer(word, "word") for word in ("unidentified", "not a bat", *(["stays"] if heading == "refine" else []))]
        onward = (
            []
            if heading == "refine"
            else [Offer(str(number), "couplet", couplet.question or "") for number, couplet in key.couplets.items()]
        )
        return [*taxa, *groups, *onward, *ends]
    if not row.strip() or _WORD.fullmatch(row.strip()):
        start = [Offer(word, "word") for word in HEADINGS]
        return start + (_comparable(reading, heading) if row[:1].isspace() else [])
    if row.split()[0] in ("group", "refine", "without", "similar"):
        return [*taxa, *groups]
    return _comparable(reading, heading)


def _comparable(reading, heading):
    level = _LEVELS.get(heading, PULSE)
    found = [
        Offer(name, "metric" if level == PULSE else "statistic", quality.unit, quality.definition)
        for name, quality in NAMES[level].items()
    ]
    if level == PASS:
        found += [Offer(each.name, "function", f"of a {each.of}", each.definition) for each in SUMMARIES.values()]
        found += [
            Offer(name, "metric", metric.unit, metric.definition) for name, metric in METRICS.items() if name not in NAMES[PASS]
        ]
    if heading != "taxon":
        found += [Offer(name, "let", _own_text(reading, let)) for name, let in reading.merged.lets.items()]
    return found


def _heading_above(text, line):
    """The word of the statement that a line belongs to, '' before the first."""
    for row in reversed(text.split("\n")[: line + 1]):
        word = re.match(r"\s*(\w+)", row)
        if word and word[1] in HEADINGS:
            return word[1]
    return ""


# ------------------------------------------------------------------------------------------------- what a name means


def meaning_at(reading: KeyReading, line: int, column: int) -> str | None:
    """What stands at a place, in Markdown: a metric, a statistic, a let, a taxon, a group or a couplet's number."""
    row = reading.text.split("\n")[line]
    if column > comment_start(row):
        return None
    key = reading.merged
    for name, taxon in key.taxa.items():
        if _covers(row, rf"(?<!\w){_spaced(name)}(?!\w)", column):
            return f"**{name}**" + "".join(f" · {each}" for each in taxon.common_names) + "\n\n" + _taxon(taxon)
    for name, group in key.groups.items():
        if _covers(row, re.escape(f'"{name}"'), column):
            return f"**{name}**: " + ", ".join(each.name for each in group.members)
    to = _covers(row, r"=>\s*(\d+)", column)
    if to and int(to[1]) in key.couplets:
        couplet = key.couplets[int(to[1])]
        return f"```\n{_own_text(reading, couplet)}\n```"
    word = _covers(row, r"\w+", column)
    return _word_meaning(reading, word[0], _LEVELS.get(_heading_above(reading.text, line), PULSE)) if word else None


def _word_meaning(reading, name, level):
    if name in reading.merged.lets:
        return f"```\n{_own_text(reading, reading.merged.lets[name])}\n```"
    if name in SUMMARIES and level == PASS:
        return f"**{name}**(of a {SUMMARIES[name].of}): {SUMMARIES[name].definition}"
    if name in NAMES[level] and level != PULSE:
        quality = NAMES[level][name]
        return f"**{name}**{f' ({quality.unit})' if quality.unit else ''}: {quality.definition}"
    if name in METRICS:
        metric = METRICS[name]
        unit = f" {metric.unit}" if metric.unit else ""
        low, high, told_apart = (short_number(each) for each in (metric.low, metric.high, metric.resolution))
        return (
            f"**{name}**{f' ({metric.unit})' if metric.unit else ''}: {metric.definition}\n\nfrom {low} to {high}{unit}; "
            f"told apart to {told_apart}{unit}"
        )
    return None


def _spaced(name):
    return r"\s+".join(map(re.escape, name.split()))


def _covers(row, pattern, column):
    return next((match for match in re.finditer(pattern, row) if match.start() <= column <= match.end()), None)


def _taxon(taxon):
    rows = [
        f"- {entry.metric} {quantity_text(entry.low)} to {quantity_text(entry.high)} {citations_text(entry.citations)}".rstrip()
        for entry in taxon.ranges
    ]
    rows += [f"- {entry.kind}: {entry.text}" for entry in taxon.entries if hasattr(entry, "kind")]
    return "\n".join(rows) or "nothing is declared of it"


def _own_text(reading, node):
    """A statement as its file has it."""
    text = reading.texts.get(node.span.file, "")
    return text[node.span.start : node.span.end]


# -------------------------------------------------------------------------------------------------------- the server


def server():
    """The language server (pygls); ImportError without the extra ``editor``."""
    from lsprotocol import types as lsp
    from pygls.lsp.server import LanguageServer
    from pygls.uris import to_fs_path

    from classifier import __version__
    from classifier.key.format import format_key

    grades = {
        "error": lsp.DiagnosticSeverity.Error,
        "warning": lsp.DiagnosticSeverity.Warning,
        "note": lsp.DiagnosticSeverity.Information,
    }
    kinds = {
        "metric": lsp.CompletionItemKind.Field,
        "statistic": lsp.CompletionItemKind.Field,
        "function": lsp.CompletionItemKind.Function,
        "let": lsp.CompletionItemKind.Variable,
        "taxon": lsp.CompletionItemKind.Class,
        "group": lsp.CompletionItemKind.Class,
        "couplet": lsp.CompletionItemKind.Reference,
        "source": lsp.CompletionItemKind.Reference,
        "word": lsp.CompletionItemKind.Keyword,
    }
    found = LanguageServer("callkey", __version__)

    def reading_of(uri):
        document = found.workspace.get_text_document(uri)
        return document, read(document.source, to_fs_path(uri) or uri)

    def place(document, reading, start, end):
        """A range of the protocol, whose columns are counted in its own units."""
        rows = document.lines or [""]
        ends = []
        for offset in (start, end):
            line = reading.text.count("\n", 0, offset)
            ends.append(lsp.Position(line, offset - (reading.text.rfind("\n", 0, offset) + 1)))
        return document.position_codec.range_to_client_units(rows, lsp.Range(*ends))

    def publish(uri):
        document, reading = reading_of(uri)
        items = []
        for each, span, message in findings(reading):
            where = place(document, reading, span.start, span.end)
            items.append(lsp.Diagnostic(where, message, grades[each.severity], f"{each.code} {each.name}", source="callkey"))
        found.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(uri, items, document.version))

    @found.feature(lsp.TEXT_DOCUMENT_DID_OPEN)
    @found.feature(lsp.TEXT_DOCUMENT_DID_SAVE)
    @found.feature(lsp.TEXT_DOCUMENT_DID_CHANGE)
    def changed(parameters):
        publish(parameters.text_document.uri)

    def at(parameters):
        document, reading = reading_of(parameters.text_document.uri)
        position = document.position_codec.position_from_client_units(document.lines, parameters.position)
        return reading, position.line, position.character

    @found.feature(lsp.TEXT_DOCUMENT_COMPLETION, lsp.CompletionOptions(trigger_characters=["[", ">", " "]))
    def complete(parameters):
        return [
            lsp.CompletionItem(each.text, kind=kinds[each.kind], detail=each.detail, documentation=each.explanation or None)
            for each in names_at(*at(parameters))
        ]

    @found.feature(lsp.TEXT_DOCUMENT_HOVER)
    def hover(parameters):
        meaning = meaning_at(*at(parameters))
        return None if meaning is None else lsp.Hover(lsp.MarkupContent(lsp.MarkupKind.Markdown, meaning))

    @found.feature(lsp.TEXT_DOCUMENT_FORMATTING)
    def laid_out(parameters):
        document, reading = reading_of(parameters.text_document.uri)
        formatted = format_key(reading.text)
        if formatted in (None, reading.text):
            return []
        return [lsp.TextEdit(place(document, reading, 0, len(reading.text)), formatted)]

    return found


def main() -> int:
    try:
        running = server()
    except ImportError:
        print("the language server needs pygls; install it with: pip install 'callkey[editor]'", file=sys.stderr)
        return 1
    running.start_io()
    return 0


if __name__ == "__main__":
    sys.exit(main())
