"""Ways through a key: from the set of leads that a pulse took to its candidates, caps and trail.

Not every lead need be remembered: the *telling* ones are those that end somewhere, and those that go to a couplet which
several leads go to. The rest follows, since any other couplet is reached in one way only. A pattern is a set of telling
leads; the first patterns are the single leads, so that a pulse with one plain way needs no search.
"""

from functools import cached_property

import numpy as np


class Patterns:
    """Patterns met so far, numbered; ``candidates`` etc. have one row per pattern and a last, empty row, which -1 picks."""

    def __init__(self, compiled):
        self.compiled = compiled
        stations, routes = compiled.stations, compiled.routes
        joined = {place for place, station in enumerate(stations) if len(station.entries) > 1}
        telling = [route.index for route in routes if route.onward is None or route.onward in joined]
        self.is_tree = not joined
        self.telling_count = len(telling)
        self.telling_place = np.full(len(routes), -1)
        self.telling_place[telling] = np.arange(len(telling))
        self._telling = telling
        self._station_of = {route.index: place for place, station in enumerate(stations) for route in station.routes}
        self._sets = [(index,) for index in range(len(telling))]
        self._numbers = {}

    def __len__(self):
        return len(self._sets)

    def numbers(self, matrix: np.ndarray) -> np.ndarray:
        """Pattern numbers of rows of telling leads; bool (rows, telling_count) to int32 (rows,)."""
        packed = np.packbits(matrix, axis=1)
        words = -(-packed.shape[1] // 8)
        padded = np.zeros((len(packed), words * 8), np.uint8)
        padded[:, : packed.shape[1]] = packed
        keys = padded.view(np.uint64)
        # One word sorts as a number; more are folded, each fold a rank, so that equal rows have equal ranks.
        rank = keys[:, 0]
        for column in range(1, words):
            _, first = np.unique(rank, return_inverse=True)
            values, second = np.unique(keys[:, column], return_inverse=True)
            rank = first.astype(np.uint64) * np.uint64(len(values)) + second.astype(np.uint64)
        _, example, inverse = np.unique(rank, return_index=True, return_inverse=True)
        numbers = np.empty(len(example), np.int32)
        for place, row in enumerate(example):
            key = packed[row].tobytes()
            if key not in self._numbers:
                self._numbers[key] = len(self._sets)
                self._sets.append(tuple(np.flatnonzero(matrix[row]).tolist()))
            numbers[place] = self._numbers[key]
        return numbers[inverse]

    # ----------------------------------------------------------------------------------------- what patterns mean

    @cached_property
    def _described(self):
        return [self._describe(each) for each in self._sets]

    @cached_property
    def candidates(self) -> np.ndarray:
        table = np.zeros((len(self) + 1, len(self.compiled.ends)), bool)
        for row, (caps, *_) in enumerate(self._described):
            table[row, list(caps)] = True
        return table

    @cached_property
    def cap(self) -> np.ndarray:
        table = np.zeros((len(self) + 1, len(self.compiled.ends)), np.int8)
        for row, (caps, *_) in enumerate(self._described):
            table[row, list(caps)] = list(caps.values())
        return table

    @cached_property
    def trail(self) -> np.ndarray:
        return np.array([*(each[1] for each in self._described), ""], dtype=object)

    @cached_property
    def parted_by(self) -> np.ndarray:
        return np.array([*(each[2] for each in self._described), 0], np.int32)

    @cached_property
    def reason(self) -> np.ndarray:
        return np.array([*(each[3] for each in self._described), ""], dtype=object)

    def _leads_taken(self, pattern):
        """All leads that were taken, from the telling ones: go back from each to the only lead that can be before it."""
        taken = {self._telling[telling] for telling in pattern}
        stations = self.compiled.stations
        for index in sorted(taken, reverse=True):
            place = self._station_of[index]
            while len(stations[place].entries) == 1 and stations[place].entries[0] not in taken:
                index = stations[place].entries[0]
                taken.add(index)
                place = self._station_of[index]
        return taken

    def _describe(self, pattern):
        """(best cap by end, trail, parting couplet, reasons) of a pattern."""
        taken = self._leads_taken(pattern)
        stations = self.compiled.stations
        cap_at = {0: 0}
        caps = {}
        leads = {}
        for place, station in enumerate(stations):
            if place not in cap_at:
                continue
            leads[place] = [route for route in station.routes if route.index in taken]
            for route in leads[place]:
                cap = max(cap_at[place], route.cap)
                if route.onward is not None:
                    cap_at[route.onward] = min(cap, cap_at.get(route.onward, cap))
                else:
                    caps[route.end] = min(cap, caps.get(route.end, cap))
        ways, reasons, order = self._ways(leads)
        parted = self._parting(leads, order) if len(caps) > 1 else 0
        return caps, " | ".join(ways), parted, "; ".join(dict.fromkeys(each for each in reasons if each))

    def _ways(self, leads):
        """Texts of the ways depth first in the order of the leads; a couplet is gone through once."""
        ways, reasons, order, seen = [], [], [], set()
        stack = [(0, ())]
        while stack:
            place, before = stack.pop()
            if not isinstance(place, int):  # a lead that ends
                ways.append(" ".join((*before, place.label)))
                reasons.append(place.reason)
                continue
            if place in seen:
                continue
            seen.add(place)
            order.append(place)
            onward = []
            for route in leads[place]:
                if route.onward is not None:
                    onward.append((route.onward, (*before, route.label)))
                else:
                    onward.append((route, before))
            stack.extend(reversed(onward))
        return ways, reasons, order

    def _parting(self, leads, order):
        """Number of the first couplet whose leads taken do not all come to the same candidates."""
        stations = self.compiled.stations
        reached = {}
        for place in reversed(range(len(stations))):
            if place in leads:
                reached[place] = frozenset().union(*(self._beyond(route, reached) for route in leads[place]))
        for place in order:
            if len({self._beyond(route, reached) for route in leads[place]}) > 1:
                return stations[place].number
        return 0

    @staticmethod
    def _beyond(route, reached):
        return reached[route.onward] if route.onward is not None else frozenset((route.end,))
