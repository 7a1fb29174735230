"""The syntax tree of a key: frozen values that say what stands in the text, and where.

A node's ``span`` (the piece of text it was read from) helps messages and takes no part in ``==``: two keys are equal
when they say the same. Numbers are kept as ``Decimal`` with the unit as the author wrote them. Nothing here checks,
computes or prints; ``text[span.start:span.end]`` of the file ``span.file`` is the node's own text.
"""

from dataclasses import dataclass
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
from classifier.key.statements import (  # noqa: F401
    TIERS,
    AtLeast,
    BasedOn,
    Citation,
    Couplet,
    Example,
    ExampleValue,
    Extent,
    Gap,
    Gate,
    GateLine,
    Group,
    KeyHeading,
    Lead,
    Let,
    Occurs,
    Outcome,
    Passes,
    Range,
    Refine,
    Region,
    Remark,
    Similar,
    Source,
    StandardErrors,
    Statement,
    Taxon,
    Tier,
    Without,
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
        return {couplet.number: couplet for couplet in sorted(self.all(Couplet), key=lambda each: each.number)}

    @cached_property
    def passes(self) -> Passes | None:
        return self._only(Passes)

    @cached_property
    def refines(self) -> tuple[Refine, ...]:
        return self.all(Refine)

    @cached_property
    def examples(self) -> tuple[Example, ...]:
        return self.all(Example)
