"""A key laid out as a tree: values that a drawing needs, nothing drawn.

Couplets grow to the right from the one where calls enter; each lead is a line of its own, in the order of the text. A couplet
that several leads go to is laid out where it is met first; the others say only where they go.
"""

from dataclasses import dataclass

from classifier.key.compile import GROUP, NOT_A_BAT, TAXON, CompiledKey
from classifier.key.text import condition_text


@dataclass(frozen=True)
class Branch:
    """One lead. ``row`` counts lines from the top (0, 1 ...), ``depth`` couplets from the left; ``kind`` is what it ends
    in: couplet (laid out beyond it, at ``to``), elsewhere (a couplet laid out at another place), taxon, group,
    unidentified or not a bat."""

    label: str
    condition: str
    end: str
    kind: str
    at_most: str | None
    depth: int
    row: float
    to: int | None


@dataclass(frozen=True)
class Fork:
    """A couplet: ``rows`` are the first and the last line of its leads, ``row`` the line where it is entered."""

    number: int
    question: str
    depth: int
    row: float
    rows: tuple[float, float]


@dataclass(frozen=True)
class Tree:
    forks: tuple[Fork, ...]
    branches: tuple[Branch, ...]
    depth: int
    rows: int


def layout(compiled: CompiledKey) -> Tree:
    """Lay out a compiled key."""
    stations = compiled.stations
    laid, forks, branches = set(), {}, []
    row = 0
    # Depth first; a couplet's own row is known once the last of its leads is laid out.
    stack = [(0, 0, iter(stations[0].routes[:-1]))] if stations else []
    laid.add(0)
    rows_of = {0: []}
    pending = {}
    while stack:
        place, depth, routes = stack[-1]
        route = next(routes, None)
        if route is None:
            stack.pop()
            rows = rows_of[place]
            middle = (rows[0] + rows[-1]) / 2 if rows else float(row)
            forks[place] = Fork(
                stations[place].number,
                stations[place].couplet.question or "",
                depth,
                middle,
                (rows[0], rows[-1]) if rows else (middle, middle),
            )
            if place in pending:
                parent, branch = pending.pop(place)
                rows_of[parent].append(middle)
                branches.append(_moved(branch, middle))
            continue
        if route.onward is not None and route.onward not in laid:
            laid.add(route.onward)
            rows_of[route.onward] = []
            pending[route.onward] = place, _branch(compiled, route, depth, 0.0)
            stack.append((route.onward, depth + 1, iter(stations[route.onward].routes[:-1])))
            continue
        branches.append(_branch(compiled, route, depth, float(row), elsewhere=True))
        rows_of[place].append(float(row))
        row += 1
    depth = max((fork.depth for fork in forks.values()), default=0)
    return Tree(tuple(forks[place] for place in sorted(forks)), tuple(branches), depth, row)


def _branch(compiled, route, depth, row, elsewhere=False):
    to = None
    if route.onward is not None:
        number = compiled.stations[route.onward].number
        kind, end = ("elsewhere", f"to {number}") if elsewhere else ("couplet", str(number))
        to = None if elsewhere else number
    else:
        found = compiled.ends[route.end]
        kind = found.kind
        end = found.label if kind in (TAXON, GROUP) else ("not a bat" if kind == NOT_A_BAT else "unidentified")
    return Branch(route.label, condition_text(route.lead), end, kind, route.lead.at_most, depth, row, to)


def _moved(branch, row):
    return Branch(branch.label, branch.condition, branch.end, branch.kind, branch.at_most, branch.depth, row, branch.to)
