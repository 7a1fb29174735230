"""Slips in the form of statements: what follows their first word."""

from classifier.key.slips.slip import Slip

STATEMENTS = (
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
)
