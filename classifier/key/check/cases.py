"""Cases: conditions as sets of calls, put together and taken apart until one stands that some call fits, or none.

A *case* is a conjunction: for each axis the cells that are left, and choices (or) that are still open. Conditions become
cases four ways, as a pulse can meet them: yes, no, not no (taken) and not yes (passed by). Choices between cells of
one axis are no choices: they are one set of cells. Of the rest, each is settled as soon as the cells that are left
decide it; only what stays open is split, the choice with the fewest ways first. Work is counted, not timed, so that the
same key always gets the same findings; when too much was spent, ``TooHard`` is raised and nothing is claimed.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from classifier.key import forms as f
from classifier.key.check.axes import Axes

YES, NO, TAKEN, PASSED = "yes", "no", "taken", "passed"
_OPPOSITE = {YES: NO, NO: YES, TAKEN: PASSED, PASSED: TAKEN}


class TooHard(Exception):
    """The effort allowed for a question is spent."""


class Effort:
    """Counts steps of work down; raises TooHard at the end of them."""

    def __init__(self, steps: int):
        self.left = steps

    def spend(self, steps: int = 1) -> None:
        self.left -= steps
        if self.left < 0:
            raise TooHard

    def part(self, steps: int) -> "Effort":
        """Effort for one question; what it spends is taken from the whole."""
        self.spend(0)
        return _Part(self, min(steps, self.left))


class _Part(Effort):
    def __init__(self, whole, steps):
        super().__init__(steps)
        self.whole = whole

    def spend(self, steps=1):
        self.left -= steps
        self.whole.spend(steps)
        if self.left < 0:
            raise TooHard


@dataclass(frozen=True)
class Term:
    """A conjunction of sets of cells, (axis number, cells) pairs, and of choices. ``axes`` has a bit for each axis in it."""

    cells: tuple[tuple[int, int], ...]
    choices: tuple["Choice", ...]
    axes: int


class Choice(tuple):
    """Terms of which one must be met; ``axes`` has a bit for each axis in them."""

    def __init__(self, terms: Iterable[Term]):
        self.axes = 0
        for term in self:
            self.axes |= term.axes


EVERYTHING = Term((), (), 0)
NOTHING = None  # the term that no call meets


def both(terms: Iterable[Term | None]) -> Term | None:
    """The conjunction of terms."""
    cells, choices, axes = {}, [], 0
    for term in terms:
        if term is NOTHING:
            return NOTHING
        for axis, mask in term.cells:
            cells[axis] = cells.get(axis, -1) & mask
            if not cells[axis]:
                return NOTHING
        choices.extend(term.choices)
        axes |= term.axes
    return Term(tuple(cells.items()), tuple(choices), axes)


def either(terms: Iterable[Term | None], everywhere: dict[int, int]) -> Term | None:
    """The choice between terms. ``everywhere`` gives all cells of an axis, missing included."""
    single, rest = {}, []
    for term in terms:
        if term is NOTHING:
            continue
        if not term.choices and len(term.cells) <= 1:
            if not term.cells:
                return EVERYTHING
            axis, mask = term.cells[0]
            single[axis] = single.get(axis, 0) | mask
        else:
            rest.append(term)
    for axis, mask in single.items():
        if mask == everywhere[axis]:
            return EVERYTHING
        rest.append(Term(((axis, mask),), (), 1 << axis))
    if len(rest) <= 1:
        return rest[0] if rest else NOTHING
    choice = Choice(rest)
    return Term((), (choice,), choice.axes)


class Conditions:
    """Conditions as terms on closed axes."""

    def __init__(self, axes: Axes):
        self.axes = axes
        self.everywhere = {axis.index: axis.every | axis.missing for axis in axes.all}
        self._terms = {}

    def term(self, condition: f.Condition | None, meets: str) -> Term | None:
        """Calls that meet a condition as YES, NO, TAKEN (not no) or PASSED (not yes); None stands for ``otherwise``."""
        if condition is None:
            return EVERYTHING if meets in (YES, TAKEN) else NOTHING
        key = id(condition), meets
        if key not in self._terms:
            # The condition is kept with its term, so that its id stays its own.
            self._terms[key] = condition, self._make(condition, meets)
        return self._terms[key][1]

    def _make(self, condition, meets):
        match condition:
            case f.Not(inner):
                return self.term(inner, _OPPOSITE[meets])
            case f.All(parts) | f.Any(parts):
                terms = [self.term(part, meets) for part in parts]
                joined = isinstance(condition, f.All) == (meets in (YES, TAKEN))
                return both(terms) if joined else either(terms, self.everywhere)
        side = self.axes.side(condition)
        mask = {YES: side.yes, NO: side.no, TAKEN: side.yes | side.unsure, PASSED: side.no | side.unsure}[meets]
        if mask == self.everywhere[side.axis.index]:
            return EVERYTHING
        return Term(((side.axis.index, mask),), (), 1 << side.axis.index) if mask else NOTHING

    def unsure(self, condition: f.Condition | None) -> Term | None:
        """Calls for which a condition is unsure."""
        return both((self.term(condition, TAKEN), self.term(condition, PASSED)))


@dataclass(frozen=True, slots=True)
class Case:
    """What is left: ``cells`` by axis number, and the choices still open. ``model`` are cells all of whose calls are in
    the case, where some are known: it spares the search for them."""

    cells: tuple[int, ...]
    choices: tuple[Choice, ...] = ()
    model: tuple[int, ...] | None = field(default=None, compare=False, repr=False)

    def within(self, other: "Case") -> bool:
        """Whether every call of this case is surely one of the other's."""
        for mine, its in zip(self.cells, other.cells, strict=True):
            if mine & ~its:
                return False
        mine = set(map(id, self.choices))
        return all(id(choice) in mine or any(_holds(term, self.cells) for term in choice) for choice in other.choices)


def _holds(term, cells):
    """Whether all calls of the cells surely meet the term."""
    for axis, mask in term.cells:
        if cells[axis] & ~mask:
            return False
    for choice in term.choices:
        for each in choice:
            if _holds(each, cells):
                break
        else:
            return False
    return True


def _fails(term, cells):
    """Whether no call of the cells can meet the term, as far as its own cells and choices tell."""
    for axis, mask in term.cells:
        if not cells[axis] & mask:
            return True
    for choice in term.choices:
        for each in choice:
            if not _fails(each, cells):
                break
        else:
            return True
    return False


def _left_of(choice, cells):
    """The terms of a choice that can still be met: None if one surely is."""
    live = []
    for term in choice:
        if not term.choices and len(term.cells) == 1:  # most are so
            ((axis, mask),) = term.cells
            left = cells[axis] & mask
            if left:
                if left == cells[axis]:
                    return None
                live.append(term)
            continue
        if _fails(term, cells):
            continue
        if _holds(term, cells):
            return None
        live.append(term)
    return live


def narrow(case: Case, term: Term | None, effort: Effort, *, recheck: bool = False) -> Case | None:
    """The case with a term added; None where nothing is left of it. ``recheck``: its cells were changed from outside, so
    that all of its choices are looked at again."""
    if term is NOTHING:
        return None
    cells = list(case.cells)
    changed = 0
    ahead = [term]
    fresh = []
    while ahead:
        item = ahead.pop()
        for axis, mask in item.cells:
            left = cells[axis] & mask
            if not left:
                return None
            if left != cells[axis]:
                cells[axis] = left
                changed |= 1 << axis
        fresh.extend(item.choices)
    if not fresh and not recheck:
        if not changed:
            effort.spend()
            return case
        if not case.choices:
            effort.spend()
            return Case(tuple(cells))
    choices = list(case.choices)
    if recheck:
        choices, fresh = [], [*choices, *fresh]
    while True:
        effort.spend(1 + len(choices) // 8)
        again = 0
        kept = []
        touched = fresh
        for choice in choices:
            (touched if choice.axes & changed else kept).append(choice)
        effort.spend(sum(map(len, touched)) // 3)
        for choice in touched:
            live = _left_of(choice, cells)
            if live is None:
                continue
            if not live:
                return None
            if len(live) > 1:
                kept.append(choice if len(live) == len(choice) else Choice(live))
                continue
            for axis, mask in live[0].cells:
                left = cells[axis] & mask
                if not left:
                    return None
                if left != cells[axis]:
                    cells[axis] = left
                    again |= 1 << axis
            kept.extend(live[0].choices)
            again |= live[0].axes if live[0].choices else 0
        choices, fresh, changed = kept, [], again
        if not again:
            return Case(tuple(cells), tuple(choices))


def settled(case: Case, effort: Effort, plausible=None) -> Iterator[Case]:
    """The cases without open choices that a case falls apart into; they may overlap, and together are the case.

    ``plausible`` : function of the cells and the effort that may refuse a part early
    """
    ahead = [case]
    while ahead:
        effort.spend()
        case = ahead.pop()
        if plausible is not None and not plausible(case.cells, effort):
            continue
        if not case.choices:
            yield case
            continue
        place = min(range(len(case.choices)), key=lambda at: len(case.choices[at]))
        choice = case.choices[place]
        rest = Case(case.cells, case.choices[:place] + case.choices[place + 1 :])
        parts = [narrow(rest, term, effort) for term in choice]
        ahead.extend(part for part in reversed(parts) if part is not None)
