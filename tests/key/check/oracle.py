"""The proofs done by brute force: a grid of calls that meets every case, judged by the evaluator for tables.

Shares nothing with classifier.key.check but the definitions of the rules (docs/rules/).
"""

from itertools import combinations

import numpy as np
from random_keys import TOGETHER

from classifier.key import compile_key, evaluate
from classifier.key import forms as f
from classifier.key.columns import Columns
from classifier.key.truth import ready

LIMITS = {"characteristic_slope": (-200, 200), "snr": (-20, 160), "second_harmonic": (-80, 80), "strongest_harmonic": (1, 3)}


def on_pulses(reading):
    """The meanings of the conditions of gate and couplets."""
    key = reading.key
    lines = [*(key.gate.lines if key.gate else ()), *(lead for couplet in key.couplets.values() for lead in couplet.leads)]
    return [reading.meanings[id(line.condition)] for line in lines if line.condition is not None]


def boundaries_of(reading):
    """Whole numbers at which something may change, by metric compared alone."""
    cuts = {}
    for meaning in on_pulses(reading):
        stack = [meaning]
        while stack:
            item = stack.pop()
            if isinstance(item, f.Not):
                stack.append(item.condition)
            elif isinstance(item, f.All | f.Any):
                stack.extend(item.parts)
            elif isinstance(item, f.Presence):
                cuts.setdefault(item.name, set())
            elif isinstance(item, f.Comparison):
                edges = {float(item.boundary + sign * item.zone) for sign in (-1, 0, 1)}
                atom = item.form.terms[0][0]
                if isinstance(atom, f.Absolute):
                    inner, shift = atom.of.terms[0][0].name, float(atom.of.constant)
                    cuts.setdefault(inner, set()).update(sign * edge - shift for edge in edges for sign in (-1, 1))
                elif len(item.form.terms) == 1:
                    cuts.setdefault(atom.name, set()).update(edges)
                else:
                    for name in f.metrics_of(item.form):
                        cuts.setdefault(name, set())
    for taxon in reading.key.taxa.values():
        for entry in taxon.ranges:
            cuts.setdefault(entry.metric, set()).update((float(entry.low.value), float(entry.high.value)))
    return cuts


def grid(reading, *, nulls):
    """Calls by metric name, (n,) each; with ``nulls`` every metric is also missing, else only those asked about."""
    values = {}
    compiled = compile_key(reading.key, reading.meanings)
    met = [*compiled.gate, *(route.meaning for route in compiled.routes if route.meaning is not None)]
    asked = {item for meaning in met for item in _presences(meaning)}
    for name, cuts in boundaries_of(reading).items():
        if name in TOGETHER:
            low, high = TOGETHER[name]
            points = list(np.arange(low - 0.25, high + 0.5, 0.25))
        else:
            low, high = LIMITS[name]
            points = sorted({low, high, *(cut for cut in cuts if low <= cut <= high)})
            points = [*points, *((a + b) / 2 for a, b in zip(points, points[1:], strict=False))]
            if name == "strongest_harmonic":
                points = [1, 2, 3]
        values[name] = np.array([*points, *([np.nan] if nulls or name in asked else [])])
    if not values:
        values["snr"] = np.array([20.0])
    columns = dict(zip(values, map(np.ravel, np.meshgrid(*values.values(), indexing="ij")), strict=True))
    keep = np.ones(len(next(iter(columns.values()))), bool)
    if "max_frequency" in columns:
        for name in {"start_frequency", "end_frequency"} & columns.keys():
            keep &= ~(columns[name] > columns["max_frequency"])
    return {name: column[keep] for name, column in columns.items()}


def _presences(meaning):
    stack = [meaning]
    while stack:
        item = stack.pop()
        if isinstance(item, f.Presence):
            yield item.name
        elif isinstance(item, f.Not):
            stack.append(item.condition)
        elif isinstance(item, f.All | f.Any):
            stack.extend(item.parts)


def expected(reading):
    """{(code, where)}: what the rules K401, K402, K403, K404, K405, K410, K412 and K413 should find."""
    compiled = compile_key(reading.key, reading.meanings)
    calls = grid(reading, nulls=False)
    rows = len(next(iter(calls.values())))
    columns = Columns(calls, {}, 0.0, rows)

    def judged(meaning):
        if meaning is None:
            return np.ones(rows, bool), np.zeros(rows, bool)
        yes, unsure, _ = ready(meaning).judge(columns, None)
        return yes, np.zeros(rows, bool) if unsure is None else unsure

    found = set()
    usable = np.ones(rows, bool)
    for meaning in compiled.gate:
        yes, unsure = judged(meaning)
        usable &= yes | unsure
    found |= _ranges(compiled, calls)
    found |= _impossible(reading, calls)
    if compiled.gate and not usable.any():
        return found | {("K412", "gate")}
    faulty = [
        route
        for route in compiled.routes
        if route.meaning is not None and any(("K405", each.span.start) in found for each in _comparisons(route.meaning))
    ]
    wide = _wide(calls)
    never = {route.index for route in faulty if not np.any(np.logical_or(*judged_on(route.meaning, wide)))}
    never_clear = {route.index for route in faulty if not np.any(judged_on(route.meaning, wide)[0])}
    clear = [np.zeros(rows, bool) for _ in compiled.stations]
    at_all = [np.zeros(rows, bool) for _ in compiled.stations]
    clear[0], at_all[0] = usable, usable.copy()
    for place, station in enumerate(compiled.stations):
        here, any_here = clear[place].copy(), at_all[place].copy()
        before = {}
        for route in station.routes[:-1]:
            yes, unsure = judged(route.meaning)
            before[route.index] = here.copy()
            taken, taken_at_all = here & yes, any_here & (yes | unsure)
            if at_all[place].any() and not taken_at_all.any() and route.index not in never:
                found.add(("K401", route.label))
            elif clear[place].any() and not taken.any() and taken_at_all.any() and route.index not in never_clear:
                found.add(("K402", route.label))
            if route.onward is not None:
                clear[route.onward] |= taken
                at_all[route.onward] |= taken_at_all
            here &= ~(yes | unsure)
            any_here &= ~yes
            if route.meaning is None:
                break
        # Left by all: every lead no.
        noes = at_all[place].copy()
        for route in station.routes[:-1]:
            yes, unsure = judged(route.meaning)
            noes &= ~(yes | unsure)
        if noes.any():
            found.add(("K403", station.number))
        found |= _overlaps(station, before, judged, calls, usable, _edges(reading))
    return found | _unsafe(reading, compiled)


def judged_on(meaning, calls):
    """(yes, unsure) of a condition on calls."""
    rows = len(next(iter(calls.values())))
    yes, unsure, _ = ready(meaning).judge(Columns(calls, {}, 0.0, rows), None)
    return yes, np.zeros(rows, bool) if unsure is None else unsure


def _wide(calls):
    """The calls of the grid and, where the gate keeps metrics within a few units, calls far outside of them."""
    if not set(calls) & set(TOGETHER):
        return calls
    values = [np.arange(15, 27, 1.0) if name in TOGETHER else np.unique(column) for name, column in calls.items()]
    wide = dict(zip(calls, map(np.ravel, np.meshgrid(*values, indexing="ij")), strict=True))
    keep = np.ones(len(next(iter(wide.values()))), bool)
    if "max_frequency" in wide:
        for name in {"start_frequency", "end_frequency"} & wide.keys():
            keep &= wide[name] <= wide["max_frequency"]
    return {name: column[keep] for name, column in wide.items()}


def _comparisons(meaning):
    stack = [meaning]
    while stack:
        item = stack.pop()
        if isinstance(item, f.Comparison):
            yield item
        elif isinstance(item, f.Not):
            stack.append(item.condition)
        elif isinstance(item, f.All | f.Any):
            stack.extend(item.parts)


def _impossible(reading, calls):
    """K405: judged on a grid of its own, since the gate does not matter here."""
    found = set()
    for meaning in on_pulses(reading):
        for comparison in _comparisons(meaning):
            names = f.metrics_of(comparison.form)
            values = [
                np.arange(14, 28, 0.5) if name in TOGETHER else np.unique(calls[name][~np.isnan(calls[name])]) for name in names
            ]
            own = dict(zip(names, map(np.ravel, np.meshgrid(*values, indexing="ij")), strict=True))
            keep = np.ones(len(own[names[0]]), bool)
            if "max_frequency" in own:
                for name in names:
                    keep &= own[name] <= own["max_frequency"]
            own = {name: column[keep] for name, column in own.items()}
            yes, unsure, _ = ready(comparison).judge(Columns(own, {}, 0.0, int(keep.sum())), None)
            no = ~yes if unsure is None else ~(yes | unsure)
            if not yes.any() or not no.any():
                found.add(("K405", comparison.span.start))
    return found


def _ranges(compiled, calls):
    found = set()
    for taxon in compiled.key.taxa.values():
        inside = np.ones(len(next(iter(calls.values()))), bool)
        for entry in taxon.ranges:
            column = calls[entry.metric]
            inside &= (column >= float(entry.low.value)) & (column <= float(entry.high.value))
        if taxon.ranges and not inside.any():
            found.add(("K413", taxon.name))
    return found


def _axes_of(meaning):
    """What a condition compares: functions of a call, by a name of their own."""
    axes = {}
    for comparison in _comparisons(meaning):
        terms = comparison.form.terms
        atom = terms[0][0]
        if isinstance(atom, f.Absolute):
            axes[atom.of.terms[0][0].name] = ((atom.of.terms[0][0].name, 1.0),)
        elif len(terms) == 1:
            axes[atom.name] = ((atom.name, 1.0),)
        else:
            pair = sorted(each.name for each, _ in terms)
            axes[" - ".join(pair)] = ((pair[0], 1.0), (pair[1], -1.0))
    return axes


def _edges(reading):
    """By axis (as ``_axes_of`` names it) the boundaries that the key sets on it, zones and declared ranges included."""
    edges = {
        entry.metric: {float(entry.low.value), float(entry.high.value)}
        for taxon in reading.key.taxa.values()
        for entry in taxon.ranges
    }
    for meaning in on_pulses(reading):
        for each in _comparisons(meaning):
            own = [float(each.boundary + sign * each.zone) for sign in (-1, 0, 1)]
            terms = sorted(each.form.terms, key=lambda term: getattr(term[0], "name", ""))
            atom, coefficient = terms[0]
            if isinstance(atom, f.Absolute):
                shift = float(atom.of.constant)
                own = [sign * edge - shift for edge in own for sign in (-1, 1)]
            elif len(terms) > 1:
                own = [edge * float(coefficient) for edge in own]
            (name,) = _axes_of(each)
            edges.setdefault(name, set()).update(own)
    return {name: np.array(sorted(each)) for name, each in edges.items()}


def _pieces(values, edges):
    """Numbers of the pieces into which edges cut an axis: odd ones are the edges themselves."""
    return set((np.searchsorted(edges, values, "left") + np.searchsorted(edges, values, "right")).tolist())


def _overlaps(station, before, judged, calls, usable, edges):
    found = set()
    leads = [route for route in station.routes[:-1] if route.meaning is not None]
    for first, second in combinations(leads, 2):
        if (first.onward, first.end, first.cap) == (second.onward, second.end, second.cap) or second.index not in before:
            continue
        (yes, _), (also, also_unsure) = judged(first.meaning), judged(second.meaning)
        mine, its = _axes_of(first.meaning), _axes_of(second.meaning)
        crossing = False
        for axis in mine.keys() & its.keys():
            value = sum(factor * calls[name] for name, factor in mine[axis])
            one, other = (_pieces(value[each & usable & ~np.isnan(value)], edges[axis]) for each in (yes, also))
            crossing |= bool(one & other and one - other and other - one)
        here = before[first.index]
        if (
            crossing
            and (here & yes & also).any()
            and (here & yes & ~also & ~also_unsure).any()
            and (before[second.index] & also).any()
        ):
            found.add(("K404", second.label, first.label))
    return found


def _unsafe(reading, compiled):
    calls = grid(reading, nulls=True)
    verdicts = evaluate(compiled, calls)
    candidates, cap = verdicts.candidates, verdicts.cap
    alone = verdicts.usable & (candidates.sum(axis=1) == 1)
    found = set()
    for taxon in compiled.key.taxa.values():
        if not taxon.ranges:
            continue
        inside = alone.copy()
        for entry in taxon.ranges:
            column = calls[entry.metric]
            inside &= np.isnan(column) | ((column >= float(entry.low.value)) & (column <= float(entry.high.value)))
        for place, end in enumerate(compiled.ends):
            wrong = end.kind == "taxon" and end.label != taxon.name or end.kind == "group" and taxon.name not in end.members
            if wrong and (inside & candidates[:, place] & (cap[:, place] == 0)).any():
                found.add(("K410", taxon.name, end.label))
    return found
