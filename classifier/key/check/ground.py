"""The ground that proofs stand on: a key's couplets as sets of calls, and the question whether a set has a call in it.

The calls that proofs are about are measured without error, and every metric of them is measured, save those of which the
key itself asks whether they are missing. (An error of measurement and a missing metric only ever make an answer unsure,
so that a pulse keeps its candidates and may get more. Where that can matter, in ``definite.py``, missing metrics are
looked at too.)
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from classifier.key.check.axes import Axes
from classifier.key.check.cases import (
    EVERYTHING,
    NO,
    PASSED,
    TAKEN,
    YES,
    Case,
    Conditions,
    Effort,
    Term,
    TooHard,
    both,
    narrow,
    settled,
)
from classifier.key.check.polytope import Inside, Polytopes
from classifier.key.check.relations import kin
from classifier.key.compile import CompiledKey, Route, Station
from classifier.key.forms import Condition
from classifier.key.syntax import Taxon
from classifier.key.units import unit
from classifier.metrics import METRICS

#: Steps that one question may cost, and all of them together (a step takes two or three microseconds).
QUESTION_STEPS = 20_000
ALL_STEPS = 200_000
#: Settled cases among which those with the widest margin are looked for, and how many of these are shown.
_CASES_LOOKED_AT, _CASES_TRIED = 12, 3


class Terms:
    """A lead as sets of calls: its condition met as YES, NO, TAKEN and PASSED, and unsure; each made when it is asked for."""

    def __init__(self, conditions: Conditions, meaning: Condition | None):
        self._conditions, self._meaning = conditions, meaning

    @cached_property
    def yes(self) -> Term | None:
        return self._conditions.term(self._meaning, YES)

    @cached_property
    def no(self) -> Term | None:
        return self._conditions.term(self._meaning, NO)

    @cached_property
    def taken(self) -> Term | None:
        return self._conditions.term(self._meaning, TAKEN)

    @cached_property
    def passed(self) -> Term | None:
        return self._conditions.term(self._meaning, PASSED)

    @cached_property
    def unsure(self) -> Term | None:
        return self._conditions.unsure(self._meaning)


@dataclass(frozen=True)
class Found:
    """A call well inside a set, the cells it was found in, and whether all of its metrics have linear axes."""

    inside: Inside
    cells: tuple[int, ...]
    certain: bool


def _keeps(case, near):
    """Whether the model of ``near`` is one of the case as well: no cell of it was taken away, no choice added."""
    if any(its & ~mine for mine, its in zip(case.cells, near.model, strict=True)):
        return False
    known = set(map(id, near.choices))
    return all(id(choice) in known for choice in case.choices)


class Ground:
    """A compiled key made ready for proofs."""

    def __init__(self, compiled: CompiledKey, *, steps: int = ALL_STEPS):
        self.compiled = compiled
        self.effort = Effort(steps)
        self.axes = Axes()
        for condition in compiled.gate:
            self.axes.take(condition)
        for route in compiled.routes:
            if route.meaning is not None:
                self.axes.take(route.meaning)
        self.ranges = {taxon.name: ranges_of(taxon) for taxon in compiled.key.taxa.values()}
        for ranges in self.ranges.values():
            for name, (low, high) in ranges.items():
                self.axes.cut(name, low)
                self.axes.cut(name, high)
        self.axes.close()
        self.conditions = Conditions(self.axes)
        self.polytopes = Polytopes(self.axes, usual_stretches(self.axes))
        self.everywhere = Case(tuple(axis.domain for axis in self.axes.all))
        # With every metric perhaps missing.
        self.perhaps_missing = Case(tuple(axis.domain | axis.missing for axis in self.axes.all))
        self.gate = both(self.conditions.term(each, TAKEN) for each in compiled.gate)
        self.blank = dict.fromkeys(compiled.metrics)
        self._terms, self._boxes = {}, {}

    # ------------------------------------------------------------------------------------------------ sets of calls

    def terms(self, route: Route) -> Terms:
        if route.index not in self._terms:
            self._terms[route.index] = Terms(self.conditions, route.meaning)
        return self._terms[route.index]

    @staticmethod
    def leads(station: Station) -> tuple[Route, ...]:
        """The leads that stand in the text."""
        return station.routes[:-1]

    def narrow(self, case: Case | None, term: Term | None) -> Case | None:
        return None if case is None else narrow(case, term, self.effort)

    def box(self, taxon: str, *, missing: bool = False) -> Term | None:
        """Calls inside all declared ranges of a taxon; with ``missing`` also where metrics of them are missing."""
        if (taxon, missing) not in self._boxes:
            cells = []
            for name, (low, high) in self.ranges[taxon].items():
                axis = self.axes.named(name)
                mask = axis.above(low, False) & axis.below(high, False)
                cells.append(Term(((axis.index, mask | (axis.missing if missing else 0)),), (), 1 << axis.index))
            self._boxes[taxon, missing] = both(cells)
        return self._boxes[taxon, missing]

    # ----------------------------------------------------------------------------------------------------- questions

    def any_call(self, case: Case | None) -> bool:
        """Whether some call is in the case; TooHard where that takes too long to tell."""
        return self.with_model(case) is not None

    def none(self, case: Case | None) -> bool:
        """Whether surely no call is in the case; False where that takes too long to tell."""
        try:
            return not self.any_call(case)
        except TooHard:
            self.effort.spend(0)
            return False

    def with_model(self, case: Case | None, near: Case | None = None) -> Case | None:
        """The case with cells that have a call; None if no call is in it; TooHard where that takes too long to tell.

        ``near`` : a case with a model that this one was made from by ``narrow``; its model is tried first
        """
        if case is None or case.model is not None:
            return case
        effort = self.effort.part(QUESTION_STEPS)
        effort.spend(len(case.cells) // 8)
        found = None
        if near is not None and near.model is not None:
            if _keeps(case, near):
                return replace(case, model=near.model)
            common = tuple(mine & its for mine, its in zip(case.cells, near.model, strict=True))
            if all(common):
                found = self._model(Case(common, case.choices), effort, tries=2)
        found = found or self._model(case, effort)
        return None if found is None else replace(case, model=found)

    def _model(self, case, effort, tries=None):
        case = narrow(case, EVERYTHING, effort, recheck=True) if tries else case
        if case is None:
            return None
        for number, each in enumerate(settled(case, effort, self.polytopes.plausible)):
            if self.polytopes.possible(each.cells, effort):
                return each.cells
            if tries is not None and number + 1 >= tries:
                return None
        return None

    def find(self, cases: Iterable[Case | None], *, full: bool = False) -> list[Found]:
        """Calls of the first cases that have one: those with the widest margin, the widest first."""
        effort = self.effort.part(QUESTION_STEPS)
        found = []
        try:
            for each in self._settled(cases, effort):
                inside = self.polytopes.inside(each.cells, effort, full=full, rough=True)
                if inside is not None:
                    certain = not self.polytopes.uses_opaque(each.cells)
                    found.append(Found(inside, each.cells, certain))
                if len(found) >= _CASES_LOOKED_AT:
                    break
        except TooHard:
            if not found:
                raise
        found.sort(key=lambda each: (each.certain, each.inside.margin), reverse=True)
        return [self._centred(each, effort, full) for each in found[:_CASES_TRIED]]

    def _centred(self, found, effort, full):
        try:
            inside = self.polytopes.inside(found.cells, effort, full=full)
        except TooHard:
            return found
        return found if inside is None else Found(inside, found.cells, found.certain)

    def _settled(self, cases, effort):
        for case in cases:
            if case is not None:
                yield from settled(case, effort, self.polytopes.plausible)


def ranges_of(taxon: Taxon) -> dict[str, tuple[Fraction, Fraction]]:
    """The declared ranges of a taxon by metric, in the metric's own unit."""
    found = {}
    for entry in taxon.ranges:
        own = unit(METRICS[entry.metric].unit).factor
        high = unit(entry.high.unit or "")
        low = unit(entry.low.unit or entry.high.unit or "")
        found[entry.metric] = (Fraction(entry.low.value) * low.factor / own, Fraction(entry.high.value) * high.factor / own)
    return found


def usual_stretches(axes: Axes) -> dict[str, tuple[float, float]]:
    """For each metric the stretch in which witnesses are looked for first: what the key's numbers about it span and a
    third more on both sides; where the key has no number about it alone, what is common among bats (chosen)."""
    stretches = dict(_COMMON)
    spans = {}
    for axis in axes.all:
        if len(axis.names) != 1 or axis.names[0] not in METRICS:
            continue
        inner = [edge for edge in axis.edges if axis.low < edge < axis.high]
        if inner:
            room = max((inner[-1] - inner[0]) / 3, abs(inner[0]) / 6, 4 * axis.resolution)
            stretches[axis.names[0]] = max(axis.low, inner[0] - room), min(axis.high, inner[-1] + room)
            if kin(axis.names[0]) == "ridge":
                spans[axis.names[0]] = stretches[axis.names[0]]
    if spans:
        ridge = min(low for low, _ in spans.values()), max(high for _, high in spans.values())
        sums = [abs(edge) for axis in axes.all if len(axis.names) > 1 for edge in axis.edges if abs(edge) < 150]
        wide = max(ridge[0] - 5, 5.0), ridge[1] + max(sums, default=0.0) + 5
        for name in METRICS:
            if kin(name) == "ridge" and name not in spans:
                stretches[name] = wide
    return stretches


#: Values that look like a bat's where the key has none of its own (chosen).
_COMMON = {name: (15.0, 120.0) for name in METRICS if kin(name) == "ridge"} | {
    "duration": (1.0, 20.0),
    "knee_time": (0.5, 10.0),
    "characteristic_slope": (-10.0, 2.0),
    "initial_slope": (-30.0, 0.0),
    "mean_slope": (-20.0, 2.0),
    "bandwidth": (0.0, 60.0),
    "tail": (-10.0, 10.0),
    "interval": (20.0, 400.0),
    "snr": (10.0, 50.0),
    "level": (-60.0, -3.0),
    "second_harmonic": (-60.0, 0.0),
    "third_harmonic": (-60.0, 0.0),
}
