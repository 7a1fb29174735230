"""Boundaries: those that no call can lie on the other side of, those past the Nyquist frequency, zones finer than measuring."""

from dataclasses import dataclass
from fractions import Fraction

from classifier.key import forms as f
from classifier.key.check.axes import Axes
from classifier.key.check.cases import Case, Conditions, Effort, Term, TooHard, both, narrow
from classifier.key.check.kinds import OPAQUE, PLAIN, resolution
from classifier.key.check.polytope import Polytopes
from classifier.key.check.relations import HIGHEST, LOWEST, ON_THE_RIDGE
from classifier.key.check.words import amount, axis_name, listed
from classifier.key.messages import Diagnostic, finding
from classifier.key.syntax import Key
from classifier.key.text import short_number
from classifier.key.units import unit

_STEPS, _ALL_STEPS = 4_000, 100_000
_FREQUENCIES = (*ON_THE_RIDGE, LOWEST, HIGHEST)


def comparisons_of(conditions) -> list[f.Comparison]:
    """Every comparison once, in the order of the text of the conditions."""
    found, stack = {}, list(reversed(list(conditions)))
    while stack:
        match stack.pop():
            case f.Comparison() as comparison:
                found.setdefault(comparison.span or id(comparison), comparison)
            case f.Not(inner):
                stack.append(inner)
            case f.All(parts) | f.Any(parts):
                stack.extend(reversed(parts))
    return list(found.values())


@dataclass(frozen=True)
class Boundaries:
    """``findings``, and the comparisons (by id) that can never be yes or never no."""

    findings: list[Diagnostic]
    never_yes: frozenset[int]
    never_no: frozenset[int]


def boundaries(conditions, level: str, *, nyquist_khz: float | None, quote) -> Boundaries:
    """K405, K406 and K407 of all comparisons on one level.

    Parameters
    ----------
    conditions : meanings of conditions, in the order of the text
    level : pulse, pass or tier (see vocabulary)
    nyquist_khz : half the true sample rate, or None
    quote : the text of a span
    """
    comparisons = comparisons_of(conditions)
    axes = Axes(level)
    for comparison in comparisons:
        axes.take(comparison)
    heard = []
    if nyquist_khz is not None:
        for name in _FREQUENCIES:
            if (
                any(name in axis.names for axis in axes.all)
                or any(axis.names == ("bandwidth",) for axis in axes.all)
                and name in (LOWEST, HIGHEST)
            ):
                heard.append(axes.cut(name, _exact(nyquist_khz)))
    axes.close()
    limits = both(Term(((axis.index, axis.below(_exact(nyquist_khz), False)),), (), 1 << axis.index) for axis in heard)
    everywhere = Case(tuple(axis.domain for axis in axes.all))
    polytopes, terms, effort = Polytopes(axes), Conditions(axes), Effort(_ALL_STEPS)
    found, never = [], {"yes": set(), "no": set()}

    def possible(comparison, meets, start):
        try:
            case = narrow(start, terms.term(comparison, meets), effort) if start is not None else None
            return case is not None and polytopes.possible(case.cells, effort.part(_STEPS))
        except TooHard:
            return True

    audible = narrow(everywhere, limits, effort) if heard else None
    for comparison in comparisons:
        sides = {meets: possible(comparison, meets, everywhere) for meets in ("yes", "no")}
        axis = axes.placed(comparison).axis
        for meets in ("yes", "no"):
            if not sides[meets]:
                never[meets].add(id(comparison))
        if not all(sides.values()):
            found.append(_impossible(comparison, axis, sides, quote))
        elif (
            audible is not None and axis.kind != OPAQUE and not all(possible(comparison, meets, audible) for meets in ("yes", "no"))
        ):
            found.append(_past_nyquist(comparison, nyquist_khz, quote))
        else:
            narrow_zone = _narrow_zone(comparison, quote)
            found.extend([narrow_zone] if narrow_zone else [])
    return Boundaries(found, frozenset(never["yes"]), frozenset(never["no"]))


def _exact(value):
    return Fraction(str(value))


def _impossible(comparison, axis, sides, quote):
    text = f"`{quote(comparison.span)}`"
    if axis.kind == PLAIN and axis.names and len(comparison.form.terms) == 1:
        why = f"{axis_name(axis)} lies between {short_number(axis.low)} and {amount(axis.high, axis.unit)}"
    elif sides["no"]:
        why = f"no call has such values of {listed(_names_in(comparison))}"
    else:
        why = f"every call has such values of {listed(_names_in(comparison))}"
    if not sides["yes"] and not sides["no"]:
        what = "can neither be yes nor no"
    elif sides["no"]:
        what = "can never be yes" if not comparison.zone else "can never be a clear yes"
    else:
        what = "is always yes" if not comparison.zone else "can never be a clear no"
    return finding("K405", f"{text} {what}: {why}", comparison.span, "correct the number or its unit, or leave the comparison out")


def _names_in(comparison):
    return f.metrics_of(comparison.form)


def _past_nyquist(comparison, nyquist_khz, quote):
    return finding(
        "K406",
        f"`{quote(comparison.span)}` has its boundary past {amount(nyquist_khz, 'kHz')}, the Nyquist frequency of "
        f"recordings at {amount(2 * nyquist_khz, 'kHz')}: it decides nothing there",
        comparison.span,
        "record at a higher sample rate, or do without this boundary",
    )


def _narrow_zone(comparison, quote):
    finest = resolution(comparison.form)
    if not comparison.zone or not finest or float(comparison.zone) >= finest * (1 - 1e-9):
        return None
    names = f.metrics_of(comparison.form)
    what = listed([f"`{name}`" for name in names])
    return finding(
        "K407",
        f"the overlap zone of `{quote(comparison.span)}` is ± {amount(float(comparison.zone), comparison.unit)}; "
        f"{what} can be told no finer than {amount(finest, comparison.unit)}",
        comparison.span,
        f"write ± {amount(finest, comparison.unit)} or more",
    )


def heard_ranges(key: Key, nyquist_khz: float) -> list[Diagnostic]:
    """K406 for declared ranges that recordings of a sample rate cannot hold."""
    found = []
    for taxon in key.taxa.values():
        for entry in taxon.ranges:
            if entry.metric not in _FREQUENCIES:
                continue
            factor = unit(entry.high.unit or entry.low.unit or "").factor
            low = float(entry.low.value) * float(unit(entry.low.unit or entry.high.unit or "").factor)
            high = float(entry.high.value) * float(factor)
            if high <= nyquist_khz:
                continue
            part = "lies" if low > nyquist_khz else "reaches"
            found.append(
                finding(
                    "K406",
                    f"`{taxon.name}`: its {entry.metric} {part} past {amount(nyquist_khz, 'kHz')}, the Nyquist frequency "
                    f"of recordings at {amount(2 * nyquist_khz, 'kHz')}"
                    + ("; it cannot be recorded so" if low > nyquist_khz else "; some of its calls cannot be recorded so"),
                    entry.span,
                    "record at a higher sample rate where this taxon matters",
                )
            )
            break
    return found
