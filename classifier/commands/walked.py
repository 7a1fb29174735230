"""One call's way through a key, for the terminal and as JSON."""

import re

from classifier.commands import show

#: What is compared and how, of a comparison's text.
_FORM = re.compile(r"(.*? (?:<=|>=|<|>|=)) ")


def show_walk(path, out) -> None:
    """One call's way through the key: every lead tried, and where it ends."""
    rows = []
    for step in (*(step for step in path.gate if step.truth == "no"), *path.steps):
        rows.extend(_step_rows(step))
    if rows:
        show.table(["lead", "condition~24", "measured>", "boundary", "clearance>", "holds"], rows, to=out)
    if path.gated_by is not None:
        ends = f"kept from the key by its gate: {path.gated_by}"
    else:
        from classifier.key.syntax import TIERS

        ends = "; or ".join(end.label + (f", at most {TIERS[cap]}" if cap else "") for end, cap in path.candidates.items())
    known = [("ends", ends), ("reason", path.reason)]
    if path.clearance >= 0:
        known.append(("clearance", f"{path.clearance:.2f}, the smallest on the way"))
    show.facts([(name, value) for name, value in known if value], to=out)


def _step_rows(step):
    """A row for the lead, one for each comparison where the lead's text is not itself one, and where it
    goes."""
    truth = show.text(step.truth, show.TRUTH_STYLES[step.truth])
    rows = []
    if len(step.comparisons) == 1 and step.comparisons[0].text == step.text:
        rows.append((step.label, *_comparison_cells(step.comparisons[0]), truth))
    else:
        rows.append((step.label, step.text, "", "", "", truth))
        for each in step.comparisons:
            form, *numbers = _comparison_cells(each)
            rows.append(("", f"  {form}", *numbers, show.text(each.truth, "dim")))
    if step.truth != "no" and step.couplet is not None:
        goes = f"to couplet {step.target}" if step.target.isdigit() else step.target
        rows.append(("", show.text(f"→ {goes}", "bold" if step.truth == "yes" else ""), "", "", "", ""))
    return rows


def _comparison_cells(judged):
    """What is compared and how, the measured value with its error, the boundary with its half-width,
    clearance."""
    form = _FORM.match(judged.text)[1]
    measured = "missing"
    if judged.value is not None:
        measured = f"{judged.value:.4g}" + (f" ± {judged.error:.1g}" if judged.error else "")
    half = f" ± {judged.half_width:.2g}" if judged.half_width else ""
    clearance = judged.clearance
    shown = "" if clearance == float("inf") else f"{clearance:.2f}" if clearance < 100 else f"{clearance:.0f}"
    return form, measured, f"{judged.boundary:.4g}{half} {judged.unit}".rstrip(), shown


def walk_for_json(path):
    """A walk as plain values: what the key's own nodes hold is left out."""
    from classifier.key.syntax import TIERS

    if path is None:
        return None
    steps = [
        {
            "couplet": step.couplet,
            "lead": step.label,
            "condition": step.text,
            "truth": step.truth,
            "clearance": step.clearance,
            "goes_to": step.target,
            "comparisons": [
                {
                    "text": each.text,
                    "measured": each.measured,
                    "value": each.value,
                    "error": each.error,
                    "boundary": each.boundary,
                    "half_width": each.half_width,
                    "unit": each.unit,
                    "clearance": each.clearance,
                    "truth": each.truth,
                }
                for each in step.comparisons
            ],
        }
        for step in (*path.gate, *path.steps)
    ]
    return {
        "gated_by": path.gated_by,
        "steps": steps,
        "trail": path.trail,
        "parted_by": path.parted_by or None,
        "clearance": path.clearance,
        "reason": path.reason or None,
        "candidates": [{"label": end.label, "at_most": TIERS[cap]} for end, cap in path.candidates.items()],
    }
