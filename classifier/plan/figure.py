"""The figure of a plan: distance against frequency for several weathers, and under it where the taxa call."""

import os
from pathlib import Path

import numpy as np

from classifier.errors import InputError
from classifier.plan.callers import LOUD, QUIET
from classifier.plan.distance import detection_distance_m
from classifier.plan.planning import WEATHERS, Plan

ENDINGS = (".pdf", ".svg", ".png")
_LOWEST_KHZ, _HIGHEST_KHZ = 8.0, 200.0
_TICKS_KHZ = (10, 15, 20, 30, 40, 50, 70, 100, 150, 200)
_TICKS_M = (2, 5, 10, 20, 50, 100)
#: Colours that the colour-blind tell apart (Okabe & Ito) with dashes of their own, so that grey print does too.
_LINES = (
    ("#000000", "-"),
    ("#0072B2", "--"),
    ("#D55E00", "-."),
    ("#009E73", ":"),
    ("#CC79A7", (0, (6, 1, 1, 1, 1, 1))),
)
_BAR, _QUIET_BAR, _LOST = "#56748c", "#c3cfd8", "#e9e6df"


def draw_plan(plan: Plan, path: Path) -> None:
    """Draw into a file (.pdf, .svg or .png), which takes the place of an earlier one only once it is whole.

    Raises
    ------
    InputError : another ending, or a place that cannot be written
    """
    from matplotlib import rc_context

    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise InputError(f"{path}: a figure ends in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}; give it such a name")
    if not path.parent.is_dir():
        raise InputError(f"{path}: there is no folder {path.parent}; make it or name another")
    temporary = path.with_name(f".{path.stem}.{os.getpid()}{path.suffix}")
    # No date inside: the same plan gives the same file.
    metadata = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(path.suffix.lower())
    try:
        with rc_context({"svg.hashsalt": "plan", "pdf.fonttype": 42, "font.size": 9}):
            figure_of(plan).savefig(temporary, dpi=150, metadata=metadata)
        os.replace(temporary, path)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror}); name a place that can") from error
    finally:
        temporary.unlink(missing_ok=True)


def figure_of(plan: Plan):
    """The drawing as a matplotlib figure (no screen is opened)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    taxa = [each for each in plan.taxa if each.strongest_khz]
    rows = 0.21 * len(taxa) + 0.3
    figure = Figure(figsize=(8.2, 4.6 + rows + 0.7), layout="constrained")
    FigureCanvasAgg(figure)
    far, who = figure.subplots(2, 1, sharex=True, height_ratios=(4.6, rows))
    _draw_distances(far, plan)
    _draw_taxa(who, taxa)
    for axes in (far, who):
        _draw_band(axes, plan.settings)
    far.set_title(f"How far calls carry: {plan.key}", loc="left", weight="bold", size=11)
    who.set_xscale("log")
    who.set_xlim(_LOWEST_KHZ, _HIGHEST_KHZ)
    who.set_xticks(_TICKS_KHZ, [str(each) for each in _TICKS_KHZ])
    who.set_xticks([], minor=True)
    who.set_xlabel("frequency, kHz (grey: outside the recorder's band)")
    return figure


def _draw_distances(axes, plan):
    frequency = np.geomspace(_LOWEST_KHZ, _HIGHEST_KHZ, 300)
    own = plan.settings.weather
    weathers = {name: weather for name, weather in WEATHERS.items() if weather != own}
    for (name, weather), (colour, dashes) in zip({"as planned": own, **weathers}.items(), _LINES, strict=False):
        label = f"{name}: {weather.temperature_c:g} °C, {weather.humidity_percent:g} %"
        for level, width in ((LOUD, 1.8), (QUIET, 1.0)):
            far = detection_distance_m(level.middle_db, frequency * 1e3, plan.least_level_db, weather)
            axes.plot(
                frequency,
                far,
                color=colour,
                linestyle=dashes,
                linewidth=width,
                label=label if level is LOUD else None,
            )
    quiet = detection_distance_m(QUIET.middle_db, 8.5e3, plan.least_level_db, own)
    axes.text(8.4, 1.2 * quiet, f"loud (thick):\n{LOUD.middle_db:g} dB at 10 cm")
    axes.text(8.4, 0.42 * quiet, f"quiet (thin):\n{QUIET.middle_db:g} dB at 10 cm")
    axes.set_yscale("log")
    axes.set_yticks(_TICKS_M, [str(each) for each in _TICKS_M])
    axes.set_yticks([], minor=True)
    axes.set_ylim(1.6, 130)
    axes.set_ylabel(f"distance at which a call fades to {plan.least_level_db:.0f} dB, m")
    axes.grid(color="#d9d9d9", linewidth=0.5)
    axes.legend(loc="upper right", frameon=True, framealpha=0.9, edgecolor="none", handlelength=4)


def _draw_taxa(axes, taxa):
    for place, taxon in enumerate(taxa):
        low, high = taxon.strongest_khz
        least = 1.01 * low
        axes.barh(
            place,
            max(high, least) - low,
            left=low,
            height=0.6,
            color=_QUIET_BAR if taxon.quiet else _BAR,
            edgecolor="#2f4050",
            linewidth=0.6,
        )
        distance = taxon.distance_m
        text = "outside the band" if distance[2] == 0 else f"{distance[1]:.0f} m ({distance[0]:.0f}–{distance[2]:.0f})"
        axes.annotate(text, (max(high, least), place), xytext=(4, 0), textcoords="offset points", va="center", size=8)
    names = [each.taxon + (" *" if each.listed else "") for each in taxa]
    axes.set_yticks(range(len(taxa)), names, style="italic", size=8)
    axes.set_ylim(len(taxa) - 0.4, -0.6)
    axes.grid(axis="x", color="#d9d9d9", linewidth=0.5)
    axes.set_axisbelow(True)
    axes.set_title(
        "Where calls are strongest, and how far they carry (as the bat is less or more loud)\n"
        "Light bars: quiet callers; *: listed as threatened, or near it",
        loc="left",
        size=9,
    )


def _draw_band(axes, settings):
    """Grey over what the recorder does not hear."""
    floor = settings.trigger_floor_khz if settings.recording == "triggered" else 0.0
    ceiling = settings.ceiling_khz if settings.recording == "triggered" else settings.nyquist_khz
    for low, high in ((_LOWEST_KHZ, min(max(floor, _LOWEST_KHZ), _HIGHEST_KHZ)), (ceiling, _HIGHEST_KHZ)):
        if high > low:
            axes.axvspan(low, high, color=_LOST, zorder=0)
