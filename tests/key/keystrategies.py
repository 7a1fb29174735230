"""Hypothesis strategies: sound keys with calls to walk through them, and texts of any layout that the grammar takes."""

from hypothesis import strategies as st

# ---------------------------------------------------------------------------------------------------- sound keys

#: Metrics of the drawn keys: unit and the few boundaries and values that make things happen at the edges.
METRIC_GRID = {
    "characteristic_frequency": ("kHz", ["20", "24.5", "30"]),
    "end_frequency": ("kHz", ["20", "24.5", "30"]),
    "duration": ("ms", ["2", "5.1", "9"]),
    "characteristic_slope": ("kHz/ms", ["-1.5", "-0.3", "0.2"]),
    "flat_share": ("%", ["10", "50", "90"]),
}
_VALUES = {
    name: sorted({float(each) + step for each in grid for step in (-1.0, -0.25, 0.0, 0.1, 0.25, 1.0)})
    for name, (_, grid) in METRIC_GRID.items()
}
_FREQUENCIES = ("characteristic_frequency", "end_frequency")


@st.composite
def comparisons(draw):
    """One comparison with units that fit; arithmetic now and then."""
    kind = draw(st.sampled_from(["plain"] * 6 + ["within", "presence", "sum", "abs", "product", "ratio", "harmonic"]))
    name = draw(st.sampled_from(sorted(METRIC_GRID)))
    unit, grid = METRIC_GRID[name]
    sign = draw(st.sampled_from(["<", "<=", ">", ">="]))
    boundary = draw(st.sampled_from(grid))
    zone = draw(st.sampled_from(["", "", "0.1", "0.25", "1"]))
    plus = f" ± {zone} {unit}" if zone else ""
    if kind == "within":
        low, high = sorted(draw(st.tuples(st.sampled_from(grid), st.sampled_from(grid))), key=float)
        return f"{name} from {low} to {high} {unit}{plus}"
    if kind == "presence":
        return f"{name} is {draw(st.sampled_from(['missing', 'measured']))}"
    if kind == "sum":
        zone = f" ± {zone} kHz" if zone else ""
        one, other = draw(st.permutations(_FREQUENCIES))
        form = draw(st.sampled_from(["{} - {}", "2 * {} - {}", "{} + 0.5 * {}", "3 kHz + {} - {} / 3"]))
        return f"{form.format(one, other)} {sign} {draw(st.sampled_from(['0', '4.5', '24.5', '-1']))} kHz{zone}"
    if kind == "abs":
        return f"abs({name}) {sign} {boundary.lstrip('-')} {unit}{plus}"
    if kind == "product":
        zone = f" ± {zone} kHz" if zone else ""
        return f"characteristic_slope * duration {sign} {draw(st.sampled_from(['-3', '-1.5', '0.4']))} kHz{zone}"
    if kind == "ratio":
        return f"end_frequency / characteristic_frequency {sign} {draw(st.sampled_from(['1', '80 %', '1.225']))}"
    if kind == "harmonic":
        return f"strongest_harmonic {draw(st.sampled_from(['=', '<', '>=']))} {draw(st.sampled_from(['1', '2']))}"
    return f"{name} {sign} {boundary} {unit}{plus}"


def conditions():
    """Comparisons joined by and, or, not, in brackets."""
    return st.recursive(
        comparisons(),
        lambda inner: st.one_of(
            st.tuples(inner, inner).map(lambda each: f"({each[0]}) and ({each[1]})"),
            st.tuples(inner, inner, inner).map(lambda each: "(" + ") or (".join(each) + ")"),
            inner.map(lambda each: f"not ({each})"),
        ),
        max_leaves=4,
    )


@st.composite
def sound_keys(draw):
    """Text of a key without errors: couplets that lead forward (several may lead to one), zones, caps, lets, a gate."""
    count = draw(st.integers(1, 6))
    lines = ['key "drawn" version 1', f"standard errors {draw(st.sampled_from(['0', '1', '2', '2.5']))}"]
    lines += [f"taxon Genus {name}" for name in ("alba", "bruna", "clara", "dura")]
    lines += ['group "pair" Genus clara, Genus dura', f"let shared = {draw(conditions())}"]
    if draw(st.booleans()):
        lines += ["gate", f"    {draw(conditions())}", f"    {draw(comparisons())}"]
    for number in range(1, count + 1):
        lines.append(f"couplet {number}")
        leads = draw(st.integers(1, 3))
        closed = draw(st.booleans())
        for place in range(leads):
            onward = [str(each) for each in range(number + 1, count + 1)]
            ends = ["Genus alba", "Genus bruna", "Genus clara", '"pair"', 'unidentified "why"', 'not a bat "rain"']
            target = draw(st.sampled_from(onward * 2 + ends))
            cap = draw(st.sampled_from(["", "", ", at most probable", ", at most possible"]))
            last = closed and place == leads - 1
            condition = "otherwise" if last else draw(st.one_of(conditions(), st.just("shared"), st.just("not shared")))
            lines.append(f"    {number}{chr(97 + place)} {condition} => {target}{cap}")
    return "\n".join(lines) + "\n"


def calls():
    """One call: by name (value or None, standard error or None); some metrics are not named."""
    values = {
        name: st.tuples(
            st.one_of(st.none(), st.sampled_from(grid), st.floats(min(grid) - 2, max(grid) + 2)),
            st.sampled_from([None, None, 0.0, 0.05, 0.125, 1.0]),
        )
        for name, grid in _VALUES.items()
    }
    values["strongest_harmonic"] = st.tuples(st.sampled_from([None, 1.0, 2.0, 3.0]), st.none())
    return st.fixed_dictionaries({}, optional=values)


# ------------------------------------------------------------------------------------------- texts of any layout

_WORDS = st.sampled_from(["duration", "snr", "flat", "low_split", "münze", "x1", "tail"])
_NUMBERS = st.sampled_from(["0", "5", "24.50", "007.1", "0.3"])
_UNITS = st.sampled_from(["", " kHz", " ms", "kHz/ms", " %", " dB", " s"])
_TAXA = st.sampled_from(["Examplia vespera", "Examplia  matutina", "Auritia minor", "Ozimops sp.", "Ünica bella nana"])
_TEXTS = st.sampled_from(['"a"', '"how  low, # is it?"', '"é ± 3 => 2"', '""', '"Author, A. (2012). Title [x]."'])
_CITATIONS = st.sampled_from(["", "", " [H12 p. 34]", "[H12;K03 fig. 2]", " [chosen] [memory]", " []"])
_COMMON = st.sampled_from(["", '"dusk bat"', '"a" "b"'])
_TIERS = st.sampled_from(["definite", "probable", "possible"])


def quantities():
    return st.tuples(_NUMBERS, _UNITS).map("".join)


def expressions():
    """Every form of expression, with brackets where they may stand but need not."""
    atoms = st.one_of(quantities(), _WORDS)

    def wider(inner):
        bracketed = inner.map(lambda each: f"({each})")
        part = st.one_of(atoms, bracketed)
        return st.one_of(
            st.tuples(part, st.sampled_from([" + ", " - ", "*", " / ", " · "]), part).map("".join),
            st.tuples(part, st.sampled_from(["<", " <= ", " ≥ ", ">", " = "]), part).map("".join),
            st.tuples(part, part, part).map(lambda each: f"{each[0]} from {each[1]} to {each[2]}"),
            st.tuples(part, st.sampled_from([" and ", " or "]), part, part).map(
                lambda each: f"{each[0]}{each[1]}{each[2]}{each[1]}{each[3]}"
            ),
            st.tuples(st.sampled_from(["abs", "median", "share"]), inner).map(lambda each: f"{each[0]}({each[1]})"),
            st.tuples(part, st.sampled_from([" ± ", " +/- "]), part).map("".join),
            part.map(lambda each: f"-{each}"),
            bracketed.map(lambda each: f"not {each}"),
            part.map(lambda each: f"{each} is missing"),
        )

    return st.recursive(atoms, wider, max_leaves=6)


def targets():
    return st.one_of(
        _TAXA,
        st.sampled_from(["2", "17", "unidentified", "not a bat"]),
        _TEXTS,
        _TEXTS.map(lambda each: f"unidentified {each}"),
        _TEXTS.map(lambda each: f"not a bat {each}"),
    )


def _caps():
    return st.one_of(st.just(""), _TIERS.map(lambda each: f", at most {each}"))


def _listed(things, joint=", "):
    return st.lists(things, min_size=1, max_size=9).map(joint.join)


def _signed():
    return st.tuples(st.sampled_from(["", "-", "− "]), quantities()).map("".join)


def _extents():
    return st.tuples(*[_signed()] * 4).map(lambda each: f"south {each[0]} north {each[1]} west {each[2]} east {each[3]}")


def _values():
    return st.one_of(
        st.tuples(_WORDS, _signed()).map(" ".join),
        st.tuples(_WORDS, _signed(), _signed()).map(lambda each: f"{each[0]} {each[1]} ± {each[2]}"),
        _WORDS.map(lambda each: f"{each} missing"),
    )


def _outcomes():
    return st.one_of(st.tuples(targets(), _caps()).map("".join), _listed(_TAXA).map(lambda each: f"among {each}"), st.just("gated"))


@st.composite
def statements(draw):
    """One statement or block as rows."""

    def put(strategy):
        return draw(strategy)

    kind = put(st.integers(0, 13))
    cite = put(_CITATIONS)
    if kind == 0:
        return [f"key {put(_TEXTS)} version {put(st.sampled_from(['1', '3.1', '2024.05.1']))}"]
    if kind == 1:
        return [f"region {put(_extents())}"]
    if kind == 2:
        return [f"standard errors {put(_NUMBERS)}"]
    if kind == 3:
        return [f"source H{put(st.integers(0, 99))} {put(_TEXTS)}"]
    if kind == 4:
        return [f"group {put(_TEXTS)} {put(_listed(_TAXA))}{cite}"]
    if kind == 5:
        thing = put(
            st.one_of(
                _TAXA,
                st.tuples(_TAXA, targets()).map(" => ".join),
                st.just("couplet 3"),
                st.just('group "x"'),
                st.just('example "y"'),
                _listed(_TAXA, " | ").map(lambda each: f"refine {each}"),
            )
        )
        return [f"without {thing}"]
    if kind == 6:
        return [f"let {put(_WORDS)} = {put(expressions())}{cite}"]
    if kind == 7:
        return [f"example {put(_TEXTS)} {put(_listed(_values()))} => {put(_outcomes())}{cite}"]
    if kind == 8:
        rows = [f"taxon {put(_TAXA)} {put(_COMMON)}{cite}"]
        entry = st.one_of(
            st.tuples(_WORDS, _signed(), _signed()).map(lambda each: f"{each[0]} {each[1]} to {each[2]}"),
            _listed(_TAXA).map(lambda each: f"similar {each}"),
            st.tuples(st.sampled_from(["status", "tells", "note"]), _TEXTS).map(" ".join),
            _extents().map(lambda each: f"occurs {each}"),
        )
        return rows + put(st.lists(st.tuples(entry, _CITATIONS).map("".join), max_size=4))
    if kind == 9:
        rows = st.tuples(expressions(), _CITATIONS).map("".join)
        return ["gate", *put(st.lists(rows, max_size=3))]
    if kind == 10:
        number = put(st.integers(1, 40))
        condition = st.one_of(expressions(), st.just("otherwise"))
        leads = put(st.lists(st.tuples(condition, targets(), _caps(), _CITATIONS), max_size=4))
        rows = [f"{number}{chr(97 + i)} {c} => {to}{cap}{by}" for i, (c, to, cap, by) in enumerate(leads)]
        return [f"couplet {number} {put(st.one_of(st.just(''), _TEXTS))}{cite}", *rows]
    if kind == 11:
        entry = st.one_of(
            quantities().map(lambda each: f"gap {each}"),
            st.integers(1, 9).map(lambda each: f"at least {each} pulses"),
            st.tuples(_TIERS, expressions()).map(lambda each: f"{each[0]} when {each[1]}"),
            _TIERS.map(lambda each: f"{each} otherwise"),
        )
        return ["passes", *put(st.lists(st.tuples(entry, _CITATIONS).map("".join), max_size=4))]
    if kind == 12:
        to = st.one_of(targets(), st.just("stays"))
        leads = put(st.lists(st.tuples(expressions(), to, _caps(), _CITATIONS), max_size=3))
        rows = [f"{chr(97 + i)} {c} => {end}{cap}{by}" for i, (c, end, cap, by) in enumerate(leads)]
        return [f"refine {put(_listed(_TAXA, ' | '))}{cite}", *rows]
    return [f'based on "base{put(st.integers(1, 3))}.key"']


_COMMENTS = st.sampled_from(["#", "# why", '#nearly "quoted', "    # indented, => 3", "\t# tab"])


@st.composite
def texts(draw):
    """A whole text without slips of form: statements with comments, blank lines, tabs and lines that go on."""
    rows = []
    for block in draw(st.lists(statements(), max_size=6)):
        for place, row in enumerate(block):
            rows += draw(st.lists(st.one_of(st.just(""), st.just("   "), _COMMENTS), max_size=2))
            if place and " => " in row and '"' not in row and draw(st.booleans()):
                row = row.replace(" => ", draw(st.sampled_from(["\n   => ", " # here\n\n# and here\n => "])))
            indent = draw(st.sampled_from(["", "  ", "\t"])) if place else ""
            behind = draw(st.sampled_from(["", "", " ", "  # behind", "# close"]))
            rows.append(indent + row + behind)
    rows += draw(st.lists(st.one_of(st.just(""), _COMMENTS), max_size=2))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    return end.join("\n".join(rows).split("\n")) + draw(st.sampled_from(["", end]))
