"""Unsafe definites: calls inside the declared ranges of one taxon that the key calls definite as another.

A pass is definite by clear pulses, and a pulse is clear if all its ways end alike. So the question is whether a call
inside the ranges has ways that all end in one other taxon (or in a group without it), at least one of them without an
`at most`. Ways that part in an overlap zone or at a missing metric and meet again are followed too, and every metric,
also those whose range is declared, may be missing here: a null measurement leaves both ways open, so it can only keep a
pulse from being clear, unless all of those ways end alike.
"""

from dataclasses import dataclass

from classifier.key.check.cases import Case, TooHard
from classifier.key.check.ground import Ground
from classifier.key.check.tiers import TierRules
from classifier.key.check.undecided import Undecided
from classifier.key.check.witness import look_for
from classifier.key.check.words import amount, listed
from classifier.key.compile import GROUP, TAXON, Route
from classifier.key.messages import Diagnostic, finding
from classifier.key.vocabulary import NAMES, PULSE

#: Cases kept for a taxon and a lead; the witness is the widest of them.
_MOST_CASES = 6
#: Taxa that one finding names.
_MOST_TAXA = 3
#: Steps for one taxon.
_TAXON_STEPS = 40_000


@dataclass(frozen=True)
class _Way:
    """A call half-way: what is known of it, the couplets it has still to go through, and how its ways ended so far."""

    case: Case
    ahead: tuple[tuple[int, int], ...]  # (place of a couplet, cap with which it is entered)
    end: int | None
    cap: int
    last: int | None


def unsafe_definites(ground: Ground, rules: TierRules, undecided: Undecided) -> list[Diagnostic]:
    """K410, one for each lead that makes calls of other taxa definite, with the taxa and the widest witness."""
    if not rules.definite_by_clear_pulses:
        return []
    by_lead = {}
    ways = _Search(ground)
    for taxon in ground.compiled.key.taxa.values():
        if not ground.ranges[taxon.name]:
            continue
        try:
            reached = ways.of(taxon.name)
        except TooHard:
            ground.effort.spend(0)
            undecided.add(taxon.span, f"whether calls of `{taxon.name}` can become definite as another taxon")
            continue
        for last, cases in reached.items():
            box = ground.box(taxon.name)
            measured = [ground.narrow(case, box) for case in cases]
            shows, keep = _shows(ground, taxon.name), ground.ranges[taxon.name]
            answer = look_for(ground, measured, shows, keep=keep)
            if answer.witness is None and not answer.open:
                answer = look_for(ground, cases, shows, keep=keep)
            if answer.witness is not None:
                by_lead.setdefault(last, []).append((taxon, answer.witness))
            elif answer.open:
                label = ground.compiled.routes[last].label
                undecided.add(taxon.span, f"whether calls of `{taxon.name}` can become definite by {label}")
    return [_unsafe(ground, ground.compiled.routes[last], taxa) for last, taxa in sorted(by_lead.items())]


def _shows(ground, taxon):
    def shows(walked, call):
        if walked.gated_by is not None or len(walked.candidates) != 1:
            return False
        (end, cap), = walked.candidates.items()
        return cap == 0 and not _safe(end, taxon) and all(
            call.get(name) is None or low <= call[name] <= high for name, (low, high) in ground.ranges[taxon].items()
        )

    return shows


def _safe(end, taxon):
    """Whether a definite label may be given to calls of a taxon."""
    return not (end.kind == TAXON and end.label != taxon or end.kind == GROUP and taxon not in end.members)


class _Search:
    """Follows the calls of a box through the key, all their ways at once."""

    def __init__(self, ground: Ground):
        self.ground = ground
        self.stations = ground.compiled.stations
        ends = ground.compiled.ends
        named = [place for place, end in enumerate(ends) if end.kind in (TAXON, GROUP)]
        # By couplet the named ends that can come of it, and those by a way without `at most`.
        self.beyond, self.freely = {}, {}
        for place in reversed(range(len(self.stations))):
            self.beyond[place], self.freely[place] = set(), set()
            for route in self.stations[place].routes:
                following = self.beyond[route.onward] if route.onward is not None else {route.end} & set(named)
                free = self.freely[route.onward] if route.onward is not None else following
                self.beyond[place] |= following
                self.freely[place] |= free if not route.cap else set()

    def of(self, taxon: str) -> dict[int, list[Case]]:
        """By last lead (index) the cases of calls of a taxon that come to an unsafe definite there."""
        ground = self.ground
        self.unsafe = {
            place for place, end in enumerate(ground.compiled.ends)
            if end.kind in (TAXON, GROUP) and not _safe(end, taxon)
        }
        self.effort = ground.effort.part(_TAXON_STEPS)
        start = ground.narrow(ground.perhaps_missing, ground.gate)
        start = ground.narrow(start, ground.box(taxon, missing=True))
        found = {}
        stack = [_Way(start, ((0, 0),), None, 3, None)] if start is not None and self.stations else []
        while stack:
            self.effort.spend()
            way = stack.pop()
            if way.ahead:
                if ground.polytopes.plausible(way.case.cells):
                    stack.extend(self._through(way))
            elif way.cap == 0:
                cases = found.setdefault(way.last, [])
                if len(cases) < _MOST_CASES and ground.any_call(way.case):
                    cases.append(way.case)
        return {last: cases for last, cases in found.items() if cases}

    def _through(self, way):
        """All that can become of a call in the couplet that it enters next."""
        (place, cap), ahead = way.ahead[-1], way.ahead[:-1]
        rest = [(_Way(way.case, ahead, way.end, way.cap, way.last), False)]
        done = []
        for route in self.ground.leads(self.stations[place]):
            terms = self.ground.terms(route)
            following = []
            for each, hesitated in rest:
                onward = self._onward(each, route, max(cap, route.cap))
                if onward is not None:
                    yes = self._narrowed(onward, terms.yes)
                    done.extend([yes] if yes else [])
                    unsure = self._narrowed(onward, terms.unsure)
                    following.extend([(unsure, True)] if unsure else [])
                no = self._narrowed(each, terms.no)
                following.extend([(no, hesitated)] if no else [])
            rest = following
        # Whoever is left without having hesitated ends unidentified; the others have gone where they were unsure.
        done.extend(each for each, hesitated in rest if hesitated)
        return done

    def _narrowed(self, way, term):
        case = self.ground.narrow(way.case, term)
        if case is None:
            return None
        return _Way(case, way.ahead, way.end, way.cap, way.last)

    def _onward(self, way, route: Route, cap):
        """The call after taking a lead; None if it can no longer end all in one unsafe place."""
        if route.onward is None:
            if route.end not in self.unsafe or way.end not in (None, route.end):
                return None
            best = min(cap, way.cap)
            return _Way(way.case, way.ahead, route.end, best, route.index if cap <= way.cap else way.last)
        wanted = self.unsafe if way.end is None else {way.end}
        if not self.beyond[route.onward] & wanted:
            return None
        return _Way(way.case, (*way.ahead, (route.onward, cap)), way.end, way.cap, way.last)


def _unsafe(ground, route, taxa):
    """The finding about one lead."""
    end = ground.compiled.ends[route.end]
    taxa = sorted(taxa, key=lambda each: -each[1].margin)
    first, witness = taxa[0]
    names = listed([f"`{taxon.name}`" for taxon, _ in taxa], most=_MOST_TAXA)
    ranges = ground.ranges[first.name]
    undeclared = [name for name, _ in witness.call if name not in ranges]
    inside = listed([
        f"{name} {amount(float(low), '')} to {amount(float(high), NAMES[PULSE][name].unit)}" for name, (low, high) in ranges.items()
    ])
    label = f"`{end.label}`" if end.kind == TAXON else f'"{end.label}"'
    message = f"lead {route.label} makes calls of {names} `definite` as {label}"
    help = f"cap the lead (`, at most probable`), move its boundary out of {inside}, or end it in a group that holds both"
    if undeclared:
        help += (
            f"; or, if `{first.name}` never calls so, declare its {listed(undeclared)}"
        )
    related = [(f"declared ranges of {taxon.name}", taxon.ranges[0].span) for taxon, _ in taxa[:_MOST_TAXA]]
    return finding("K410", message, route.lead.span, help, related, witness.call)
