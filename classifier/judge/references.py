"""Reference calls: the table of calls whose bat is known, read with every fault named by its line."""

import csv
import math
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import InputError
from classifier.metrics import METRICS

#: Columns that are kept beside the taxon where the table has them.
ABOUT = ("individual", "site", "date", "identified_by")

#: Every column of metrics and standard errors: its name and the metric it belongs to.
VALUE_COLUMNS = {metric.column: metric.name for metric in METRICS.values()}
ERROR_COLUMNS = {metric.error_column: metric.name for metric in METRICS.values() if metric.error_column}


@dataclass(frozen=True)
class ReferenceCall:
    """One row of the table: a call, or a stretch of a recording, whose taxon is known.

    ``line`` counts from 1 with the header. ``recording`` is a path as written, with ``start_s`` and ``end_s``
    in seconds of real time (None: from the start, to the end). ``values`` and ``errors`` are by metric name,
    in key units; both empty where the row names a recording. ``about`` holds individual, site, date,
    identified_by.
    """

    line: int
    taxon: str
    recording: str | None
    start_s: float | None
    end_s: float | None
    values: dict
    errors: dict
    about: dict


@dataclass(frozen=True)
class References:
    """The readable rows in the order of the file, and a sentence for each row that is not."""

    path: Path
    kind: str  # 'recordings' or 'metrics'
    calls: tuple[ReferenceCall, ...]
    faults: tuple[str, ...]
    unused_columns: tuple[str, ...]


def read_references(path) -> References:
    """Read CALLS.csv. Raises InputError if it is no such table; a row that is wrong becomes a fault, not an
    error."""
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; give a CSV table of reference calls") from None
    except IsADirectoryError:
        raise InputError(f"{path}: this is a folder; give a CSV table of reference calls") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); give a CSV table of reference calls") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: this is not UTF-8 text; save the table as CSV in UTF-8") from None
    return parse_references(text, path)


def parse_references(text: str, path) -> References:
    """The same on the table's text; ``path`` is what messages call it."""
    path = Path(path)
    first = text.split("\n", 1)[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    try:
        lines = list(_numbered_rows(text, delimiter))
    except csv.Error as error:
        raise InputError(f"{path}: this does not read as CSV ({error}); save the table as CSV in UTF-8") from None
    if not lines:
        raise InputError(f"{path}: the table is empty; it needs a header with `taxon` and a row for each call")
    header = [name.strip() for name in lines[0][1]]
    kind = _kind(header, path)
    calls, faults = [], []
    for number, row in lines[1:]:
        found = _row(dict(zip(header, row, strict=False)), len(row), header, number, kind, path)
        (faults if isinstance(found, str) else calls).append(found)
    if not calls and not faults:
        raise InputError(f"{path}: the table has a header and no calls; give a row for each call")
    known = {"taxon", "recording", "start_s", "end_s", *ABOUT, *VALUE_COLUMNS, *ERROR_COLUMNS}
    unused = tuple(name for name in header if name and name not in known)
    return References(path, kind, tuple(calls), tuple(faults), unused)


def _numbered_rows(text, delimiter):
    """Rows that are not blank, each with the line it starts on."""
    reader = csv.reader(text.splitlines(keepends=True), delimiter=delimiter, strict=True)
    line = 1
    for row in reader:
        if any(cell.strip() for cell in row):
            yield line, row
        line = reader.line_num + 1


def _kind(header, path) -> str:
    """Whether the rows name recordings or give metrics; an InputError says what the header lacks."""
    doubled = sorted({name for name in header if name and header.count(name) > 1})
    if doubled:
        raise InputError(f"{path}:1: the column `{doubled[0]}` stands twice in the header; rename or drop one of the two")
    for name in header:
        metric = METRICS.get(name)
        if metric and name not in VALUE_COLUMNS:
            raise InputError(f"{path}:1: the column `{name}` names no unit; give it in {metric.unit} and call it `{metric.column}`")
    if "taxon" not in header:
        raise InputError(f"{path}:1: the header has no column `taxon`; add one with the scientific name of each bat")
    if "recording" in header:
        return "recordings"
    if any(name in VALUE_COLUMNS for name in header):
        return "metrics"
    raise InputError(
        f"{path}:1: the header has neither a column `recording` nor one of a metric, such as "
        "`characteristic_frequency_khz`; `callkey metrics` lists them"
    )


def _row(cells, width, header, line, kind, path):
    """A ReferenceCall, or the sentence that says what is wrong with the row."""
    if width != len(header):
        expected = f"this row has {width} cells and the header {len(header)}"
        return f"{path}:{line}: {expected}; quote cells that hold commas"
    cells = {name: cell.strip() for name, cell in cells.items()}
    if not cells["taxon"]:
        return f"{path}:{line}: `taxon` is blank; name the bat, or write `not a bat`, or take the row out"
    numbers = {}
    for name in ("start_s", "end_s", *VALUE_COLUMNS, *ERROR_COLUMNS):
        cell = cells.get(name, "")
        if not cell:
            continue
        try:
            numbers[name] = float(cell)
        except ValueError:
            hint = f"write {cell.replace(',', '.')}" if "," in cell else "write a number or leave it blank"
            return f"{path}:{line}: `{name}` is `{cell}`, which is not a number; {hint}"
        if not math.isfinite(numbers[name]):
            return f"{path}:{line}: `{name}` is `{cell}`; write a number or leave it blank"
    about = {name: cells[name] for name in ABOUT if cells.get(name)}
    taxon = " ".join(cells["taxon"].split())
    if kind == "recordings":
        return _recording_row(cells, numbers, taxon, about, line, path)
    values = {metric: numbers[column] for column, metric in VALUE_COLUMNS.items() if column in numbers}
    errors = {metric: numbers[column] for column, metric in ERROR_COLUMNS.items() if column in numbers}
    if not values:
        return f"{path}:{line}: every metric of this call is blank; fill in at least one or take the row out"
    for column, metric in ERROR_COLUMNS.items():
        if metric in errors and errors[metric] < 0:
            return f"{path}:{line}: `{column}` is {numbers[column]:g}; a standard error cannot be negative"
    return ReferenceCall(line, taxon, None, None, None, values, errors, about)


def _recording_row(cells, numbers, taxon, about, line, path):
    if not cells["recording"]:
        return f"{path}:{line}: `recording` is blank; give the path of the recording or take the row out"
    start_s, end_s = numbers.get("start_s"), numbers.get("end_s")
    if start_s is not None and start_s < 0:
        return f"{path}:{line}: `start_s` is {start_s:g}; give seconds from the start of the recording"
    if end_s is not None and end_s <= (start_s or 0.0):
        order = f"`end_s` {end_s:g} does not lie after `start_s` {start_s or 0.0:g}"
        return f"{path}:{line}: {order}; swap or mend them"
    return ReferenceCall(line, taxon, cells["recording"], start_s, end_s, {}, {}, about)
