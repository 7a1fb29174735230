"""Unsafe definites: calls inside the declared ranges of one taxon that the key calls definite as another.

A pass is definite by clear pulses, and a pulse is clear if all its ways end alike. So the question is whether a call
inside the ranges has ways that all end in one other taxon (or in a group without it), at least one of them without an
`at most`. Ways that part in an overlap zone or at a missing metric and meet again are followed too, and every metric,
also those whose range is declared, may be missing here: a null measurement leaves both ways open, so it can only keep a
pulse from being clear, unless all of those ways end alike.
"""

from collections.abc import Iterator
from typing import NamedTuple

from classifier.key.check.cases import Case, TooHard, settled
from classifier.key.check.ground import Ground
from classifier.key.check.kinds import PLAIN
from classifier.key.check.tiers import TierRules
from classifier.key.check.undecided import Undecided
from classifier.key.check.witness import least, look_for
from classifier.key.check.words import amount, listed
from classifier.key.compile import GROUP, TAXON, Route
from classifier.key.forms import metrics_of
from classifier.key.messages import Diagnostic, finding
from classifier.key.text import short_number
from classifier.metrics import METRICS

#: Cases kept for a taxon and a lead; the witness is the widest of them.
_MOST_CASES = 6
#: Taxa that one finding names.
_MOST_TAXA = 3
#: Steps for one taxon.
_TAXON_STEPS = 40_000


class _Way(NamedTuple):
    """A call half-way: what is known of it, the couplets it has still to go through (place, cap on entering), the ends
    (as bits) in which all of its ways can still meet, and by which lead with which cap its best way ended."""

    case: Case
    ahead: tuple[tuple[int, int], ...]
    meet: int
    cap: int
    last: int | None


def unsafe_definites(ground: Ground, rules: TierRules, undecided: Undecided) -> Iterator[Diagnostic]:
    """K410, one for each lead that makes calls of other taxa definite, with the taxa and the widest witness.

    Where effort runs out the leads that are known by then are named before TooHard is raised.
    """
    if not rules.definite_by_clear_pulses:
        return
    by_lead, spent = {}, None
    try:
        _search_all(ground, undecided, by_lead)
    except TooHard as error:
        spent = error
    for last, taxa in sorted(by_lead.items()):
        yield _unsafe(ground, ground.compiled.routes[last], taxa)
    if spent is not None:
        raise spent


def _search_all(ground, undecided, by_lead):
    """Fill ``by_lead`` with (taxon, witness) pairs of every unsafe lead, taxon by taxon."""
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
            answer = look_for(ground, [Case(cells) for cells in cases], _shows(ground, taxon.name), hidden=cases)
            if answer.witness is not None:
                by_lead.setdefault(last, []).append((taxon, answer.witness))
            elif answer.open:
                label = ground.compiled.routes[last].label
                undecided.add(taxon.span, f"whether calls of `{taxon.name}` can become definite by {label}")


def _shows(ground, taxon):
    def shows(walked, call):
        if walked.gated_by is not None or len(walked.candidates) != 1:
            return False
        ((end, cap),) = walked.candidates.items()
        return (
            cap == 0
            and not _safe(end, taxon)
            and all(call.get(name) is None or low <= call[name] <= high for name, (low, high) in ground.ranges[taxon].items())
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
        # Ends as bits: those with a name, and by taxon those that may be given to it as definite.
        self.named, self.safe = 0, {}
        for place, end in enumerate(ground.compiled.ends):
            if end.kind in (TAXON, GROUP):
                self.named |= 1 << place
                for name in (end.label,) if end.kind == TAXON else end.members:
                    self.safe[name] = self.safe.get(name, 0) | 1 << place
        # By couplet the ends (as bits) that can come of it.
        self.beyond = {}
        for place in reversed(range(len(self.stations))):
            self.beyond[place] = 0
            for route in self.stations[place].routes:
                self.beyond[place] |= self.beyond[route.onward] if route.onward is not None else 1 << route.end

    def of(self, taxon: str) -> dict[int, dict[tuple[int, ...], frozenset[str]]]:
        """By last lead (index) the sets of calls of a taxon that come to an unsafe definite there: cells in which the bat's
        call lies, and the metrics of it that must be missing in the measurement."""
        ground = self.ground
        unsafe = self.named & ~self.safe.get(taxon, 0)
        effort = ground.effort.part(_TAXON_STEPS)
        start = ground.narrow(ground.perhaps_missing, ground.gate)
        start = ground.narrow(start, ground.box(taxon, missing=True))
        term = ground.box(taxon)
        if ground.none(ground.narrow(ground.everywhere, term)):
            return {}  # the ranges themselves are the fault (K413)
        box = {axis: mask & ground.axes.all[axis].measured for axis, mask in term.cells}
        found = {}
        stack = [_Way(start, ((0, 0),), unsafe, 3, None)] if start is not None and self.stations else []
        while stack:
            way = stack.pop()
            if way.ahead:
                effort.spend(6)
                if ground.polytopes.plausible(way.case.cells, effort):
                    stack.extend(self._through(way))
            elif way.cap == 0:
                cases = found.setdefault(way.last, {})
                if len(cases) < _MOST_CASES:
                    cases.update(self._calls(way.case, box, effort))
        return {last: cases for last, cases in found.items() if cases}

    def _calls(self, case, box, effort):
        """The cells of a case that a call inside the ranges can have. What is missing in the measurement is still a value of
        the call, so it lies in its declared range and keeps its relations to what was measured."""
        polytopes = self.ground.polytopes
        found = {}
        for each in settled(case, effort, polytopes.plausible):
            for present in polytopes.presences(each.cells):
                cells, absent = list(present), set()
                for axis in self.ground.axes.all:
                    mask = cells[axis.index]
                    if axis.index in box:
                        if not mask & box[axis.index]:
                            absent.add(axis.names[0])
                        cells[axis.index] = mask & box[axis.index] or box[axis.index]
                    elif axis.kind != PLAIN and mask & axis.missing:
                        cells[axis.index] = axis.domain | axis.missing
                if polytopes.possible(present, effort) and polytopes.possible(cells, effort):
                    found[tuple(cells)] = frozenset(absent)
                if len(found) >= _MOST_CASES:
                    return found
        return found

    def _through(self, way):
        """All that can become of a call in the couplet that it enters next."""
        (place, cap), ahead = way.ahead[-1], way.ahead[:-1]
        narrow = self.ground.narrow
        rest = [(way._replace(ahead=ahead), False)]
        done = []
        for route in self.ground.leads(self.stations[place]):
            terms = self.ground.terms(route)
            following = []
            for each, hesitated in rest:
                no = narrow(each.case, terms.no)
                if no is not None:
                    following.append((each._replace(case=no), hesitated))
                onward = self._onward(each, route, max(cap, route.cap))
                if onward is None:
                    continue
                yes = narrow(each.case, terms.yes)
                if yes is not None:
                    done.append(onward._replace(case=yes))
                unsure = narrow(each.case, terms.unsure)
                if unsure is not None:
                    following.append((onward._replace(case=unsure), True))
            rest = following
        # Whoever is left without having hesitated ends unidentified; the others have gone where they were unsure.
        done.extend(each for each, hesitated in rest if hesitated)
        return done

    def _onward(self, way, route: Route, cap):
        """The call after taking a lead; None if its ways can no longer meet in one unsafe end."""
        if route.onward is not None:
            meet = way.meet & self.beyond[route.onward]
            return way._replace(ahead=(*way.ahead, (route.onward, cap)), meet=meet) if meet else None
        meet = way.meet & 1 << route.end
        if not meet:
            return None
        if cap <= way.cap:
            return way._replace(meet=meet, cap=cap, last=route.index)
        return way._replace(meet=meet)


def _asked_on_the_way(ground, route):
    """Metrics that the lead's couplet asks for, up to the lead itself."""
    station = next(each for each in ground.compiled.stations if any(route is one for one in each.routes))
    asked = set()
    for each in ground.leads(station):
        if each.meaning is not None:
            asked.update(metrics_of(each.meaning))
        if each is route:
            break
    return asked


def _unsafe(ground, route, taxa):
    """The finding about one lead."""
    end = ground.compiled.ends[route.end]
    taxa = sorted(taxa, key=lambda each: -each[1].margin)
    first, witness = taxa[0]
    witness = least(ground, witness, _shows(ground, first.name), keep=ground.ranges[first.name])
    names = listed([f"`{taxon.name}`" for taxon, _ in taxa], most=_MOST_TAXA)
    ranges = ground.ranges[first.name]
    undeclared = [name for name, _ in witness.call if name not in ranges]
    # The ranges that the way there asks about; all of them, should it ask about none.
    on_the_way = _asked_on_the_way(ground, route)
    asked = [name for name in ranges if name in on_the_way] or list(ranges)
    inside = listed(
        [f"{name} {short_number(float(ranges[name][0]))} to {amount(float(ranges[name][1]), METRICS[name].unit)}" for name in asked]
    )
    label = f"`{end.label}`" if end.kind == TAXON else f'"{end.label}"'
    message = f"lead {route.label} makes calls of {names} `definite` as {label}"
    help = (
        f"keep {route.label} clear of what `{first.name}` declares ({inside}), cap it (`, at most probable`), or end it in a "
        "group that holds both"
    )
    if undeclared:
        help += f"; or, if `{first.name}` never calls so, declare its {listed(undeclared)}"
    related = [(f"declared ranges of {taxon.name}", taxon.ranges[0].span) for taxon, _ in taxa[:_MOST_TAXA]]
    return finding("K410", message, route.lead.span, help, related, witness.call)
