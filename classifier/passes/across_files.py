"""Which recordings run on into the next, and one time axis over each run of them."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePosixPath

import polars as pl

from classifier.errors import ParameterError


@dataclass(frozen=True)
class Place:
    """Where a recording stands: ``run`` counts runs of recordings that follow on, in order of site, recorder, time.

    offset_s : start of the recording from the start of its run, in s
    era : changes where the clock cannot place the recording to a few ms after the one before: intervals across
        such a border are unknown
    """

    run: int
    offset_s: float
    era: int
    seconds: float
    order: int


def places(recordings: pl.DataFrame, *, gap_s: float, settings) -> dict[str, Place]:
    """The place of each recording by its path.

    A recording follows on from the one before it of the same site and recorder (same folder, where the recorder
    is unknown) if it starts where that one ended: within a second if the recorder's times are whole seconds, as
    in most file names; if they are finer, when what is missing between the two is no longer than ``gap_s``.

    Parameters
    ----------
    recordings : DataFrame with path, seconds, starts_at (ISO 8601 with offset, or null), site, recorder
    gap_s : float > 0, the silence that ends a pass

    Returns
    -------
    dict path -> Place
    Raises
    ------
    ParameterError : a path occurs twice
    """
    rows = [_row(*row) for row in recordings.select("path", "seconds", "starts_at", "site", "recorder").iter_rows()]
    if len({row["path"] for row in rows}) < len(rows):
        raise ParameterError("the table of recordings names a path twice; each recording has one row")
    rows.sort(key=lambda row: (row["who"], row["at"] is None, row["at"] or 0.0, row["path"]))
    fine = {}
    for row in rows:
        if row["at"] is not None:
            fine[row["who"]] = fine.get(row["who"], False) or row["at"] % 1.0 > 1e-9
    found, run, before = {}, -1, None
    for order, row in enumerate(rows):
        missing = _missing(before, row)
        clock = fine.get(row["who"], False)
        if missing is None or not _follows(missing, clock, gap_s, settings):
            run, offset, era = run + 1, 0.0, 0
        else:
            last = found[before["path"]]
            offset = last.offset_s + last.seconds + (max(missing, 0.0) if clock else 0.0)
            era = last.era + (0 if clock and missing > -settings.fine_clock_s else 1)
        found[row["path"]] = Place(run, offset, era, row["seconds"], order)
        before = row
    return found


def _row(path, seconds, starts_at, site, recorder):
    """One recording as a plain dict; ``who`` tells recorders apart."""
    folder = str(PurePosixPath(path).parent)
    who = (site or "", recorder or "", "" if recorder else folder)
    at = datetime.fromisoformat(starts_at).timestamp() if starts_at else None
    return {"path": path, "seconds": float(seconds or 0.0), "at": at, "who": who}


def _missing(before, row):
    """Seconds between the end of one recording and the start of the next; None if they cannot belong together."""
    if before is None or before["who"] != row["who"] or before["at"] is None or row["at"] is None:
        return None
    return row["at"] - before["at"] - before["seconds"]


def _follows(missing, fine, gap_s, settings):
    """True if what is missing between two recordings agrees with their following on."""
    if fine:
        return -0.05 <= missing <= gap_s
    return abs(missing) <= settings.whole_second_s
