"""A key drawn: its tree, and slices of its regions with the taxa's declared ranges on top (matplotlib).

For print and for every reader's eyes: each region carries its number and its own hatching, tints are light and only
help, ranges are outlined and numbered like the regions they belong to, and names stand in full in the list beside.
"""

import os
import textwrap
from pathlib import Path

import numpy as np

from classifier.key.check.slices import Slice, slices
from classifier.key.check.tree import Tree, layout
from classifier.key.compile import GROUP, TAXON, CompiledKey
from classifier.metrics import METRICS

#: Light tints that stay apart in every common kind of colour blindness and in grey (after Okabe & Ito, thinned).
_TINTS = ("#ffffff", "#d5e8f5", "#fbe6c2", "#cfeadf", "#f4d9e6", "#e4e4e4")
_HATCHES = ("", "..", "\\\\", "--", "o", "x", "||", "+")
#: Inches: a line of the tree; a character of a condition; what stands beside conditions; a leaf's name.
_ROW, _CHARACTER, _BESIDE, _LEAF = 0.25, 0.058, 0.7, 3.1
_LONGEST = 50  # characters of a line of a condition; a condition has two lines at most
_INK = "#1a1a1a"


def draw_key(compiled: CompiledKey, path) -> None:
    """Draw a key into a file; its ending says the format (pdf, svg, png).

    Parameters
    ----------
    compiled : a key without errors
    path : where to write
    """
    from matplotlib import rc_context

    with rc_context({"hatch.linewidth": 0.4, "hatch.color": "#9a9a9a", "svg.hashsalt": "key", "pdf.fonttype": 42}):
        _save(figure_of(compiled), path)


def _save(figure, path):
    path = Path(path)
    ending = path.suffix.lower().removeprefix(".")
    # No date inside: the same key gives the same file.
    metadata = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(ending)
    unfinished = path.with_name(f".{path.name}.tmp")
    try:
        figure.savefig(unfinished, format=ending, dpi=150, bbox_inches="tight", pad_inches=0.3, metadata=metadata)
        os.replace(unfinished, path)
    finally:
        unfinished.unlink(missing_ok=True)


def figure_of(compiled: CompiledKey):
    """The drawing as a matplotlib figure (no screen is opened)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    tree, views = layout(compiled), slices(compiled)
    columns = _columns(tree)
    width = max(13.0, columns[-1] + _LEAF)
    tree_height = max(1.5, _ROW * (_heights(tree)[-1] + 1) + 0.8)
    entries = _entries(compiled)
    lists = max(1, int(width // 2.9))
    list_height = 0.17 * (sum(len(lines) for _, lines, _ in entries) / lists + 3) + 0.2 if views else 0.0
    slice_height = 5.6 if views else 0.0
    height = tree_height + slice_height + list_height + 0.7
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    key = compiled.key
    figure.text(0.25 / width, 1 - 0.25 / height, f"{key.name}, version {key.version}", size=15, weight="bold", va="top")
    bottom = slice_height + list_height
    _draw_tree(figure.add_axes((0, bottom / height, 1, tree_height / height)), tree, columns, width)
    numbers = _numbers(compiled)
    share = (width - 0.3) / max(len(views), 1)
    for at, view in enumerate(views):
        place = (0.85 + at * share) / width, (list_height + 0.6) / height, (share - 1.0) / width, (slice_height - 2) / height
        _draw_slice(figure.add_axes(place), view, numbers)
    if views:
        figure.text(
            0.3 / width,
            (bottom - 0.45) / height,
            "What the key says of calls over two metrics, and where the taxa are declared to call (outlines)",
            size=11,
            weight="bold",
            va="center",
        )
        _draw_list(figure, entries, lists, list_height - 0.1)
    return figure


# --------------------------------------------------------------------------------------------------------------- tree


def _columns(tree: Tree):
    """Where the couplets of each depth stand, in inches from the left, and where the last leads end."""
    longest = [0] * (tree.depth + 1)
    for branch in tree.branches:
        longest[branch.depth] = max(longest[branch.depth], *map(len, _lines(branch)))
    columns = [0.45]
    for length in longest:
        columns.append(columns[-1] + _BESIDE + _CHARACTER * length)
    return columns


def _lines(branch):
    """A lead's label and condition in one or two lines."""
    text = f"{branch.label}  {branch.condition}"
    return textwrap.wrap(text, _LONGEST, max_lines=2, placeholder=" …", subsequent_indent="    ", break_long_words=False)


def _heights(tree: Tree):
    """Where each line of the tree stands, from the top, in lines: one with two lines of text takes more room."""
    room = np.ones(max(tree.rows, 1))
    for branch in tree.branches:
        if len(_lines(branch)) > 1 and branch.row == int(branch.row):
            room[int(branch.row)] = 1.5
    return np.cumsum(room) - 1.0


def _draw_tree(place, tree: Tree, columns, width):
    heights = _heights(tree)

    def y_of(row):
        return float(np.interp(row, np.arange(len(heights)), heights))

    place.set_xlim(0, width)
    place.set_ylim(heights[-1] + 0.6, -1.6)
    place.axis("off")
    for fork in tree.forks:
        x = columns[fork.depth]
        place.plot([x, x], [y_of(row) for row in fork.rows], color=_INK, linewidth=1.1, solid_capstyle="round")
        place.text(
            x - 0.07,
            y_of(fork.row),
            str(fork.number),
            ha="right",
            va="center",
            size=9,
            weight="bold",
            bbox={"boxstyle": "round,pad=0.22", "facecolor": "white", "edgecolor": _INK, "linewidth": 0.8},
        )
    for branch in tree.branches:
        x, following, y = columns[branch.depth], columns[branch.depth + 1], y_of(branch.row)
        stop = following - 0.36 if branch.kind == "couplet" else following - 0.5
        place.plot([x, stop], [y, y], color=_INK, linewidth=0.9)
        place.text(x + 0.08, y - 0.06, "\n".join(_lines(branch)), size=7.3, va="bottom", color=_INK, linespacing=0.95)
        if branch.kind != "couplet":
            tail = f"  (at most {branch.at_most})" if branch.at_most else ""
            style = {"style": "italic"} if branch.kind == TAXON else {}
            named = branch.kind in (TAXON, GROUP)
            place.text(stop + 0.08, y, f"{branch.end}{tail}", size=8.4, va="center", color=_INK if named else "#5a5a5a", **style)


# ------------------------------------------------------------------------------------------------------------- slices


def _numbers(compiled):
    """Each label that the key can give, numbered in the order of the key; the declared taxa first."""
    labels = [end.label for end in compiled.ends if end.kind in (TAXON, GROUP)]
    return {label: number for number, label in enumerate(labels, start=1)}


def _draw_slice(axes, view: Slice, numbers):
    from matplotlib.patches import Rectangle
    from matplotlib.patheffects import withStroke

    across, up = METRICS[view.across], METRICS[view.up]
    extent = view.acrosses[0], view.acrosses[-1], view.ups[0], view.ups[-1]
    for place, outcome in enumerate(view.outcomes):
        mask = (view.region == place).astype(float)
        tint, hatch = _look(outcome, numbers)
        axes.contourf(view.acrosses, view.ups, mask, levels=(0.5, 1.5), colors=[tint], hatches=[hatch], zorder=1)
        if 0 < mask.sum() < mask.size:
            axes.contour(view.acrosses, view.ups, mask, levels=(0.5,), colors="#6e6e6e", linewidths=0.5, zorder=2)
        spot = _widest_spot(view.region == place, 8 if len(outcome) == 1 else 15)
        if spot is not None:
            axes.text(
                view.acrosses[spot[1]],
                view.ups[spot[0]],
                _short(outcome, numbers),
                size=7.5,
                ha="center",
                va="center",
                zorder=5,
                color="#303030",
                bbox={"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.75},
            )
    for box in view.boxes:
        if box.across is None or box.up is None:
            continue
        (left, right), (low, high) = box.across, box.up
        axes.add_patch(Rectangle((left, low), right - left, high - low, fill=False, edgecolor="black", linewidth=1.2, zorder=4))
        number = axes.text(
            max(left, extent[0]),
            min(high, extent[3]),
            f" {numbers[box.taxon]}",
            size=8,
            weight="bold",
            va="top",
            ha="left",
            zorder=6,
            clip_on=True,
        )
        number.set_path_effects([withStroke(linewidth=2.5, foreground="white")])
    axes.set_xlim(extent[:2])
    axes.set_ylim(extent[2:])
    axes.set_xlabel(f"{across.name.replace('_', ' ')} ({across.unit})" if across.unit else across.name.replace("_", " "))
    axes.set_ylabel(f"{up.name.replace('_', ' ')} ({up.unit})" if up.unit else up.name.replace("_", " "))
    held = ", ".join(_held_text(*each) for each in view.held)
    if view.model is not None:
        held = f"otherwise like {view.model}: {held}"
    if held:
        axes.set_title("\n".join(textwrap.wrap(held, 70)), size=7.5, loc="left")
    axes.tick_params(labelsize=8)


def _held_text(name, value, beside):
    amount = f"{abs(value):g} {METRICS[name].unit}".strip()
    name = name.replace("_", " ")
    if beside is None:
        return f"{name} {'-' if value < 0 else ''}{amount}"
    if not value:
        return f"{name} equal to {beside.replace('_', ' ')}"
    return f"{name} {amount} {'above' if value >= 0 else 'below'} {beside.replace('_', ' ')}"


def _look(outcome, numbers):
    """(tint, hatching) of an outcome: one label has its own pair, several are dotted, nothing named is grey."""
    if len(outcome) > 1:
        return "#efefef", "/////"
    number = numbers.get(outcome[0]) if outcome else None
    if number is None:
        return "#d9d9d9", ""
    return _TINTS[number % (len(_TINTS) - 1)], _HATCHES[number // (len(_TINTS) - 1) % len(_HATCHES)]


def _short(outcome, numbers):
    if not outcome:
        return "gated"
    named = [str(numbers[label]) for label in outcome if label in numbers]
    rest = [label for label in outcome if label not in numbers]
    short = [*named, *("–" if label == "unidentified" else "no bat" for label in rest)]
    return " or ".join(short) if len(short) <= 3 else f"{len(short)} open"


def _widest_spot(mask, least):
    """(row, column) of a point of a region that is about as far from its edge as any, near the middle of those; None where
    that is nearer than ``least`` points."""
    from scipy.ndimage import distance_transform_edt

    distance = distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    if distance.max() < least:
        return None
    spots = np.argwhere(distance >= 0.97 * distance.max())
    return spots[np.argmin(((spots - spots.mean(axis=0)) ** 2).sum(axis=1))]


def _entries(compiled):
    """What stands in the list: (mark, lines of text, whether it is a scientific name)."""
    kinds = {end.label: end.kind for end in compiled.ends}
    entries = [(str(number), textwrap.wrap(label, 38), kinds[label] == TAXON) for label, number in _numbers(compiled).items()]
    marks = (("–", "unidentified"), ("no bat", "not a bat"), ("/////", "several labels stay open"))
    return entries + [(mark, [meaning], False) for mark, meaning in marks]


def _draw_list(figure, entries, columns, top):
    width, height = figure.get_size_inches()
    lines = sum(len(text) for _, text, _ in entries)
    most, column, used = -(-lines // columns) + 1, 0, 0
    for mark, text, scientific in entries:
        if used + len(text) > most:
            column, used = column + 1, 0
        x, y = 0.75 + column * (width - 0.6) / columns, top - 0.17 * used
        figure.text((x - 0.08) / width, y / height, mark, size=7.8, weight="bold", ha="right", va="top")
        style = {"style": "italic"} if scientific else {}
        figure.text(x / width, y / height, "\n".join(text), size=7.8, va="top", linespacing=1.15, **style)
        used += len(text)
