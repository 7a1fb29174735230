"""How often labels of simulated passes are right, by key.

    python tests/keys/population_numbers.py > docs/keys/simulated.csv

``rests on`` is the table of the means that the keys rest on, ``independent`` that of means recalled from publications
that are the source of no boundary; ``spread`` is a factor on all variation between bats and between pulses.
"""

import sys

import polars as pl
from populations import NAMES, outcomes

TABLES = {"rests on": "simulated_populations", "independent": "independent_populations"}
SPREADS = (1.0, 1.5)
_UNNAMED = ("unidentified", "not a bat")


def numbers():
    """A row a key, table and spread: counts of passes and definite labels, shares right of each tier in percent."""
    return pl.DataFrame([_row(key, what, times) for key in NAMES for what in TABLES for times in SPREADS])


def _row(key, what, times):
    found = outcomes(key, TABLES[what], times=times)
    named = found.filter(~pl.col("label").is_in(_UNNAMED))
    definite, probable = (found.filter(pl.col("tier") == tier) for tier in ("definite", "probable"))
    return {
        "key": key,
        "populations": what,
        "spread": times,
        "passes": found.height,
        "definite": definite.height,
        "definite_as_one_taxon": int(definite["label"].is_in(found["taxon"].unique().to_list()).sum()),
        "definite_wrong": int((~definite["right"]).sum()),
        "definite_right_percent": _percent(definite["right"]),
        "probable_right_percent": _percent(probable["right"]),
        "named_percent": round(100 * named.height / found.height, 1),
        "named_right_percent": _percent(named["right"]),
    }


def _percent(right):
    return round(100 * right.mean(), 1) if len(right) else None


if __name__ == "__main__":
    numbers().write_csv(sys.stdout)
