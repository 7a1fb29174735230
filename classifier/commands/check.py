"""``callkey check``: what is wrong with a key, all of it in one run, and what is proven about it."""

import re
from pathlib import Path
from typing import Annotated

import typer

from classifier.commands import options, show
from classifier.errors import InputError

EXAMPLE = "callkey check keys/britain-and-ireland.key"

_RATE = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(k?Hz)?\s*", re.IGNORECASE)
_MISSING = "Metrics of which a taxon declares nothing are missing in its calls."
#: Shares of calls below this are put together in the table.
_SMALL_SHARE = 0.02


def check(
    keys: Annotated[list[Path] | None, typer.Argument(metavar="KEY", help="Key files.")] = None,
    sample_rate: Annotated[
        str | None,
        typer.Option(
            "--sample-rate",
            metavar="RATE",
            help="Sample rate of the recordings, such as 256kHz: boundaries past half of it are named.",
        ),
    ] = None,
    figure: Annotated[
        Path | None,
        typer.Option("--figure", metavar="FILE", help="Draw the key into this file (.pdf, .svg or .png); one key only."),
    ] = None,
    coverage: Annotated[
        bool,
        typer.Option(
            "--coverage",
            help="Show every way in which calls drawn from the declared ranges end, not the summary alone.",
        ),
    ] = False,
    explain: Annotated[
        str | None,
        typer.Option("--explain", metavar="RULE", help="Explain a rule, such as K410, and check nothing."),
    ] = None,
    json: options.Json = False,
) -> None:
    """Check keys: every fault with its place and remedy, and what can be proven about the key.

    Faults of form and names come first; once there are none, the key is proven: leads that no call reaches,
    calls that no lead takes, leads that overlap, and calls inside one taxon's declared ranges that could
    become definite as another, each shown by a call that `callkey explain KEY --call` walks.
    """
    if explain is not None:
        _explain(explain)
        return
    if not keys:
        raise typer.BadParameter("name a key file, or a rule with --explain", param_hint="KEY")
    if figure is not None and len(keys) != 1:
        raise typer.BadParameter("draws one key; name one", param_hint="--figure")
    from classifier.key import has_errors, read_key
    from classifier.key.check import check as check_key

    rate = None if sample_rate is None else _rate_khz(sample_rate)
    checked = []
    for path in keys:
        reading = read_key(path)
        checked.append((path, reading, check_key(reading, sample_rate_khz=rate)))
    if json:
        show.as_json([_for_json(*each) for each in checked])
    else:
        for each in checked:
            _show(*each, coverage=coverage)
    if figure is not None:
        _draw(checked[0][1], figure)
    if any(has_errors(found) for _, _, found in checked):
        raise typer.Exit(1)


def _rate_khz(text):
    match = _RATE.fullmatch(text)
    if match is None:
        raise typer.BadParameter(f"`{text}` is no sample rate; write it as in 256kHz", param_hint="--sample-rate")
    value = float(match[1])
    if match[2] is None and value < 1000:
        raise typer.BadParameter(f"`{text}` has no unit and is too low in Hz; write {text}kHz", param_hint="--sample-rate")
    return value if match[2] and match[2].lower() == "khz" else value / 1000


def _explain(wanted):
    from classifier.key.check.pages import page_of
    from classifier.key.messages import did_you_mean
    from classifier.key.rules import RULES

    rule = next((rule for rule in RULES.values() if wanted.lower() in (rule.code.lower(), rule.name)), None)
    if rule is None:
        near = did_you_mean(wanted, [*RULES, *(each.name for each in RULES.values())])
        raise InputError(f"there is no rule `{wanted}`; {near or 'rules run from K101 to K501'}")
    print(page_of(rule.code).strip())


def _for_json(path, reading, found):
    from classifier.key import has_errors

    rows = _coverage_of(reading)
    return {
        "key": str(path),
        "sound": not has_errors(found),
        "proven": reading.key is not None,
        "diagnostics": [each.as_dict() for each in found],
        "coverage": [
            {
                "taxon": row.taxon,
                "label": row.label,
                "tier": row.tier,
                "share_percent": round(100 * row.share, 1),
                "parted_by_couplet": row.couplet or None,
                "verdict": row.verdict,
            }
            for row in rows or ()
        ],
    }


def _coverage_of(reading):
    """Coverage of a key without errors of form; None for others."""
    if reading.key is None:
        return None
    from classifier.key import compile_key
    from classifier.key.check.coverage import coverage

    return coverage(compile_key(reading.key, reading.meanings))


def _show(path, reading, found, *, coverage):
    for each in found:
        show.diagnostic(each, reading)
        show.say()
    if reading.key is not None and reading.key.taxa:
        (_show_ways if coverage else _show_coverage)(reading)
    counts = {what: sum(each.severity == what for each in found) for what in ("error", "warning", "note")}
    texts = [f"{count} {what}{'s' if count != 1 else ''}" for what, count in counts.items() if count]
    summary = " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts) or "no faults"
    print(f"{path}: {summary}{_size(reading)}")
    call = next((each for each in found if each.code.startswith("K4") and each.witness), None)
    if call is not None:
        from classifier.key.messages import call_text

        show.say(f'walk such a call: callkey explain {path} --call "{call_text(call.witness)}"')
    if reading.key is None:
        show.say("the key is proven once it has no such errors; check again then")


def _size(reading):
    if reading.key is None:
        return ""
    parts = (
        ("couplet", "couplets", reading.key.couplets),
        ("taxon", "taxa", reading.key.taxa),
        ("group", "groups", reading.key.groups),
    )
    return ": " + ", ".join(f"{len(each)} {one if len(each) == 1 else many}" for one, many, each in parts)


def _show_coverage(reading):
    """A line a taxon: how much of what it declares the key names rightly, and how."""
    from classifier.key.check.coverage import COVERED, PARTED, RIGHT, WRONG, totals

    rows = _coverage_of(reading)
    shares, lines = totals(rows), []
    for taxon in reading.key.taxa:
        if taxon not in shares:
            lines.append((taxon, "nothing declared", *[None] * 4))
            continue
        named = [row for row in rows if row.taxon == taxon and row.verdict == RIGHT]
        groups = [row for row in rows if row.taxon == taxon and row.verdict == COVERED]
        best = named[0].tier if named else f"({groups[0].tier})" if groups and groups[0].tier else None
        lines.append((taxon, best, *(_share(shares[taxon][verdict]) for verdict in (RIGHT, COVERED, PARTED, WRONG))))
    _table_of(
        ("taxon", "tier at best", "by name>", "in a group>", "left open>", "wrongly>"),
        lines,
        f"{_MISSING} (…): as a group only.",
    )


def _share(share):
    """A share for the table: nothing is a dash, little is not rounded away."""
    return None if not share else "< 1 %" if share < 0.01 else show.percent(100 * share)


def _show_ways(reading):
    """A line for each way in which calls of a taxon end that is not rare."""
    rows, lines = _coverage_of(reading), []
    named = dict.fromkeys(row.taxon for row in rows)
    for taxon in reading.key.taxa:
        if taxon not in named:
            lines.append((taxon, "nothing declared, or nothing that a call can meet", None, None))
            continue
        mine = [row for row in rows if row.taxon == taxon]
        cells = [(_label_text(row), row.tier, _share(row.share)) for row in mine if row.share >= _SMALL_SHARE]
        rest = sum(row.share for row in mine if row.share < _SMALL_SHARE)
        cells += [("other ways, each rare", None, _share(rest))] if rest else []
        lines.extend((taxon if not place else "", *cell) for place, cell in enumerate(cells))
    _table_of(("taxon", "label of a pass of such calls~", "tier at best", "share>"), lines, _MISSING)


def _table_of(columns, lines, caption):
    show.heading("Where calls drawn from the declared ranges end")
    show.table(columns, lines, caption=caption)
    print()


def _label_text(row):
    if row.verdict == "wrong":
        return f"{row.label} (wrong)"
    if row.verdict == "open" and row.couplet:
        return f"{row.label}: couplet {row.couplet} leaves several"
    return row.label


def _draw(reading, path):
    if reading.key is None:
        show.say(f"{path}: not drawn, since the key has errors")
        return
    if path.suffix.lower() not in (".pdf", ".svg", ".png"):
        raise InputError(f"{path}: a figure ends in .pdf, .svg or .png")
    from classifier.key import compile_key
    from classifier.key.check.picture import draw_key

    draw_key(compile_key(reading.key, reading.meanings), path)
    show.say(f"drawn: {path}")
