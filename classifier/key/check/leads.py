"""Leads and couplets: leads that no call comes to, leads that no call takes clearly, gaps, and leads that overlap."""

from classifier.key.check.cases import TooHard, both, settled
from classifier.key.check.ground import Ground
from classifier.key.check.undecided import Undecided
from classifier.key.check.ways import Ways
from classifier.key.check.witness import look_for
from classifier.key.check.words import axis_name, described, listed
from classifier.key.messages import Diagnostic, finding
from classifier.key.text import condition_text, lead_target_text
from classifier.key.walk import YES, judge

#: Most other leads that the explanation of a dead lead points at.
_MOST_RELATED = 4


def unreached(ground: Ground, ways: Ways, accounted: frozenset[int]) -> list[Diagnostic]:
    """K401 for leads that no call comes to, K402 for those that no call takes clearly.

    ``accounted`` : leads (by index) of which another finding already says that they cannot be taken
    """
    found = []
    for place, station in enumerate(ground.compiled.stations):
        clear = ways.passage(place, clearly=True)
        for route in ground.leads(station):
            if clear.taken[route.index] or route.index in accounted:
                continue
            passage = ways.passage(place, clearly=False)
            if not passage.reached:
                break  # the lead that should lead here is the fault
            if not passage.taken[route.index]:
                found.append(_dead(ground, ways, place, route))
            elif clear.reached:
                found.append(_never_clear(ground, station, route))
    return found


def _dead(ground, ways, place, route):
    causes = _causes(ground, ways, place, route)
    label = route.label
    number = ground.compiled.stations[place].number
    here = [each for each, kind in causes if kind == "passed" and each.lead.number == number]
    above = [each for each, kind in causes if each is not None and each not in here]
    gate = any(each is None for each, _ in causes)
    beyond = ways.beyond(route)
    if not causes:
        reason, help = "no call can meet its condition", f"change the condition of {label}, or take the lead out"
    elif not above and not gate:
        one = "takes" if len(here) == 1 else "together take"
        names = listed([each.label for each in here])
        reason = f"{names} {one} every call that it would take"
        help = f"put {label} before {here[0].label}, narrow {names}, or take {label} out"
    else:
        reason = "what comes to couplet " + str(number) + " never meets its condition"
        if here:
            reason += f" once {listed([each.label for each in here])} took theirs"
        if gate and not above:
            reason = "the gate stops every call that it would take" + (
                f", or {listed([each.label for each in here])} takes it" if here else "")
        help = f"widen {label}, change the way to it, or take it out"
    tail = f"; with it couplet{'s' if len(beyond) > 1 else ''} {listed([*map(str, beyond)], most=6)} cannot be reached" \
        if beyond else ""
    related = [(_cause_text(each, kind), each.lead.span) for each, kind in causes if each is not None]
    return finding("K401", f"no call comes to lead {label}: {reason}{tail}", route.lead.span, help, related[:_MOST_RELATED])


def _cause_text(route, kind):
    if kind == "passed":
        return f"{route.label} takes calls before: {condition_text(route.lead)}"
    return f"only by {route.label} does one come there: {condition_text(route.lead)}"


def _causes(ground, ways, place, route):
    """The fewest other leads ((route, 'passed' or 'taken'), or (None, 'gate')) that leave no call for a lead."""
    own = ground.terms(route).taken
    limits = [((None, "gate"), ground.gate)]
    limits.extend(_limits_of(ground, place, route))
    at = place
    while at and len(ground.compiled.stations[at].entries) == 1:
        index = ground.compiled.stations[at].entries[0]
        at = next(
            number for number, station in enumerate(ground.compiled.stations)
            if any(each.index == index for each in station.routes)
        )
        entry = ground.compiled.routes[index]
        limits.append(((entry, "taken"), ground.terms(entry).taken))
        limits.extend(_limits_of(ground, at, entry))
    if at:
        # Several ways lead to couplet ``at``: what comes by all of them together is one limit that cannot be told apart.
        arrivals = ways.passage(at, clearly=False)
        starts = next(iter(arrivals.before.values()), [])
    else:
        starts = [ground.everywhere]

    def empty(kept):
        term = both([own, *(term for _, term in kept)])
        return not any(ground.any_call(ground.narrow(start, term)) for start in starts)

    try:
        if not empty(limits):
            return [limit for limit, _ in limits if limit[0] is not None]
        # Those furthest from the lead are dropped first, so that what is left lies near it.
        for limit in sorted(limits, key=lambda each: -limits.index(each)):
            rest = [each for each in limits if each is not limit]
            if empty(rest):
                limits = rest
    except TooHard:
        ground.effort.spend(0)
    return [limit for limit, _ in limits]


def _limits_of(ground, place, route):
    for earlier in ground.leads(ground.compiled.stations[place]):
        if earlier.index == route.index:
            return
        yield (earlier, "passed"), ground.terms(earlier).passed


def _never_clear(ground, station, route):
    earlier = [each.label for each in ground.leads(station) if each.index < route.index]
    because = f"wherever it is yes, {listed(earlier, 'or')} is not clearly no" if earlier else \
        "its condition is never a clear yes"
    return finding(
        "K402", f"no call takes lead {route.label} clearly: {because}", route.lead.span,
        "a pulse that comes here always has another candidate beside it, so no pulse is ever clear for this lead; "
        "move the boundaries further apart, or narrow the overlap zones",
    )


# --------------------------------------------------------------------------------------------------------------- gaps


def gaps(ground: Ground, ways: Ways, undecided: Undecided) -> list[Diagnostic]:
    """K403: couplets with calls that no lead takes."""
    found = []
    for place, station in enumerate(ground.compiled.stations):
        leads = ground.leads(station)
        if any(route.meaning is None for route in leads):
            continue

        def shows(walked, call, number=station.number):
            return any(f"{number}-" in way.split() for way in walked.trail.split(" | "))

        answer = None
        for clearly in (True, False):
            passage = ways.passage(place, clearly=clearly)
            left = passage.left if clearly else _refused(ground, leads, passage)
            if left:
                answer = look_for(ground, left, shows, exact=passage.exact)
                if answer.witness is not None:
                    break
        if answer is not None and answer.witness is not None:
            found.append(_gap(ground, station, answer.witness))
        elif answer is not None and answer.open:
            undecided.add(station.couplet.span, f"whether couplet {station.number} leaves calls without a lead")
    return found


def _refused(ground, leads, passage):
    """Of the calls that come to a couplet at all, those to which each of its leads says no."""
    noes = both(ground.terms(route).no for route in leads)
    cases = (ground.narrow(case, noes) for case in passage.before[leads[0].index])
    return [case for case in cases if case is not None]


def _gap(ground, station, witness):
    axes = 0
    for route in ground.leads(station):
        axes |= ground.terms(route).no.axes if ground.terms(route).no is not None else 0
    cells = [
        mask if axes >> axis.index & 1 else axis.domain
        for axis, mask in zip(ground.axes.all, witness.cells, strict=True)
    ]
    which = described(ground.axes, cells)
    letter = chr(ord(max(each.letter for each in station.couplet.leads)) + 1)
    leads = listed([route.label for route in ground.leads(station)])
    verb = "is" if len(ground.leads(station)) == 1 else "are all"
    return finding(
        "K403",
        f"couplet {station.number} leaves calls without a lead" + (f", such as those with {which}" if which else "")
        + f": {leads} {verb} no",
        station.couplet.span,
        f"such a call ends unidentified without a reason; let the leads meet, or add a last one: "
        f"{station.number}{letter} otherwise => unidentified \"…\"" if letter <= "z" else "let the leads meet",
        witness=witness.call,
    )


# ----------------------------------------------------------------------------------------------------------- overlaps


def overlaps(ground: Ground, ways: Ways, undecided: Undecided) -> list[Diagnostic]:
    """K404: pairs of leads of a couplet that are both a plain yes to some call, where on a quantity that both compare
    neither's stretch lies within the other's, and neither lead is a special case of the other."""
    found = []
    for place, station in enumerate(ground.compiled.stations):
        leads = [route for route in ground.leads(station) if route.meaning is not None]
        stretches = {route.index: _stretches(ground, route) for route in leads} if len(leads) > 1 else {}
        for position, first in enumerate(leads):
            for second in leads[position + 1 :]:
                if (first.onward, first.end, first.cap) == (second.onward, second.end, second.cap):
                    continue
                shared = [
                    axis for axis in stretches[first.index].keys() & stretches[second.index].keys()
                    if _crossing(stretches[first.index][axis], stretches[second.index][axis])
                ]
                if shared:
                    overlap = _overlap(ground, ways, undecided, place, first, second, sorted(shared))
                    found.extend([overlap] if overlap else [])
    return found


def _stretches(ground, route):
    """By axis the cells in which a lead can be yes, whatever the other quantities are; only axes that it narrows."""
    union = {}
    case = ground.narrow(ground.everywhere, ground.terms(route).yes)
    if case is None:
        return {}
    try:
        cells = [0] * len(case.cells)
        for each in settled(case, ground.effort.part(2_000)):
            cells = [mine | its for mine, its in zip(cells, each.cells, strict=True)]
    except TooHard:
        ground.effort.spend(0)
        return {}
    for axis, mask in zip(ground.axes.all, cells, strict=True):
        if mask & axis.every != axis.domain & axis.every:
            union[axis.index] = mask & axis.every
    return union


def _crossing(one, other):
    return bool(one & other and one & ~other and other & ~one)


def _overlap(ground, ways, undecided, place, first, second, shared):
    passage = ways.passage(place, clearly=True)
    yes, also = ground.terms(first).yes, ground.terms(second)
    before = passage.before[first.index]
    standard_errors = ground.compiled.standard_errors

    def takes(route, other, wanted):
        def shows(walked, call):
            took = any(step.label == route.label and step.truth == YES for step in walked.steps)
            given = {name: (value, None) for name, value in call.items()}
            return took and (judge(other.meaning, given, standard_errors)[0] == YES) == wanted

        return shows

    def ask(cases, shows):
        return look_for(ground, [case for case in cases if case is not None], shows, exact=passage.exact)

    both_yes = ask((ground.narrow(case, both((yes, also.yes))) for case in before), takes(first, second, True))
    if both_yes == type(both_yes)():
        return None
    answers = [
        both_yes,
        ask((ground.narrow(case, both((yes, also.no))) for case in before), takes(first, second, False)),
        ask(passage.taken[second.index], takes(second, first, False)),
    ]
    if any(answer.witness is None and not answer.open for answer in answers):
        return None
    if any(answer.witness is None for answer in answers):
        undecided.add(second.lead.span, f"whether {first.label} and {second.label} overlap")
        return None
    cells = [
        mask if axis.index in shared else axis.domain
        for axis, mask in zip(ground.axes.all, both_yes.witness.cells, strict=True)
    ]
    which = described(ground.axes, cells)
    names = listed([axis_name(ground.axes.all[each]) for each in shared])
    return finding(
        "K404",
        f"{first.label} and {second.label} overlap in {names}: both are yes to calls"
        + (f" with {which}" if which else "") + f", and only their order gives these to {first.label} "
        f"(=> {lead_target_text(first.lead)})",
        second.lead.span,
        "let both leads meet at one boundary, with an overlap zone (±) if either may be right there",
        [(f"{first.label} is tried first", first.lead.span)],
        both_yes.witness.call,
    )
