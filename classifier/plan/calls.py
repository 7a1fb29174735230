"""Calls of a taxon spread evenly over what its key declares: a fixed quasi-random sample, the same every time."""

from dataclasses import dataclass

import numpy as np

from classifier.key.check.relations import EQUALS, order_pairs
from classifier.plan.callers import Caller

#: Points of the Sobol sequence; shares are then good to about 0.1 percentage points (tests/plan/test_calls.py).
POINTS = 8192
_CHARACTERISTIC = "characteristic_frequency"


@dataclass(frozen=True)
class Calls:
    """Calls of one taxon, arrays of shape (n,); NaN throughout where the key does not say.

    strongest_khz : where most of the call's energy is taken to lie
    lowest_khz, highest_khz : the ends of the sweep
    duration_ms : the length
    """

    strongest_khz: np.ndarray
    lowest_khz: np.ndarray
    highest_khz: np.ndarray
    duration_ms: np.ndarray


def calls_of(caller: Caller, *, shortened_to: float = 1.0) -> Calls:
    """Calls drawn from the declared ranges, each metric evenly and by itself, kept where the metrics agree.

    What agrees: the relations of ``classifier.key.check.relations`` (bandwidth is highest less lowest frequency, tail
    is end less characteristic frequency, and so on). What is not declared and does not follow is NaN.

    *Strongest frequency*: the declared peak; else the characteristic frequency, at which a call with a flat part
    lingers; else, for a sweep, the geometric mean of its ends. Ten published mean peaks of sweeps lie within 14 % of
    that mean, and 6 % from it on average (tests/plan/test_calls.py).

    ``shortened_to`` is the share of their length to which calls are cut in narrow places.
    """
    drawn = _draw(caller.ranges)
    count = len(next(iter(drawn.values()))) if drawn else 1
    unknown = np.full(count, np.nan)
    lows = [drawn[name] for name in ("min_frequency", "end_frequency", _CHARACTERISTIC) if name in drawn]
    lowest = np.min(lows, axis=0) if lows else unknown
    highest = _highest(drawn, lowest)
    if "peak_frequency" in drawn:
        strongest = drawn["peak_frequency"]
    elif _CHARACTERISTIC in drawn:
        strongest = drawn[_CHARACTERISTIC]
    else:
        strongest = np.sqrt(lowest * highest) if highest is not None else unknown
    duration = drawn["duration"] * shortened_to if "duration" in drawn else unknown
    return Calls(strongest, lowest, unknown if highest is None else highest, duration)


def _highest(drawn, lowest):
    """The upper end of the sweep; None where nothing declared tells it."""
    highs = [drawn[name] for name in ("max_frequency", "start_frequency") if name in drawn]
    if highs:
        return np.max([*highs, lowest], axis=0)
    return lowest + drawn["bandwidth"] if "bandwidth" in drawn else None


def _draw(ranges):
    """Values by metric, (n,) each, of the points that agree with the ranges; empty where nothing is declared.

    Ranges that no call can meet give no points either: then the relations are let go, since planning asks no more
    than where each metric lies (the checker names such a taxon).
    """
    from scipy.stats import qmc

    names = list(ranges)
    if not names:
        return {}
    # Moved by half a step, so that the points stand in the middle of their cells and none on an edge.
    points = qmc.Sobol(len(names), scramble=False).random(POINTS) + 0.5 / POINTS
    drawn = {name: low + (high - low) * points[:, place] for place, (name, (low, high)) in enumerate(ranges.items())}
    keep = np.ones(POINTS, bool)
    for name, parts in EQUALS.items():
        if all(part in drawn for part in parts):
            value = sum(factor * drawn[part] for part, factor in parts.items())
            if name in ranges:
                keep &= (value >= ranges[name][0]) & (value <= ranges[name][1])
            drawn[name] = value
        elif name == "tail" and name in drawn and _CHARACTERISTIC in drawn:
            drawn["end_frequency"] = drawn[_CHARACTERISTIC] + drawn[name]
    for small, large in order_pairs(set(drawn)):
        keep &= drawn[small] <= drawn[large]
    if not keep.any():
        keep[:] = True
    return {name: values[keep] for name, values in drawn.items()}
