"""Arguments and options that mean the same in every command, each declared once."""

from pathlib import Path
from typing import Annotated

import typer

Recordings = Annotated[list[Path], typer.Argument(metavar="PATH", help="Recordings (WAV, FLAC) and folders of recordings.")]
SurveyOrRecordings = Annotated[
    list[Path],
    typer.Argument(metavar="PATH", help="A survey folder, or recordings and folders of recordings."),
]
Survey = Annotated[Path, typer.Argument(metavar="SURVEY", help="A survey folder.")]
Keys = Annotated[list[Path], typer.Argument(metavar="KEY", help="Key files.")]
Calls = Annotated[
    Path,
    typer.Argument(
        metavar="CALLS.csv",
        help="A table of reference calls: a column `taxon`, and `recording` or columns of metrics.",
    ),
]

Key = Annotated[Path, typer.Option("--key", metavar="KEY", help="The key file to label with.")]
OutputSurvey = Annotated[
    Path,
    typer.Option("-o", "--output", metavar="SURVEY", help="The survey folder to write; made if missing."),
]
MaybeOutputSurvey = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        metavar="SURVEY",
        help="The survey folder to write; `survey` in this folder if not given.",
    ),
]
KeepSurvey = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        metavar="SURVEY",
        help="A survey folder to keep what is measured, so that it serves again.",
    ),
]
Name = Annotated[
    str | None,
    typer.Option("--name", metavar="NAME", help="The name of the labels inside the survey folder (labels/NAME)."),
]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON for programs.")]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers",
        metavar="N",
        min=1,
        help="Recordings to measure at the same time; all cores if not given.",
    ),
]
TimeExpansion = Annotated[
    float | None,
    typer.Option(
        "--time-expansion",
        metavar="N",
        help="How many times slower than life the recordings play; else as their metadata say.",
    ),
]
Timezone = Annotated[
    str | None,
    typer.Option(
        "--timezone",
        metavar="ZONE",
        help="The zone of clock times that name none, such as Europe/Dublin or +01:00.",
    ),
]
NamePattern = Annotated[
    str | None,
    typer.Option(
        "--name-pattern",
        metavar="PATTERN",
        help="Where date and time stand in file names, if metadata have none; YYYYMMDD_HHMMSS if not given.",
    ),
]
Site = Annotated[
    str | None,
    typer.Option("--site", metavar="SITE", help="The site of all recordings; else as their metadata or folder say."),
]
