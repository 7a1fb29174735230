"""Refine blocks: leads that no pass comes to.

Statistics of a pass are taken to be independent of each other, within what each can be: so a lead called dead is dead, while
one that is dead only because, say, a median and a spread hang together is not found.
"""

from classifier.key.check.axes import Axes
from classifier.key.check.cases import PASSED, TAKEN, Case, Conditions, Effort, TooHard, narrow, settled
from classifier.key.check.polytope import Polytopes
from classifier.key.check.words import listed
from classifier.key.compile import CompiledKey
from classifier.key.messages import Diagnostic, finding
from classifier.key.text import condition_text
from classifier.key.vocabulary import PASS

_STEPS = 5_000


def dead_refinements(compiled: CompiledKey, faulty) -> list[Diagnostic]:
    """K401 for leads of refine blocks that no pass can come to. ``faulty(meaning)``: another finding says so already."""
    found = []
    for refinement in compiled.refinements:
        axes = Axes(PASS)
        for route in refinement.routes:
            if route.meaning is not None:
                axes.take(route.meaning)
        axes.close()
        conditions, polytopes, effort = Conditions(axes), Polytopes(axes), Effort(_STEPS)
        case = Case(tuple(axis.domain for axis in axes.all))
        try:
            for place, route in enumerate(refinement.routes):
                taken = narrow(case, conditions.term(route.meaning, TAKEN), effort) if case is not None else None
                # Leads that are a plain yes to everything leave no case for what follows.
                if not faulty(route.meaning) and (
                    taken is None or not any(polytopes.possible(each.cells, effort) for each in settled(taken, effort))
                ):
                    found.append(_dead(refinement.routes, place))
                if case is not None:
                    case = narrow(case, conditions.term(route.meaning, PASSED), effort)
        except TooHard:
            continue
    return found


def _dead(routes, place):
    route, earlier = routes[place], routes[:place]
    why = (
        f"{listed([each.label for each in earlier])} take{'s' if len(earlier) == 1 else ''} every pass before"
        if earlier
        else "its condition cannot be met"
    )
    return finding(
        "K401",
        f"no pass comes to lead {route.label} of refine: {why}, or its condition cannot be met"
        if earlier
        else f"no pass comes to lead {route.label} of refine: {why}",
        route.lead.span,
        f"change the condition `{condition_text(route.lead)}`, or take the lead out",
        [(f"{each.label}: {condition_text(each.lead)}", each.lead.span) for each in earlier[:3]],
    )
