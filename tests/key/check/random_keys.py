"""Random keys for property tests: small, valid, and such that a grid of calls meets every case that they can tell.

Boundaries and zones are whole numbers. Metrics compared alone are gridded at every cut and between cuts, so that the grid
is exact. Metrics in sums are kept within a few units by the gate and gridded in quarters: a system of differences with
whole bounds over at most three metrics that has a solution has one in quarters.
"""

from hypothesis import strategies as st

#: Metric -> (unit, lowest and highest boundary drawn). Alone on their axes.
ALONE = {
    "characteristic_slope": ("kHz/ms", -6, 3),
    "snr": ("dB", 8, 14),
    "second_harmonic": ("dB", -12, -4),
    "strongest_harmonic": ("", 1, 3),
}
#: Metrics that are added, subtracted or related; the gate keeps them between these numbers.
TOGETHER = {"start_frequency": (20, 22), "end_frequency": (20, 22), "max_frequency": (20, 22)}
TAXA = ("Examplia prima", "Examplia secunda", "Examplia tertia")
GROUP = "first two"
PRESENT = "second_harmonic"


@st.composite
def comparison(draw, alone, sums):
    """One comparison; ``alone`` are the metrics that it may compare by themselves."""
    kinds = ["alone", "alone", "within"]
    kinds += ["abs"] if "characteristic_slope" in alone else []
    kinds += ["presence"] if PRESENT in alone else []
    kind = draw(st.sampled_from([*kinds, "ridge", "sum", "sum"] if sums else kinds))
    sense = draw(st.sampled_from(("<", "<=", ">", ">=")))
    zone = draw(st.sampled_from((0, 0, 1, 2)))
    if kind == "presence":
        return f"{PRESENT} is {draw(st.sampled_from(('missing', 'measured')))}"
    if kind == "abs":
        return f"abs(characteristic_slope{draw(st.sampled_from((' + 1 kHz/ms', '')))}) {sense} {draw(st.integers(0, 5))} kHz/ms" + (
            f" ± {zone} kHz/ms" if zone else ""
        )
    if kind == "sum":
        first, second = draw(st.permutations(sorted(TOGETHER)))[:2]
        boundary = draw(st.integers(-2, 2))
        text = f"{first} - {second} {sense} {boundary} kHz"
        return text + (f" ± {zone} kHz" if zone else "")
    if kind == "ridge":
        name = draw(st.sampled_from(sorted(TOGETHER)))
        return f"{name} {sense} {draw(st.integers(20, 22))} kHz" + (f" ± {zone} kHz" if zone else "")
    name = draw(st.sampled_from(alone))
    unit, low, high = ALONE[name]
    shown = f" {unit}" if unit else ""
    if name == "strongest_harmonic":
        return f"{name} {draw(st.sampled_from((sense, '=')))} {draw(st.integers(low, high))}"
    if kind == "within":
        one, other = sorted(draw(st.lists(st.integers(low, high), min_size=2, max_size=2)))
        return f"{name} from {one}{shown} to {other}{shown}" + (f" ± {zone}{shown}" if zone else "")
    return f"{name} {sense} {draw(st.integers(low, high))}{shown}" + (f" ± {zone}{shown}" if zone else "")


@st.composite
def condition(draw, alone, sums, depth=2):
    if depth == 0 or draw(st.integers(0, 2)) == 0:
        return draw(comparison(alone, sums))
    kind = draw(st.sampled_from(("and", "or", "not")))
    if kind == "not":
        return f"not ({draw(condition(alone, sums, depth - 1))})"
    parts = draw(st.lists(condition(alone, sums, depth - 1), min_size=2, max_size=2))
    return "(" + f" {kind} ".join(parts) + ")"


@st.composite
def keys(draw, sums=False, couplets=3):
    """The text of a key. Leads point forward to later couplets or end; every taxon but the last may have ranges."""
    alone = draw(st.permutations(sorted(ALONE)))[: 1 if sums else 3]
    lines = ['key "random" version 1', ""]
    for place, name in enumerate(TAXA):
        lines.append(f"taxon {name}")
        if place < 2 and draw(st.booleans()):
            metric = draw(st.sampled_from(sorted(set(alone) - {"strongest_harmonic"}) or ["snr"]))
            unit, low, high = ALONE[metric]
            one, other = sorted(draw(st.lists(st.integers(low, high), min_size=2, max_size=2)))
            lines.append(f"    {metric} {one} to {other} {unit}")
    lines += [f'group "{GROUP}" {TAXA[0]}, {TAXA[1]}', ""]
    gate = [f"    {name} from {low} to {high} kHz" for name, (low, high) in TOGETHER.items()] if sums else []
    gate += [f"    {draw(comparison(alone, False))}" for _ in range(draw(st.integers(0, 1)))]
    lines += ["gate", *gate] if gate else []
    count = draw(st.integers(1, couplets))
    for number in range(1, count + 1):
        lines.append(f"couplet {number}")
        leads = draw(st.integers(1, 3))
        for place in range(leads):
            last = place == leads - 1 and draw(st.booleans())
            text = "otherwise" if last else draw(condition(alone, sums))
            targets = [*TAXA, f'"{GROUP}"', 'unidentified "why"', 'not a bat "rain"', *map(str, range(number + 1, count + 1))]
            target = draw(st.sampled_from(targets))
            cap = draw(st.sampled_from(("", "", ", at most probable")))
            lines.append(f"    {number}{'abc'[place]} {text} => {target}{cap}")
    lines += ["passes", "    definite when support >= 90 % and clear >= 5", "    possible otherwise", ""]
    return "\n".join(lines)
