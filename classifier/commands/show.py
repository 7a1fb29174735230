"""How commands speak: results on stdout, talk on stderr, tables for people, JSON for programs.

Colours are the terminal's own and never carry the meaning alone, so that light and dark backgrounds, a pipe
and ``NO_COLOR`` all read the same.
"""

import json
import math
import os
import re
import sys
import time
from contextlib import contextmanager

#: Width of tables that go to a file or a pipe, where no terminal says how wide it is.
PIPE_WIDTH = 120
#: Seconds between two plain lines of progress where there is no terminal.
PLAIN_EVERY_S = 10.0

_COLUMN = re.compile(r"(.*?)([>~]?)(\d*)$")

#: How a tier is set off; the word itself always stands too.
TIER_STYLES = {"definite": "bold", "probable": "", "possible": "dim"}
TRUTH_STYLES = {"yes": "bold green", "no": "dim", "unsure": "bold yellow"}


def console(stream=None):
    """A rich console on ``stream`` (stdout if none), wide enough for tables in a pipe."""
    from rich.console import Console

    stream = sys.stdout if stream is None else stream
    plain = not stream.isatty() and "COLUMNS" not in os.environ
    return Console(file=stream, highlight=False, emoji=False, markup=False, width=PIPE_WIDTH if plain else None)


def say(sentence: str = "") -> None:
    """Talk to the person: one line on stderr, never wrapped, so that it can be searched and pasted."""
    print(sentence, file=sys.stderr, flush=True)


def fault(sentence: str) -> None:
    """Name a fault: one sentence on stderr."""
    if sys.stderr.isatty() and "NO_COLOR" not in os.environ:
        say(f"\x1b[1;31mfault\x1b[0m  {sentence}")
    else:
        say(f"fault  {sentence}")


def diagnostic(found, reading) -> None:
    """A finding about a key on stderr: place, what is wrong, the line with a mark, the remedy."""
    from classifier.key.messages import render

    say(render(found, reading.texts))


def heading(text: str, *, to=None) -> None:
    """A heading above what follows."""
    to = to or console()
    to.print()
    to.print(text, style="bold")


def paragraph(text: str, *, to=None, style=None) -> None:
    """Running text, wrapped at a readable width."""
    to = to or console()
    to.print(text, style=style, width=min(to.width, 100))


def cautions(sentences, *, to=None) -> None:
    """What to bear in mind, a sentence a bullet."""
    from rich.table import Table

    to = to or console()
    heading("Bear in mind", to=to)
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column()
    grid.add_column(overflow="fold")
    for sentence in sentences:
        grid.add_row("  ·", sentence)
    to.print(grid, width=min(to.width, 100))


def table(columns, rows, *, to=None, caption=None) -> None:
    """Print a ruled table.

    columns : names; one that ends in '>' is set flush right, in '~' may be folded, in '~24' to no less than
        that width
    rows : iterables of str, rich Text, number or None (shown as a dash)
    """
    from rich.box import Box
    from rich.table import Table

    to = to or console()
    # A line under the header and none between rows or columns, as tables are set in print.
    ruled = Box("    \n    \n ── \n    \n    \n    \n    \n    \n")
    grid = Table(
        box=ruled,
        pad_edge=False,
        padding=(0, 1, 0, 0),
        header_style="dim",
        show_edge=False,
        caption=caption,
        caption_justify="left",
        caption_style="dim",
    )
    for name in columns:
        title, flag, least = _COLUMN.match(name).groups()
        grid.add_column(
            title,
            justify="right" if flag == ">" else "left",
            overflow="fold",
            no_wrap=flag != "~",
            min_width=int(least) if least else None,
        )
    for row in rows:
        grid.add_row(*(cell if hasattr(cell, "__rich_console__") else _cell(cell) for cell in row))
    to.print(grid)


def facts(pairs, *, to=None) -> None:
    """Print what is known of one thing: a name and a text a line, the texts aligned and folded."""
    from rich.table import Table

    to = to or console()
    grid = Table.grid(padding=(0, 3, 0, 0))
    grid.add_column(style="dim", no_wrap=True)
    grid.add_column(overflow="fold")
    for name, value in pairs:
        grid.add_row(f"  {name}", value if hasattr(value, "__rich_console__") else _cell(value))
    to.print(grid)


def _cell(value) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return "–"
    return f"{value:,}".replace(",", " ") if isinstance(value, int) else str(value)


def percent(value, places: int = 0) -> str | None:
    """A percentage for a table; None stays None."""
    return None if value is None else f"{value:.{places}f} %"


def text(value: str, style: str = ""):
    """A styled piece of text for a table cell."""
    from rich.text import Text

    return Text(value or "–", style=style)


def as_json(value) -> None:
    """Print a value as JSON on stdout; tables become lists of rows, missing numbers null."""
    print(json.dumps(plain(value), ensure_ascii=False, indent=2, allow_nan=False))


def plain(value):
    """A result as what JSON knows: tables as lists of rows, dates as ISO text, missing numbers as None."""
    if hasattr(value, "iter_rows"):
        return [plain(row) for row in value.iter_rows(named=True)]
    if hasattr(value, "__dataclass_fields__"):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    if isinstance(value, dict):
        return {str(name): plain(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(inner) for inner in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, (str, int, bool)):
        return value
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if hasattr(value, "item"):
        return plain(value.item())
    return str(value)


@contextmanager
def progress(what: str):
    """Show how far a run is: a bar on a terminal, a plain line now and then elsewhere.

    Yields a function of (done, total, detail) to call whenever something is done.
    """
    if sys.stderr.isatty():
        with _bar(what) as step:
            yield step
        return
    last = {"said": time.monotonic(), "done": -1}

    def step(done, total, detail=""):
        now = time.monotonic()
        if done == last["done"] or (done < total and now - last["said"] < PLAIN_EVERY_S):
            return
        last.update(said=now, done=done)
        say(f"{what}: {done} of {total}{f' ({detail})' if detail else ''}")

    yield step


@contextmanager
def _bar(what):
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(style="dim", complete_style="bold", finished_style="bold", pulse_style="dim"),
        TextColumn("{task.fields[count]}"),
        TimeRemainingColumn(),
        TextColumn("{task.fields[detail]}", style="dim"),
    )
    with Progress(*columns, console=console(sys.stderr), transient=True) as bar:
        task = bar.add_task(what, total=None, detail="", count="")

        def step(done, total, detail=""):
            bar.update(task, completed=done, total=total, detail=detail, count=f"{done} of {total}")

        yield step
