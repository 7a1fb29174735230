"""The key language: reading, checking, evaluating and formatting keys."""

from classifier.key.compile import CompiledKey, End, compile_key
from classifier.key.evaluate import Verdicts, evaluate
from classifier.key.examples import parse_call, run_examples
from classifier.key.format import format_key
from classifier.key.messages import Diagnostic, finding, has_errors, render
from classifier.key.reading import KeyReading, parse_key, read_key
from classifier.key.refine import Refined, evaluate_refine, evaluate_tiers
from classifier.key.rules import RULES, Rule
from classifier.key.syntax import TIERS, Key, Span
from classifier.key.walk import Walk, walk

__all__ = [
    "RULES",
    "TIERS",
    "CompiledKey",
    "Diagnostic",
    "End",
    "Key",
    "KeyReading",
    "Refined",
    "Rule",
    "Span",
    "Verdicts",
    "Walk",
    "compile_key",
    "evaluate",
    "evaluate_refine",
    "evaluate_tiers",
    "finding",
    "format_key",
    "has_errors",
    "parse_call",
    "parse_key",
    "read_key",
    "render",
    "run_examples",
    "walk",
]
