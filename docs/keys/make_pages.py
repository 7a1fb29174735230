"""A page for each key in keys/, made from the key: ``python docs/keys/make_pages.py`` writes them all.

Nothing on a page is written by hand: what a key cannot part comes from its header, ranges and notes from its taxon
blocks, boundaries from its couplets, and the coverage table from putting calls through the key.
"""

import csv
import hashlib
import sys
import textwrap
from pathlib import Path

import numpy as np

from classifier.key import compile_key, evaluate, forms, read_key
from classifier.key.syntax import ToCouplet
from classifier.metrics import METRICS

HERE = Path(__file__).parent
KEYS = HERE.parents[1] / "keys"
DRAWS = 2000
SEED = 7
PITCH = "characteristic_frequency"


def pages() -> dict[str, str]:
    """The text of every page by its file name."""
    readings = {path.stem: read_key(path) for path in sorted(KEYS.glob("*.key"))}
    texts = {f"{name}.md": page(name, reading) for name, reading in readings.items()}
    return {"index.md": index(readings)} | texts


def index(readings):
    lines = [
        "# Keys",
        "",
        "Each page is made from its key; `python docs/keys/make_pages.py` makes them anew.",
        "",
        "| key | taxa | groups | couplets |",
        "|---|---|---|---|",
    ]
    for name, reading in readings.items():
        key = reading.key
        lines.append(f"| [{key.name}]({name}.md) | {len(key.taxa)} | {len(key.groups)} | {len(key.couplets)} |")
    lines += ["", *simulated(readings), "", *CAUTIONS]
    return "\n".join(lines) + "\n"


SIMULATED = """\
60 passes of 6 to 25 pulses from each population, bats and pulses each varying about their means
(tests/keys/populations.py), given to the key pulse by pulse. A group that holds the bat counts as right; *as one taxon*:
how many of the definite labels name one. *Rests on*: published means that the key's boundaries were set by.
*Independent*: means recalled from publications that set no boundary, rounded, of low confidence; not every taxon has one.
*Spread*: factor on all variation. Real bats differ in more ways than these, recorders hear worse, and sopranos among
others call outside the ranges of books: expect less in the field. `python tests/keys/population_numbers.py >
docs/keys/simulated.csv` counts anew, and a test checks that the numbers are fresh; tests/keys/test_recorded.py goes from
rendered recordings through measuring to the label."""


def simulated(readings):
    """How often labels of simulated passes are right, from simulated.csv beside this file."""
    with (HERE / "simulated.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns = (
        "key", "populations", "spread", "passes", "definite", "as one taxon", "definite right", "probable right", "named",
        "named right",
    )  # fmt: skip
    lines = ["## How often labels are right, on simulated passes", "", *textwrap.wrap(SIMULATED, 120), ""]
    lines += [f"| {' | '.join(columns)} |", "|---" * len(columns) + "|"]
    for row in rows:
        percents = [row[f"{name}_percent"] for name in ("definite_right", "probable_right", "named", "named_right")]
        counts = [row[name] for name in ("populations", "spread", "passes", "definite", "definite_as_one_taxon")]
        cells = [readings[row["key"]].key.name, *counts]
        lines.append("| " + " | ".join([*cells, *(f"{each} %" if each else "none" for each in percents)]) + " |")
    return lines


CAUTIONS = (
    "A label is evidence of a bat, not proof of presence, and no label is not proof of absence. Labels of threatened bats",
    "and whatever touches a roost need the review of a qualified person; licences and local codes apply; handling bats is for",
    "licensed people. Every number in a key is to be tried on calls of known bats of the district before use.",
)


def digest(reading) -> str:
    """What tells one state of a key (with its bases) from another; it stands in the page and in the picture."""
    return hashlib.sha256(reading.digest_text.encode()).hexdigest()[:16]


def page(name, reading):
    key, compiled = reading.key, compile_key(reading.key, reading.meanings)
    parts = [
        f"# {key.name}",
        "",
        f"Made from [keys/{name}.key](../../keys/{name}.key), version {key.version}, state {digest(reading)}, by "
        "`python docs/keys/make_pages.py`.",
        "",
        "## What the key says of itself",
        "",
        *header(reading.text),
        "",
        "## Where the taxa lie, and where the boundaries",
        "",
        f"![Characteristic frequencies of the taxa and boundaries of the key]({name}.svg)",
        "",
        "Bars are declared ranges of characteristic frequency; taxa without one are recognised by the ends of their sweeps",
        "(lighter bars: from lowest end to highest start). Lines are boundaries of leads on characteristic frequency, bands",
        "their overlap zones, in which a pulse goes both ways.",
        "",
        "## Taxa",
        "",
    ]
    for taxon in key.taxa.values():
        parts += block(taxon)
    parts += ["## Groups: what calls cannot part", "", "| group | members |", "|---|---|"]
    parts += [f"| {g.name} | {', '.join(f'*{each.name}*' for each in g.members)} |" for g in key.groups.values()]
    parts += ["", "## Coverage", "", *coverage_words(), "", *coverage(compiled), ""]
    parts += ["## The leads", ""]
    for couplet in key.couplets.values():
        parts += couplet_lines(couplet, reading)
    return "\n".join([*parts, "## Cautions", "", *CAUTIONS]) + "\n"


def header(text):
    """The comments in front of the key statement, as paragraphs and lists."""
    lines = []
    for line in text.split("\n"):
        if not line.startswith("#"):
            break
        content = line[1:].strip()
        item, inside = content.startswith("- "), line.startswith("#     ")
        listed = bool(lines) and lines[-1].startswith(("- ", "  "))
        if item != listed and not inside and lines and lines[-1]:
            lines.append("")
        lines.append(f"  {content}" if inside else content)
    return lines


def block(taxon):
    names = f" ({', '.join(taxon.common_names)})" if taxon.common_names else ""
    lines = [f"### *{taxon.name}*{names}", ""]
    lines += [f"{text}" for text in taxon.remarks("tells")]
    lines += ["", "| measure | range | source |", "|---|---|---|"]
    for each in taxon.ranges:
        low, high, unit = each.low.value, each.high.value, each.high.unit or ""
        sources = "; ".join(f"{c.source} {c.place}".strip() for c in each.citations)
        lines.append(f"| {each.metric.replace('_', ' ')} | {low} to {high} {unit} | {sources} |")
    lines.append("")
    if taxon.similar:
        lines.append("- confused with: " + ", ".join(f"*{each}*" for each in taxon.similar))
    lines += [f"- status: {text}" for text in taxon.status]
    lines += [f"- {text}" for text in taxon.remarks("note")]
    return [*lines, ""]


def coverage_words():
    return [
        f"{DRAWS} calls of each taxon, spread evenly over its declared ranges (not as bats call, but to the corners), put",
        "through the key one by one. *Own*: no other label is open. *Group*: whatever is open is the taxon or a group that holds",
        "it. *Open*: the taxon or its group is one of several. *None*: unidentified or not a bat alone. *Other*: only labels",
        "without the taxon are open; *definite as other*: and nothing caps them. Where a taxon declares no bandwidth, end or",
        "start, the sweep is taken as 0 to 25 kHz and the end as the characteristic frequency.",
    ]


def calls_of(taxon, rng):
    """Calls spread evenly over a taxon's ranges, with the metrics that follow from the declared ones."""
    drawn = {each.metric: rng.uniform(float(each.low.value), float(each.high.value), DRAWS) for each in taxon.ranges}
    if PITCH not in drawn:
        drawn[PITCH] = drawn["end_frequency"] + 0.02 * (drawn["start_frequency"] - drawn["end_frequency"])
    drawn.setdefault("tail", np.zeros(DRAWS))
    drawn.setdefault("end_frequency", drawn[PITCH] + drawn["tail"])
    drawn["tail"] = drawn["end_frequency"] - drawn[PITCH]
    sweep = drawn.get("bandwidth", rng.uniform(0, 25, DRAWS))
    drawn.setdefault("start_frequency", drawn["end_frequency"] + sweep)
    drawn["bandwidth"] = np.maximum(drawn["start_frequency"], drawn["end_frequency"]) - drawn["end_frequency"]
    slope = (drawn["end_frequency"] - drawn["start_frequency"]) / drawn["duration"]
    drawn |= {"initial_slope": 2 * slope, "mean_slope": slope, "peak_frequency": drawn[PITCH]}
    drawn |= {"coherence": np.full(DRAWS, 95.0), "snr": np.full(DRAWS, 30.0), "clipped_share": np.zeros(DRAWS)}
    return {name: drawn.get(name, np.full(DRAWS, np.nan)) for name in METRICS}


def coverage(compiled):
    rng = np.random.default_rng(SEED)
    lines = ["| taxon | own | group | open | none | other | definite as other |", "|---|---|---|---|---|---|---|"]
    named = np.array([end.kind in ("taxon", "group") for end in compiled.ends])
    for taxon in compiled.key.taxa.values():
        verdicts = evaluate(compiled, calls_of(taxon, rng))
        candidates, cap = verdicts.candidates[verdicts.usable], verdicts.cap[verdicts.usable]
        own = np.array([end.label == taxon.name for end in compiled.ends])
        holds = np.array([own[i] or taxon.name in end.members for i, end in enumerate(compiled.ends)])
        only = ~(candidates & ~own).any(1)
        group = ~(candidates & ~holds).any(1) & ~only
        none = ~(candidates & named).any(1)
        other = ~(candidates & holds).any(1) & ~none
        definite = other & (candidates.sum(1) == 1) & (np.where(candidates, cap, 0).max(1) == 0)
        shares = [only, group, ~(only | group | none | other), none, other, definite]
        cells = " | ".join(f"{100 * each.mean():.0f} %" for each in shares)
        lines.append(f"| *{taxon.name}* | {cells} |")
    return lines


def couplet_lines(couplet, reading):
    lines = [f"**{couplet.number}** {couplet.question or ''}", ""]
    for lead in couplet.leads:
        text = " ".join(reading.texts[lead.span.file][lead.span.start : lead.span.end].split())
        text = text.split("[")[0].strip() if lead.citations else text
        onward = f" (to {lead.target.number})" if isinstance(lead.target, ToCouplet) else ""
        lines.append(f"- `{text}`{onward}")
    return [*lines, ""]


def boundaries(compiled):
    """(boundary, zone) of every comparison of characteristic frequency in the couplets, each once, ascending."""
    found = set()
    for route in compiled.routes:
        stack = [route.meaning] if route.meaning is not None else []
        while stack:
            each = stack.pop()
            if isinstance(each, forms.Comparison):
                if forms.metrics_of(each.form) == (PITCH,):
                    found.add((float(each.boundary), float(each.zone)))
            elif isinstance(each, forms.Not):
                stack.append(each.condition)
            elif isinstance(each, forms.All | forms.Any):
                stack.extend(each.parts)
    return sorted(found)


def picture(name, reading):
    """Write the picture of a key's taxa and boundaries; the state of the key stands in its description."""
    import matplotlib

    matplotlib.use("svg")
    import matplotlib.pyplot as plt

    matplotlib.rcParams.update({"svg.hashsalt": "callkey", "font.size": 9, "svg.fonttype": "none"})
    compiled = compile_key(reading.key, reading.meanings)
    taxa = list(reading.key.taxa.values())
    figure, axes = plt.subplots(figsize=(8, 1.2 + 0.24 * len(taxa)), layout="constrained")
    for boundary, zone in boundaries(compiled):
        axes.axvspan(boundary - zone, boundary + zone, color="#b9d3cf", alpha=0.6, linewidth=0)
        axes.axvline(boundary, color="#2f6f69", linewidth=0.8)
    for place, taxon in enumerate(taxa):
        ranges = {each.metric: (float(each.low.value), float(each.high.value)) for each in taxon.ranges}
        if PITCH in ranges:
            low, high = ranges[PITCH]
            colour = "#8a5a2b"
        else:
            low, high = ranges["end_frequency"][0], ranges["start_frequency"][1]
            colour = "#dcc4a3"
        axes.barh(place, high - low, left=low, height=0.6, color=colour)
    axes.set_yticks(range(len(taxa)), [taxon.name for taxon in taxa], style="italic")
    axes.invert_yaxis()
    axes.set_xscale("log")
    ticks = [each for each in (10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 160)]
    left, right = axes.get_xlim()
    axes.set_xticks([each for each in ticks if left <= each <= right], minor=False)
    axes.set_xticks([], minor=True)
    axes.xaxis.set_major_formatter("{x:.0f}")
    axes.set_xlim(left, right)
    axes.set_xlabel("frequency, kHz")
    axes.set_title(f"{reading.key.name}: characteristic frequencies and boundaries")
    figure.savefig(HERE / f"{name}.svg", metadata={"Date": None, "Description": f"state {digest(reading)}"})
    plt.close(figure)


def main():
    for file, text in pages().items():
        (HERE / file).write_text(text, encoding="utf-8")
    for path in sorted(KEYS.glob("*.key")):
        picture(path.stem, read_key(path))
    print(f"{len(list(HERE.glob('*.md')))} pages in {HERE}", file=sys.stderr)


if __name__ == "__main__":
    main()
