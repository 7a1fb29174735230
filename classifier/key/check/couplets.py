"""Couplets as a whole: calls that no lead takes, and calls that several leads would take."""

from classifier.key.check.cases import TooHard, both, settled
from classifier.key.check.ground import Ground
from classifier.key.check.undecided import Undecided
from classifier.key.check.ways import Ways
from classifier.key.check.witness import least, look_for
from classifier.key.check.words import axis_name, described, listed
from classifier.key.messages import Diagnostic, finding
from classifier.key.text import lead_target_text
from classifier.key.walk import YES, judge

# --------------------------------------------------------------------------------------------------------------- gaps


def gaps(ground: Ground, ways: Ways, undecided: Undecided) -> list[Diagnostic]:
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
                if undecided.too_many(found):
                    return found
                shared = [
                    axis for axis in stretches[first.index].keys() & stretches[second.index].keys()
                    if _crossing(stretches[first.index][axis], stretches[second.index][axis])
                ]
                if shared:
                    overlap = _overlap(ground, ways, undecided, place, first, second, sorted(shared))
                    found.extend([overlap] if overlap else [])
    return found


def _stretches(ground, route):
    """By axis the cells in which a lead can be yes to calls that pass the gate, whatever the other quantities are; only axes
    that it narrows."""
    union = {}
    case = ground.narrow(ground.narrow(ground.everywhere, ground.gate), ground.terms(route).yes)
    if case is None:
        return {}
    try:
        cells = [0] * len(case.cells)
        effort = ground.effort.part(2_000)
        for each in settled(case, effort):
            if not ground.polytopes.possible(each.cells, effort):
                continue
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
        least(ground, both_yes.witness, takes(first, second, True)).call,
    )
