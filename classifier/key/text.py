"""What a key says as text on one line: nodes of the syntax tree as they are laid out, and quantities as they are compared."""

from decimal import Decimal

from classifier.key import forms as f
from classifier.key import syntax as s

# How tightly a node binds; an operand that binds less than its place asks for gets brackets.
_OR, _AND, _NOT, _COMPARISON, _BOUND, _SUM, _PRODUCT, _FACTOR, _ATOM = range(9)


def number_text(value: Decimal) -> str:
    """A number with the digits that the author wrote."""
    return format(value, "f")


def quantity_text(quantity: s.Quantity) -> str:
    unit = f" {quantity.unit.replace('·', '*')}" if quantity.unit else ""
    return number_text(quantity.value) + unit


def _binding(node):
    match node:
        case s.AnyOf():
            return _OR
        case s.AllOf():
            return _AND
        case s.Negation():
            return _NOT
        case s.Compare() | s.Within() | s.Presence():
            return _COMPARISON
        case s.Zoned():
            return _BOUND
        case s.Arithmetic(operator):
            return _SUM if operator in "+-" else _PRODUCT
        case s.Opposite():
            return _FACTOR
    return _ATOM


def expression_text(node: s.Expression, at_least: int = _OR) -> str:
    """An expression with single blanks and no bracket more than its tree needs."""
    text = _bare(node)
    return f"({text})" if _binding(node) < at_least else text


def _bare(node):
    put = expression_text
    match node:
        case s.Quantity():
            return quantity_text(node)
        case s.Name(name):
            return name
        case s.Call(function, argument):
            return f"{function}({put(argument)})"
        case s.Opposite(value):
            return f"-{put(value, _FACTOR)}"
        case s.Arithmetic(operator, left, right):
            own = _binding(node)
            return f"{put(left, own)} {operator} {put(right, own + 1)}"
        case s.Zoned(value, zone):
            return f"{put(value, _SUM)} ± {put(zone, _SUM)}"
        case s.Compare(operator, left, right):
            return f"{put(left, _BOUND)} {operator} {put(right, _BOUND)}"
        case s.Within(value, low, high):
            return f"{put(value, _BOUND)} from {put(low, _SUM)} to {put(high, _BOUND)}"
        case s.Presence(value, measured):
            return f"{put(value, _BOUND)} is {'measured' if measured else 'missing'}"
        case s.Negation(condition):
            return f"not {put(condition, _NOT)}"
        case s.AllOf(parts):
            return " and ".join(put(part, _NOT) for part in parts)
        case s.AnyOf(parts):
            return " or ".join(put(part, _AND) for part in parts)
    raise TypeError(f"no expression: {node!r}")


def pieces(node: s.Expression) -> list[str]:
    """The text cut before each outer `and` or `or`, where a long condition may go on in the next line."""
    match node:
        case s.AllOf(parts):
            texts, word, inner = parts, "and", _NOT
        case s.AnyOf(parts):
            texts, word, inner = parts, "or", _AND
        case _:
            return [expression_text(node)]
    return [("" if i == 0 else f"{word} ") + expression_text(part, inner) for i, part in enumerate(texts)]


def target_text(target: s.Target) -> str:
    match target:
        case s.ToCouplet(number):
            return str(number)
        case s.ToTaxon(name):
            return name
        case s.ToGroup(name):
            return f'"{name}"'
        case s.Unidentified(reason):
            return "unidentified" + (f' "{reason}"' if reason is not None else "")
        case s.NotABat(reason):
            return "not a bat" + (f' "{reason}"' if reason is not None else "")
        case s.Stays():
            return "stays"
    raise TypeError(f"no target: {target!r}")


def lead_target_text(lead: s.Lead) -> str:
    """What stands behind the arrow, with its cap."""
    return target_text(lead.target) + (f", at most {lead.at_most}" if lead.at_most else "")


def condition_text(lead: s.Lead) -> str:
    return "otherwise" if lead.condition is None else expression_text(lead.condition)


def citations_text(citations: tuple[s.Citation, ...]) -> str:
    inside = "; ".join(f"{each.source} {each.place}".strip() for each in citations)
    return f"[{inside}]" if inside else ""


def extent_text(extent: s.Extent) -> str:
    return " ".join(f"{name} {number_text(getattr(extent, name))}" for name in ("south", "north", "west", "east"))


def names_text(taxa: tuple[s.ToTaxon, ...]) -> str:
    return ", ".join(each.name for each in taxa)


def short_number(value: float) -> str:
    """A computed number with no more digits than it needs."""
    return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"


def form_text(form: f.Linear) -> str:
    """A quantity as it is compared: ``start_frequency - 2 * end_frequency``, with brackets only where they are needed."""
    texts = []
    for atom, coefficient in form.terms:
        size = abs(coefficient)
        text = _atom_text(atom) if size == 1 else f"{short_number(float(size))} * {_atom_text(atom)}"
        sign = "-" if coefficient < 0 else "+"
        texts.append(f"{sign} {text}" if texts else text if coefficient > 0 else f"-{text}")
    if form.constant:
        texts.append(f"{'-' if form.constant < 0 else '+'} {short_number(abs(float(form.constant)))}")
    return " ".join(texts) or "0"


def _atom_text(atom):
    match atom:
        case f.Measured(name):
            return name
        case f.Absolute(of):
            return f"abs({form_text(of)})"
        case f.Product(left, right):
            return f"{_factor_text(left, first=True)} * {_factor_text(right)}"
        case f.Ratio(above, below):
            return f"{_factor_text(above, first=True)} / {_factor_text(below)}"
        case f.Gathered(function):
            return f"{function}(…)"
    raise TypeError(f"no quantity: {atom!r}")


def _factor_text(form, first=False):
    """A factor in brackets where they are needed: sums and what is negative, and behind a sign whatever has signs itself."""
    text = form_text(form)
    if len(form.terms) == 1 and not form.constant:
        ((atom, coefficient),) = form.terms
        plain = coefficient == 1 and not isinstance(atom, f.Product | f.Ratio)
        if plain or (first and coefficient > 0):
            return text
    return f"({text})"
