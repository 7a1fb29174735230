"""``callkey label``: pulses to passes and their labels; measures first where recordings are given."""

from pathlib import Path

import typer

from classifier.commands import options, show
from classifier.commands.measuring import MeasuringOptions, measure_into

EXAMPLE = "callkey label recordings --key keys/britain-and-ireland.key -o survey"

#: Where a survey goes if nobody says.
DEFAULT_SURVEY = Path("survey")
#: With more rows than this the summary is drawn together over sites and nights.
MOST_ROWS = 60

#: The Red List category that calls for no caution of its own, as keys write it in `status`.
SECURE = "least concern"
CAUTIONS = (
    "A label is evidence from sound, not proof that a species is there; its absence proves nothing either.",
    "Threatened species, roosts and anything a decision rests on need review by a qualified person; "
    "local codes and licences apply.",
)


def label(
    paths: options.SurveyOrRecordings,
    key: options.Key,
    output: options.MaybeOutputSurvey = None,
    name: options.Name = None,
    site: options.Site = None,
    time_expansion: options.TimeExpansion = None,
    timezone: options.Timezone = None,
    name_pattern: options.NamePattern = None,
    workers: options.Workers = None,
    json: options.Json = False,
) -> None:
    """Label the passes of a survey; measure first if recordings are given.

    The labels are kept under labels/NAME in the survey folder, with the exact text of the key, as Parquet and
    CSV. A revised key labels again from the measurements that are there.
    """
    from classifier.commands.chain import is_survey, label_survey, sound_key

    wanted = MeasuringOptions(site, time_expansion, timezone, name_pattern, workers)
    surveys = [path for path in paths if is_survey(path)]
    _refuse_mixtures(paths, surveys, output, wanted)
    reading = sound_key(key)
    name = name or default_name(reading.key, key)
    faults = 0
    if surveys:
        from classifier.survey import open_survey

        survey = open_survey(surveys[0])
    else:
        folder = output or default_survey(paths)
        result = measure_into(paths, folder, wanted)
        survey, faults = result.survey, result.faulty.height
    labels = label_survey(survey, reading, name)
    if json:
        show.as_json(
            {
                "survey": str(survey.folder),
                "labels": name,
                "key": reading.key.name,
                "key_version": reading.key.version,
                "faults": faults,
                "passes": labels.passes,
            }
        )
    else:
        show_labels(labels, recordings=survey.recordings(), key=reading.key)
        _where_next(survey, name)
    if faults:
        raise typer.Exit(1)


def _refuse_mixtures(paths, surveys, output, wanted):
    """Command lines that contradict themselves: exit code 2 through typer."""
    if not surveys:
        return
    if len(paths) > 1:
        raise typer.BadParameter("give one survey folder, or recordings, not both", param_hint="PATH")
    if output is not None:
        raise typer.BadParameter(f"{paths[0]} is a survey folder; its labels are kept in it", param_hint="-o")
    if wanted.given():
        raise typer.BadParameter(
            f"{paths[0]} is measured already; options of measuring go with recordings",
            param_hint=wanted.given()[0],
        )


def default_survey(paths) -> Path:
    """The folder `survey` here, unless it holds a survey of other recordings."""
    from classifier.commands.chain import is_survey
    from classifier.errors import InputError

    if is_survey(DEFAULT_SURVEY):
        from classifier.survey import open_survey

        if not open_survey(DEFAULT_SURVEY).is_of(paths):
            raise InputError(f"the folder `{DEFAULT_SURVEY}` here holds a survey of other recordings; name another folder with -o")
    elif DEFAULT_SURVEY.exists():
        raise InputError(f"`{DEFAULT_SURVEY}` exists here and is no survey folder; name another folder with -o")
    show.say(f"note   no survey folder was named with -o; this run keeps everything in ./{DEFAULT_SURVEY}")
    return DEFAULT_SURVEY


def default_name(key, path) -> str:
    """A folder name made of the key's name: ``Lower Tamble wetlands`` becomes ``lower-tamble-wetlands``."""
    letters = "".join(letter if letter.isalnum() else " " for letter in key.name.lower())
    return "-".join(letters.split()) or Path(path).stem


def show_labels(labels, *, recordings, key, with_cautions=True) -> None:
    """The labels of a survey by tier, by site and night where that fits, and what to be careful with."""
    out = show.console()
    passes = labels.passes
    count = passes.height
    show.heading(f"{count} pass{'es' if count != 1 else ''} by label and tier", to=out)
    if not count:
        show.paragraph("  No passes: no pulse that belongs to one was found.", to=out)
        return
    by_night = tiers_by(passes, ["site", "night", "label"])
    if by_night.height <= MOST_ROWS:
        _show_by_night(by_night, key, out)
    else:
        _show_overall(tiers_by(passes, ["label"]), passes, key, out)
        show.paragraph(
            f"  {passes['site'].n_unique()} sites and {passes['night'].n_unique()} nights drawn together; "
            "passes.csv has them apart.",
            to=out,
            style="dim",
        )
    if with_cautions:
        show.cautions(cautions_for(passes, recordings, key), to=out)


def tiers_by(passes, by):
    """How many passes have each tier, by the columns given; unidentified and 'not a bat' come last."""
    import polars as pl

    counts = [(pl.col("tier") == tier).sum().alias(tier) for tier in ("definite", "probable", "possible")]
    last = pl.col("label").replace_strict({"unidentified": 1, "not a bat": 2}, default=0).alias("last")
    order = [*(name for name in by if name != "label"), "last", "passes", "label"]
    return (
        passes.group_by(by)
        .agg(pl.len().cast(pl.Int64).alias("passes"), *counts)
        .with_columns(last)
        .sort(order, descending=[name == "passes" for name in order], nulls_last=True)
        .drop("last")
    )


def _tier_cells(row):
    return [
        show.text(f"{row[tier]}" if row[tier] else "", show.TIER_STYLES[tier]) if row[tier] else ""
        for tier in ("definite", "probable", "possible")
    ]


def _show_by_night(table, key, out):
    rows, before = [], None
    for row in table.iter_rows(named=True):
        here = (row["site"], row["night"])
        site, night = here if here != before else ("", "")
        before = here
        rows.append(
            [
                site,
                night,
                label_cell(row["label"], key),
                row["passes"],
                *_tier_cells(row),
            ]
        )
    show.table(["site", "night", "label", "passes>", "definite>", "probable>", "possible>"], rows, to=out)


def _show_overall(table, passes, key, out):
    import polars as pl

    nights = dict(passes.group_by("label").agg(pl.struct("site", "night").n_unique()).iter_rows())
    show.table(
        ["label", "passes>", "definite>", "probable>", "possible>", "nights>"],
        [
            [
                label_cell(row["label"], key),
                row["passes"],
                *_tier_cells(row),
                nights[row["label"]],
            ]
            for row in table.iter_rows(named=True)
        ],
        to=out,
    )


def label_cell(label, key):
    """A label for a table: scientific names in italics, as they are printed."""
    style = "italic" if label in key.taxa else "dim" if label in ("unidentified", "not a bat") else ""
    return show.text(label, style)


def cautions_for(passes, recordings, key) -> list[str]:
    """What a reader of these labels must bear in mind, the particular before the general."""
    found = []
    region = key.region
    if region is not None:
        outside = recordings.filter(_outside(region)).height
        if outside:
            recs = "1 recording lies" if outside == 1 else f"{outside} recordings lie"
            found.append(f"{recs} outside the region that the key is written for.")
    met = set(passes["label"].to_list())
    for taxon in key.taxa.values():
        status = "; ".join(taxon.status)
        if not status or SECURE in status:
            continue
        if taxon.name in met:
            found.append(f"{taxon.name} is listed ({status}): have its passes reviewed.")
        else:
            holding = [
                name
                for name, group in key.groups.items()
                if name in met and taxon.name in {member.name for member in group.members}
            ]
            if holding:
                found.append(f"{taxon.name}, which is listed ({status}), may be among {' and '.join(holding)}.")
    return [*found, *CAUTIONS]


def _outside(region):
    import polars as pl

    south, north, west, east = (float(edge) for edge in (region.south, region.north, region.west, region.east))
    longitude = pl.col("longitude")
    beside = ((longitude < west) | (longitude > east)) if west <= east else ((longitude < west) & (longitude > east))
    return ((pl.col("latitude") < south) | (pl.col("latitude") > north) | beside).fill_null(False)


def _where_next(survey, name):
    folder = survey.folder
    show.say()
    show.say(f"Written: {folder / 'labels' / name / 'passes.csv'} (a row a pass) and pulses.csv beside it.")
    show.say(f"Next: callkey audit {folder}           where the key could not decide")
    show.say(f"      callkey explain {folder} PASS    why a pass got its label")
