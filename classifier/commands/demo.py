"""``callkey demo``: the whole chain on calls whose bats are known, so that everything can be seen at work."""

from pathlib import Path
from typing import Annotated

import typer

from classifier.commands import options, show

EXAMPLE = "callkey demo -o demo"

KEY = Path("keys") / "britain-and-ireland.key"


def demo(
    folder: Annotated[
        Path,
        typer.Option("-o", "--output", metavar="FOLDER", help="Where the demo goes; `demo` here if not given."),
    ] = Path("demo"),
    key: Annotated[
        Path | None,
        typer.Option("--key", metavar="KEY", help="Another key; keys/britain-and-ireland.key if not given."),
    ] = None,
    workers: options.Workers = None,
    json: options.Json = False,
) -> None:
    """Make the demo calls, run the whole chain on them and say where to look.

    The survey and its place are invented and the calls are synthetic, made from published call parameters, so
    every bat is known: labels are compared with the truth, and what stayed ambiguous is audited.
    """
    from classifier.commands.audit import show_audit
    from classifier.commands.chain import label_survey, sound_key
    from classifier.commands.label import default_name, show_labels
    from classifier.commands.measuring import MeasuringOptions, measure_into
    from classifier.simulate import make_demo

    path = key or _the_key()
    reading = sound_key(path)
    with show.progress("making calls") as step:
        made = make_demo(folder / "recordings", progress=step)
    wanted = MeasuringOptions(timezone=made.timezone, workers=workers)
    result = measure_into(made.recordings, folder / "survey", wanted)
    if result.faulty.height:
        show.say("note   the damaged recording belongs to the demo: a card was pulled while it was written")
    name = default_name(reading.key, path)
    labels = label_survey(result.survey, reading, name)
    matched = _matched(made, result.survey, labels, reading.key)
    if json:
        show.as_json({"survey": str(result.survey.folder), "labels": name, "passes": labels.passes, "truth": matched})
        return
    show_labels(labels, recordings=result.recordings, key=reading.key, with_cautions=False)
    found, compiled_key = _audit(result.survey, name)
    show_audit(found, compiled_key, most=4)
    _show_matched(matched, labels, reading.key)
    from classifier.commands.label import cautions_for

    show.cautions(
        [
            "The demo's place, survey and bats are invented, its calls synthetic; it proves nothing about recordings of wild bats.",
            *cautions_for(labels.passes, result.recordings, reading.key),
        ]
    )
    _where_next(folder, result.survey.folder, name, made, path, matched)


def _audit(survey, name):
    """The audit of the labels just written; the survey is opened anew, since its settings now tell of
    them."""
    from classifier.commands.audit import audit_of
    from classifier.commands.chain import stored_labels
    from classifier.survey import open_survey

    survey = open_survey(survey.folder)
    return audit_of(stored_labels(survey, name), survey)


def _the_key() -> Path:
    """The regional key that comes with the project: from here, or from beside the package."""
    from classifier.errors import InputError

    places = [KEY, Path(__file__).parents[2] / KEY]
    for place in places:
        if place.is_file():
            return place
    raise InputError(f"{KEY}: the key is not here; run the demo in the project's folder, or give a key with --key")


def _matched(made, survey, labels, key):
    """The true passes beside those found; recordings by the names that the survey has for them."""
    import polars as pl

    from classifier.commands.measuring import name_in
    from classifier.judge.matching import match_passes

    truth = pl.read_csv(made.pulses)
    names = {str(recording): name_in(survey, made.folder / recording) for recording in truth["recording"].unique()}
    truth = truth.with_columns(pl.col("recording").replace_strict(names))
    pulses = survey.pulses().join(
        labels.pulses.select("recording", "channel", "pulse", "pass"),
        on=["recording", "channel", "pulse"],
        how="left",
        maintain_order="left",
    )
    groups = {group.name: [taxon.name for taxon in group.members] for group in key.groups.values()}
    return match_passes(truth, pulses, labels.passes, groups=groups)


def _show_matched(matched, labels, key):
    from classifier.commands.label import label_cell

    out = show.console()
    outcomes = matched["outcome"].to_list()
    total, missed = len(outcomes), outcomes.count("missed")
    show.heading(f"Against the truth: {total - missed} of {total} passes found", to=out)
    styles = {"right": "green", "group": "green", "wrong": "bold red", "missed": "bold red"}
    rows = []
    for row in matched.iter_rows(named=True):
        rows.append(
            (
                row["true_pass"],
                label_cell(row["taxon"], key),
                f"{row['shared_pulses']}/{row['true_pulses']}",
                row["pass"],
                label_cell(row["label"] or "", key),
                row["tier"] or "",
                show.text(row["outcome"], styles.get(row["outcome"], "")),
            )
        )
    show.table(["bat>", "truth", "pulses>", "pass>", "label~", "tier", "outcome"], rows, to=out)
    taken = set(matched["pass"].drop_nulls().to_list())
    named = labels.passes.filter(labels.passes["tier"].is_not_null())
    extra = len([number for number in named["pass"] if number not in taken])
    counts = [
        f"{outcomes.count('right')} right",
        f"{outcomes.count('group')} right as a group",
        f"{outcomes.count('unidentified')} left unidentified",
        f"{outcomes.count('wrong')} wrong",
    ]
    show.paragraph(f"  {', '.join(counts)}. Labels given to passes that are no bat of the demo: {extra}.", to=out)


def _where_next(folder, survey, name, made, key, matched):
    worth = next(
        (row["pass"] for row in matched.iter_rows(named=True) if row["outcome"] in ("group", "unidentified")),
        matched["pass"].drop_nulls().to_list()[:1],
    )
    number = worth if isinstance(worth, int) else (worth or [1])[0]
    show.say()
    show.say("Open next:")
    show.say(f"  {survey / 'labels' / name / 'passes.csv'}    a row a pass: label, tier, support, trail, medians")
    show.say(f"  {made.truth}    which bat each pass really was")
    show.say(f"  {key}    the key itself: a text to read and revise")
    show.say(f"  callkey explain {survey} {number}    why pass {number} got its label, lead by lead")
    show.say(f"  callkey compare {made.truth} --key {key} --timezone {made.timezone}    the key against the truth")
