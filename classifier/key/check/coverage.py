"""Coverage: where calls drawn from each taxon's declared ranges end, so that an author sees what the key can part.

Calls are drawn evenly from the declared ranges, each metric by itself, and kept where the relations between metrics allow
them (``relations``). Metrics of which nothing is declared are missing, but for those that follow from declared ones. Drawing
has a fixed seed for each taxon, so a table changes only where the key does.
"""

import zlib
from collections import Counter
from dataclasses import dataclass

import numpy as np

from classifier.key.check.ground import ranges_of
from classifier.key.check.relations import DURATION, END, EQUALS, MEAN_SLOPE, START, order_pairs
from classifier.key.compile import GROUP, TAXON, CompiledKey
from classifier.key.evaluate import evaluate
from classifier.key.refine import evaluate_tiers
from classifier.key.syntax import TIERS

#: Calls drawn for each taxon: a share is then known to about 1.5 % (standard error of 50 % of 1000).
CALLS = 1000
#: Pulses of the pass of like calls whose tier is given: more than any key asks for.
_PULSES = 1000
GATED, OPEN = "gated", "unidentified"
RIGHT, COVERED, PARTED, WRONG = "right", "in a group", "open", "wrong"


@dataclass(frozen=True)
class Coverage:
    """A share (0 to 1) of a taxon's calls. ``label`` is what a pass of such calls is called ('gated': no pass has them),
    ``tier`` the best tier that it can get, or None; ``couplet`` the number of the couplet that left several candidates, or 0
    where each call has one. ``verdict``: right, in a group (with others), open, or wrong."""

    taxon: str
    label: str
    tier: str | None
    share: float
    couplet: int
    verdict: str


@dataclass(frozen=True)
class Drawn:
    """Calls of one taxon: values by metric, (n,) each. ``kept`` is the share of draws that relations allowed."""

    values: dict[str, np.ndarray]
    kept: float


def coverage(compiled: CompiledKey, *, calls: int = CALLS) -> list[Coverage]:
    """Where the calls of every taxon end, in the order of the key, the largest share first.

    A taxon of which nothing is declared, or whose ranges no call can meet, has no rows.
    """
    drawn = {}
    for taxon in compiled.key.taxa.values():
        sample = draw(taxon, calls)
        if sample is not None:
            drawn[taxon.name] = sample
    if not drawn:
        return []
    lengths = [len(next(iter(sample.values.values()))) for sample in drawn.values()]
    names = dict.fromkeys(name for sample in drawn.values() for name in sample.values)
    values = {
        name: np.concatenate(
            [sample.values.get(name, np.full(length, np.nan)) for sample, length in zip(drawn.values(), lengths, strict=True)]
        )
        for name in (*names, *(name for name in compiled.metrics if name not in names))
        if name in names
    }
    total = sum(lengths)
    values |= {name: np.full(total, np.nan) for name in compiled.metrics if name not in values}
    verdicts = evaluate(compiled, values, {})
    rows, start = [], 0
    for taxon, length in zip(drawn, lengths, strict=True):
        rows.extend(_rows(compiled, verdicts, taxon, slice(start, start + length)))
        start += length
    return rows


def draw(taxon, calls: int) -> Drawn | None:
    """Calls from the declared ranges of a taxon; None where there are no ranges or no call can lie in them."""
    ranges = {name: (float(low), float(high)) for name, (low, high) in ranges_of(taxon).items()}
    if not ranges:
        return None
    rng = np.random.default_rng(zlib.crc32(taxon.name.encode()))
    gathered, tried, found = [], 0, 0
    while found < calls and tried < 40:
        values = {name: rng.uniform(low, high, calls) for name, (low, high) in ranges.items()}
        keep = _derive(values, ranges)
        for small, large in order_pairs(set(values)):
            keep &= values[small] <= values[large]
        gathered.append({name: column[keep] for name, column in values.items()})
        tried, found = tried + 1, found + int(keep.sum())
    if not found:
        return None
    values = {name: np.concatenate([part[name] for part in gathered])[:calls] for name in gathered[0]}
    return Drawn(values, found / (tried * calls))


def _derive(values, ranges):
    """Fill in what follows from declared metrics; which draws agree with the ranges then."""
    keep = np.ones(len(next(iter(values.values()))), bool)
    derived = {
        name: sum(factor * values[part] for part, factor in parts.items())
        for name, parts in EQUALS.items()
        if all(part in values for part in parts)
    }
    if {START, END, DURATION} <= values.keys():
        derived[MEAN_SLOPE] = (values[END] - values[START]) / np.maximum(values[DURATION], 1e-9)
    for name, column in derived.items():
        if name in ranges:
            low, high = ranges[name]
            keep &= (column >= low) & (column <= high)
        values[name] = column
    return keep


def _rows(compiled, verdicts, taxon, part):
    clearance = verdicts.clearance[part]
    pattern = verdicts.pattern[part]
    groups = {}
    for number in np.unique(pattern):
        mine = pattern == number
        known = clearance[mine & ~np.isnan(clearance)]
        key = (
            (GATED, None, 0)
            if number < 0
            else _outcome(compiled, verdicts, int(number), float(np.median(known)) if len(known) else np.inf)
        )
        groups[key] = groups.get(key, 0) + int(mine.sum())
    total = len(pattern)
    return [
        Coverage(taxon, label, tier, count / total, couplet, _verdict(compiled, taxon, label))
        for (label, tier, couplet), count in sorted(groups.items(), key=lambda each: (-each[1], each[0][0], each[0][2]))
    ]


def _outcome(compiled, verdicts, number, clearance):
    """(label, tier, parting couplet) of a pass whose pulses all took one way."""
    patterns = verdicts.patterns
    places = np.flatnonzero(patterns.candidates[number])
    ends = [compiled.ends[place] for place in places]
    caps = patterns.cap[number][places]
    couplet = int(patterns.parted_by[number])
    if len(ends) == 1:
        named = ends[0].kind in (TAXON, GROUP)
        return ends[0].label, _tier(compiled, clearance, caps[0]) if named else None, couplet
    group = _smallest_group(compiled, ends)
    if group is not None:
        return group, _tier(compiled, clearance, caps.max()), couplet
    return OPEN, None, couplet


def _tier(compiled, clearance, cap):
    tier = int(
        evaluate_tiers(
            compiled,
            support=np.array([100.0]),
            clear=np.array([float(_PULSES)]),
            pulses=np.array([float(_PULSES)]),
            clearance=np.array([clearance]),
        )[0]
    )
    return None if tier < 0 else TIERS[max(tier, int(cap))]


def _smallest_group(compiled, ends):
    """The smallest declared group that holds all ends; None where one of them is no taxon or group, or no group does."""
    taxa = set()
    for end in ends:
        if end.kind == TAXON:
            taxa.add(end.label)
        elif end.kind == GROUP:
            taxa.update(end.members)
        else:
            return None
    holding = [
        (len(group.members), name)
        for name, group in compiled.key.groups.items()
        if taxa <= {member.name for member in group.members}
    ]
    return min(holding)[1] if holding else None


def _verdict(compiled, taxon, label):
    if label == taxon:
        return RIGHT
    if label in compiled.key.groups:
        return COVERED if taxon in {member.name for member in compiled.key.groups[label].members} else WRONG
    return PARTED if label in (OPEN, GATED) else WRONG


def totals(rows: list[Coverage]) -> dict[str, Counter]:
    """By taxon the share of each verdict."""
    found = {}
    for row in rows:
        found.setdefault(row.taxon, Counter())[row.verdict] += row.share
    return found
