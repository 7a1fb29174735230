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
    ("duration", "ms"), ("snr", "dB"), ("level", "dB"), ("flat_share", "%"), ("coherence", "%"), ("second_harmonic", "dB"),
    ("third_harmonic", "dB"), ("onset", "s"), ("tail", "kHz"), ("interval", "ms"), ("start_frequency", "kHz"),
]


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
        return "".join(chr(source.choice([source.randrange(1, 0x80), source.randrange(1, 0xD800)])) for _ in range(source.randrange(60)))
    ends = " ", " ", " ", "", "\n", "\n    "
    return "".join(source.choice(_WORDS) + source.choice(ends) for _ in range(source.randrange(1, 80)))


def slow_shapes(size: int = 100_000) -> dict[str, str]:
    """Texts of about ``size`` characters, each made to hit a weak place."""

    def rows(make, head=""):
        text, place = head, 0
        parts, length = [head], len(head)
        while length < size:
            part = make(place)
            parts.append(part)
            length += len(part)
            place += 1
        text = "".join(parts)
        return text

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
            lambda place: f"taxon B b{place}\nduration {place % 90} to {place % 90 + 3} ms\nsnr {place % 50} to {place % 50 + 9} dB\n",
            head + "couplet 1\n1a duration < 30 ms => A a\n1b snr < 20 dB => B b0\n1c otherwise => B b1\n"
            "passes\ndefinite when support > 50 %\n",
        ),
        "tangled choices": rows(
            lambda place: f"let x{place} = " + " or ".join(
                f"{name} {'<>'[(place * 7 + at * 5) % 2]} {4 + (place * (at + 3)) % 6} {unit}"
                for at, (name, unit) in enumerate((_CHOICES[place % 11 :] + _CHOICES)[:9:3])
            ) + "\n",
            head + "".join(
                f"couplet {number}\n{number}a " + " and ".join(f"x{(number * 31 + at * 17) % 900}" for at in range(60))
                + f" => A a\n{number}b otherwise => {number + 1}\n" for number in range(1, 60)
            ) + "couplet 60\n60a otherwise => A a\n",
        ),
        "arrows": rows(lambda place: "=>", head + "couplet 1\n1a "),
        "nul": "\x00" * size,
        "accents": "let e" + "\u0301" * size + " = 5 ms",
    }
