"""Tiers: those that no pass can ever be given, and a `definite` that can be given without a clear pulse."""

from fractions import Fraction

from classifier.key.check.axes import Axes
from classifier.key.check.cases import PASSED, YES, Case, Conditions, Effort, Term, TooHard, both, narrow, settled
from classifier.key.check.polytope import Polytopes
from classifier.key.compile import GROUP, TAXON, CompiledKey
from classifier.key.messages import Diagnostic, finding
from classifier.key.syntax import TIERS
from classifier.key.vocabulary import TIER

_STEPS = 20_000
#: The most support that a candidate can have which no pulse is clear for: two candidates share every vote.
_SHARED_SUPPORT = Fraction(50)


class TierRules:
    """The passes block as sets of votes (support, clear, pulses, clearance)."""

    def __init__(self, compiled: CompiledKey):
        self.compiled = compiled
        self.axes = Axes(TIER)
        for _, meaning in compiled.tiers:
            if meaning is not None:
                self.axes.take(meaning)
        self.axes.cut("support", _SHARED_SUPPORT)
        self.axes.cut("clear", Fraction(1))
        self.axes.cut("pulses", Fraction(compiled.least_pulses))
        self.axes.close()
        self.conditions = Conditions(self.axes)
        self.polytopes = Polytopes(self.axes)
        self.start = narrow(
            Case(tuple(axis.domain for axis in self.axes.all)),
            self._term("pulses", lambda axis: axis.above(Fraction(compiled.least_pulses), False)),
            Effort(_STEPS),
        )

    def _term(self, name, cells):
        axis = self.axes.named(name)
        return Term(((axis.index, cells(axis)),), (), 1 << axis.index)

    def possible(self, *terms) -> bool:
        """Whether some votes meet all of the terms; True where that is too hard to tell."""
        effort = Effort(_STEPS)
        try:
            case = None if self.start is None else narrow(self.start, both(terms), effort)
            return case is not None and any(
                self.polytopes.possible(each.cells, effort) for each in settled(case, effort, self.polytopes.plausible)
            )
        except TooHard:
            return True

    def given(self, place: int, *more) -> bool:
        """Whether votes exist to which the tier in this line (and none before it) is given."""
        before = [self.conditions.term(meaning, PASSED) for _, meaning in self.compiled.tiers[:place]]
        return self.possible(*before, self.conditions.term(self.compiled.tiers[place][1], YES), *more)

    def clear_pulses(self) -> Term:
        return self._term("clear", lambda axis: axis.above(Fraction(1), False))

    def no_clear_pulse(self) -> Term:
        return both(
            (
                self._term("clear", lambda axis: axis.below(Fraction(1), True)),
                self._term("support", lambda axis: axis.below(_SHARED_SUPPORT, False)),
            )
        )

    def definite_line(self) -> int | None:
        return next((place for place, (tier, _) in enumerate(self.compiled.tiers) if tier == TIERS[0]), None)

    @property
    def definite_by_clear_pulses(self) -> bool:
        """Whether a pass can be definite that has a clear pulse for its label."""
        line = self.definite_line()
        return line is not None and self.given(line, self.clear_pulses())


def tier_faults(compiled: CompiledKey, rules: TierRules, faulty) -> list[Diagnostic]:
    """K409 for tiers that are never given, K411 for a `definite` that needs no clear pulse. ``faulty(meaning)``: another
    finding says so already."""
    found = []
    passes = compiled.key.passes
    if passes is None:
        return found
    best = _best_on_the_way(compiled)
    for place, tier in enumerate(passes.tiers):
        index = TIERS.index(tier.tier)
        if faulty(compiled.tiers[place][1]):
            continue
        if not rules.given(place):
            before = [each.tier for each in passes.tiers[:place]]
            why = (
                "no votes can meet its condition"
                if not before or not rules.possible(rules.conditions.term(compiled.tiers[place][1], YES))
                else f"whatever meets its condition is already {before[-1]}"
            )
            found.append(
                finding(
                    "K409",
                    f"`{tier.tier}` is never given: {why}",
                    tier.span,
                    "change the numbers so that the tiers follow each other",
                )
            )
        elif best is not None and index < best:
            found.append(
                finding(
                    "K409",
                    f"`{tier.tier}` is never given: every way to a taxon or group has `at most {TIERS[best]}` on it or "
                    "something stricter",
                    tier.span,
                    "take the line out, or an `at most`",
                )
            )
    line = rules.definite_line()
    if line is not None and rules.given(line, rules.no_clear_pulse()):
        found.append(
            finding(
                "K411",
                "`definite` can be given to a pass without one clear pulse: two candidates that no pulse parts have half of "
                "the votes each, and that is enough here",
                passes.tiers[line].span,
                "ask for clear pulses as well, as in definite when support >= 90 % and clear >= 5",
            )
        )
    return found


def _best_on_the_way(compiled):
    """The best tier that any way to a taxon or group allows; None where there is no such way."""
    reached = {0: 0}
    best = None
    for place, station in enumerate(compiled.stations):
        if place not in reached:
            continue
        for route in station.routes:
            cap = max(reached[place], route.cap)
            if route.onward is not None:
                reached[route.onward] = min(cap, reached.get(route.onward, cap))
            elif compiled.ends[route.end].kind in (TAXON, GROUP):
                best = cap if best is None else min(best, cap)
    return best
