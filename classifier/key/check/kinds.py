"""Kinds of quantities that a key compares: how each hangs on metrics, what it can be, how finely it can be told.

A *plain* quantity is a metric or a statistic by itself. *Sums* of metrics, *ratios* of sums whose lower part has one sign, and
*bent* sums (with abs( ) in them) can be followed exactly; all others are *opaque*.
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from classifier.key import forms as f
from classifier.key.check.relations import EQUALS
from classifier.key.vocabulary import NAMES, PASS, PULSE, SUMMARIES, TIER, Quality

PLAIN, SUM, RATIO, BENT, OPAQUE = "plain", "sum", "ratio", "bent", "opaque"
#: Most abs( ) in one sum whose signs are told apart; with more the sum is opaque.
_MOST_BENDS = 4


@dataclass(frozen=True)
class Nature:
    """What is known of a quantity. ``form`` gives it in terms of metrics (None where it stands for itself or is opaque);
    ``low`` and ``high`` bound its values; ``names`` are the metrics or statistics that it is made of."""

    kind: str
    form: f.Linear | None
    unit: str
    resolution: float
    low: float
    high: float
    whole: bool
    names: tuple[str, ...]


def nature_of(atom, level: str) -> Nature:
    """What is known of an atom or a sum of atoms (forms.py) on a level (vocabulary.py)."""
    if isinstance(atom, f.Measured):
        quality = quality_of(atom.name, level)
        parts = EQUALS.get(atom.name, {atom.name: 1})
        form = f.Linear(tuple((f.Measured(name), Fraction(factor)) for name, factor in parts.items()))
        return Nature(PLAIN, form, quality.unit, quality.resolution, quality.low, quality.high, quality.whole, (atom.name,))
    low, high = interval(atom)
    if isinstance(atom, f.Gathered):
        unit = SUMMARIES[atom.function].unit or ""
        return Nature(PLAIN, None, unit, resolution(atom), low, high, atom.function == "count", ())
    form = atom if isinstance(atom, f.Linear) else f.Linear(((atom, Fraction(1)),))
    kind = _kind_of(form)
    return Nature(kind, None if kind == OPAQUE else form, "", resolution(atom), low, high, False, f.metrics_of(atom))


def _kind_of(form):
    if _is_sum(form):
        return SUM
    if len(form.terms) == 1 and isinstance(form.terms[0][0], f.Ratio):
        ratio = form.terms[0][0]
        return RATIO if _is_sum(ratio.above) and _is_sum(ratio.below) and _one_sided(ratio.below) else OPAQUE
    bends = [atom for atom, _ in form.terms if not isinstance(atom, f.Measured)]
    straight = all(isinstance(atom, f.Absolute) and _is_sum(atom.of) for atom in bends)
    return BENT if straight and len(bends) <= _MOST_BENDS else OPAQUE


def quality_of(name: str, level: str) -> Quality:
    """What the vocabulary says of a name, on its level first."""
    return next(NAMES[each][name] for each in (level, PULSE, PASS, TIER) if name in NAMES[each])


def _is_sum(form):
    return all(isinstance(atom, f.Measured) for atom, _ in form.terms)


def _one_sided(form):
    low, high = interval(form)
    return low > 0 or high < 0


def resolution(item) -> float:
    """The finest difference of a quantity that measuring can vouch for: squares add up over independent metrics."""
    match item:
        case f.Measured(name):
            return quality_of(name, PULSE).resolution
        case f.Gathered(_, of):
            return resolution(of) if isinstance(of, f.Linear) else 1.0
        case f.Linear():
            return math.sqrt(sum((float(each) * resolution(atom)) ** 2 for atom, each in item.terms))
        case f.Absolute(of):
            return resolution(of)
    return 0.0


def interval(item) -> tuple[float, float]:
    """Bounds of a quantity over all calls, from those of its metrics alone (they may be wider than need be)."""
    match item:
        case f.Measured(name):
            quality = quality_of(name, PULSE)
            return quality.low, quality.high
        case f.Gathered(function, of):
            if function == "share":
                return 0.0, 100.0
            if function == "count":
                return 0.0, math.inf
            low, high = interval(of)
            return (0.0, (high - low) / 2) if function == "spread" else (low, high)
        case f.Absolute(of):
            low, high = interval(of)
            return (0.0 if low <= 0 <= high else min(abs(low), abs(high))), max(abs(low), abs(high))
        case f.Product(left, right):
            return _corners(interval(left), interval(right))
        case f.Ratio(above, below):
            low, high = interval(below)
            if low <= 0 <= high:
                return -math.inf, math.inf
            return _corners(interval(above), (1 / high, 1 / low))
        case f.Linear():
            low = high = float(item.constant)
            for atom, coefficient in item.terms:
                ends = [float(coefficient) * end for end in interval(atom)]
                low, high = low + min(ends), high + max(ends)
            return low, high
    raise TypeError(f"no quantity: {item!r}")


def _corners(one, other):
    products = [a * b if a and b else 0.0 for a in one for b in other]
    return min(products), max(products)
