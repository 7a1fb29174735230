"""Judging a key: against calls whose bat is known, and by what it leaves ambiguous in a survey."""

from classifier.judge.audit import Audit, audit
from classifier.judge.compare import Comparison, compare
from classifier.judge.intervals import Share, share_of
from classifier.judge.references import ReferenceCall, References, read_references

__all__ = [
    "Audit",
    "Comparison",
    "ReferenceCall",
    "References",
    "Share",
    "audit",
    "compare",
    "read_references",
    "share_of",
]
