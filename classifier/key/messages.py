"""Diagnostics: what is wrong with a key, where, and how to mend it; as values, as text and for programs."""

import difflib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from classifier.key.rules import ERROR, RULES
from classifier.key.syntax import Span
from classifier.metrics import METRICS

_WIDEST = 160
#: Share of characters that must agree in a name that is suggested (difflib's own default).
_ALIKE = 0.6


@dataclass(frozen=True)
class Diagnostic:
    """One finding. ``related`` are other places that belong to it; ``witness`` is a call (metric name, value in the
    metric's unit) that shows it, where there is one."""

    code: str
    name: str
    severity: str
    message: str
    span: Span | None
    help: str = ""
    related: tuple[tuple[str, Span], ...] = ()
    witness: tuple[tuple[str, float], ...] = ()

    def as_dict(self) -> dict:
        """For ``--json``: plain values only."""
        return {
            "code": self.code,
            "name": self.name,
            "severity": self.severity,
            "message": self.message,
            "help": self.help,
            **_place(self.span),
            "related": [{"message": message, **_place(span)} for message, span in self.related],
            "witness": dict(self.witness),
        }


def _place(span):
    if span is None:
        return {"file": None, "line": None, "column": None, "start": None, "end": None}
    return {"file": span.file, "line": span.line, "column": span.column, "start": span.start, "end": span.end}


def finding(code, message, span, help="", related=(), witness=()) -> Diagnostic:
    """A Diagnostic with the name and severity of its rule."""
    rule = RULES[code]
    message, help = _legible(message), _legible(help)
    return Diagnostic(code, rule.name, rule.severity, message, span, help, tuple(related), tuple(witness))


def _legible(text):
    """Words quoted from a text may hold characters that no screen should get."""
    return text if text.isprintable() else "".join(each if each.isprintable() else "\ufffd" for each in text)


def has_errors(diagnostics: Iterable[Diagnostic]) -> bool:
    """Whether any of them forbids using the key."""
    return any(diagnostic.severity == ERROR for diagnostic in diagnostics)


def in_order(diagnostics: Iterable[Diagnostic]) -> list[Diagnostic]:
    """By file in the order met, then by place; the same finding at the same place only once."""
    files = {}
    unique = list(dict.fromkeys(diagnostics))
    for diagnostic in unique:
        files.setdefault(diagnostic.span.file if diagnostic.span else "", len(files))
    return sorted(
        unique,
        key=lambda each: (files[each.span.file], each.span.start, each.code) if each.span else (files[""], 0, each.code),
    )


def render(diagnostic: Diagnostic, texts: Mapping[str, str]) -> str:
    """A finding as several lines of text: place, code, name and message; the source line with a mark; the remedy.

        keys/demo.key:14:8: error K203 unit-missing: `duration < 5` compares a time with a bare number
           14 |     1a duration < 5 => 15
              |        ^^^^^^^^^^^^
        help: write `duration < 5 ms`

    Parameters
    ----------
    texts : the text of each file, by the name used in spans; a file that is not there is shown without its line
    """
    head = f"{diagnostic.severity} {diagnostic.code} {diagnostic.name}: {diagnostic.message}"
    lines = []
    if diagnostic.span is None:
        lines.append(head)
    else:
        span = diagnostic.span
        lines.append(f"{span.file}:{span.line}:{span.column}: {head}")
        lines.extend(_excerpt(span, texts.get(span.file)))
    for message, span in diagnostic.related:
        lines.append(f"{span.file}:{span.line}:{span.column}: {message}")
        lines.extend(_excerpt(span, texts.get(span.file)))
    if diagnostic.witness:
        lines.append(f"call: {call_text(diagnostic.witness)}")
    if diagnostic.help:
        lines.append(f"help: {diagnostic.help}")
    return "\n".join(lines)


def call_text(call: Iterable[tuple[str, float]]) -> str:
    """A call as it is typed behind --call: ``characteristic_frequency = 47 kHz, duration = 5.6 ms``."""
    parts = []
    for name, value in call:
        unit = METRICS[name].unit if name in METRICS else ""
        parts.append(f"{name} = {value:.6g}{' ' if unit else ''}{unit}")
    return ", ".join(parts)


def _excerpt(span, text):
    """The source line with carets under the span; a very long line is cut around the span."""
    if text is None:
        return []
    begin = span.start - (span.column - 1)
    stop = text.find("\n", begin)
    line = text[begin : stop if stop >= 0 else len(text)].rstrip("\r")
    first = span.column - 1
    width = max(1, min(span.end - span.start, len(line) - first))
    if len(line) > _WIDEST:
        cut = max(0, first - _WIDEST // 3)
        line, first = ("…" if cut else "") + line[cut : cut + _WIDEST] + "…", first - cut + bool(cut)
        width = max(1, min(width, len(line) - first))
    shown = "".join(character if character.isprintable() else " " for character in line)
    number = f"{span.line:>5}"
    return [f"{number} | {shown}", f"{' ' * len(number)} | {' ' * first}{'^' * width}"]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """``did you mean `duration`?`` for the nearest known name, or ''."""
    if len(word) > 80:
        return ""
    known = list(known)
    near = _nearest(word, known)
    if not near:
        lowered = {name.lower(): name for name in known}
        near = lowered.get(_nearest(word.lower(), lowered))
    return f"did you mean `{near}`?" if near else ""


def _nearest(word, known):
    """The known name most alike (by difflib's ratio), the first of several; "" where none is alike enough."""
    best, ratio = "", math.nextafter(_ALIKE, 0)
    matcher = difflib.SequenceMatcher(b=word)
    for name in known:
        matcher.set_seq1(name)
        # The quick ratios are never below the true one.
        if matcher.real_quick_ratio() > ratio and matcher.quick_ratio() > ratio:
            exact = matcher.ratio()
            if exact > ratio:
                best, ratio = name, exact
    return best


class Suggestions:
    """``did_you_mean`` with an end: after ``comparisons`` words compared it suggests nothing, so that a text with thousands
    of unknown names among thousands of known ones costs no time."""

    def __init__(self, comparisons: int = 20_000):
        self._left = comparisons

    def __call__(self, word: str, known: Iterable[str]) -> str:
        if self._left <= 0:
            return ""
        known = list(known)
        self._left -= len(known)
        return did_you_mean(word, known) if self._left >= 0 else ""
