"""Slips in conditions, ranges and zones."""

from classifier.key.slips.slip import EXPRESSIONS, Slip

CONDITIONS = (
    Slip(
        "K106",
        r"(?:<=?|>=?|≤|≥)(?:(?!\band\b|\bor\b|\bnot\b|=>)[^<>≤≥()])*(?P<at><=?|>=?|≤|≥)(?!\s*=>)",
        "two comparisons stand in a row",
        "join them with `and`, or write `duration from 2 to 5 ms`",
        rules=EXPRESSIONS,
        snippets=(("couplet_line", "1a 2 ms < duration < 5 ms => 2"), ("gate_line", "10 dB <= snr <= 40 dB")),
    ),
    Slip(
        "K112",
        r"\b(?P<at>kHz\s+/\s*ms|kHz\s*/\s+ms|kHz\s+per\s+ms)\b",
        "the unit `{at}` is written in pieces",
        "write kHz/ms",
        snippets=(("taxon_line", "mean_slope -2 to 0 kHz / ms"),),
    ),
    Slip(
        "K101",
        r"(?P<at>\d\s*[-–—]\s*\d+(?:\.\d+)?)",
        "`{at}` is not the form of a range",
        "write both ends with the word to, as in 24 to 30 kHz",
        rules=("taxon_line", *EXPRESSIONS),
        snippets=(("taxon_line", "duration 6-14 ms"), ("taxon_line", "duration 6 – 14 ms")),
    ),
    Slip(
        "K101",
        r"^(?:\w+)\s+(?P<at>from|between|=|:|is|<|>|<=|>=)\s",
        "a declared range has no `{at}`",
        "write the metric and its range, as in characteristic_frequency 24 to 30 kHz",
        rules=("range",),
        snippets=(
            ("taxon_line", "duration from 6 to 14 ms"),
            ("taxon_line", "duration = 6 to 14 ms"),
            ("taxon_line", "duration < 14 ms"),
        ),
    ),
    Slip(
        "K101",
        r"(?P<at>\bbetween\b)",
        "`between` is not a word of the key language",
        "write from and to, as in duration from 6 to 14 ms",
        rules=EXPRESSIONS,
        snippets=(("couplet_line", "1a duration between 6 and 14 ms => 2"),),
    ),
    Slip(
        "K101",
        r"(?P<at>±|\+/-)\s*(?:=>|$|and\b|or\b)",
        "the overlap zone's width is missing",
        "write it with its unit, as in 24 kHz ± 1 kHz",
        snippets=(("couplet_line", "1a duration < 5 ms ± => 2"), ("let", "let low_split = 16 kHz ±")),
    ),
    Slip(
        "K105",
        r"^(?P<at>[^()]*\((?:[^()]|\([^()]*\))*)$",
        "a bracket is opened and not closed",
        "close it with )",
        rules=EXPRESSIONS,
        snippets=(
            ("couplet_line", "1a (duration < 5 ms and snr > 3 dB => 2"),
            ("gate_line", "abs(mean_slope < 3 kHz/ms"),
        ),
    ),
    Slip(
        "K105",
        r"^(?:[^()]|\([^()]*\))*(?P<at>\))",
        "a bracket is closed that was not opened",
        "take it out, or open one",
        rules=EXPRESSIONS,
        snippets=(("couplet_line", "1a duration < 5 ms) => 2"),),
    ),
    Slip(
        "K101",
        r"(?P<at>\b(?:and|or|not)\s*(?:=>|$))",
        "a condition is missing behind `and`, `or` or `not`",
        "say what must hold, or take the word out",
        rules=EXPRESSIONS,
        snippets=(("couplet_line", "1a duration < 5 ms and => 2"), ("gate_line", "snr >= 12 dB or")),
    ),
    Slip(
        "K101",
        r"(?P<at>(?:<=?|>=?|≤|≥)\s*(?:=>|$|and\b|or\b))",
        "the boundary is missing behind the comparison",
        "write a number with its unit, as in duration < 5 ms",
        rules=EXPRESSIONS,
        snippets=(("couplet_line", "1a duration < => 2"), ("gate_line", "snr >=")),
    ),
)
