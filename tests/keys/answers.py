"""What a key makes of one call that is known by a few metrics."""

import numpy as np

from classifier.key import evaluate
from classifier.metrics import METRICS


def answer(key, call, columns):
    """The ends that the key leaves open for one call, and the caps on them.

    ``columns``: column of ``call`` -> metric that stands in it, where the column is not empty.
    """
    values = {name: np.array([np.nan]) for name in METRICS}
    values |= {name: np.array([float(call[column])]) for column, name in columns.items() if call[column]}
    verdicts = evaluate(key, values)
    places = np.flatnonzero(verdicts.candidates[0])
    return [key.ends[place] for place in places], verdicts.cap[0, places]


def holds(end, taxon):
    """Whether an end is the taxon or a group that holds it."""
    return taxon in (end.label, *end.members)
