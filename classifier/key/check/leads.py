"""Leads that no call comes to, and leads that no call takes clearly."""

from collections.abc import Iterator

from classifier.key.check.causes import Cause, causes_of
from classifier.key.check.ground import Ground
from classifier.key.check.undecided import Undecided
from classifier.key.check.ways import Ways
from classifier.key.check.words import listed
from classifier.key.messages import Diagnostic, finding
from classifier.key.text import condition_text

#: Most other leads that the explanation of a dead lead points at.
_MOST_RELATED = 4


def unreached(ground: Ground, ways: Ways, accounted: tuple[set[int], set[int]], undecided: Undecided) -> Iterator[Diagnostic]:
    """K401 for leads that no call comes to, K402 for those that no call takes clearly.

    ``accounted`` : leads (by index) of which another finding already says that they cannot be taken, and those of which
        one says that they cannot be taken clearly
    """
    never, never_clear = accounted
    found = []
    for place, station in enumerate(ground.compiled.stations):
        clear = ways.passage(place, clearly=True)
        for route in ground.leads(station):
            if clear.taken[route.index] or route.index in never or undecided.too_many(found):
                continue
            passage = ways.passage(place, clearly=False)
            if not passage.reached:
                break  # the lead that should lead here is the fault
            if not passage.taken[route.index]:
                found.append(_dead(ground, ways, place, route))
            elif clear.reached and route.index not in never_clear:
                found.append(_never_clear(ground, ways, place, route))
            else:
                continue
            yield found[-1]


def _dead(ground, ways, place, route):
    causes = causes_of(ground, ways, place, route, clearly=False)
    label, number = route.label, ground.compiled.stations[place].number
    here = [cause.route.label for cause in causes if cause.earlier_in == number]
    above = [cause for cause in causes if cause.route is not None and cause.earlier_in != number]
    gate = any(cause.route is None for cause in causes)
    if not causes:
        reason = "no call can meet its condition"
        help = f"change the condition of {label}, or take the lead out"
    elif here and not above and not gate:
        reason = f"{listed(here)} {'takes' if len(here) == 1 else 'together take'} every call that it would take"
        help = f"put {label} before {here[-1]}, narrow {listed(here)}, or take {label} out"
    elif gate and not above:
        reason = "the gate stops every call that it would take" + (f", or {listed(here)} takes it" if here else "")
        help = f"widen {label} or the gate, or take {label} out"
    else:
        reason = f"what comes to couplet {number} never meets its condition"
        reason += f" once {listed(here)} took theirs" if here else ""
        help = f"change {label} or the way to it, or take {label} out"
    beyond = ways.beyond(route)
    if beyond:
        shown = listed([*map(str, beyond)], most=6)
        reason += f"; with it couplet{'s' if len(beyond) > 1 else ''} {shown} cannot be reached"
    return finding(
        "K401",
        f"no call comes to lead {label}: {reason}",
        route.lead.span,
        help,
        [(_cause_text(cause), cause.route.lead.span) for cause in causes if cause.route is not None][:_MOST_RELATED],
    )


def _cause_text(cause: Cause):
    text = condition_text(cause.route.lead)
    if cause.earlier_in is not None:
        return f"{cause.route.label} takes calls before: {text}"
    return f"only calls of {cause.route.label} come there: {text}"


def _never_clear(ground, ways, place, route):
    label = route.label
    if ground.terms(route).yes is None:
        because, causes = "its condition is never a plain yes", []
    else:
        causes = [cause for cause in causes_of(ground, ways, place, route, clearly=True) if cause.route is not None]
        earlier = [cause.route.label for cause in causes if cause.earlier_in is not None]
        taken = [cause.route.label for cause in causes if cause.earlier_in is None]
        parts = [f"{listed(earlier, 'or')} is not clearly no"] if earlier else []
        parts += [f"{listed(taken, 'or')} is not clearly yes"] if taken else []
        because = f"wherever it is yes, {listed(parts, 'or')}" if parts else "its condition is never a plain yes"
    return finding(
        "K402",
        f"no call takes lead {label} clearly: {because}",
        route.lead.span,
        "a pulse that comes here has another candidate beside it, so it is never a clear pulse; move the boundaries "
        "further apart, or narrow the overlap zones",
        [(f"{cause.route.label}: {condition_text(cause.route.lead)}", cause.route.lead.span) for cause in causes][:_MOST_RELATED],
    )
