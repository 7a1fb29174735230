"""Couplets as a whole: calls that no lead takes, and calls that several leads would take."""

from collections.abc import Iterator

from classifier.key.check.cases import Term, TooHard, both
from classifier.key.check.ground import Ground
from classifier.key.check.undecided import Undecided
from classifier.key.check.ways import Ways
from classifier.key.check.witness import least, look_for
from classifier.key.check.words import axis_name, described, listed
from classifier.key.messages import Diagnostic, finding
from classifier.key.text import lead_target_text
from classifier.key.walk import YES, judge

#: Steps of effort for the stretch of one lead on one quantity.
_STRETCH_STEPS = 5_000

# --------------------------------------------------------------------------------------------------------------- gaps


def gaps(ground: Ground, ways: Ways, undecided: Undecided) -> Iterator[Diagnostic]:
    """K403: couplets with calls that no lead takes."""
    found = []
    for place, station in enumerate(ground.compiled.stations):
        leads = ground.leads(station)
        if any(route.meaning is None for route in leads) or undecided.too_many(found):
            continue

        def shows(walked, call, number=station.number):
            return any(f"{number}-" in way.split() for way in walked.trail.split(" | "))

        answer = None
        for clearly in (True, False):
            passage = ways.passage(place, clearly=clearly)
            left = passage.left if clearly else _refused(ground, leads, passage)
            if left:
                answer = look_for(ground, left, shows)
                if answer.witness is not None:
                    break
        if answer is not None and answer.witness is not None:
            found.append(_gap(ground, station, least(ground, answer.witness, shows)))
            yield found[-1]
        elif answer is not None and answer.open:
            undecided.add(station.couplet.span, f"whether couplet {station.number} leaves calls without a lead")


def _refused(ground, leads, passage):
    """Of the calls that come to a couplet at all, those to which each of its leads says no."""
    noes = both(ground.terms(route).no for route in leads)
    cases = (ground.narrow(case, noes) for case in passage.before[leads[0].index])
    return [case for case in cases if case is not None]


def _gap(ground, station, witness):
    axes = 0
    for route in ground.leads(station):
        axes |= ground.terms(route).no.axes if ground.terms(route).no is not None else 0
    cells = [mask if axes >> axis.index & 1 else axis.domain for axis, mask in zip(ground.axes.all, witness.cells, strict=True)]
    which = described(ground.axes, cells)
    letter = chr(ord(max(each.letter for each in station.couplet.leads)) + 1)
    leads = listed([route.label for route in ground.leads(station)])
    verb = {1: "is", 2: "are both"}.get(len(ground.leads(station)), "are all")
    return finding(
        "K403",
        f"couplet {station.number} leaves calls without a lead"
        + (f", such as those with {which}" if which else "")
        + f": {leads} {verb} no",
        station.couplet.span,
        f"such a call ends unidentified without a reason; let the leads meet, or add a last one: "
        f'{station.number}{letter} otherwise => unidentified "…"'
        if letter <= "z"
        else "let the leads meet",
        witness=witness.call,
    )


# ----------------------------------------------------------------------------------------------------------- overlaps


def overlaps(ground: Ground, ways: Ways, undecided: Undecided) -> Iterator[Diagnostic]:
    """K404: pairs of leads of a couplet that are both a plain yes to some call, where on a quantity that both compare
    neither's stretch lies within the other's, and neither lead is a special case of the other."""
    found = []
    for place, station in enumerate(ground.compiled.stations):
        leads = [route for route in ground.leads(station) if route.meaning is not None]
        compared = {route.index: _compared(ground, route) for route in leads}
        stretches = {}

        def stretch(route, axis, known=stretches):
            if (route.index, axis) not in known:
                known[route.index, axis] = _stretch(ground, undecided, route, axis)
            return known[route.index, axis]

        for position, first in enumerate(leads):
            for second in leads[position + 1 :]:
                if (first.onward, first.end, first.cap) == (second.onward, second.end, second.cap):
                    continue
                if undecided.too_many(found):
                    return
                both_compare = compared[first.index] & compared[second.index]
                shared = [
                    axis.index
                    for axis in ground.axes.all
                    if both_compare >> axis.index & 1 and _crossing(stretch(first, axis.index), stretch(second, axis.index))
                ]
                if shared:
                    overlap = _overlap(ground, ways, undecided, place, first, second, shared)
                    if overlap is not None:
                        found.append(overlap)
                        yield overlap


def _compared(ground, route):
    """The axes (as bits) that a lead's condition compares."""
    terms = ground.terms(route)
    return (terms.yes.axes if terms.yes is not None else 0) | (terms.no.axes if terms.no is not None else 0)


def _stretch(ground, undecided, route, place):
    """The cells of an axis in which a lead is yes to some call that passes the gate, whatever its other quantities are; none
    where that is too hard to tell, which is noted."""
    whole = ground.effort
    try:
        ground.effort = whole.part(_STRETCH_STEPS)
        return _reached(ground, route, place)
    except TooHard:
        whole.spend(0)
        undecided.unfinished = True
        return 0
    finally:
        ground.effort = whole


def _reached(ground, route, place):
    case = ground.narrow(ground.narrow(ground.everywhere, ground.gate), ground.terms(route).yes)
    if case is None:
        return 0
    left, reached = case.cells[place] & ground.axes.all[place].every, 0
    if not case.choices and ground.polytopes.free(place):
        return 0 if ground.none(case) else left
    while left:
        cell = left & -left
        left ^= cell
        if not ground.none(ground.narrow(case, Term(((place, cell),), (), 1 << place))):
            reached |= cell
    return reached


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
        return look_for(ground, [case for case in cases if case is not None], shows)

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
        mask if axis.index in shared else axis.domain for axis, mask in zip(ground.axes.all, both_yes.witness.cells, strict=True)
    ]
    which = described(ground.axes, cells)
    names = listed([axis_name(ground.axes.all[each]) for each in shared])
    return finding(
        "K404",
        f"{first.label} and {second.label} overlap in {names}: both are yes to calls"
        + (f" with {which}" if which else "")
        + f", and only their order gives these to {first.label} "
        f"(=> {lead_target_text(first.lead)})",
        second.lead.span,
        "let both leads meet at one boundary, with an overlap zone (±) if either may be right there",
        [(f"{first.label} is tried first", first.lead.span)],
        least(ground, both_yes.witness, takes(first, second, True)).call,
    )
