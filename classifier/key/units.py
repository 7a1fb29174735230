"""Units of the key language and their algebra, in exact fractions.

A unit is a product of powers of frequency, time and level with a factor to the canonical unit of its kind (kHz, ms, dB
and 1). Hence ``s`` is 1000 ms, ``%`` is 1/100 of a plain number, and kHz*s is 1000 kHz*ms.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

_BASE = {
    "kHz": ((1, 0, 0), Fraction(1)),
    "ms": ((0, 1, 0), Fraction(1)),
    "s": ((0, 1, 0), Fraction(1000)),
    "h": ((0, 1, 0), Fraction(3_600_000)),
    "dB": ((0, 0, 1), Fraction(1)),
    "%": ((0, 0, 0), Fraction(1, 100)),
}
#: The units that a number may carry by themselves; products and quotients of them are written kHz/ms, kHz*ms.
WRITTEN = tuple(_BASE)
_DIMENSION_NAMES = ("kHz", "ms", "dB")
_PIECES = re.compile(r"[*/·]")

#: What people write instead, and the factor to the key language's unit. Lower case; compared without case.
FOREIGN = {
    "hz": ("kHz", Fraction(1, 1000)),
    "hertz": ("kHz", Fraction(1, 1000)),
    "khz": ("kHz", Fraction(1)),
    "kilohertz": ("kHz", Fraction(1)),
    "mhz": ("kHz", Fraction(1000)),
    "msec": ("ms", Fraction(1)),
    "msecs": ("ms", Fraction(1)),
    "millisecond": ("ms", Fraction(1)),
    "milliseconds": ("ms", Fraction(1)),
    "us": ("ms", Fraction(1, 1000)),
    "µs": ("ms", Fraction(1, 1000)),
    "μs": ("ms", Fraction(1, 1000)),
    "sec": ("s", Fraction(1)),
    "secs": ("s", Fraction(1)),
    "second": ("s", Fraction(1)),
    "seconds": ("s", Fraction(1)),
    "min": ("s", Fraction(60)),
    "minute": ("s", Fraction(60)),
    "minutes": ("s", Fraction(60)),
    "hour": ("h", Fraction(1)),
    "hours": ("h", Fraction(1)),
    "db": ("dB", Fraction(1)),
    "decibel": ("dB", Fraction(1)),
    "decibels": ("dB", Fraction(1)),
    "percent": ("%", Fraction(1)),
    "pc": ("%", Fraction(1)),
    "ms.": ("ms", Fraction(1)),
    "khz.": ("kHz", Fraction(1)),
}


@dataclass(frozen=True)
class Unit:
    """``powers`` of frequency, time and level; ``factor`` to kHz, ms, dB and 1; ``text`` as it is shown."""

    powers: tuple[int, int, int]
    factor: Fraction
    text: str

    @property
    def plain(self) -> bool:
        """A pure number, such as a count or a ratio (not %)."""
        return self.powers == (0, 0, 0) and self.factor == 1

    def like(self, other: "Unit") -> bool:
        """Whether quantities of both can be added and compared."""
        return self.powers == other.powers

    def times(self, other: "Unit") -> "Unit":
        return _shown(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)), self.factor * other.factor)

    def over(self, other: "Unit") -> "Unit":
        return _shown(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)), self.factor / other.factor)


def _shown(powers, factor):
    """A unit with the text that its powers have in canonical units; a factor that no text shows is taken out of it."""
    above = [name for name, power in zip(_DIMENSION_NAMES, powers, strict=True) for _ in range(max(power, 0))]
    below = [name for name, power in zip(_DIMENSION_NAMES, powers, strict=True) for _ in range(max(-power, 0))]
    text = "*".join(above) or ("1" if below else "")
    text += "".join("/" + name for name in below)
    if powers == (0, 0, 0) and factor == Fraction(1, 100):
        return Unit(powers, factor, "%")
    return Unit(powers, Fraction(1), text)


PLAIN = Unit((0, 0, 0), Fraction(1), "")


@cache
def unit(text: str) -> Unit | None:
    """The unit that a text names (``kHz/ms``; '' is a plain number), or None if the key language does not have it."""
    if text == "":
        return PLAIN
    if text in _BASE:
        return Unit(*_BASE[text], text)
    pieces, signs = _PIECES.split(text), _PIECES.findall(text)
    if len(pieces) > 6 or any(piece not in _BASE for piece in pieces[pieces[0] == "1" :]):
        return None
    powers, factor = _BASE[pieces[0]] if pieces[0] != "1" else ((0, 0, 0), Fraction(1))
    powers = list(powers)
    for sign, piece in zip(signs, pieces[1:], strict=True):
        more, by = _BASE[piece]
        direction = -1 if sign == "/" else 1
        powers = [have + direction * add for have, add in zip(powers, more, strict=True)]
        factor = factor / by if sign == "/" else factor * by
    return Unit(tuple(powers), factor, text.replace("·", "*"))


def meant(text: str) -> tuple[str, Fraction] | None:
    """The unit that a foreign spelling stands for and the factor to it: ``Hz`` is (kHz, 1/1000); None if unknown."""
    pieces, signs = _PIECES.split(text), _PIECES.findall(text)
    result, factor = "", Fraction(1)
    for sign, piece in zip(["", *signs], pieces, strict=True):
        known = (piece, Fraction(1)) if piece in _BASE else FOREIGN.get(piece.lower())
        if known is None:
            return None
        result += sign + known[0]
        factor = factor / known[1] if sign == "/" else factor * known[1]
    return result, factor
