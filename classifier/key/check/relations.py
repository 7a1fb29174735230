"""What is known of the metrics of one call, whatever the bat: relations that no call can break.

They follow from the definitions in ``classifier.metrics`` (the ridge lies between its lowest and its highest
frequency, and so on) and hold for a call measured without error. Proofs that ignored them would report calls that
cannot exist.
"""

from collections.abc import Iterable, Mapping

#: Frequencies that lie on the ridge: between min_frequency and max_frequency.
ON_THE_RIDGE = (
    "start_frequency",
    "end_frequency",
    "characteristic_frequency",
    "knee_frequency",
    "peak_frequency",
    "centre_frequency",
)
LOWEST, HIGHEST = "min_frequency", "max_frequency"

#: Metrics that are sums of others.
EQUALS = {
    "bandwidth": {HIGHEST: 1, LOWEST: -1},
    "tail": {"end_frequency": 1, "characteristic_frequency": -1},
}

#: (smaller, larger) pairs that hold besides those of the ridge; the last is about the votes of a pass.
ORDERED = (("knee_time", "duration"), ("clear", "pulses"))

#: Metrics that entangle whatever is compared along with them, and sets that do so together.
ENTANGLING = frozenset((LOWEST, HIGHEST))
TOGETHER = tuple(frozenset(pair) for pair in ORDERED)

#: mean_slope * duration = end_frequency - start_frequency: not linear, so it is only tried on witnesses.
MEAN_SLOPE, DURATION, START, END = "mean_slope", "duration", "start_frequency", "end_frequency"

_FAMILIES = {name: "ridge" for name in (*ON_THE_RIDGE, LOWEST, HIGHEST)} | {name: pair[1] for pair in ORDERED for name in pair}


def kin(name):
    """The family in which a metric's relations stay: metrics of different families never constrain each other."""
    return _FAMILIES.get(name, name)


def order_pairs(names: set) -> list[tuple[str, str]]:
    """The pairs (smaller, larger) that hold among some metrics."""
    pairs = [(LOWEST, HIGHEST)] if {LOWEST, HIGHEST} <= names else []
    for name in ON_THE_RIDGE:
        if name in names:
            pairs.extend([(LOWEST, name)] if LOWEST in names else [])
            pairs.extend([(name, HIGHEST)] if HIGHEST in names else [])
    return pairs + [pair for pair in ORDERED if set(pair) <= names]


def entangling(names: set) -> bool:
    """Whether relations join quantities of these metrics that have one metric each."""
    return bool(names & ENTANGLING) or any(together <= names for together in TOGETHER)


def joined(axes: Iterable, kins: Mapping[int, frozenset], linked: Iterable = ()) -> list[list]:
    """Axes in groups, together where they share a family of metrics.

    ``kins`` gives the families by an axis's number; ``linked`` are metrics whose families something else joins
    """
    groups = []
    link = frozenset(map(kin, linked))
    for axis in axes:
        mine = kins[axis.index]
        if mine & link:
            mine = mine | link
        touching = [group for group in groups if group[0] & mine]
        merged = mine.union(*(group[0] for group in touching))
        members = [each for group in touching for each in group[1]] + [axis]
        groups = [group for group in groups if group not in touching] + [(merged, members)]
    return [members for _, members in groups]
