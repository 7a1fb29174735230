"""Spoiled keys for fuzzing: mutations of sound texts, and shapes of 100 kB made to be slow."""

import random
from pathlib import Path

from keymaking import large_key

#: Short sound keys, so that many a spoiled one is sound still.
SMALL = """\
key "K" version 1
taxon A a
    duration 2 to 9 ms
    characteristic_frequency 20 to 30 kHz
taxon B b
    duration 5 to 14 ms
couplet 1
    1a {} => A a, at most probable
    1b {} => 2
    1c otherwise => B b
couplet 2
    2a {} => B b
    2b otherwise => unidentified "neither"
"""
_SMALL_PARTS = (
    ("duration < 5 ms ± 1 ms", "snr >= 20 dB", "abs(tail) < 1 kHz"),
    ("not duration from 2 to 9 ms", "knee_time is missing", "mean_slope * duration < -5 kHz ± 1 kHz"),
    ("start_frequency - end_frequency > 3 kHz", "flat_share > 50 % or duration > 9 ms", "strongest_harmonic = 2"),
)
FOLDER = Path(__file__).parent
_WORDS = [
    "key",
    "region",
    "based",
    "on",
    "standard",
    "errors",
    "source",
    "taxon",
    "group",
    "without",
    "let",
    "gate",
    "couplet",
    "passes",
    "refine",
    "example",
    "and",
    "or",
    "not",
    "otherwise",
    "from",
    "to",
    "is",
    "missing",
    "measured",
    "at",
    "most",
    "least",
    "pulses",
    "when",
    "definite",
    "unidentified",
    "a",
    "bat",
    "stays",
    "among",
    "gated",
    "similar",
    "status",
    "duration",
    "snr",
    "kHz",
    "ms",
    "kHz/ms",
    "dB",
    "%",
    "s",
    "±",
    "+/-",
    "=>",
    "=",
    "<",
    "<=",
    "(",
    ")",
    "[",
    "]",
    '"',
    "#",
    ",",
    "|",
    "-",
    "+",
    "*",
    "/",
    "1a",
    "2b",
    "a",
    "1",
    "24",
    "0.5",
    "abs",
    "median",
    "share",
    "\n",
    "\n\n",
    "\t",
    "\r\n",
    "é",
    "“",
    "”",
    "\x00",
    "\u2028",
    "\u2060",
    "𝔎",
    "💥",
    "Examplia",
    "vespera",
]


_CHOICES = [
    ("duration", "ms"),
    ("snr", "dB"),
    ("level", "dB"),
    ("flat_share", "%"),
    ("coherence", "%"),
    ("second_harmonic", "dB"),
    ("third_harmonic", "dB"),
    ("onset", "s"),
    ("tail", "kHz"),
    ("interval", "ms"),
    ("start_frequency", "kHz"),
]


_SHARP = [("duration", "ms"), ("snr", "dB"), ("level", "dB"), *((name, "kHz") for name in ("tail", "start_frequency", "bandwidth"))]
_RIDGE = [f"{name}_frequency" for name in ("start", "end", "knee", "min", "max", "characteristic", "peak", "centre")]


def _declared(taxa, metric, unit):
    return "".join(f"taxon B b{place}\n{metric} {20 + place} to {40 + place} {unit}\n" for place in range(taxa))


def _chain(size, rows):
    """A chain of couplets each of which is unsure of a call without a signal-to-noise ratio."""
    return rows(
        lambda place: f"couplet {place + 1}\n{place + 1}a snr < 1 dB ± 1 dB => A a\n{place + 1}b otherwise => {place + 2}\n",
        'key "K" version 1\ntaxon A a\n',
        lambda place: f"couplet {place + 1}\n{place + 1}a otherwise => A a\n",
        size,
    )


def corpus():
    """Sound texts to spoil."""
    texts = [(FOLDER / "wetlands.key").read_text(encoding="utf-8")]
    texts += [path.read_text(encoding="utf-8") for path in sorted((FOLDER.parents[1] / "keys").glob("*.key"))]
    pieces = [piece for text in texts for piece in text.split("\n\n") if len(piece) < 1500]
    small = [large_key(3, 3), large_key(1, 1), *(SMALL.format(*each) for each in _SMALL_PARTS)]
    return [*texts[:1], *small * (1 + len(pieces) // 8), *pieces]


def spoiled(source: random.Random, texts: list[str]) -> str:
    """One text after a few random changes."""
    text = source.choice(texts)
    for _ in range(source.choice([1, 1, 2, 4])):
        at = source.randrange(len(text) + 1)
        to = min(len(text), at + source.choice([0, 1, 3, 10, 80]))
        match source.randrange(6):
            case 0:
                text = text[:at] + text[to:]
            case 1:
                text = text[:at] + source.choice(_WORDS) + text[at:]
            case 2:
                text = text[:at] + source.choice(_WORDS) + text[to:]
            case 3:
                text = text[:at] + text[at:to] * source.randint(2, 5) + text[to:]
            case 4:
                other = source.choice(texts)
                start = source.randrange(len(other) + 1)
                text = text[:at] + other[start : start + source.choice([5, 60, 400])] + text[at:]
            case 5:
                text = text[:at] + "".join(chr(source.randrange(1, 0x2FF)) for _ in range(8)) + text[to:]
    return text


def scrambled(source: random.Random) -> str:
    """Words and signs of the language in any order, with line ends now and then; or any characters at all."""
    if source.random() < 0.2:
        return "".join(
            chr(source.choice([source.randrange(1, 0x80), source.randrange(1, 0xD800)])) for _ in range(source.randrange(60))
        )
    ends = " ", " ", " ", "", "\n", "\n    "
    return "".join(source.choice(_WORDS) + source.choice(ends) for _ in range(source.randrange(1, 80)))


def slow_shapes(size: int = 100_000) -> dict[str, str]:
    """Texts of about ``size`` characters, each made to hit a weak place."""

    def rows(make, head="", end=lambda place: "", size=size):
        parts, length, place = [head], len(head), 0
        while length < size:
            parts.append(make(place))
            length += len(parts[-1])
            place += 1
        return "".join([*parts, end(place)])

    head = 'key "K" version 1\ntaxon A a\n'
    frame = head + "couplet 1\n1a last => A a\n1b otherwise => A a\n"
    return {
        "one long word": "x" * size,
        "brackets": "let x = " + "(" * size,
        "signs": "let x = " + "-" * size,
        "quotes": '"' * size,
        "unclosed quotes": rows(lambda place: 'source A "x\n'),
        "square brackets": "[" * size,
        "comments": rows(lambda place: "#\n"),
        "blank lines": "\n" * size,
        "strays": rows(lambda place: "x\n"),
        "near headings": rows(lambda place: "cuplet\n"),
        "near names": rows(lambda place: f"gate\nduraton{place} < 5 ms\n", head),
        "near taxa": rows(lambda place: f"taxon Genus species{place}x\nsimilar Genus spocies{place}\n", head),
        "commas": rows(lambda place: "a,\n", "group "),
        "a long group": rows(lambda place: f"A b{place},\n", 'group "g" ') + "A a\n",
        "gate lines": rows(lambda place: "snr >= 12 dB\n", head + "gate\n"),
        "faulty gate lines": rows(lambda place: "snr >= 12\n", head + "gate\n"),
        "couplets": rows(lambda place: f"couplet {place + 1}\n{place + 1}a snr < 1 dB => {place + 2}\n", head),
        "couplets in circles": rows(lambda place: f"couplet {place + 1}\n{place + 1}a snr < 1 dB => 1\n", head),
        "goto nowhere": rows(lambda place: f"couplet {place + 1}\n{place + 1}a snr < 1 dB => 99999\n", head),
        "many couplets": rows(lambda place: f"couplet {place + 1}\n{place + 1}a otherwise => A a\n", head),
        "chained lets": rows(lambda place: f"let x{place} = x{place + 1}\n", frame),
        "chained sums": rows(lambda place: f"let x{place} = x{place + 1} + x{place + 2}\n", frame) + "let last = x0 > 1 ms\n",
        "growing sums": rows(lambda place: f"let x{place + 1} = x{place} + x{place} * x{place}\n", frame + "let x0 = duration\n"),
        "growing conditions": rows(lambda place: f"let x{place + 1} = x{place} and snr > 1 dB\n", frame + "let x0 = snr > 1 dB\n"),
        "wide conditions": rows(lambda place: "gate\n" + " and ".join(["snr > 1 dB"] * 60) + "\n", head),
        "sums of all": rows(lambda place: f"let y{place} = " + " + ".join(["duration * duration"] * 20) + "\n", frame),
        "long labels": rows(lambda place: f"{place}a x => A a\n", head + "couplet 1\n"),
        "examples": rows(lambda place: f'example "{place}" snr 5 dB => A a\n', frame.replace("last", "snr < 1 dB")),
        "citations": rows(lambda place: "[A 1; B 2; C]", head + "gate\nsnr > 1 dB "),
        "ranges": rows(lambda place: "snr 1 to 2 dB\n", head),
        "half comparisons": rows(lambda place: "1a x < 1 < 2 < 3 < 4 y => 2\n", head + "couplet 1\n"),
        "taxa with ranges": rows(
            lambda place: (
                f"taxon B b{place}\nduration {place % 90} to {place % 90 + 3} ms\nsnr {place % 50} to {place % 50 + 9} dB\n"
            ),
            head + "couplet 1\n1a duration < 30 ms => A a\n1b snr < 20 dB => B b0\n1c otherwise => B b1\n"
            "passes\ndefinite when support > 50 %\n",
        ),
        "tangled choices": rows(
            lambda place: (
                f"let x{place} = "
                + " or ".join(
                    f"{name} {'<>'[(place * 7 + at * 5) % 2]} {4 + (place * (at + 3)) % 6} {unit}"
                    for at, (name, unit) in enumerate((_CHOICES[place % 11 :] + _CHOICES)[:9:3])
                )
                + "\n"
            ),
            head
            + "".join(
                f"couplet {number}\n{number}a "
                + " and ".join(f"x{(number * 31 + at * 17) % 900}" for at in range(60))
                + f" => A a\n{number}b otherwise => {number + 1}\n"
                for number in range(1, 60)
            )
            + "couplet 60\n60a otherwise => A a\n",
        ),
        "examples through a chain": _chain(size // 2, rows)
        + rows(lambda place: f'example "{place}" snr 5 dB => A a\n', size=size // 2),
        "unsure examples through a chain": _chain(size // 2, rows)
        + rows(lambda place: f'example "{place}" tail 5 kHz => A a\n', size=size // 2),
        "zones in a ladder": rows(
            lambda place: (
                f"couplet {place + 1}\n{place + 1}a {_SHARP[place % 6][0]} < {place % 50 + 5} {_SHARP[place % 6][1]} ± "
                f"{place % 3 + 1} {_SHARP[place % 6][1]} => {place + 2}\n{place + 1}b otherwise => {place + 3}\n"
            ),
            head + _declared(20, "duration", "ms"),
            lambda place: (
                f"couplet {place + 1}\n{place + 1}a otherwise => A a\ncouplet {place + 2}\n{place + 2}a otherwise => "
                "B b1\npasses\ndefinite when clear >= 3\n"
            ),
        ),
        "wide couplets with zones": rows(
            lambda place: (
                f"couplet {place + 1}\n"
                + "".join(
                    f"{place + 1}{chr(97 + at)} duration from {at + place % 30} to {at + place % 30 + 3} ms ± 1 ms => "
                    f"{place + 2 if at % 5 == 0 else f'B b{at}'}\n"
                    for at in range(26)
                )
            ),
            head + _declared(26, "duration", "ms"),
            lambda place: f"couplet {place + 1}\n{place + 1}a otherwise => A a\npasses\ndefinite when clear >= 3\n",
        ),
        "sums in couplets": rows(
            lambda place: (
                f"couplet {place + 1}\n{place + 1}a "
                + " and ".join(
                    f"{_RIDGE[(place + at) % 8]} + {at % 7 + 2} * {_RIDGE[(place + at * 3 + 1) % 8]} < {150 - at + place % 60} kHz"
                    for at in range(5)
                )
                + f" => B b{place % 20}\n{place + 1}b otherwise => {place + 2}\n"
            ),
            head + _declared(20, "start_frequency", "kHz"),
            lambda place: f"couplet {place + 1}\n{place + 1}a otherwise => A a\npasses\ndefinite when clear >= 3\n",
        ),
        "products in couplets": rows(
            lambda place: (
                f"couplet {place + 1}\n{place + 1}a {_CHOICES[place % 11][0]} * duration * snr / {_CHOICES[place % 7][0]} > "
                f"{_CHOICES[place % 11][0]} * snr * duration / {_CHOICES[place % 7][0]} * 2 => B b{place % 20}\n"
                f"{place + 1}b otherwise => {place + 2}\n"
            ),
            head + _declared(20, "start_frequency", "kHz"),
            lambda place: f"couplet {place + 1}\n{place + 1}a otherwise => A a\npasses\ndefinite when clear >= 3\n",
        ),
        "missing or not": rows(
            lambda place: (
                f"couplet {place + 1}\n{place + 1}a ({_RIDGE[place % 8]} - {_RIDGE[(place * 3 + 1) % 8]} > {place % 40} kHz or "
                f"{_RIDGE[place % 8]} is missing) and {_RIDGE[(place + 2) % 8]} is measured => B b{place % 20}\n"
                f"{place + 1}b otherwise => {place + 2}\n"
            ),
            head + _declared(20, "start_frequency", "kHz"),
            lambda place: f"couplet {place + 1}\n{place + 1}a otherwise => A a\npasses\ndefinite when clear >= 3\n",
        ),
        "refines": rows(
            lambda place: (
                f"taxon C c{place}\nrefine A a | C c{place}\na median(duration) < {place % 40 + 2} ms and "
                f"share(snr > {place % 20} dB) > 5 % => A a\nb spread(start_frequency - end_frequency) > 1 kHz => C c{place}\n"
                "c otherwise => stays\n"
            ),
            head + "couplet 1\n1a otherwise => A a\n",
        ),
        "deep brackets": rows(
            lambda place: f"let x{place + 1} = {'(' * 29}x{place} and not snr > {place} dB{')' * 29}\n",
            head + "couplet 1\n1a x50 => A a\n1b otherwise => A a\nlet x0 = snr > 1 dB\n",
        ),
        "nested abs": rows(
            lambda place: "abs(1 ms - " * 14 + "duration" + ")" * 14 + f" > {place} ms\n",
            head + "couplet 1\n1a otherwise => A a\ngate\n",
        ),
        "huge numbers": rows(lambda place: f"let n{place + 1} = n{place} * {'9' * 29}\n", head + "let n0 = duration\n"),
        "short names": rows(lambda place: f'group "g{place}" ' + "A," * 3900 + "A\n", head),
        "short values": rows(lambda place: f'example "{place}" ' + "x 1," * 1900 + "x 1 => A a\n", head),
        "near lets": rows(lambda place: f"let somelongname{place}x = snr > {place} dB\ngate\nsomelongnome{place}\n", head),
        "accents in lines": rows(lambda place: f'source S{place} "a' + "\u0301" * 3900 + "\u0323" * 3900 + '"\n', head),
        "open brackets in lines": rows(lambda place: "snr > 1 dB " + "[" * 7900 + "\n", head + "gate\n"),
        "arrows in lines": rows(lambda place: "1a x" + "=>" * 3900 + "\n", head + "couplet 1\n"),
        "digits of other scripts": rows(lambda place: "snr > " + "\u0661" * 7900 + "\n", head + "gate\n"),
        "quotes and hashes": rows(lambda place: '"#"' * 2600 + "\n", head + "gate\n"),
        "turned text": rows(lambda place: f"let \u202eabc{place}\u2066 = 5 ms\n", head),
        "arrows": rows(lambda place: "=>", head + "couplet 1\n1a "),
        "nul": "\x00" * size,
        "accents": "let e" + "\u0301" * size + " = 5 ms",
    }
