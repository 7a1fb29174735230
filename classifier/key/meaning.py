"""Expressions of the syntax tree to their meaning (forms.py), and every fault of names, units and kinds on the way.

``Meanings`` reads a key's lets once, whatever their order. A fault is reported once, at the place where it stands, and
its expression has no meaning (None) from there on, silently.
"""

from collections.abc import Callable
from fractions import Fraction

from classifier.key import forms as f
from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.atoms import Atoms
from classifier.key.messages import Diagnostic
from classifier.key.quantities import Condition, Quantity, normal
from classifier.key.vocabulary import NAMES, PASS, PULSE, SUMMARIES, TIER


class Meanings(Atoms):
    """Meaning of the expressions of one (merged) key.

    ``report`` takes each Diagnostic; ``quote`` gives the text of a span. ``used`` gathers the names of lets met.
    """

    def __init__(
        self,
        lets: dict[str, s.Let],
        report: Callable[[Diagnostic], None],
        quote: Callable[[s.Span | None], str],
        broken_lets: frozenset[str] = frozenset(),
    ):
        super().__init__(report, quote)
        self._lets = lets
        self._broken = broken_lets
        self._read = {}  # name -> Quantity | Condition | None
        self._open = []  # names of the lets being read now
        self._levels = [PULSE]
        self._depth = 0
        self.used = set()

    # ---------------------------------------------------------------------------------------------- what is asked for

    def condition(self, expression: s.Expression, level: str) -> f.Condition | None:
        """The meaning of a condition on the given level; None where it has a fault (reported)."""
        self._levels = [level]
        result = self._condition(expression)
        return None if result is None else result.form

    def let(self, name: str) -> Quantity | Condition | None:
        """The meaning of a let, read on the level that its own words have."""
        if name in self._read:
            return self._read[name]
        let = self._lets[name]
        if name in self._open:
            circle = [*self._open[self._open.index(name) :], name]
            for each in circle:
                self._read[each] = None
            self._say(
                "K209",
                "lets defined in a circle: " + " needs ".join(f"`{each}`" for each in circle),
                let.span,
                "define one of them without the others",
            )
            return None
        if len(self._open) > limits.STATEMENT_NESTING:
            self._say(
                "K321",
                f"lets that need each other more than {limits.STATEMENT_NESTING} deep",
                let.span,
                "define some of them directly",
            )
            self._read[name] = None
            return None
        self._open.append(name)
        outer, self._levels = self._levels, [self._own_level(let.value)]
        result = self._any(let.value)
        self._levels = outer
        self._open.pop()
        self._read.setdefault(name, result)
        return self._read[name]

    def _own_level(self, expression):
        """The level that an expression's own words have: a let is read on it."""
        stack, level = [expression], None
        while stack:
            node = stack.pop()
            if isinstance(node, s.Name):
                level = level or self._level_of(node.name)
            elif isinstance(node, s.Call) and node.function in SUMMARIES:
                return PASS
            else:
                stack.extend(children(node))
        return level or PULSE

    def _level_of(self, name):
        levels = [level for level in (PULSE, PASS, TIER) if name in NAMES[level]]
        if levels:
            return levels[0]
        meaning = self.let(name) if name in self._lets else None
        return None if meaning is None else meaning.level

    # ------------------------------------------------------------------------------------------------------ helpers

    def _any(self, expression):
        """Quantity, Condition or None, whichever the expression is; lets within lets may not go too deep."""
        if self._depth >= limits.MEANING_DEPTH:
            self._say(
                "K321",
                f"with its lets written out this is nested more than {limits.MEANING_DEPTH} deep",
                expression.span,
                "define some of its lets directly",
            )
            return None
        self._depth += 1
        try:
            return self._kind(expression)
        finally:
            self._depth -= 1

    def _kind(self, expression):
        match expression:
            case s.Compare():
                return self._compare(expression)
            case s.Within():
                return self._within(expression)
            case s.Presence():
                return self._presence(expression)
            case s.Negation():
                inner = self._condition(expression.condition)
                if inner is None or not self._bounded(inner.size + 1, expression):
                    return None
                return Condition(f.Not(inner.form), inner.size + 1, inner.level)
            case s.AllOf() | s.AnyOf():
                return self._joined(expression)
            case s.Quantity():
                return self._written(expression)
            case s.Name():
                return self._name(expression)
            case s.Call():
                return self._call(expression)
            case s.Opposite():
                inner = self._quantity(expression.value)
                return inner and self._scaled(inner, Fraction(-1))
            case s.Arithmetic():
                return self._arithmetic(expression)
            case s.Zoned():
                return self._zoned(expression)
        raise TypeError(f"no expression: {expression!r}")

    def _condition(self, expression):
        result = self._any(expression)
        if isinstance(result, Quantity):
            self._say(
                "K206",
                f"`{self._quote(expression.span)}` is a quantity; a condition is needed here",
                expression.span,
                "compare it with a boundary, as in duration >= 2 ms",
            )
            return None
        return result

    def _quantity(self, expression, *, zone=False):
        result = self._any(expression)
        if isinstance(result, Condition):
            self._say(
                "K206",
                f"`{self._quote(expression.span)}` is a condition; a quantity is needed here",
                expression.span,
                "conditions are joined with and, or, not; only quantities are compared",
            )
            return None
        if result is not None and result.zone is not None and not zone:
            self._say(
                "K217",
                f"`{self._quote(expression.span)}` carries an overlap zone, which has no meaning here",
                expression.span,
                "give the zone where the boundary stands, behind the comparison",
            )
            return None
        return result

    # --------------------------------------------------------------------------------------------------- conditions

    def _joined(self, expression):
        parts = [self._condition(part) for part in expression.parts]
        if any(part is None for part in parts):
            return None
        size = sum(part.size for part in parts)
        if not self._bounded(size, expression):
            return None
        kind = f.All if isinstance(expression, s.AllOf) else f.Any
        return Condition(kind(tuple(part.form for part in parts)), size, self._joined_level(parts))

    def _presence(self, expression):
        value = expression.value
        if not isinstance(value, s.Name) or value.name not in NAMES[self._levels[-1]]:
            self._say(
                "K206",
                f"`{self._quote(value.span)}` is not a metric; only a metric can be missing or measured",
                value.span,
                self.suggest(getattr(value, "name", ""), NAMES[self._levels[-1]]),
            )
            return None
        return Condition(f.Presence(value.name, expression.measured, expression.span), 1, self._levels[-1])

    def _compare(self, expression):
        left, right = self._quantity(expression.left, zone=True), self._quantity(expression.right, zone=True)
        return self._comparison(expression, left, expression.operator, right)

    def _within(self, expression):
        value = self._quantity(expression.value)
        low, high = self._quantity(expression.low), self._quantity(expression.high, zone=True)
        if value is None or low is None or high is None:
            return None
        if low.bare and not high.bare:  # in `from 24 to 30 kHz` the unit holds for both ends
            low = Quantity(low.form.times(high.unit.factor), high.unit, size=0, percent=high.percent)
        if low.form.is_constant and high.form.is_constant and low.form.constant > high.form.constant:
            self._say(
                "K222",
                f"`{self._quote(expression.span)}`: the lower end lies above the upper one",
                expression.span,
                "write the lower end first",
            )
            return None
        low = Quantity(low.form, low.unit, low.bare, high.zone, low.size, low.level, low.percent)
        sides = [
            self._comparison(s.Compare(">=", expression.value, expression.low, span=expression.span), value, ">=", low),
            self._comparison(s.Compare("<=", expression.value, expression.high, span=expression.span), value, "<=", high),
        ]
        if None in sides:
            return None
        return Condition(
            f.All(tuple(side.form for side in sides)),
            sum(side.size for side in sides),
            self._joined_level(sides),
        )

    def _comparison(self, expression, left, operator, right):
        if left is None or right is None:
            return None
        if not self._fits(expression, left, right, "compared"):
            return None
        if left.zone is not None and right.zone is not None:
            self._say(
                "K217",
                f"`{self._quote(expression.span)}` has two overlap zones",
                expression.span,
                "keep one of them",
            )
            return None
        zone = left.zone if left.zone is not None else right.zone
        form = left.form.plus(right.form, Fraction(-1))
        if form.is_constant:
            self._say(
                "K219",
                f"nothing measured occurs in `{self._quote(expression.span)}`",
                expression.span,
                "name a metric in it",
            )
            return None
        size = max(1, left.size + right.size)
        if not self._bounded(size, expression):
            return None
        unit_shown = right.unit if left.form.is_constant else left.unit
        comparison = normal(form, operator, zone or Fraction(0), unit_shown, expression.span)
        if operator == "=" and not self._countable(expression, comparison, zone):
            return None
        return Condition(comparison, size, self._joined_level((left, right)))

    def _countable(self, expression, comparison, zone):
        atom = comparison.form.terms[0][0]
        quality = NAMES[self._levels[-1]].get(getattr(atom, "name", ""))
        counted = isinstance(atom, f.Gathered) and atom.function == "count"
        if len(comparison.form.terms) > 1 or not (counted or (quality and quality.whole)):
            self._say(
                "K218",
                f"`{self._quote(expression.span)}`: a measured quantity is never exactly equal to another",
                expression.span,
                "write a range, as in duration from 5 to 6 ms; = is for whole numbers such as strongest_harmonic",
            )
            return False
        if zone:
            self._say(
                "K217",
                f"`{self._quote(expression.span)}`: a whole number has no overlap zone",
                expression.span,
                "leave the zone out",
            )
            return False
        return True


def children(node: s.Expression) -> tuple[s.Expression, ...]:
    """The expressions directly inside an expression."""
    match node:
        case s.Call(_, one) | s.Opposite(one) | s.Presence(one) | s.Negation(one):
            return (one,)
        case s.Arithmetic(_, left, right) | s.Compare(_, left, right) | s.Zoned(left, right):
            return left, right
        case s.Within():
            return node.value, node.low, node.high
        case s.AllOf(parts) | s.AnyOf(parts):
            return parts
    return ()
