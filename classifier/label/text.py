"""The small texts inside label tables, written and read in one place: candidates, trails and reasons.

candidates of a pulse   ``Pipistrellus pipistrellus; Pipistrellus pygmaeus``
candidates of a pass    ``Pipistrellus pipistrellus 62 %; Pipistrellus pygmaeus 38 %``, most support first
trail of a pulse        ``1b 4a``, or ``1b 4a | 1b 4b 5a`` where the key left several ways open
trail of a pass         ``1b 4a × 7; 1b 4a | 1b 4b × 2 (couplet 4 unsure)``, most pulses first
"""

import re

UNIDENTIFIED = "unidentified"
NOT_A_BAT = "not a bat"
#: How the trail of a pass begins that could not be named for these reasons.
TOO_FEW_TEXT = "too few usable pulses"
NO_LEADER_TEXT = "no candidate leads"

_SUPPORT = re.compile(r"^(.*) ([0-9]+(?:\.[0-9]+)?) %$")
_COUPLET = re.compile(r"^[0-9]+")


def join_candidates(names) -> str:
    """The candidates of one pulse as one text, in the order given."""
    return "; ".join(names)


def split_candidates(text: str | None) -> tuple[str, ...]:
    """Names of the candidates of a pulse or a pass, support left out; () for none."""
    if not text:
        return ()
    return tuple(match[1] if (match := _SUPPORT.match(part)) else part for part in text.split("; "))


def join_support(shares) -> str:
    """Candidates of a pass with their support: pairs of name and percent, most support first."""
    return "; ".join(f"{name} {percent:.{0 if percent >= 0.95 else 1}f} %" for name, percent in shares)


def ways(trail: str | None) -> tuple[tuple[str, ...], ...]:
    """The alternative ways of a pulse's trail, each as its leads in order."""
    if not trail:
        return ()
    return tuple(tuple(way.split()) for way in trail.split(" | "))


def couplet_of(lead: str) -> str:
    """The couplet that a lead belongs to: ``12`` of ``12b``, and of ``12-`` where no lead of it applied."""
    match = _COUPLET.match(lead)
    return match[0] if match else lead


def parting_couplets(trail: str | None, ends=None, among=None) -> tuple[str, ...]:
    """Couplets whose leads taken do not all come to the same ends, in the order met; () for a clear pulse.

    ends : mapping from a way's last lead to the label it ends in; without it every way is an end of its own
    among : labels; only ways that end in one of them are looked at (all if None, or without ends)
    """
    ends = ends or {}
    reached = {}
    for way in ways(trail):
        end = ends.get(way[-1], way)
        if among is not None and ends and end not in among:
            continue
        for lead in way:
            reached.setdefault(couplet_of(lead), {}).setdefault(lead, set()).add(end)
    return tuple(
        couplet
        for couplet, leads in reached.items()
        if len(leads) > 1 and any(to != next(iter(leads.values())) for to in leads.values())
    )


def join_trails(counts, *, most: int = 3) -> str:
    """The trail of a pass: pairs of a pulse's trail and its number of pulses, the commonest ``most`` of them.

    A third item of a pair, where there is one, is what is to be said of that way, in brackets.
    """
    ordered = sorted(counts, key=lambda each: (-each[1], each[0]))
    shown = []
    for trail, count, *remark in ordered[:most]:
        said = f" ({remark[0]})" if remark and remark[0] else ""
        shown.append(f"{trail} × {count}{said}")
    left = len(ordered) - most
    return "; ".join(shown) + (f"; and {left} more" if left > 0 else "")
