"""What is known of the metrics of one call, whatever the bat: relations that no call can break.

They follow from the definitions in ``classifier.metrics`` (the ridge lies between its lowest and its highest
frequency, and so on) and hold for a call measured without error. Proofs that ignored them would report calls that
cannot exist.
"""

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

#: (smaller, larger) pairs that hold besides those of the ridge.
ORDERED = (("knee_time", "duration"),)

#: mean_slope * duration = end_frequency - start_frequency: not linear, so it is only tried on witnesses.
MEAN_SLOPE, DURATION, START, END = "mean_slope", "duration", "start_frequency", "end_frequency"


def order_rows(names: set[str]) -> list[tuple[str, str]]:
    """The pairs (smaller, larger) that hold among some metrics."""
    rows = [(LOWEST, HIGHEST)] if {LOWEST, HIGHEST} <= names else []
    for name in ON_THE_RIDGE:
        if name in names:
            rows.extend([(LOWEST, name)] if LOWEST in names else [])
            rows.extend([(name, HIGHEST)] if HIGHEST in names else [])
    return rows + [pair for pair in ORDERED if set(pair) <= names]


def kin(name: str) -> str:
    """The family in which a metric's relations stay: metrics of different families never constrain each other."""
    if name in ON_THE_RIDGE or name in (LOWEST, HIGHEST):
        return "ridge"
    if name in ("knee_time", "duration"):
        return "times"
    return name
