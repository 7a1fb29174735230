"""``callkey explain``: the path of a pass, or of a call given by its values, through the key, lead by
lead."""

from pathlib import Path
from typing import Annotated

import typer

from classifier.commands import options, show
from classifier.commands.walked import show_walk, walk_for_json
from classifier.errors import InputError

EXAMPLE = "callkey explain survey 12"

#: Ways of a pass that are listed.
MOST_WAYS = 8


def explain(
    what: Annotated[Path, typer.Argument(metavar="SURVEY", help="A survey folder; or a key file, with --call.")],
    number: Annotated[int | None, typer.Argument(metavar="PASS", help="The number of the pass, as in passes.csv.")] = None,
    pulse: Annotated[
        int | None,
        typer.Option("--pulse", metavar="N", min=1, help="Follow this pulse of the pass instead of the typical one."),
    ] = None,
    call: Annotated[
        str | None,
        typer.Option("--call", metavar="VALUES", help='A call by its values: "duration = 5.6 ms, tail = 1 kHz".'),
    ] = None,
    name: options.Name = None,
    json: options.Json = False,
) -> None:
    """Explain a label: the path through the key, lead by lead.

    Each lead is shown with its condition, the measured value and its error, the boundary, how far the value
    stands from it (clearance: 1 is the edge of the zone in which the key cannot tell) and whether it holds:
    yes, no or unsure.
    """
    if call is not None:
        if number is not None:
            raise typer.BadParameter("give a key with --call, or a survey with PASS, not both", param_hint="PASS")
        _explain_call(what, call, json)
    elif number is None:
        raise typer.BadParameter("give the number of a pass", param_hint="PASS")
    else:
        _explain_pass(what, number, pulse, name, json)


def _explain_call(key, text, json):
    from classifier.commands.chain import sound_key
    from classifier.key import compile_key, walk

    values = _typed_call(text)
    reading = sound_key(key)
    compiled = compile_key(reading.key, reading.meanings)
    missing = dict.fromkeys(compiled.metrics, (None, None))
    found = walk(compiled, missing | values)
    if json:
        show.as_json(walk_for_json(found))
        return
    out = show.console()
    show_walk(found, out)


def _typed_call(text):
    """Value and standard error by metric name; what does not read is shown and raised as one InputError."""
    from classifier.key import parse_call, render

    values, found = parse_call(text)
    for each in found:
        show.say(render(each, {"call": text}))
    if found:
        raise InputError("the call behind --call does not read; mend what is marked above")
    return values


def _explain_pass(folder, number, pulse, name, json):
    import polars as pl

    from classifier.commands.chain import compiled_of, stored_labels
    from classifier.key import walk
    from classifier.label.account import account_of
    from classifier.label.labelling import metric_arrays
    from classifier.survey import open_survey

    survey = open_survey(folder)
    stored = stored_labels(survey, name)
    row = stored.passes.filter(pl.col("pass") == number)
    if not row.height:
        last = stored.passes["pass"].max()
        known = f"its passes run from 1 to {last}" if last else "it has no passes"
        raise InputError(f"{folder}: there is no pass {number}; {known}")
    compiled = compiled_of(stored, survey)
    of_pass = stored.pulses.filter(pl.col("pass") == number)
    both = of_pass.join(survey.pulses(), on=["recording", "channel", "pulse"], how="left", maintain_order="left")
    usable = of_pass["gated_by"].is_null().to_numpy()
    row = row.row(0, named=True)
    account = account_of(compiled, both, usable, row["label"], row["trail"] or "")
    place = _place_of(both, pulse, account, number)
    path = None
    if place is not None:
        values, errors = metric_arrays(both[place])
        path = walk(
            compiled,
            {metric: (float(each[0]), float(errors[metric][0]) if metric in errors else None) for metric, each in values.items()},
        )
    if json:
        ways = [{**show.plain(way), "pulse": both["pulse"][way.pulse]} for way in account.ways]
        show.as_json(
            {
                "pass": row,
                "ways": ways,
                "tiers": account.tiers,
                "counted_for": account.counted_for,
                "pulse": None if place is None else both["pulse"][place],
                "path": walk_for_json(path),
            }
        )
        return
    out = show.console()
    _show_pass(row, both, compiled, out)
    _show_votes(account, both, out)
    _show_tiers(account, row, out)
    if path is not None:
        chosen = "" if pulse is None else ", as asked"
        which = both["pulse"][place]
        show.heading(f"Pulse {which}{chosen or ', typical of the way most pulses took'}", to=out)
        show_walk(path, out)
    _show_refine(row, account, compiled, out)


def _place_of(both, pulse, account, number):
    """The row of the pulse to follow: the one asked for, else the typical one of the commonest way; None
    without any."""
    if pulse is None:
        return account.ways[0].pulse if account.ways else None
    places = [place for place, each in enumerate(both["pulse"]) if each == pulse]
    if not places:
        raise InputError(f"pass {number} has no pulse {pulse}; it has {', '.join(map(str, both['pulse']))}")
    return places[0]


def _show_pass(row, both, compiled, out):
    from classifier.commands.label import label_cell

    gates = [gate for gate in both["gated_by"] if gate]
    kept = ", ".join(f"{gates.count(gate)} by {gate}" for gate in dict.fromkeys(gates))
    recordings = row["recording"] + (f" and {row['recordings'] - 1} more" if row["recordings"] > 1 else "")
    tier = f", {row['tier']}" if row["tier"] else ""
    show.heading(f"Pass {row['pass']}", to=out)
    name = label_cell(row["label"], compiled.key)
    name.append(tier, style=show.TIER_STYLES.get(row["tier"], ""))
    show.facts(
        [
            ("label", name),
            ("candidates", (row["candidates"] or "none").replace("; ", ", ")),
            (
                "recording",
                f"{recordings}, channel {row['channel']}, from {row['onset_s']:.2f} to {row['end_s']:.2f} s"
                if row["onset_s"] is not None
                else recordings,
            ),
            (
                "when and where",
                ", ".join(str(each) for each in (row["starts_at"], row["site"]) if each) or "unknown",
            ),
            (
                "pulses",
                f"{row['pulses']}, of which {row['usable_pulses']} vote" + (f"; kept out: {kept}" if kept else ""),
            ),
            ("feeding buzz", "yes" if row["feeding_buzz"] else "no"),
        ],
        to=out,
    )


def _show_votes(account, both, out):
    if not account.ways:
        return
    show.heading("Ways through the key", to=out)
    rows = []
    for way in account.ways[:MOST_WAYS]:
        why = f"couplet {way.parted_by} is unsure" if way.parted_by else way.reason
        rows.append((way.trail, way.pulses, " | ".join(way.candidates), why or "", f"e.g. {both['pulse'][way.pulse]}"))
    show.table(["leads~", "pulses>", "candidates~", "because~", "pulse"], rows, to=out)
    if len(account.ways) > MOST_WAYS:
        show.paragraph(f"  and {len(account.ways) - MOST_WAYS} more; --json has them all", to=out, style="dim")


def _show_tiers(account, row, out):
    if not account.tiers:
        show.paragraph(f"\n  Why no label: {row['trail'].split(';')[0]}.", to=out)
        return
    show.heading(f"Votes for {account.counted_for}", to=out)
    rows = []
    for tier in account.tiers:
        holds = "yes" if tier.holds else "no"
        rows.append(
            (
                tier.tier,
                tier.condition,
                f"{tier.support:.0f} %",
                tier.clear,
                show.text(holds, show.TRUTH_STYLES[holds]),
            )
        )
    show.table(["tier", "asks for~", "support>", "clear>", "holds"], rows, to=out)
    if account.at_most:
        show.paragraph(
            f"  The refine block below gave the label; its lead allows no better than {account.at_most}.", to=out, style="dim"
        )
    capped = {tier.support for tier in account.tiers}
    if len(capped) > 1:
        show.paragraph("  A vote whose way says `at most` counts only for the tiers that it allows.", to=out, style="dim")


def _show_refine(row, account, compiled, out):
    """The block that spoke of the pass, each of its leads with what came of it."""
    from classifier.key.text import condition_text, lead_target_text

    _, mark, letters = row["trail"].rpartition("; refine ")
    if not mark or account.refined_by is None:
        return
    taken = letters.split(" | ")
    refinement = compiled.refinements[account.refined_by]
    names = [compiled.ends[end].label for end in refinement.candidates]
    show.heading(f"Refined on the whole pass: {' | '.join(names)}", to=out)
    rows, last = [], taken[-1]
    for route in refinement.routes:
        truth = "no" if route.label not in taken else "yes" if route.label == last else "unsure"
        rows.append(
            (
                route.label,
                condition_text(route.lead),
                show.text(truth, show.TRUTH_STYLES[truth]),
                lead_target_text(route.lead) if truth != "no" else "",
            )
        )
        if route.label == last:
            break
    show.table(["lead", "condition~", "holds", "then~"], rows, to=out)
