"""Nodes of the syntax tree inside statements: places, expressions, and where a lead can end."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple


class Span(NamedTuple):
    """A piece of a key file: ``text[start:end]``; ``line`` and ``column`` count from 1."""

    file: str
    start: int
    end: int
    line: int
    column: int


@dataclass(frozen=True)
class Node:
    """What every node has. Nodes made without a text (in programs and tests) have no span."""

    span: Span | None = field(default=None, compare=False, repr=False, kw_only=True)


# ------------------------------------------------------------------------------------------------- expressions


@dataclass(frozen=True)
class Quantity(Node):
    """``24 kHz``; ``unit`` is None where none is written."""

    value: Decimal
    unit: str | None = None


@dataclass(frozen=True)
class Name(Node):
    """A metric, a let, or (in refine and passes) a statistic of the pass."""

    name: str


@dataclass(frozen=True)
class Call(Node):
    """``abs(x)``, ``median(x)``, ``share(condition)`` ..."""

    function: str
    argument: "Expression"


@dataclass(frozen=True)
class Opposite(Node):
    """``-x``"""

    value: "Expression"


@dataclass(frozen=True)
class Arithmetic(Node):
    """``left operator right`` with operator + - * or /; chains lean to the left."""

    operator: str
    left: "Expression"
    right: "Expression"


@dataclass(frozen=True)
class Zoned(Node):
    """A boundary with its overlap zone: ``24 kHz ± 1 kHz``."""

    value: "Expression"
    zone: "Expression"


@dataclass(frozen=True)
class Compare(Node):
    """``left operator right``; operator is one of < <= > >= =."""

    operator: str
    left: "Expression"
    right: "Expression"


@dataclass(frozen=True)
class Within(Node):
    """``value from low to high``: value >= low and value <= high. A zone on ``high`` holds at both ends."""

    value: "Expression"
    low: "Expression"
    high: "Expression"


@dataclass(frozen=True)
class Presence(Node):
    """``knee_frequency is missing`` or ``is measured``: never unsure."""

    value: "Expression"
    measured: bool


@dataclass(frozen=True)
class Negation(Node):
    """``not condition``"""

    condition: "Expression"


@dataclass(frozen=True)
class AllOf(Node):
    """``a and b and c`` (two parts or more)"""

    parts: tuple["Expression", ...]


@dataclass(frozen=True)
class AnyOf(Node):
    """``a or b or c`` (two parts or more)"""

    parts: tuple["Expression", ...]


Expression = Quantity | Name | Call | Opposite | Arithmetic | Zoned | Compare | Within | Presence | Negation | AllOf | AnyOf

# ------------------------------------------------------------------------------------------ where a lead can end


@dataclass(frozen=True)
class ToCouplet(Node):
    number: int


@dataclass(frozen=True)
class ToTaxon(Node):
    name: str


@dataclass(frozen=True)
class ToGroup(Node):
    name: str


@dataclass(frozen=True)
class Unidentified(Node):
    reason: str | None = None


@dataclass(frozen=True)
class NotABat(Node):
    reason: str | None = None


@dataclass(frozen=True)
class Stays(Node):
    """Only in refine: the label that the pulses gave is kept."""


Target = ToCouplet | ToTaxon | ToGroup | Unidentified | NotABat | Stays
