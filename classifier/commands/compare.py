"""``callkey compare``: the key against calls whose bat is known."""

from pathlib import Path

import typer

from classifier.commands import options, show
from classifier.commands.measuring import MeasuringOptions, measure_into, name_in

EXAMPLE = "callkey compare calls.csv --key keys/britain-and-ireland.key"

#: Wrong answers listed; `--json` has every call.
MOST_WRONG = 12


def compare(
    calls: options.Calls,
    key: options.Key,
    output: options.KeepSurvey = None,
    site: options.Site = None,
    time_expansion: options.TimeExpansion = None,
    timezone: options.Timezone = None,
    name_pattern: options.NamePattern = None,
    workers: options.Workers = None,
    json: options.Json = False,
) -> None:
    """Compare a key's answers with reference calls of known bats.

    Each row of the table names its taxon and either a recording (a part of it with start_s and end_s) or the
    metrics of one call. Shown are who is taken for whom, precision and recall of each taxon with 95 %
    intervals, Cohen's kappa, and how often each tier is right.
    """
    from classifier.commands.chain import sound_key
    from classifier.judge import compare as hold_against
    from classifier.judge import read_references
    from classifier.key import compile_key

    references = read_references(calls)
    reading = sound_key(key)
    compiled = compile_key(reading.key)
    faults = list(references.faults)
    for sentence in faults:
        show.fault(sentence)
    if references.unused_columns:
        show.say(f"note   columns not used: {', '.join(references.unused_columns)}")
    wanted = MeasuringOptions(site, time_expansion, timezone, name_pattern, workers)
    if references.kind == "metrics":
        from classifier.judge.answers import answer_calls

        answers, unit = answer_calls(references, compiled), "call"
    else:
        answers, faulty, unit = *_answers_from_recordings(references, compiled, output, wanted), "pass"
        faults += faulty
    if answers.height:
        found = hold_against(
            answers,
            taxa=reading.key.taxa,
            unit=unit,
            groups={group.name: [taxon.name for taxon in group.members] for group in reading.key.groups.values()},
        )
        if json:
            show.as_json(
                {
                    "key": reading.key.name,
                    "key_version": reading.key.version,
                    "faults": faults,
                    **{name: getattr(found, name) for name in found.__dataclass_fields__},
                }
            )
        else:
            show_comparison(found, reading.key)
    if faults or not answers.height:
        raise typer.Exit(1)


def _answers_from_recordings(references, compiled, output, wanted):
    """Measure the recordings that the table names and answer each row; returns answers and faults."""
    from dataclasses import replace
    from tempfile import TemporaryDirectory

    faults, kept, files = [], [], []
    for call in references.calls:
        path = references.path.parent / call.recording
        if path.is_file():
            kept.append(call)
            files.append(path)
        else:
            faults.append(
                f"{references.path}:{call.line}: there is no recording `{path}`; paths count from the folder of the table"
            )
            show.fault(faults[-1])
    references = replace(references, calls=tuple(kept))
    if not kept:
        return _no_answers(), faults
    with TemporaryDirectory(prefix="callkey-") as scratch:
        result = measure_into(sorted(set(files)), Path(output or scratch), wanted)
        faults += [f"{row['path']}: {row['status']}: {row['message']}" for row in result.faulty.iter_rows(named=True)]
        pulses, recordings = result.survey.pulses(), result.survey.recordings()
        names = [name_in(result.survey, path) for path in files]
    from classifier.judge.answers import answer_recordings

    return answer_recordings(references, names, pulses, recordings, compiled), faults


def _no_answers():
    import polars as pl

    from classifier.judge.answers import ANSWER_SCHEMA

    return pl.DataFrame(schema=ANSWER_SCHEMA)


def show_comparison(found, key) -> None:
    """The comparison as tables on stdout: in one number, by taxon, who for whom, by tier, the wrong ones."""
    out = show.console()
    many = found.calls.height
    show.heading(
        f"{many} reference {'passes' if found.unit == 'pass' else 'calls'}"
        + (f" of {found.individuals} individuals" if found.individuals else ""),
        to=out,
    )
    show.facts(
        [
            ("right", _with_interval(found.right)),
            ("right, groups counted", _with_interval(found.right_with_groups)),
            ("kappa", _kappa(found.kappa, "all calls; a group or 'unidentified' counts as disagreement")),
            ("kappa, named", _kappa(found.kappa_named, "only calls labelled with one taxon")),
        ],
        to=out,
    )
    show.heading("Who is taken for whom (rows: the truth)", to=out)
    _show_confusion(found, out)
    show.heading("By taxon", to=out)
    show.table(
        [
            "taxon",
            "calls>" if found.unit == "call" else "passes>",
            "recall (95 %)>",
            "with groups>",
            "precision (95 %)>",
            "else most often~",
        ],
        [
            (
                score.taxon,
                score.calls,
                _share_and_interval(score.recall),
                _share(score.recall_with_groups),
                _share_and_interval(score.precision),
                score.most_often or "",
            )
            for score in found.taxa
        ],
        to=out,
    )
    show.heading("How often each tier is right", to=out)
    show.table(
        ["tier", "labels>", "right>", "share>", "95 %"],
        [
            (
                show.text(tier, show.TIER_STYLES[tier]),
                share.total,
                share.hits,
                _share(share),
                _interval(share),
            )
            for tier, share in found.tiers
        ],
        to=out,
    )
    _show_wrong(found, out)
    notes = []
    if found.unknown:
        notes.append(f"The key does not declare {', '.join(found.unknown)}: calls of these can never be right.")
    notes.append(
        "Intervals hold for independent calls; calls of one bat resemble each other, so with few bats they are too narrow."
    )
    show.cautions(notes, to=out)


def _show_confusion(found, out):
    """The confusion matrix; labels are numbered where their names would not fit beside each other."""
    met = [place for place, _ in enumerate(found.labels) if any(row[place] for row in found.counts)]
    numbered = len(met) > 6 or sum(len(found.labels[place]) + 3 for place in met) > out.width - 30
    names = {place: str(number) if numbered else found.labels[place] for number, place in enumerate(met, 1)}
    rows = []
    for truth, counts in zip(found.truths, found.counts, strict=True):
        cells = [truth]
        for place in met:
            right = found.labels[place] == truth
            count = counts[place]
            cells.append(show.text(str(count) if count else "·", "bold" if right and count else "" if count else "dim"))
        rows.append([*cells, sum(counts)])
    show.table(["", *(f"{names[place]}>" for place in met), "all>"], rows, to=out)
    if numbered:
        show.paragraph("  " + ",  ".join(f"{names[place]} {found.labels[place]}" for place in met), to=out, style="dim")


def _show_wrong(found, out):
    import polars as pl

    wrong = found.calls.filter(pl.col("outcome") == "wrong").sort("line")
    if not wrong.height:
        return
    show.heading(f"Wrong: {wrong.height}", to=out)
    show.table(
        ["line>", "truth", "label", "tier", "way through the key~"],
        [
            (row["line"], row["taxon"], row["label"], row["tier"], row["trail"])
            for row in wrong.head(MOST_WRONG).iter_rows(named=True)
        ],
        to=out,
    )
    if wrong.height > MOST_WRONG:
        show.paragraph(f"  and {wrong.height - MOST_WRONG} more; --json has every call", to=out, style="dim")


def _share(share):
    return show.percent(None if share.value is None else 100 * share.value)


def _interval(share):
    return "" if share.value is None else f"{100 * share.low:.0f} to {100 * share.high:.0f} %"


def _share_and_interval(share):
    return "–" if share.value is None else f"{_share(share)} ({100 * share.low:.0f} to {100 * share.high:.0f})"


def _with_interval(share):
    return f"{share.hits} of {share.total}, {_share(share)} (95 %: {_interval(share)})"


def _kappa(value, what):
    return f"{'–' if value is None else f'{value:.2f}'}   {what}"
