"""Slips of the pen: what people write by mistake, and the words that help them.

``SLIPS`` is a table of patterns tried in order on a statement that the grammar refuses; the first that fits words the
message. Each entry carries the malformed snippets that it is for, and the tests run exactly those.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Slip:
    """``pattern`` is searched in the statement's text; its group ``at`` (or the whole match) is the place to mark.

    ``rules`` are the grammar rules it applies to (all, if empty). ``message`` and ``help`` may use the pattern's named
    groups. ``snippets`` are texts that must raise exactly this message: (rule, statement).
    """

    code: str
    pattern: str
    message: str
    help: str
    rules: tuple[str, ...] = ()
    snippets: tuple[tuple[str, str], ...] = ()


_LEAD_RULES = ("couplet_line", "refine_line")
_EXPRESSIONS = (*_LEAD_RULES, "gate_line", "let", "passes_line")

SLIPS = (
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
        rules=_EXPRESSIONS,
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
        rules=_EXPRESSIONS,
        snippets=(("gate_line", "snr >= 12 dB AND duration > 2 ms"),),
    ),
    Slip(
        "K110",
        r"^(?P<at>if|when)\b|^(?:\d*[a-z])\s+(?P<at2>if|when)\b",
        "a condition needs no word before it",
        "leave the word out: the condition comes first",
        rules=_EXPRESSIONS,
        snippets=(("couplet_line", "1a if duration < 5 ms => 2"), ("gate_line", "when snr >= 12 dB")),
    ),
    Slip(
        "K110",
        r"(?P<at>[{};])",
        "`{at}` has no meaning in a key",
        "one statement a line, without braces or semicolons",
        snippets=(("gate_line", "snr >= 12 dB;"), ("couplet", "couplet 1 {")),
    ),
    Slip(
        "K108",
        r"^(?P<at>\d+\s+[a-z](?!\w))",
        "a lead's label `{at}` is written in two pieces",
        "write number and letter together, as in 1a",
        rules=("couplet_line",),
        snippets=(("couplet_line", "1 a duration < 5 ms => 2"),),
    ),
    Slip(
        "K108",
        r"^(?P<at>\d*[A-Z]\b|\d+[a-z]?[.):]|[a-z][.):]|\d+\.\d+\b|\([a-z0-9]+\))",
        "`{at}` is not the form of a lead's label",
        "a label is the couplet's number and a small letter, as in 1a (in refine the letter alone), and nothing behind it",
        rules=_LEAD_RULES,
        snippets=(
            ("couplet_line", "1A duration < 5 ms => 2"),
            ("couplet_line", "1a. duration < 5 ms => 2"),
            ("couplet_line", "1.1 duration < 5 ms => 2"),
            ("refine_line", "A alternation > 3 kHz => stays"),
            ("refine_line", "a) alternation > 3 kHz => stays"),
            ("couplet_line", "(a) duration < 5 ms => 2"),
        ),
    ),
    Slip(
        "K108",
        r"^(?P<at>(?!\d+[a-z](?!\w))\S+)",
        "a lead in a couplet starts with its label, not with `{at}`",
        "start the line with the couplet's number and a letter, as in 1a",
        rules=("couplet_line",),
        snippets=(
            ("couplet_line", "duration < 5 ms => 2"),
            ("couplet_line", "a duration < 5 ms => 2"),
        ),
    ),
    Slip(
        "K108",
        r"^(?P<at>(?![a-z](?!\w))\S+)",
        "a lead in refine starts with a letter, not with `{at}`",
        "start the line with a letter, as in `a alternation >= 3 kHz => Examplia vespera`",
        rules=("refine_line",),
        snippets=(
            ("refine_line", "alternation > 3 kHz => stays"),
            ("refine_line", "1a alternation > 3 kHz => stays"),
        ),
    ),
    Slip(
        "K107",
        r"^(?P<at>(?:(?!=>).)*)$",
        "this lead does not say where it goes",
        "end it with => and a couplet's number, a taxon, a group, unidentified or not a bat",
        rules=_LEAD_RULES,
        snippets=(
            ("couplet_line", "1a duration < 5 ms"),
            ("couplet_line", "1b otherwise"),
            ("refine_line", "c otherwise"),
        ),
    ),
    Slip(
        "K107",
        r"(?P<at>=>)\s*(?:,.*|\[.*)?$",
        "nothing stands behind the arrow",
        "say where the lead goes: a couplet's number, a taxon, a group, unidentified or not a bat",
        snippets=(
            ("couplet_line", "1a duration < 5 ms =>"),
            ("couplet_line", "1a duration < 5 ms => , at most probable"),
            ("example", 'example "mean" duration 5 ms =>'),
        ),
    ),
    Slip(
        "K107",
        r"=>\s*(?P<at>(?:couplet|go|to|goto|see)\b[^,\[]*)",
        "a couplet is named by its number alone",
        "write => and the number",
        rules=_LEAD_RULES,
        snippets=(
            ("couplet_line", "1a duration < 5 ms => couplet 2"),
            ("couplet_line", "1a duration < 5 ms => go to 2"),
        ),
    ),
    Slip(
        "K101",
        r"=>[^,\[]*?(?<!,)\s(?P<at>at\s+(?:most|least)\b)",
        "a comma is missing before `at most`",
        "write it as in => Examplia vespera, at most probable",
        snippets=(("couplet_line", '1a duration < 5 ms => unidentified "short" at most possible'),),
    ),
    Slip(
        "K101",
        r",\s*(?P<at>(?!at\s+most\s+(?:definite|probable|possible)\b)\w[^\[]*)$",
        "`{at}` cannot stand behind the comma of a lead",
        "what may follow is: at most definite, at most probable or at most possible",
        rules=_LEAD_RULES,
        snippets=(
            ("couplet_line", "1a duration < 5 ms => Examplia vespera, probable"),
            ("couplet_line", "1a duration < 5 ms => Examplia vespera, at most likely"),
            ("couplet_line", "1a duration < 5 ms => Examplia vespera, Examplia matutina"),
        ),
    ),
    Slip(
        "K106",
        r"(?:<=?|>=?|≤|≥)(?:(?!\band\b|\bor\b|\bnot\b|=>)[^<>≤≥()])*(?P<at><=?|>=?|≤|≥)(?!\s*=>)",
        "two comparisons stand in a row",
        "join them with `and`, or write `duration from 2 to 5 ms`",
        rules=_EXPRESSIONS,
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
        rules=("taxon_line", *_EXPRESSIONS),
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
        rules=_EXPRESSIONS,
        snippets=(("couplet_line", "1a duration between 6 and 14 ms => 2"),),
    ),
    Slip(
        "K101",
        r"^(?P<at>couplet)\s*(?![\s\d])|^couplet\s+(?P<at2>[^\d\s]\S*)",
        "a couplet is named by a whole number",
        'write it as in couplet 1 "how low is the flat part?"',
        rules=("couplet",),
        snippets=(("couplet", "couplet"), ("couplet", "couplet one"), ("couplet", 'couplet "how low?"')),
    ),
    Slip(
        "K101",
        r"^couplet\s+\d+\s*(?P<at>[.:].*)$",
        "`{at}` cannot stand behind the number of a couplet",
        'a question may follow, as in couplet 1 "how low is the flat part?"',
        rules=("couplet",),
        snippets=(("couplet", "couplet 1:"), ("couplet", "couplet 1.2")),
    ),
    Slip(
        "K101",
        r'^key\s+(?P<at>"[^"]*")\s*$',
        "the key does not say its version",
        "add it, as in version 1",
        rules=("key",),
        snippets=(("key", 'key "Lower Tamble wetlands"'),),
    ),
    Slip(
        "K101",
        r'^(?:key|source\s+\S+|group|example)\s+(?P<at>[^"\s][^"]*)$',
        "a text in quotation marks is missing",
        "put the text between straight quotation marks",
        rules=("key", "source", "group", "example"),
        snippets=(
            ("key", "key Lower Tamble version 1"),
            ("group", "group Auritia minor"),
            ("source", "source H12 Author (2012)"),
        ),
    ),
    Slip(
        "K101",
        r"^let\s+\w+\s+(?P<at>[^=\s]+)",
        "a let needs the sign = behind its name",
        "write it as in let low_split = 16 kHz ± 0.5 kHz",
        rules=("let",),
        snippets=(("let", "let low_split 16 kHz"), ("let", "let low_split is 16 kHz")),
    ),
    Slip(
        "K101",
        r"^let\s+(?P<at>\w+(?:[ -]\w+)+)\s*=",
        "the name `{at}` is not one word",
        "join its words with underscores",
        rules=("let",),
        snippets=(("let", "let low-split = 16 kHz"),),
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
        rules=_EXPRESSIONS,
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
        rules=_EXPRESSIONS,
        snippets=(("couplet_line", "1a duration < 5 ms) => 2"),),
    ),
    Slip(
        "K101",
        r"(?P<at>\b(?:and|or|not)\s*(?:=>|$))",
        "a condition is missing behind `and`, `or` or `not`",
        "say what must hold, or take the word out",
        rules=_EXPRESSIONS,
        snippets=(("couplet_line", "1a duration < 5 ms and => 2"), ("gate_line", "snr >= 12 dB or")),
    ),
    Slip(
        "K101",
        r"(?P<at>(?:<=?|>=?|≤|≥)\s*(?:=>|$|and\b|or\b))",
        "the boundary is missing behind the comparison",
        "write a number with its unit, as in duration < 5 ms",
        rules=_EXPRESSIONS,
        snippets=(("couplet_line", "1a duration < => 2"), ("gate_line", "snr >=")),
    ),
    Slip(
        "K101",
        r"^(?P<at>(?:definite|probable|possible))\s+(?!when\b|otherwise\b)",
        "`{at}` needs `when` and a condition, or `otherwise`",
        "write it as in definite when support >= 90 % and clear >= 5",
        rules=("passes_line",),
        snippets=(
            ("passes_line", "definite support >= 90 %"),
            ("passes_line", "probable if support >= 70 %"),
        ),
    ),
    Slip(
        "K101",
        r"^at\s+least\s+(?P<at>.*)$",
        "`{at}` is not a number of pulses",
        "write it as in at least 3 pulses",
        rules=("passes_line",),
        snippets=(("passes_line", "at least three pulses"), ("passes_line", "at least 3")),
    ),
    Slip(
        "K101",
        r"(?P<at>\d+(?:\.\d+)?[eE][+-]?\d+)",
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
