"""Whole tables of pulses through a key.

Pulses are taken in blocks, so memory does not grow with the table. Within a block the rows move from couplet to
couplet; a lead's condition is judged only on the rows that reach it. A row for which a lead is unsure goes on in both
directions. What a row meets on its way is kept as the set of leads it took, as one number (its *pattern*): candidates,
caps and trail follow from that and are worked out once for each pattern, not for each row.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from classifier.errors import ParameterError
from classifier.key.columns import Columns
from classifier.key.compile import CompiledKey
from classifier.key.patterns import Patterns

#: Rows of a block: large enough that numpy's cost per call does not show, small enough to stay in the cache. Chosen by
#: tests/benchmarks/key.py.
BLOCK_ROWS = 65_536
#: Bits that may be laid out at once where the patterns of ambiguous rows are told apart.
_MATRIX_CELLS = 4_000_000


@dataclass(frozen=True)
class Verdicts:
    """What the key says of n pulses.

    gated_by : int16 (n,), place in ``compiled.gate_names`` of the first gate condition that is no; -1 for usable pulses
    clearance : float64 (n,), the smallest clearance on the pulse's way (1 = at the edge of an overlap zone, less =
        inside); NaN for gated pulses and for those on whose way nothing was compared
    pattern : int32 (n,), row of ``patterns``; -1 for gated pulses
    patterns : what each way through the key means
    """

    compiled: CompiledKey
    gated_by: np.ndarray
    clearance: np.ndarray
    pattern: np.ndarray
    patterns: Patterns

    def __len__(self):
        return len(self.pattern)

    @property
    def usable(self) -> np.ndarray:
        """bool (n,): the gate lets the pulse through."""
        return self.gated_by < 0

    @property
    def candidates(self) -> np.ndarray:
        """bool (n, ends): the ends that the pulse may belong to; all False for gated pulses."""
        return self.patterns.candidates[self.pattern]

    @property
    def cap(self) -> np.ndarray:
        """int8 (n, ends): place in syntax.TIERS of the best tier that the candidate may get; 0 where it is none."""
        return self.patterns.cap[self.pattern]

    @property
    def trail(self) -> np.ndarray:
        """str objects (n,): the leads taken, as in "1b 2a"; several ways are joined by " | "; '' for gated pulses."""
        return self.patterns.trail[self.pattern]

    @property
    def parted_by(self) -> np.ndarray:
        """int32 (n,): number of the couplet that parted the candidates; 0 where there is one candidate or none."""
        return self.patterns.parted_by[self.pattern]

    @property
    def reason(self) -> np.ndarray:
        """str objects (n,): the key's reasons where a way ends unidentified or as not a bat, joined by "; "."""
        return self.patterns.reason[self.pattern]


def evaluate(
    compiled: CompiledKey,
    values: Mapping[str, np.ndarray],
    errors: Mapping[str, np.ndarray] | None = None,
    *,
    block_rows: int = BLOCK_ROWS,
) -> Verdicts:
    """Take pulses through a key.

    Parameters
    ----------
    values : by metric name (see classifier.metrics), float arrays of shape (n,) in the metric's unit, NaN where missing;
        of a metric that is absent nothing is known: it is missing everywhere, and whether it is missing is unsure
    errors : standard errors, likewise; absent, NaN or not positive counts as 0
    block_rows : rows taken at once

    Raises
    ------
    ParameterError : the arrays differ in length or are not one-dimensional
    """
    names = compiled.metrics
    values = _arrays(values, names)
    errors = _arrays(errors or {}, names)
    lengths = {len(array) for array in (*values.values(), *errors.values())}
    if len(lengths) > 1:
        raise ParameterError(f"the columns have different lengths: {sorted(lengths)}")
    count = lengths.pop() if lengths else 0
    gated_by = np.full(count, -1, np.int16)
    clearance = np.full(count, np.inf)
    pattern = np.full(count, -1, np.int32)
    run = _Run(compiled)
    for start in range(0, count, block_rows):
        part = slice(start, min(start + block_rows, count))
        columns = Columns(
            {name: array[part] for name, array in values.items()},
            {name: array[part] for name, array in errors.items()},
            compiled.standard_errors,
            part.stop - start,
        )
        with np.errstate(all="ignore"):  # odd numbers in a table are judged, not complained of
            run.block(columns, gated_by[part], clearance[part], pattern[part])
    clearance[np.isinf(clearance)] = np.nan
    return Verdicts(compiled, gated_by, clearance, pattern, run.patterns)


def _arrays(columns, names):
    """The columns that the key looks at, as float64; any column at all if it looks at none (for the number of rows)."""
    wanted = [name for name in columns if name in names] or list(columns)[:1]
    result = {name: np.ascontiguousarray(columns[name], dtype=np.float64) for name in wanted}
    for name, array in result.items():
        if array.ndim != 1:
            raise ParameterError(f"the column of {name} has {array.ndim} dimensions; it must have one")
    return result


class _Run:
    """Takes blocks of rows through the stations and numbers the patterns met."""

    def __init__(self, compiled):
        self.compiled = compiled
        self.patterns = Patterns(compiled)

    def block(self, columns, gated_by, clearance, pattern):
        rows = self._gate(columns, gated_by)
        inboxes = [[] for _ in self.compiled.stations]
        if not inboxes or (rows is not None and not len(rows)):
            clearance[:] = np.inf
            return
        inboxes[0].append(rows)
        taken = []  # (telling position, rows)
        self.parted = False
        for place, station in enumerate(self.compiled.stations):
            arrived = inboxes[place]
            inboxes[place] = None
            if not arrived:
                continue
            rows = arrived[0] if len(arrived) == 1 else self._together(arrived)
            self._station(station, columns, rows, clearance, inboxes, taken)
        self._number(taken, pattern)

    def _gate(self, columns, gated_by):
        """Row numbers that pass, or None for all."""
        for place, judge in enumerate(self.compiled.gate_judges):
            yes, unsure, _ = judge.judge(columns, None)
            no = ~yes if unsure is None else ~(yes | unsure)
            gated_by[no & (gated_by < 0)] = place
        return np.flatnonzero(gated_by < 0) if (gated_by >= 0).any() else None

    def _together(self, arrays):
        """Rows that came by several leads; a row that came twice counts once."""
        rows = np.concatenate(arrays)
        return np.unique(rows) if self.parted else rows

    def _station(self, station, columns, rows, clearance, inboxes, taken):
        hesitated = None  # for each row left: whether a lead of this couplet was unsure
        for route in station.routes:
            if rows is not None and not len(rows):
                return
            if route.judge is None:
                if route.lead is None and hesitated is not None:
                    rows = rows[~hesitated]
                self._send(route, columns, rows, inboxes, taken)
                if route.lead is not None:
                    return
                continue
            yes, unsure, clear = route.judge.judge(columns, rows)
            if rows is None:
                np.minimum(clearance, clear, out=clearance)
                rows = np.arange(columns.rows)
            else:
                np.minimum(clearance.take(rows), clear, out=clear)
                clearance[rows] = clear
            left = ~yes
            if unsure is not None and unsure.any():
                self.parted = True
                self._send(route, columns, rows[yes | unsure], inboxes, taken)
                hesitated = unsure[left] if hesitated is None else (hesitated | unsure)[left]
            else:
                self._send(route, columns, rows[yes], inboxes, taken)
                if hesitated is not None:
                    hesitated = hesitated[left]
            rows = rows[left]

    def _send(self, route, columns, rows, inboxes, taken):
        if rows is None:
            rows = np.arange(columns.rows)
        if not len(rows):
            return
        if route.onward is not None:
            inboxes[route.onward].append(rows)
        telling = self.patterns.telling_place[route.index]
        if telling >= 0:
            taken.append((telling, rows))

    def _number(self, taken, pattern):
        """Write each row's pattern from the telling leads it took."""
        if not self.parted and self.patterns.is_tree:
            for telling, rows in taken:
                pattern[rows] = telling
            return
        counts = np.zeros(len(pattern), np.int32)
        for telling, rows in taken:
            counts[rows] += 1
            pattern[rows] = telling
        several = np.flatnonzero(counts > 1)
        if not len(several):
            return
        place = np.full(len(pattern), -1)
        place[several] = np.arange(len(several))
        width = self.patterns.telling_count
        step = max(1, _MATRIX_CELLS // width)
        for start in range(0, len(several), step):
            stop = min(start + step, len(several))
            matrix = np.zeros((stop - start, width), bool)
            for telling, rows in taken:
                at = place[rows]
                at = at[(at >= start) & (at < stop)]
                matrix[at - start, telling] = True
            pattern[several[start:stop]] = self.patterns.numbers(matrix)
