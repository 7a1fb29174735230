"""The syntax tree of a key: frozen values that say what stands in the text, and where.

A node's ``span`` (the piece of text it was read from) helps messages and takes no part in ``==``: two keys are equal
when they say the same. Numbers are kept as ``Decimal`` with the unit as the author wrote them. Nothing here checks,
computes or prints; ``text[span.start:span.end]`` of the file ``span.file`` is the node's own text.
"""

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from classifier.key.expressions import (  # noqa: F401  (this module offers the whole tree)
    AllOf,
    AnyOf,
    Arithmetic,
    Call,
    Compare,
    Expression,
    Name,
    Negation,
    Node,
    NotABat,
    Opposite,
    Presence,
    Quantity,
    Span,
    Stays,
    Target,
    ToCouplet,
    ToGroup,
    ToTaxon,
    Unidentified,
    Within,
    Zoned,
)

TIERS = ("definite", "probable", "possible")


# --------------------------------------------------------------------------------------------------- statements


@dataclass(frozen=True)
class Citation(Node):
    """``[H12 p. 34]``: the source's short name and the place in it ('' if none)."""

    source: str
    place: str = ""


@dataclass(frozen=True)
class KeyHeading(Node):
    name: str
    version: str


@dataclass(frozen=True)
class Extent(Node):
    """Degrees; south < north; west > east means across the date line."""

    south: Decimal
    north: Decimal
    west: Decimal
    east: Decimal


@dataclass(frozen=True)
class Region(Node):
    extent: Extent


@dataclass(frozen=True)
class BasedOn(Node):
    path: str


@dataclass(frozen=True)
class StandardErrors(Node):
    """How many standard errors of the measurement widen every overlap zone."""

    count: Decimal


@dataclass(frozen=True)
class Source(Node):
    name: str
    text: str


@dataclass(frozen=True)
class Range(Node):
    """A declared range of a taxon; a lower end without a unit takes the upper end's."""

    metric: str
    low: Quantity
    high: Quantity
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Similar(Node):
    taxa: tuple[ToTaxon, ...]
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Remark(Node):
    """``status``, ``tells`` or ``note`` with its text."""

    kind: str
    text: str
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Occurs(Node):
    """Where the taxon lives."""

    extent: Extent
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Taxon(Node):
    name: str
    common_names: tuple[str, ...] = ()
    entries: tuple[Range | Similar | Remark | Occurs, ...] = ()
    citations: tuple[Citation, ...] = ()

    @property
    def ranges(self) -> tuple[Range, ...]:
        return tuple(entry for entry in self.entries if isinstance(entry, Range))

    @property
    def similar(self) -> tuple[str, ...]:
        return tuple(
            taxon.name for entry in self.entries if isinstance(entry, Similar) for taxon in entry.taxa
        )

    @property
    def occurs(self) -> Extent | None:
        return next((entry.extent for entry in self.entries if isinstance(entry, Occurs)), None)

    def remarks(self, kind: str) -> tuple[str, ...]:
        """Texts of its ``status``, ``tells`` or ``note`` lines."""
        return tuple(entry.text for entry in self.entries if isinstance(entry, Remark) and entry.kind == kind)

    @property
    def status(self) -> tuple[str, ...]:
        return self.remarks("status")


@dataclass(frozen=True)
class Group(Node):
    name: str
    members: tuple[ToTaxon, ...]
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Without(Node):
    """``without Saltator ripae [=> end]``, ``without couplet 7 / group "x" / example "x" / refine A | B``.

    ``kind`` is taxon, couplet, group, example or refine; ``identity`` names the thing as ``identity_of`` does;
    ``instead`` is where leads to a dropped taxon end now.
    """

    kind: str
    identity: object
    instead: Target | None = None


@dataclass(frozen=True)
class Let(Node):
    name: str
    value: Expression
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class GateLine(Node):
    condition: Expression
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Gate(Node):
    lines: tuple[GateLine, ...]


@dataclass(frozen=True)
class Lead(Node):
    """``condition`` is None for ``otherwise``; ``at_most`` is one of TIERS or None; ``letter`` is 'a', 'b' ...

    ``number`` is the couplet's number as written in the label (None in refine).
    """

    letter: str
    condition: Expression | None
    target: Target
    at_most: str | None = None
    citations: tuple[Citation, ...] = ()
    number: int | None = None

    @property
    def label(self) -> str:
        return self.letter if self.number is None else f"{self.number}{self.letter}"


@dataclass(frozen=True)
class Couplet(Node):
    number: int
    question: str | None
    leads: tuple[Lead, ...]
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Gap(Node):
    """The silence that ends a pass."""

    time: Quantity
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class AtLeast(Node):
    """The usable pulses that a pass needs to get a label."""

    pulses: int
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Tier(Node):
    """``condition`` is None for ``otherwise``."""

    tier: str
    condition: Expression | None
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class Passes(Node):
    entries: tuple[Gap | AtLeast | Tier, ...]

    @property
    def tiers(self) -> tuple[Tier, ...]:
        return tuple(entry for entry in self.entries if isinstance(entry, Tier))


@dataclass(frozen=True)
class Refine(Node):
    """Decides between its candidates (taxa or groups) on statistics of the whole pass."""

    candidates: tuple[ToTaxon | ToGroup, ...]
    leads: tuple[Lead, ...]
    citations: tuple[Citation, ...] = ()


@dataclass(frozen=True)
class ExampleValue(Node):
    """A metric's value in an example call and, where given, its standard error. ``value`` None: known to be missing
    (a metric that is not named is not known at all)."""

    metric: str
    value: Quantity | None
    error: Quantity | None = None


@dataclass(frozen=True)
class Outcome(Node):
    """``kind`` is clear (this and nothing else), among (all of these are candidates) or gated."""

    kind: str
    labels: tuple[Target, ...] = ()
    at_most: str | None = None


@dataclass(frozen=True)
class Example(Node):
    name: str
    values: tuple[ExampleValue, ...]
    outcome: Outcome
    citations: tuple[Citation, ...] = ()


Statement = (
    KeyHeading
    | Region
    | BasedOn
    | StandardErrors
    | Source
    | Taxon
    | Group
    | Without
    | Let
    | Gate
    | Couplet
    | Passes
    | Refine
    | Example
)


def identity_of(statement: Statement) -> tuple[str, object]:
    """Which thing a statement speaks of: a later statement on the same thing replaces it in a regional variant."""
    match statement:
        case Source() | Group() | Let() | Example() | Taxon():
            return type(statement).__name__.lower(), statement.name
        case Couplet():
            return "couplet", statement.number
        case Refine():
            return "refine", frozenset((type(each).__name__, each.name) for each in statement.candidates)
        case Without():
            return f"without {statement.kind}", statement.identity
        case BasedOn():
            return "based on", statement.path
    return {
        KeyHeading: "key",
        Region: "region",
        StandardErrors: "standard errors",
        Gate: "gate",
        Passes: "passes",
    }[type(statement)], None


@dataclass(frozen=True)
class Key:
    """All statements of a key in the order of the text (of the merged text where it is based on others)."""

    statements: tuple[Statement, ...]

    def all(self, kind: type) -> tuple:
        """The statements of one class, in order."""
        return tuple(statement for statement in self.statements if isinstance(statement, kind))

    def _only(self, kind):
        return next((statement for statement in self.statements if isinstance(statement, kind)), None)

    @cached_property
    def heading(self) -> KeyHeading | None:
        return self._only(KeyHeading)

    @property
    def name(self) -> str:
        return self.heading.name if self.heading else ""

    @property
    def version(self) -> str:
        return self.heading.version if self.heading else ""

    @cached_property
    def region(self) -> Extent | None:
        region = self._only(Region)
        return region.extent if region else None

    @cached_property
    def standard_errors(self) -> float:
        """Standard errors that widen each zone; 2 where the key does not say."""
        statement = self._only(StandardErrors)
        return float(statement.count) if statement else 2.0

    @cached_property
    def sources(self) -> dict[str, Source]:
        return {source.name: source for source in self.all(Source)}

    @cached_property
    def taxa(self) -> dict[str, Taxon]:
        return {taxon.name: taxon for taxon in self.all(Taxon)}

    @cached_property
    def groups(self) -> dict[str, Group]:
        return {group.name: group for group in self.all(Group)}

    @cached_property
    def lets(self) -> dict[str, Let]:
        return {let.name: let for let in self.all(Let)}

    @cached_property
    def gate(self) -> Gate | None:
        return self._only(Gate)

    @cached_property
    def couplets(self) -> dict[int, Couplet]:
        """By number, ascending; a call enters at the lowest number."""
        return {
            couplet.number: couplet for couplet in sorted(self.all(Couplet), key=lambda each: each.number)
        }

    @cached_property
    def passes(self) -> Passes | None:
        return self._only(Passes)

    @cached_property
    def refines(self) -> tuple[Refine, ...]:
        return self.all(Refine)

    @cached_property
    def examples(self) -> tuple[Example, ...]:
        return self.all(Example)
