"""A regional variant and its base as one list of statements.

A statement of the variant takes the place of the base's statement on the same thing (``syntax.identity_of``); what the
base does not have is added behind. ``without`` takes things out, and a taxon that is taken out is gone from groups,
similar taxa, refine blocks and examples too. Each statement keeps the span of the file where it stands.
"""

from dataclasses import replace

from classifier.key import syntax as s
from classifier.key.messages import Diagnostic, Suggestions, finding


def merge(
    base: list[s.Statement], variant: tuple[s.Statement, ...], dropped: dict[str, s.Without], *, quiet: bool
) -> tuple[list[s.Statement], list[Diagnostic]]:
    """(the base's statements with the variant's in their places, findings).

    ``dropped`` gathers the taxa taken out, for later messages. ``quiet``: part of the base is not known, so nothing is
    said about what it does not have.
    """
    own = {}
    withouts = []
    for statement in variant:
        if isinstance(statement, s.Without):
            withouts.append(statement)
        elif not isinstance(statement, s.BasedOn):
            own.setdefault(s.identity_of(statement), statement)
    found = [] if quiet else _unknown(base, withouts)
    left = _take_out(base, withouts)
    dropped.update((each.identity, each) for each in withouts if each.kind == "taxon")
    for kind, name in own:
        if kind == "taxon":
            dropped.pop(name, None)
    merged = [own.pop(s.identity_of(statement), statement) for statement in left]
    return [*merged, *own.values()], found


def _thing(without):
    """The identity of what a ``without`` takes out."""
    if without.kind == "refine":
        return "refine", frozenset((type(each).__name__, each.name) for each in without.identity)
    return without.kind, without.identity


def _unknown(base, withouts):
    """Findings for what is taken out and is not there."""
    there = [s.identity_of(statement) for statement in base]
    known, suggest, found = set(there), Suggestions(), []
    for without in withouts:
        kind, name = _thing(without)
        if (kind, name) in known:
            continue
        shown = "such block" if kind == "refine" else f"`{name}`"
        alike = [str(other) for each, other in there if each == kind] if kind != "refine" else []
        help = suggest(str(name), alike) or "`without` takes things out of the key named by `based on`"
        found.append(finding("K306", f"the base has no {kind} {shown} to take out", without.span, help))
    return found


def _take_out(statements, withouts):
    things = {_thing(without) for without in withouts}
    gone = {without.identity: without for without in withouts if without.kind == "taxon"}
    left = [statement for statement in statements if s.identity_of(statement) not in things]
    if not gone:
        return left
    return [each for each in (_without_taxa(statement, gone) for statement in left) if each is not None]


def _without_taxa(statement, gone):
    """A statement of the base after taxa were taken out; None if nothing of it is left."""
    match statement:
        case s.Group(_, members):
            members = tuple(each for each in members if each.name not in gone)
            return replace(statement, members=members) if members else None
        case s.Taxon(_, _, entries):
            kept = (_similar_without(entry, gone) for entry in entries)
            return replace(statement, entries=tuple(entry for entry in kept if entry is not None))
        case s.Couplet(_, _, leads):
            return replace(statement, leads=_redirected(leads, gone))
        case s.Refine(candidates, leads):
            return _refine_without(statement, candidates, leads, gone)
        case s.Example(_, _, outcome):
            return None if any(_is_gone(each, gone) for each in outcome.labels) else statement
    return statement


def _is_gone(target, gone):
    return isinstance(target, s.ToTaxon) and target.name in gone


def _similar_without(entry, gone):
    if not isinstance(entry, s.Similar):
        return entry
    taxa = tuple(each for each in entry.taxa if each.name not in gone)
    return replace(entry, taxa=taxa) if taxa else None


def _refine_without(refine, candidates, leads, gone):
    """A refine block without the lead of a candidate that is gone; none at all if there is nothing left to decide."""
    kept = tuple(each for each in candidates if not _is_gone(each, gone))
    if len(kept) == len(candidates):
        return replace(refine, leads=_redirected(leads, gone))
    if not kept or (len(kept) == 1 and isinstance(kept[0], s.ToTaxon)):
        return None
    leads = tuple(lead for lead in leads if not _is_gone(lead.target, gone))
    return replace(refine, candidates=kept, leads=leads) if leads else None


def _redirected(leads, gone):
    return tuple(replace(lead, target=_instead(lead.target, gone)) for lead in leads)


def _instead(target, gone):
    """Where a lead ends now. One taxon taken out may send its leads to another that is taken out as well."""
    here, seen = target, set()
    while _is_gone(here, gone) and here.name not in seen:
        seen.add(here.name)
        instead = gone[here.name].instead
        if instead is None:
            break
        here = instead
    return replace(here, span=target.span)
