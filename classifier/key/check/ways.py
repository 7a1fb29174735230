"""Ways through a key: which calls come to each couplet and lead, by clear answers alone or through overlap zones as well.

A call comes *clearly* to a lead if on its way every lead before was no and every lead taken yes: it is then a clear pulse
there. It comes *at all* if no lead before was yes and none taken was no. The first is worked out for all couplets;
the second only where a proof asks for it.
"""

from dataclasses import dataclass, field

from classifier.key.check.cases import Case, TooHard
from classifier.key.check.ground import Ground
from classifier.key.compile import Route

#: Cases kept for one couplet; with more ways to it they are joined into one that is too wide (and said to be).
MOST_CASES = 24


@dataclass
class Passage:
    """The calls in one couplet, as lists of cases: ``before`` each lead, ``taken`` by it, and ``left`` by all of them.

    ``exact`` is False where ways had to be joined into a wider one, or a question was too hard: then a case may hold calls
    that do not come here, or none, and only their absence means something.
    """

    before: dict[int, list[Case]] = field(default_factory=dict)
    taken: dict[int, list[Case]] = field(default_factory=dict)
    left: list[Case] = field(default_factory=list)
    exact: bool = True

    @property
    def reached(self) -> bool:
        return any(self.before.values())


class Ways:
    """The calls that come to every couplet and lead of a key; couplets go by their place in the compiled key."""

    def __init__(self, ground: Ground):
        self.ground = ground
        self.stations = ground.compiled.stations
        self._passages = {True: {}, False: {}}
        self.station_of = {route.index: place for place, station in enumerate(self.stations) for route in station.routes}

    def passage(self, place: int, *, clearly: bool) -> Passage:
        """What comes to a couplet and how its leads divide it."""
        known = self._passages[clearly]
        if place not in known and all(self.station_of[index] in known for index in self.stations[place].entries):
            known[place] = self._passage(place, clearly)
        if place not in known:
            # Leads point forward, so the couplets before it are worked out first, in order and without recursion.
            for each in sorted({*self._above(place), place}):
                if each not in known:
                    known[each] = self._passage(each, clearly)
        return known[place]

    def _above(self, place):
        """Places of the couplets from which a couplet can be reached."""
        found, ahead = set(), [place]
        while ahead:
            for index in self.stations[ahead.pop()].entries:
                above = self.station_of[index]
                if above not in found:
                    found.add(above)
                    ahead.append(above)
        return found

    def _passage(self, place, clearly):
        passage = Passage()
        cases = self._arrivals(place, clearly, passage)
        for route in self.ground.leads(self.stations[place]):
            terms = self.ground.terms(route)
            passage.before[route.index] = cases
            passage.taken[route.index] = self._narrowed(cases, terms.yes if clearly else terms.taken, passage)
            cases = self._narrowed(cases, terms.no if clearly else terms.passed, passage)
        passage.left = cases
        return passage

    def _arrivals(self, place, clearly, passage):
        if place == 0:
            return self._narrowed([self.ground.everywhere], self.ground.gate, passage)
        cases = []
        for index in self.stations[place].entries:
            came = self._passages[clearly][self.station_of[index]]
            passage.exact &= came.exact
            cases.extend(came.taken[index])
        self.ground.effort.spend(len(cases) ** 2 // 4)
        cases = _simplified(cases)
        if len(cases) > MOST_CASES:
            passage.exact = False
            cases = [_joined(cases)]
        return cases

    def _narrowed(self, cases, term, passage):
        kept = []
        for case in cases:
            self.ground.effort.spend(2)
            narrowed = self.ground.narrow(case, term)
            try:
                narrowed = self.ground.with_model(narrowed, near=case)
            except TooHard:
                self.ground.effort.spend(0)  # goes on only if effort is left for other questions
                passage.exact = False
            if narrowed is not None:
                kept.append(narrowed)
        return kept

    def beyond(self, route: Route) -> list[int]:
        """Numbers of the couplets that only this lead leads to, also over others."""
        cut, found = {route.index}, []
        for place, station in enumerate(self.stations):
            if place and all(index in cut for index in station.entries):
                found.append(station.number)
                cut.update(each.index for each in station.routes)
        return found


def _simplified(cases):
    """The same calls in fewer cases: those that differ in one axis alone are one, and none lies within another."""
    while len(cases) > 1:
        merged = _merged(cases)
        if len(merged) == len(cases):
            break
        cases = merged
    kept = []
    for case in cases:
        if any(case.within(other) for other in kept):
            continue
        kept = [other for other in kept if not other.within(case)]
        kept.append(case)
    return kept


def _merged(cases):
    """One round of putting together pairs of cases that differ in the cells of one axis."""
    for axis in range(len(cases[0].cells)):
        groups = {}
        for case in cases:
            rest = case.cells[:axis] + case.cells[axis + 1 :], tuple(map(id, case.choices))
            groups.setdefault(rest, []).append(case)
        if len(groups) < len(cases):
            cases = [group[0] if len(group) == 1 else _united(group, axis) for group in groups.values()]
    return cases


def _united(group, axis):
    cells = list(group[0].cells)
    for case in group[1:]:
        cells[axis] |= case.cells[axis]
    return Case(tuple(cells), group[0].choices, group[0].model)


def _joined(cases):
    """One case that holds all of them, and more."""
    cells = list(cases[0].cells)
    for case in cases[1:]:
        cells = [mine | its for mine, its in zip(cells, case.cells, strict=True)]
    return Case(tuple(cells), (), cases[0].model)
