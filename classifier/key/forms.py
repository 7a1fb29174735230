"""What conditions mean: normal forms in exact numbers, with every let written out and every unit resolved.

``meaning.py`` makes them from the syntax tree; the evaluators, the plain walk and the checker read nothing else. A
quantity is a *linear form*: a sum of exact multiples of atoms, plus a constant. An atom is something measured, or one
of the few things that are not linear (abs, product, quotient, a summary over the pulses of a pass). A comparison is brought
to the shape ``form sense boundary``, where the form has no constant; with one metric the form is just that
metric, so the boundary is in the metric's own unit.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from classifier.key.syntax import Span


@dataclass(frozen=True)
class Measured:
    """A metric of the pulse, or a named statistic of the pass or tier, in its own unit."""

    name: str


@dataclass(frozen=True)
class Absolute:
    of: "Linear"


@dataclass(frozen=True)
class Product:
    left: "Linear"
    right: "Linear"


@dataclass(frozen=True)
class Ratio:
    above: "Linear"
    below: "Linear"


@dataclass(frozen=True)
class Gathered:
    """A summary (median, mean, spread, share, count) over the pulses of a pass. A quantity is in canonical units."""

    function: str
    of: "Linear | Condition"


Atom = Measured | Absolute | Product | Ratio | Gathered


@dataclass(frozen=True)
class Linear:
    """sum of coefficient * atom, plus constant. Atoms are distinct and in the order first written."""

    terms: tuple[tuple[Atom, Fraction], ...] = ()
    constant: Fraction = Fraction(0)

    @property
    def is_constant(self) -> bool:
        return not self.terms

    def plus(self, other: "Linear", factor: Fraction = Fraction(1)) -> "Linear":
        """self + factor * other; atoms that cancel are gone."""
        sums = dict(self.terms)
        for atom, coefficient in other.terms:
            sums[atom] = sums.get(atom, 0) + factor * coefficient
        terms = tuple((atom, coefficient) for atom, coefficient in sums.items() if coefficient)
        return Linear(terms, self.constant + factor * other.constant)

    def times(self, factor: Fraction) -> "Linear":
        if not factor:
            return Linear()
        return Linear(tuple((atom, factor * each) for atom, each in self.terms), factor * self.constant)


def metrics_of(item) -> tuple[str, ...]:
    """Names of everything measured in a form, an atom or a condition, in the order first met, each once."""
    found, seen, stack = {}, set(), [item]
    while stack:
        item = stack.pop()
        if id(item) in seen:
            continue
        seen.add(id(item))
        match item:
            case Measured(name):
                found.setdefault(name)
            case Linear():
                stack.extend(atom for atom, _ in reversed(item.terms))
            case Absolute(of) | Gathered(_, of):
                stack.append(of)
            case Product(left, right) | Ratio(left, right):
                stack.extend((right, left))
            case Comparison():
                stack.append(item.form)
            case Presence():
                found.setdefault(item.name)
            case Fact():
                found.setdefault(item.name)
            case Not():
                stack.append(item.condition)
            case All() | Any():
                stack.extend(reversed(item.parts))
    return tuple(found)


@dataclass(frozen=True)
class Comparison:
    """``form sense boundary``, unsure within ``zone`` of the boundary.

    sense is < <= > >= or =; ``unit`` is the text of the unit in which form, boundary and zone are counted;
    ``span`` is the text of the comparison, which may stand in a let.
    """

    form: Linear
    sense: str
    boundary: Fraction
    zone: Fraction = Fraction(0)
    unit: str = ""
    span: Span | None = field(default=None, compare=False, repr=False)

    @cached_property
    def metrics(self) -> tuple[str, ...]:
        """Names of everything measured in it."""
        return metrics_of(self.form)

    @cached_property
    def edges(self) -> tuple[float, float]:
        """Where the zone begins and ends, taken from exact numbers: 0.3 ± 0.1 begins at 0.2 and not beside it."""
        return float(self.boundary - self.zone), float(self.boundary + self.zone)


@dataclass(frozen=True)
class Presence:
    """Whether a metric was measured; never unsure."""

    name: str
    measured: bool
    span: Span | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Fact:
    """A named yes or no of the pass, such as feeding_buzz."""

    name: str
    span: Span | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Not:
    condition: "Condition"


@dataclass(frozen=True)
class All:
    parts: tuple["Condition", ...]


@dataclass(frozen=True)
class Any:
    parts: tuple["Condition", ...]


Condition = Comparison | Presence | Fact | Not | All | Any
