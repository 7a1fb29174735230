"""Nodes of the syntax tree that are statements, blocks and lines of blocks."""

from dataclasses import dataclass
from decimal import Decimal

from classifier.key.expressions import Expression, Node, Quantity, Target, ToGroup, ToTaxon

TIERS = ("definite", "probable", "possible")


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
        return tuple(taxon.name for entry in self.entries if isinstance(entry, Similar) for taxon in entry.taxa)

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
