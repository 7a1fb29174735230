"""Quantities of the key language: exact arithmetic with units, and the faults it can have."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from classifier.key import forms as f
from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.messages import Diagnostic, Suggestions, finding
from classifier.key.units import PLAIN, WRITTEN, Unit, meant, unit
from classifier.key.vocabulary import NAMES

_FLIPPED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "=": "="}


@dataclass(frozen=True)
class Quantity:
    """A quantity's meaning, in canonical units. ``unit`` is how the author counts it; ``bare``: a number written
    without unit; ``zone``: the width of its overlap zone, where it is a boundary; ``size``: its atoms written out."""

    form: f.Linear
    unit: Unit
    bare: bool = False
    zone: Fraction | None = None
    size: int = 1
    level: str | None = None  # None: constant
    percent: bool = False
    whole: bool = False  # a count, which no share can stand beside


@dataclass(frozen=True)
class Condition:
    """A condition's meaning."""

    form: f.Condition
    size: int = 1
    level: str | None = None


class Quantities:
    """Arithmetic on meanings. ``Meanings`` builds on it and supplies ``_quantity``, the meaning of a part."""

    def __init__(self, report: Callable[[Diagnostic], None], quote: Callable[[s.Span | None], str]):
        self._report = report
        self._quote = quote
        self.suggest = Suggestions()

    def amount(self, quantity: s.Quantity, wanted: Unit, what: str) -> Fraction | None:
        """A written number in canonical units; ``what`` names the thing it is for, whose unit is ``wanted``."""
        own = self._written(quantity)
        if own is None:
            return None
        if own.bare and not wanted.plain:
            self._say(
                "K203",
                f"`{self._quote(quantity.span)}` has no unit; {what} is counted in {wanted.text}",
                quantity.span,
                _with_unit(quantity.value, own.form.constant, wanted.text),
            )
            return None
        if not own.unit.like(wanted):
            self._say(
                "K204",
                f"`{self._quote(quantity.span)}` does not fit: {what} "
                + (f"is counted in {wanted.text}" if wanted.text else "is a plain number"),
                quantity.span,
                f"write it in {wanted.text}" if wanted.text else "leave the unit out",
            )
            return None
        return own.form.constant

    def _say(self, code, message, span, help=""):
        self._report(finding(code, message, span, help))

    def _bounded(self, size, expression):
        if size <= limits.COMPARISONS:
            return True
        self._say(
            "K321",
            f"with its lets written out this has more than {limits.COMPARISONS} comparisons and terms",
            expression.span,
            "make it simpler",
        )
        return False

    def _joined_level(self, parts):
        return next((part.level for part in parts if part.level is not None), None)

    def _written(self, quantity):
        if quantity.unit is None:
            return Quantity(f.Linear(constant=Fraction(quantity.value)), PLAIN, bare=True, size=0)
        own = unit(quantity.unit)
        if own is None:
            known = meant(quantity.unit)
            if known is not None:
                name, factor = known
                value = float(Fraction(quantity.value) * factor)
                help = f"write `{value:.10g} {name}`"
            else:
                help = self.suggest(quantity.unit, WRITTEN) or "units are " + ", ".join((*WRITTEN, "kHz/ms")) + (
                    "; a name that is multiplied or divided by needs a blank before and behind the sign"
                    if any(sign in quantity.unit for sign in "*/·")
                    else ""
                )
            self._say("K205", f"`{quantity.unit}` is not a unit of the key language", quantity.span, help)
            return None
        return Quantity(f.Linear(constant=Fraction(quantity.value) * own.factor), own, size=0, percent=own.text == "%")

    def _measured(self, quality, level):
        own = unit(quality.unit)
        form = f.Linear(((f.Measured(quality.name), own.factor),))
        return Quantity(form, own, level=level, percent=own.text == "%", whole=quality.whole)

    def _scaled(self, quantity, factor):
        return Quantity(
            quantity.form.times(factor),
            quantity.unit,
            quantity.bare,
            None,
            quantity.size,
            quantity.level,
            quantity.percent,
        )

    def _arithmetic(self, expression):
        left, right = self._quantity(expression.left), self._quantity(expression.right)
        if left is None or right is None:
            return None
        if not self._bounded(left.size + right.size, expression):
            return None
        if expression.operator in "+-":
            result = self._sum(expression, left, right)
        elif expression.operator == "*":
            result = self._product(left, right)
        else:
            result = self._quotient(expression, left, right)
        if result is not None and _too_long(result.form):
            self._say(
                "K223",
                f"`{self._quote(expression.span)}` comes to a number too large or too fine",
                expression.span,
                "write the number itself",
            )
            return None
        return result

    def _sum(self, expression, left, right):
        if not self._fits(expression, left, right, "added" if expression.operator == "+" else "subtracted"):
            return None
        form = left.form.plus(right.form, Fraction(1 if expression.operator == "+" else -1))
        own = right.unit if left.bare else left.unit
        return Quantity(
            form,
            own,
            left.bare and right.bare,
            None,
            left.size + right.size,
            self._joined_level((left, right)),
            left.percent or right.percent,
        )

    def _product(self, left, right):
        own = left.unit.times(right.unit)
        level, size = self._joined_level((left, right)), left.size + right.size
        for one, other in ((left, right), (right, left)):
            if one.form.is_constant:
                shown = other.unit if one.unit.plain else own
                return Quantity(
                    other.form.times(one.form.constant),
                    shown,
                    one.bare and other.bare,
                    None,
                    size,
                    level,
                    other.percent and one.bare,
                )
        form = f.Linear(((f.Product(left.form, right.form), Fraction(1)),))
        return Quantity(form, own, size=size + 1, level=level)

    def _quotient(self, expression, left, right):
        own = left.unit.over(right.unit)
        level, size = self._joined_level((left, right)), left.size + right.size
        if right.form.is_constant:
            if not right.form.constant:
                self._say("K223", f"`{self._quote(expression.span)}` divides by zero", expression.span)
                return None
            shown = left.unit if right.unit.plain else own
            return Quantity(
                left.form.times(1 / right.form.constant),
                shown,
                left.bare and right.bare,
                None,
                size,
                level,
                left.percent and right.bare,
            )
        form = f.Linear(((f.Ratio(left.form, right.form), Fraction(1)),))
        return Quantity(form, own, size=size + 1, level=level)

    def _fits(self, expression, left, right, verb):
        """Whether two quantities can be added or compared; says what is wrong otherwise."""
        for one, other, side in ((left, right, "left"), (right, left, "right")):
            lacks = not other.unit.plain or other.percent
            if one.bare and lacks and not other.bare:
                node = getattr(expression, side, expression)
                number = self._quote(node.span)
                written = other.unit.text
                self._say(
                    "K203",
                    f"`{self._quote(expression.span)}` sets a bare number beside a quantity in {written}",
                    node.span,
                    _with_unit(number, one.form.constant, written),
                )
                return False
        counted = left.whole and right.percent or right.whole and left.percent
        if counted or not left.unit.like(right.unit):
            self._say(
                "K204",
                f"`{self._quote(expression.span)}`: a quantity in {left.unit.text or 'plain numbers'} and "
                f"one in {right.unit.text or 'plain numbers'} cannot be {verb}",
                expression.span,
                "both sides must be of one kind: frequency, time, slope, level or share",
            )
            return False
        return True

    def _zoned(self, expression):
        value, zone = self._quantity(expression.value), self._quantity(expression.zone)
        if value is None or zone is None:
            return None
        if not zone.form.is_constant or zone.form.constant < 0:
            self._say(
                "K217",
                f"the overlap zone `{self._quote(expression.zone.span)}` is not a plain amount",
                expression.zone.span,
                "write a number with its unit, as in 24 kHz ± 1 kHz",
            )
            return None
        if not self._fits(_Sides(expression.span, expression.value, expression.zone), value, zone, "set beside each other"):
            return None
        return Quantity(
            value.form,
            zone.unit if value.bare else value.unit,
            value.bare and zone.bare,
            zone.form.constant,
            value.size,
            value.level,
            value.percent,
        )


@dataclass(frozen=True)
class _Sides:
    """Lets ``_fits`` point at the two sides of a boundary and its zone."""

    span: s.Span | None
    left: s.Expression
    right: s.Expression


def normal(form, operator, zone, unit_shown, span):
    """``form operator 0`` in canonical units to the shape that forms.Comparison promises."""
    boundary = -form.constant
    form = f.Linear(form.terms)
    atom, first = form.terms[0]
    # One metric alone is compared in its own unit, exactly; anything else in the unit that the author used.
    alone = len(form.terms) == 1 and isinstance(atom, f.Measured)
    divisor = first if alone else (unit_shown.factor if first > 0 else -unit_shown.factor)
    if divisor < 0:
        operator = _FLIPPED[operator]
    text = next(names[atom.name].unit for names in NAMES.values() if atom.name in names) if alone else unit_shown.text
    return f.Comparison(form.times(1 / divisor), operator, boundary / divisor, zone / abs(divisor), text, span)


def _with_unit(number, value, written):
    """How to mend a bare number; a share below 1 was perhaps meant as a fraction."""
    if written == "%" and 0 < value < 1:
        return f"write `{float(100 * value):.10g} %`, or `{number} %` if so little is meant"
    return f"write `{number} {written}`"


def _too_long(form):
    return any(
        number.numerator.bit_length() > limits.NUMBER_BITS or number.denominator.bit_length() > limits.NUMBER_BITS
        for number in (form.constant, *(coefficient for _, coefficient in form.terms))
    )
