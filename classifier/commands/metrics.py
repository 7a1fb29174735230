"""``callkey metrics``: what is measured of a pulse, in which unit, and how it is defined."""

from typing import Annotated

import typer

from classifier.commands import options, show
from classifier.errors import InputError
from classifier.metrics import METRICS

EXAMPLE = "callkey metrics characteristic_frequency"


def metrics(
    names: Annotated[list[str] | None, typer.Argument(metavar="METRIC", help="Only these metrics, by name or by column.")] = None,
    json: options.Json = False,
) -> None:
    """Show the metrics: name in key text, column in tables, unit, definition and plausible range."""
    chosen = [_find(name) for name in names] if names else list(METRICS.values())
    if json:
        show.as_json([_row(metric) for metric in chosen])
        return
    if names:
        for metric in chosen:
            _show_one(metric)
        return
    show.table(
        ["metric", "unit", "plausible", "definition~"],
        [(show.text(m.name, "bold"), m.unit or "–", _range(m), m.definition) for m in chosen],
    )
    show.say("`callkey metrics METRIC` tells how one is written in keys and in tables.")


def _show_one(metric):
    out = show.console()
    show.heading(metric.name, to=out)
    error = f", its standard error `{metric.error_column}`" if metric.has_standard_error else ""
    known = "with the pulse itself" if metric.stage == "measure" else "once pulses are in passes"
    show.facts(
        [
            ("definition", metric.definition),
            ("in key text", f"{metric.name} >= {_example(metric)}"),
            ("in tables", f"column `{metric.column}`{error}"),
            ("plausible", f"{_range(metric)} {metric.unit}".strip()),
            ("parts no finer than", f"{metric.resolution:g} {metric.unit}".strip()),
            ("known", known),
            ("source", f"{metric.source} in docs/sources.md"),
        ],
        to=out,
    )


def _range(metric):
    return f"{metric.low:,g} to {metric.high:,g}".replace("e+06", " million").replace(",", " ")


def _example(metric):
    """A boundary in the middle of the plausible range, rounded, as key text has it."""
    middle = (metric.low * metric.high) ** 0.5 if metric.low > 0 else (metric.low + metric.high) / 2
    return f"{float(f'{middle:.1g}'):g} {metric.unit}".strip()


def _find(name):
    for metric in METRICS.values():
        if name in (metric.name, metric.column, metric.error_column):
            return metric
    from difflib import get_close_matches

    near = get_close_matches(name, METRICS, n=1)
    hint = f"did you mean `{near[0]}`?" if near else "`callkey metrics` lists them all"
    raise InputError(f"there is no metric `{name}`; {hint}")


def _row(metric):
    return {
        "metric": metric.name,
        "column": metric.column,
        "error_column": metric.error_column,
        "unit": metric.unit,
        "definition": metric.definition,
        "low": metric.low,
        "high": metric.high,
        "resolution": metric.resolution,
        "known_after": metric.stage,
        "source": metric.source,
    }
