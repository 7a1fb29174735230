"""Highlighting of keys for editors: ``python docs/editor/make_grammar.py`` writes callkey.tmLanguage.json anew.

Words come from key.lark, names and units from the registries, so that the file follows the language. The patterns keep to
what the regular expressions of Oniguruma (editors) and of Python (tests) have in common. ``--plist`` prints the same
grammar as a property list.
"""

import json
import plistlib
import re
import sys
from pathlib import Path

from classifier.key.lines import HEADINGS
from classifier.key.parse import grammar_text
from classifier.key.syntax import TIERS
from classifier.key.units import WRITTEN
from classifier.key.vocabulary import FUNCTIONS, NAMES, PASS, PULSE, TIER

FILE = Path(__file__).with_name("callkey.tmLanguage.json")
LOGICAL = ("and", "or", "not")
#: Words of one letter (``not a bat``) stand only in their phrase: by itself such a letter labels a lead of refine.
PHRASES = ("not a bat",)


def keywords() -> list[str]:
    """Every word that the grammar writes out, but for those of one letter."""
    words = set(re.findall(r'"([a-z]+)"', grammar_text())) | {"missing", "measured", "pulse", "pulses"}
    return sorted(word for word in words if len(word) > 1)


def _any(words):
    """One of these words, the longest first."""
    return "|".join(re.escape(word).replace(r"\ ", r"[ \t]+") for word in sorted(words, key=lambda word: (-len(word), word)))


def _word(words):
    return rf"(?<!\w)(?:{_any(words)})(?!\w)"


def grammar() -> dict:
    """The grammar as a TextMate grammar's plain values."""
    number = r"[0-9]+(?:\.[0-9]+)*"
    unit = f"(?:{_any(WRITTEN)})"
    statistics = (set(NAMES[PASS]) | set(NAMES[TIER])) - set(NAMES[PULSE])
    others = set(keywords()) - set(HEADINGS) - set(LOGICAL) - set(TIERS) - statistics
    rules = [
        ("comment.line.number-sign", r"#.*$"),
        ("string.quoted.double", r'"[^"]*"'),
        ("invalid.illegal.unclosed", r'"[^"]*$'),
        ("constant.other.citation", r"\[[^\]]*\]"),
        ("entity.name.label", r"^[ \t]*(?:[0-9]+[a-z]|[a-z])(?!\w)"),
        ("keyword.control", rf"^[ \t]*(?:{_any(HEADINGS)})(?!\w)"),
        ("entity.name.type.taxon", r"(?<!\w)[A-ZÀ-ÖØ-Þ][\w.'’×-]*(?:[ \t]+[a-zß-öø-ÿ×][\w.'’×-]*)*"),
        ("keyword.operator.arrow", r"=>"),
        ("keyword.operator.comparison", r"<=|>=|<|>|=|≤|≥"),
        ("keyword.operator.zone", r"±|\+/-"),
        ("constant.numeric", rf"(?<!\w){number}"),
        ("keyword.other.unit", rf"(?<![^\W\d])(?:{unit}(?:[*/·]{unit})*)(?!\w)"),
        ("keyword.operator.arithmetic", r"[-−+*/·]"),
        ("keyword.other", _word(PHRASES)),
        ("keyword.operator.logical", _word(LOGICAL)),
        ("constant.language.tier", _word(TIERS)),
        ("support.variable.metric", _word(NAMES[PULSE])),
        ("support.variable.statistic", _word(statistics)),
        ("support.function", _word(FUNCTIONS) + r"(?=[ \t]*\()"),
        ("keyword.other", _word([*others, *HEADINGS])),
        ("variable.other.let", r"(?<!\w)[^\W\d][\w\u0300-\u036f]*"),
        ("punctuation.separator", r"[,|()]"),
    ]
    return {
        "name": "callkey",
        "scopeName": "source.callkey",
        "fileTypes": ["key"],
        "patterns": [{"name": f"{scope}.callkey", "match": pattern} for scope, pattern in rules],
    }


def text() -> str:
    return json.dumps(grammar(), ensure_ascii=False, indent=2) + "\n"


if __name__ == "__main__":
    if "--plist" in sys.argv:
        sys.stdout.buffer.write(plistlib.dumps(grammar(), sort_keys=False))
    else:
        FILE.write_text(text(), encoding="utf-8")
