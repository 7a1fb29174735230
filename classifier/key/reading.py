"""From a file or a text to a key ready for use, with every fault in one run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from classifier.key import forms as f
from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.bases import Refusal, Resolver, files_beside, merge_bases, no_files, read_text
from classifier.key.collector import collector_paused
from classifier.key.lines import Comment
from classifier.key.messages import Diagnostic, finding, has_errors, in_order
from classifier.key.rules import ERROR
from classifier.key.soundness import check_names, check_twice

#: Findings that a base could not be had, and findings that something is missing, which may then stand in that base.
_NO_BASE = frozenset(("K303", "K304", "K305"))
_ABSENCES = frozenset(("K201", "K202", "K210", "K212", "K215", "K216", "K224", "K225", "K308"))


@dataclass(frozen=True)
class KeyReading:
    """What came of reading a key.

    key : the merged key; None when any diagnostic is an error
    diagnostics : every finding, by file and place
    text : the key's own text ('' where the file could not be read)
    texts : the texts of the key and its bases by the names used in spans
    merged : the best that could be read, faults or not (for checks that go on, and for editors)
    meanings : meaning of each condition by ``id`` of its expression in ``merged``; those with faults are absent
    statements, comments : of the key's own text alone, for the formatter
    """

    file: str
    key: s.Key | None
    diagnostics: tuple[Diagnostic, ...]
    text: str
    texts: Mapping[str, str]
    merged: s.Key
    meanings: Mapping[int, f.Condition] = field(repr=False)
    statements: tuple[s.Statement, ...] = field(repr=False)
    comments: tuple[Comment, ...] = field(repr=False)

    @property
    def digest_text(self) -> str:
        """The texts of the key and its bases, one after the other: what a digest of the key is made of."""
        return "\n".join(self.texts.values())


def read_key(path: str | Path) -> KeyReading:
    """Read a key and its bases from disk.

    Never raises for a bad key: a file that is missing or is no text gives a reading with that one finding. Opens nothing
    but the file itself and its bases (see ``bases.files_beside``).
    """
    file = str(path)
    text = read_text(Path(path))
    if isinstance(text, Refusal):
        fault = finding(text.code, text.message, s.Span(file, 0, 0, 1, 1), text.help)
        return KeyReading(file, None, (fault,), "", {}, s.Key(()), {}, (), ())
    return parse_key(text, file, resolver=files_beside)


@collector_paused()
def parse_key(text: str, file: str = "key", *, resolver: Resolver = no_files) -> KeyReading:
    """Read a key from its text.

    Parameters
    ----------
    text : the whole key
    file : the name that messages use
    resolver : finds the texts of bases; the default finds none
    """
    merged = merge_bases(text, file, resolver)
    texts = {name: content for name, content, _ in merged.parts}
    found = list(merged.diagnostics)
    broken = set()
    for _, _, parsed in merged.parts:
        found.extend(parsed.diagnostics)
        found.extend(check_twice(parsed.statements))
        broken |= parsed.broken
    if merged.diagnostics:
        broken.add(("base", None))
    key = s.Key(merged.statements)

    def quote(span):
        return "" if span is None else " ".join(texts[span.file][span.start : span.end].split())

    checked = check_names(key, quote, frozenset(broken), merged.dropped)
    whole = not any(each.code in _NO_BASE for each in merged.diagnostics)
    found.extend(each for each in checked.diagnostics if whole or each.code not in _ABSENCES)
    own = merged.parts[0][2]
    diagnostics = tuple(_shown(in_order(_placed(found, file))))
    return KeyReading(
        file,
        None if has_errors(diagnostics) else key,
        diagnostics,
        text,
        texts,
        key,
        checked.meanings,
        own.statements,
        own.comments,
    )


def _placed(found, file):
    """Findings about the key as a whole stand at its beginning."""
    for each in found:
        if each.span is None:
            yield finding(each.code, each.message, s.Span(file, 0, 0, 1, 1), each.help, each.related)
        else:
            yield each


def _shown(found):
    """The findings, cut where nobody reads on; errors are kept before warnings. Warnings alone do not forbid the key, however
    many they are."""
    if len(found) <= limits.ALL_FINDINGS:
        return found
    errors = [each for each in found if each.severity == ERROR]
    kept = (errors or found)[: limits.ALL_FINDINGS]
    rest = f"{len(found) - len(kept):,} more findings are not shown"
    return [*kept, finding("K322" if errors else "K491", rest, found[-1].span, "mend these first, then check again")]
