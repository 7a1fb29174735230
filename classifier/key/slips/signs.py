"""Slips in signs, in any statement: quotation marks, numbers, and operators of other notations."""

from classifier.key.slips.slip import EXPRESSIONS, Slip

SIGNS = (
    Slip(
        "K104",
        r'^(?:[^"]|"[^"]*")*(?P<at>"[^"]*$)',
        "a quotation mark is opened here and not closed",
        'close it with " on the same line',
        snippets=(
            ("source", 'source H12 "Author (2012)'),
            ("couplet", 'couplet 1 "how low?'),
            ("couplet_line", '1a duration < 5 ms => unidentified "too short'),
        ),
    ),
    Slip(
        "K111",
        r"(?P<at>[“”„‟«»])",
        "a typographic quotation mark `{at}` stands where a straight one is needed",
        'use the straight mark " on both sides of a text',
        snippets=(("source", "source H12 “Author (2012)”"), ("couplet", "couplet 1 „how low?“")),
    ),
    Slip(
        "K105",
        r"(?P<at>\[[^\]]*$)",
        "a citation is opened here and not closed",
        "close it with ]",
        snippets=(("taxon_line", "duration 6 to 14 ms [H12 p. 34"), ("gate_line", "snr >= 12 dB [H12")),
    ),
    Slip(
        "K109",
        r"(?P<at>\b\d+,\d+\b)",
        "the number `{at}` is written with a comma",
        "write the decimals behind a point",
        snippets=(
            ("gate_line", "snr >= 12,5 dB"),
            ("taxon_line", "duration 6,5 to 14 ms"),
            ("let", "let low_split = 16,5 kHz"),
        ),
    ),
    Slip(
        "K110",
        r"(?P<at>==+|=<|=>(?=\s*-?\d+(?:\.\d+)?\s*[a-zA-Z%]+\s*=>)|<>|!=|&&?|\|\||:=|≠)",
        "`{at}` is not a sign of the key language",
        "comparisons are < <= > >= (and = for whole numbers); conditions are joined with the words and, or, not",
        rules=EXPRESSIONS,
        snippets=(
            ("couplet_line", "1a strongest_harmonic == 2 => 2"),
            ("gate_line", "snr >= 12 dB && duration > 2 ms"),
            ("couplet_line", "1a duration != 5 ms => 2"),
            ("let", "let low_split := 16 kHz"),
            ("couplet_line", "1a duration =< 5 ms => 2"),
            ("couplet_line", "1a duration => 5 ms => 2"),
        ),
    ),
    Slip(
        "K110",
        r"(?P<at>->|→|⇒|==>|-->)",
        "`{at}` stands where the arrow of a lead belongs",
        "write =>",
        snippets=(
            ("couplet_line", "1a duration < 5 ms -> 2"),
            ("couplet_line", "1a duration < 5 ms → Examplia vespera"),
        ),
    ),
    Slip(
        "K110",
        r"\b(?P<at>AND|OR|NOT|OTHERWISE|And|Or|Not|Otherwise)\b",
        "`{at}` is written with capitals",
        "words of the language are written small: and, or, not, otherwise",
        rules=EXPRESSIONS,
        snippets=(("gate_line", "snr >= 12 dB AND duration > 2 ms"),),
    ),
    Slip(
        "K110",
        r"^(?P<at>if|when)\b|^(?:\d*[a-z])\s+(?P<at2>if|when)\b",
        "a condition needs no word before it",
        "leave the word out: the condition comes first",
        rules=EXPRESSIONS,
        snippets=(("couplet_line", "1a if duration < 5 ms => 2"), ("gate_line", "when snr >= 12 dB")),
    ),
    Slip(
        "K110",
        r"(?P<at>[{};])",
        "`{at}` has no meaning in a key",
        "one statement a line, without braces or semicolons",
        snippets=(("gate_line", "snr >= 12 dB;"), ("couplet", "couplet 1 {")),
    ),
)

#: Looked for last: they may stand in a statement whose real slip is another.
SMALL_SIGNS = (
    Slip(
        "K101",
        r"(?<!\d)(?P<at>\d+(?:\.\d+)?[eE][+-]?\d+)",
        "the number `{at}` is written with an exponent",
        "write it out in plain digits",
        snippets=(("gate_line", "snr >= 1e1 dB"),),
    ),
    Slip(
        "K101",
        r"(?<!\d)(?P<at>\.\d+)",
        "the number `{at}` starts with its point",
        "put a 0 before the point",
        snippets=(("gate_line", "duration >= .5 ms"),),
    ),
    Slip(
        "K101",
        r"(?P<at>:)",
        "`:` has no meaning in a key",
        "leave it out",
        snippets=(("gate", "gate:"), ("passes_line", "gap: 1 s")),
    ),
)
