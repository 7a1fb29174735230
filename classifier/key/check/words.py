"""Sets of calls in words, and calls as a person would write them down."""

import math
from collections.abc import Sequence

from classifier.key import forms as f
from classifier.key.check.axes import Axes, Axis
from classifier.key.text import form_text, short_number

#: Most quantities that a description names.
_MOST_NAMED = 4


def amount(value: float, unit: str) -> str:
    return f"{short_number(value)} {unit}" if unit else short_number(value)


def axis_name(axis: Axis) -> str:
    """The quantity of an axis as an author would write it."""
    if axis.kind == "plain":
        atom = axis.atom
        return atom.name if isinstance(atom, f.Measured) else f"{atom.function}(…)"
    return form_text(axis.atom if isinstance(axis.atom, f.Linear) else f.Linear(((axis.atom, 1),)))


def described(axes: Axes, cells: Sequence[int], limit: int = _MOST_NAMED) -> str:
    """What cells have in common, as in ``duration below 5 ms and knee_frequency missing``; '' where nothing is narrowed."""
    texts = []
    for axis in axes.all:
        mask = cells[axis.index]
        if mask in (axis.domain, axis.domain | axis.missing):
            continue
        texts.append(f"{axis_name(axis)} {_stretches(axis, mask)}")
    if len(texts) > limit:
        texts = [*texts[: limit - 1], "more"]
    return listed(texts)


def _stretches(axis, mask):
    if not mask & axis.every:
        return "missing"
    texts = [_stretch(axis, *run) for run in axis.runs(mask)]
    if len(texts) > 3:
        texts = [*texts[:2], "…", texts[-1]]
    if mask & axis.missing:
        texts.append("missing")
    return " or ".join(texts)


def _stretch(axis, low, low_open, high, high_open):
    unit = axis.unit
    if low == high:
        return f"exactly {amount(low, unit)}"
    at_bottom = low <= axis.low or math.isinf(low)
    at_top = high >= axis.high or math.isinf(high)
    if at_bottom and at_top:
        return "anything" if not low_open and not high_open else "not at its limit"
    if at_bottom:
        return f"below {amount(high, unit)}" if high_open else f"of {amount(high, unit)} or less"
    if at_top:
        return f"above {amount(low, unit)}" if low_open else f"of {amount(low, unit)} or more"
    return f"from {short_number(low)} to {amount(high, unit)}"


def listed(texts: Sequence[str], word: str = "and", most: int | None = None) -> str:
    """``a, b and c``; with ``most``, the rest is counted: ``a, b and 7 more``."""
    texts = list(texts)
    if most is not None and len(texts) > most:
        texts = [*texts[:most], f"{len(texts) - most} more"]
        word = "and"
    return ", ".join(texts[:-1]) + f" {word} {texts[-1]}" if len(texts) > 1 else "".join(texts)
