"""The words of the key language that are data and not grammar: what can be named where, in which unit.

A condition stands on one of three levels: on a *pulse* (leads of couplets, the gate), on a *pass* (leads of refine)
or on a *tier* (the passes block). Each level has its own names; metrics come from the registry.
"""

from dataclasses import dataclass

from classifier.key.lines import HEADINGS
from classifier.metrics import METRICS

PULSE, PASS, TIER = "pulse", "pass", "tier"


@dataclass(frozen=True)
class Quality:
    """Something that a condition can name: ``unit`` as text ('' for plain numbers), ``definition`` for help and docs.

    ``resolution`` is the finest difference worth speaking of (for clearance). ``whole``: only whole numbers, so
    that ``=`` makes sense. ``condition``: it is itself yes or no.
    """

    name: str
    unit: str
    definition: str
    resolution: float
    low: float
    high: float
    whole: bool = False
    condition: bool = False


def _by_name(*qualities):
    return {quality.name: quality for quality in qualities}


NAMES = {
    PULSE: {
        metric.name: Quality(
            metric.name,
            metric.unit,
            metric.definition,
            metric.resolution,
            metric.low,
            metric.high,
            metric.unit == "",
        )
        for metric in METRICS.values()
    },
    PASS: _by_name(
        Quality(
            "alternation",
            "kHz",
            "how far apart the two call types of a bat lie that alternates between two: the "
            "difference of their median characteristic frequencies; 0 where it does not alternate",
            0.1,
            0.0,
            400.0,
        ),
        Quality("interval", "ms", "median onset-to-onset interval of the pass", 0.1, 1.0, 10000.0),
        Quality("duty_cycle", "%", "median of duration / interval over the pulses of the pass", 0.1, 0.0, 100.0),
        Quality("feeding_buzz", "", "the pass holds a feeding buzz", 1, 0, 1, condition=True),
        Quality("month", "", "month of the year in which the night began, 1 to 12", 1, 1, 12, whole=True),
        Quality("hour_after_sunset", "h", "hours from local sunset to the start of the pass", 0.01, -24.0, 24.0),
        Quality("pulses", "", "number of usable pulses of the pass", 1, 0, 1e6, whole=True),
    ),
    TIER: _by_name(
        Quality("support", "%", "share of the pass's votes that its label got", 0.1, 0.0, 100.0),
        Quality(
            "clear",
            "",
            "number of usable pulses with this label as their only candidate",
            1,
            0,
            1e6,
            whole=True,
        ),
        Quality("pulses", "", "number of usable pulses of the pass", 1, 0, 1e6, whole=True),
        Quality(
            "clearance",
            "",
            "median clearance of the usable pulses (1 is the edge of an overlap zone)",
            0.01,
            0.0,
            1e9,
        ),
    ),
}


@dataclass(frozen=True)
class Summary:
    """A function that gathers the pulses of a pass. ``of`` says what it takes: a quantity or a condition. ``unit``
    None means the unit of what it takes."""

    name: str
    of: str
    unit: str | None
    definition: str


SUMMARIES = {
    summary.name: summary
    for summary in (
        Summary("median", "quantity", None, "median over the usable pulses that have a value"),
        Summary("mean", "quantity", None, "arithmetic mean over the usable pulses that have a value"),
        Summary(
            "spread",
            "quantity",
            None,
            "half the width of the middle 68 % of the values (half the distance from "
            "the 16th to the 84th percentile): the standard deviation, where the values are normally distributed",
        ),
        Summary(
            "share",
            "condition",
            "%",
            "share of yes among the usable pulses for which the condition is not unsure",
        ),
        Summary("count", "condition", "", "number of usable pulses for which the condition is yes"),
    )
}
FUNCTIONS = ("abs", *SUMMARIES)

#: Citations that need no source statement: honest words for where a number comes from.
SOURCELESS = ("chosen", "memory")

_WORDS = (
    "and",
    "or",
    "not",
    "otherwise",
    "from",
    "to",
    "is",
    "missing",
    "measured",
    "at",
    "most",
    "least",
    "when",
    "definite",
    "probable",
    "possible",
    "stays",
    "gated",
    "among",
    "unidentified",
    "a",
    "bat",
    "similar",
    "status",
    "tells",
    "note",
    "occurs",
    "gap",
    "version",
    "south",
    "north",
    "west",
    "east",
    "errors",
    "on",
)

#: Names that a let may not take.
RESERVED = frozenset([*HEADINGS, *_WORDS, *FUNCTIONS, *SOURCELESS, *(name for names in NAMES.values() for name in names)])
