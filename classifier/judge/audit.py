"""Where a key leaves a survey ambiguous: how often, at which couplet, between which taxa. Worst comes
first."""

from dataclasses import dataclass
from itertools import combinations

import polars as pl

from classifier.label.text import NOT_A_BAT, TOO_FEW_TEXT, UNIDENTIFIED, parting_couplets, split_candidates

#: What can become of a pulse and of a pass. Each falls into exactly one kind; the first fit counts.
PULSE_KINDS = {
    "clear": "one taxon, or 'not a bat', and no other left",
    "ambiguous": "several candidates left",
    "unidentified": "the key itself says 'unidentified'",
    "gated": "not fit to be keyed: the key's gate, an echo, or part of a feeding buzz",
}
PASS_KINDS = {
    "named": "one taxon, definite or probable",
    "possible": "one taxon, no more than possible",
    "group": "a group: its members cannot be parted here",
    "undecided": "unidentified, because no candidate leads",
    "unidentified": "unidentified, because the key says so",
    "too few": "unidentified, because too few pulses are fit to be keyed",
    "not a bat": "not a bat",
}
AMBIGUOUS_PASSES = ("group", "undecided")


@dataclass(frozen=True)
class Audit:
    """Counts and tables of one labelled survey; shares are in percent.

    pulses, passes : DataFrame kind, count, percent - every kind once, in the order of the constants above
    gates : DataFrame gated_by, pulses, percent (of all pulses)
    couplets : DataFrame couplet, pulses, percent (of keyed pulses), passes (ambiguous passes it has a hand
        in), between (the candidates it parts most often)
    pairs : DataFrame first, second, pulses, percent (of keyed pulses), passes (ambiguous passes that hold
        both), couplets (where they part, most often first)
    ambiguous_pulses, ambiguous_passes : percent of keyed pulses and of all passes; None where there are none
    """

    pulses: pl.DataFrame
    passes: pl.DataFrame
    gates: pl.DataFrame
    couplets: pl.DataFrame
    pairs: pl.DataFrame
    ambiguous_pulses: float | None
    ambiguous_passes: float | None


def audit(passes: pl.DataFrame, pulses: pl.DataFrame, *, groups=(), ends=None) -> Audit:
    """Audit the two label tables of a survey.

    Parameters
    ----------
    passes, pulses : DataFrames as in labels/NAME/ of a survey folder; either may have no rows
    groups : iterable of str, the labels that are groups
    ends : mapping from a lead to the label it ends in, for leads that end; tells which couplets part
        candidates and which only lead to the same end by several ways

    Returns
    -------
    Audit
    """
    pulses = pulses.with_columns(_pulse_kind())
    passes = passes.with_columns(_pass_kind(list(groups)))
    keyed = int((pulses["kind"] != "gated").sum())
    parted = _parted(pulses, passes)
    ambiguous = int((pulses["kind"] == "ambiguous").sum())
    undecided = int(passes["kind"].is_in(AMBIGUOUS_PASSES).sum())
    gates = pulses.filter(pl.col("gated_by").is_not_null()).group_by("gated_by").agg(pl.len().alias("pulses"))
    return Audit(
        pulses=_kinds(pulses, PULSE_KINDS),
        passes=_kinds(passes, PASS_KINDS),
        gates=_with_percent(gates, pulses.height, "gated_by"),
        couplets=_couplets(parted, keyed, ends),
        pairs=_pairs(parted, keyed, ends),
        ambiguous_pulses=100.0 * ambiguous / keyed if keyed else None,
        ambiguous_passes=100.0 * undecided / passes.height if passes.height else None,
    )


def _pulse_kind():
    several = pl.col("candidates").fill_null("").str.contains("; ", literal=True)
    return (
        pl.when(pl.col("gated_by").is_not_null() | pl.col("candidates").is_null())
        .then(pl.lit("gated"))
        .when(several)
        .then(pl.lit("ambiguous"))
        .when(pl.col("label") == UNIDENTIFIED)
        .then(pl.lit("unidentified"))
        .otherwise(pl.lit("clear"))
        .alias("kind")
    )


def _pass_kind(groups):
    several = pl.col("candidates").fill_null("").str.contains("; ", literal=True)
    return (
        pl.when(pl.col("trail").fill_null("").str.starts_with(TOO_FEW_TEXT))
        .then(pl.lit("too few"))
        .when((pl.col("label") == UNIDENTIFIED) & several)
        .then(pl.lit("undecided"))
        .when(pl.col("label") == UNIDENTIFIED)
        .then(pl.lit("unidentified"))
        .when(pl.col("label") == NOT_A_BAT)
        .then(pl.lit("not a bat"))
        .when(pl.col("label").is_in(groups))
        .then(pl.lit("group"))
        .when(pl.col("tier") == "possible")
        .then(pl.lit("possible"))
        .otherwise(pl.lit("named"))
        .alias("kind")
    )


def _kinds(table, kinds):
    """Every kind once, with how many rows are of it."""
    met = dict(table.group_by("kind").agg(pl.len()).iter_rows())
    counts = [met.get(kind, 0) for kind in kinds]
    total = table.height
    return pl.DataFrame(
        {
            "kind": list(kinds),
            "count": counts,
            "percent": [100.0 * n / total if total else None for n in counts],
        },
        schema={"kind": pl.String, "count": pl.Int64, "percent": pl.Float64},
    )


def _with_percent(table, total, then):
    """Counts with their share of ``total``, most first, ties by name."""
    share = 100.0 * pl.col("pulses") / total if total else pl.lit(None, dtype=pl.Float64)
    return table.with_columns(pl.col("pulses").cast(pl.Int64), share.alias("percent")).sort(
        ["pulses", then], descending=[True, False]
    )


def _parted(pulses, passes):
    """Ambiguous pulses by their trail and candidates: (trail, candidates, pulses, set of ambiguous
    passes)."""
    undecided = set(passes.filter(pl.col("kind").is_in(AMBIGUOUS_PASSES))["pass"].to_list())
    met = (
        pulses.filter(pl.col("kind") == "ambiguous")
        .group_by("trail", "candidates")
        .agg(pl.len().alias("pulses"), pl.col("pass").unique().alias("passes"))
        .sort("trail", "candidates")
    )
    return [
        (trail, split_candidates(candidates), count, undecided.intersection(of)) for trail, candidates, count, of in met.iter_rows()
    ]


def _couplets(parted, keyed, ends):
    rows = {}
    for trail, candidates, count, passes in parted:
        for couplet in parting_couplets(trail, ends):
            row = rows.setdefault(couplet, {"pulses": 0, "passes": set(), "between": {}})
            row["pulses"] += count
            row["passes"] |= passes
            between = "; ".join(candidates)
            row["between"][between] = row["between"].get(between, 0) + count
    table = pl.DataFrame(
        [(couplet, row["pulses"], len(row["passes"]), _most(row["between"])[0]) for couplet, row in rows.items()],
        schema={"couplet": pl.String, "pulses": pl.Int64, "passes": pl.Int64, "between": pl.String},
        orient="row",
    )
    table = _with_percent(table, keyed, "couplet")
    return table.select("couplet", "pulses", "percent", "passes", "between")


def _pairs(parted, keyed, ends):
    rows = {}
    for trail, candidates, count, passes in parted:
        for pair in combinations(sorted(candidates), 2):
            row = rows.setdefault(pair, {"pulses": 0, "passes": set(), "couplets": {}})
            row["pulses"] += count
            row["passes"] |= passes
            for couplet in parting_couplets(trail, ends, among=pair):
                row["couplets"][couplet] = row["couplets"].get(couplet, 0) + count
    table = pl.DataFrame(
        [(*pair, row["pulses"], len(row["passes"]), ", ".join(_most(row["couplets"]))) for pair, row in rows.items()],
        schema={
            "first": pl.String,
            "second": pl.String,
            "pulses": pl.Int64,
            "passes": pl.Int64,
            "couplets": pl.String,
        },
        orient="row",
    )
    table = _with_percent(table, keyed, "first")
    return table.select("first", "second", "pulses", "percent", "passes", "couplets").sort(
        ["pulses", "first", "second"], descending=[True, False, False]
    )


def _most(counts):
    """Names by their count, most first, ties by name."""
    return [name for name, _ in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))]
