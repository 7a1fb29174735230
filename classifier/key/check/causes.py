"""Why a lead gets no call: the fewest other leads on the way to it that leave it none."""

from dataclasses import dataclass

from classifier.key.check.cases import Term, TooHard
from classifier.key.check.ground import Ground
from classifier.key.check.ways import Ways
from classifier.key.compile import Route


@dataclass(frozen=True)
class Cause:
    """Something on the way that keeps calls back: a lead that must be taken, a lead that takes calls before
    (``earlier_in``: the number of its couplet), or the gate (``route`` None)."""

    route: Route | None
    term: Term | None
    earlier_in: int | None = None


def causes_of(ground: Ground, ways: Ways, place: int, route: Route, *, clearly: bool) -> list[Cause]:
    """The causes that together leave no call for a lead, nearest first; none of them could be left out. All causes on the
    way where that is too hard to work out; none if the lead's own condition cannot be met."""
    own = ground.terms(route).yes if clearly else ground.terms(route).taken
    causes, at = _on_the_way(ground, ways, place, route, clearly)
    if at:
        # Several ways lead to this couplet: what comes by all of them together is a limit that cannot be taken apart.
        starts = next(iter(ways.passage(at, clearly=clearly).before.values()), [])
    else:
        starts = [ground.everywhere]
    try:
        return _fewest(ground, [ground.narrow(start, own) for start in starts], causes)
    except TooHard:
        ground.effort.spend(0)
        return causes


def _on_the_way(ground, ways, place, route, clearly):
    """(causes from the lead backwards, the place at which several ways join, or 0)."""
    causes = []
    while True:
        station = ground.compiled.stations[place]
        for earlier in ground.leads(station):
            if earlier.index == route.index:
                break
            terms = ground.terms(earlier)
            causes.append(Cause(earlier, terms.no if clearly else terms.passed, station.number))
        if len(station.entries) != 1:
            break
        route = ground.compiled.routes[station.entries[0]]
        place = ways.station_of[route.index]
        terms = ground.terms(route)
        causes.append(Cause(route, terms.yes if clearly else terms.taken))
    if place == 0 and ground.gate is not None:
        causes.append(Cause(None, ground.gate))
    return causes, place


def _fewest(ground, cases, causes):
    """Causes are added one by one until no call is left: the last one added is needed. It is kept and the search is
    repeated with it and those before, until what is kept is enough."""
    candidates, kept = list(range(len(causes))), []
    while left := _left(ground, cases, [causes[number] for number in kept]):
        for place, number in enumerate(candidates):
            left = _left(ground, left, [causes[number]])
            if not left:
                kept.append(number)
                candidates = candidates[:place]
                break
        else:
            return causes
    return [causes[number] for number in sorted(kept)]


def _left(ground, cases, causes):
    """Of the cases, with causes added, those that still hold a call."""
    for cause in causes:
        narrowed = ((case, ground.narrow(case, cause.term)) for case in cases)
        cases = [ground.with_model(each, near=case) for case, each in narrowed if each is not None]
        cases = [case for case in cases if case is not None]
    return [case for case in (ground.with_model(case) for case in cases) if case is not None]
