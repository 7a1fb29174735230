"""Slips in a lead: its label, its arrow, where it goes, its cap."""

from classifier.key.slips.slip import LEAD_RULES, Slip

LEADS = (
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
        rules=LEAD_RULES,
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
        "K101",
        r"^(?:(?!=>).)*\b(?P<at>and|or)$",
        "this line ends with `{at}`, so the next one is not read as part of it",
        "put the word at the start of the next line: a line that starts with and, or, => or a sign goes on from the one before",
        rules=LEAD_RULES,
        snippets=(("couplet_line", "1a duration < 5 ms and"), ("refine_line", "a alternation > 3 kHz or")),
    ),
    Slip(
        "K107",
        r"^(?P<at>(?:(?!=>).)*)$",
        "this lead does not say where it goes",
        "end it with => and a couplet's number, a taxon, a group, unidentified or not a bat",
        rules=LEAD_RULES,
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
        rules=LEAD_RULES,
        snippets=(
            ("couplet_line", "1a duration < 5 ms => couplet 2"),
            ("couplet_line", "1a duration < 5 ms => go to 2"),
        ),
    ),
    Slip(
        "K101",
        r"=>(?:(?!=>)[^,\[])*?(?<!,)\s(?P<at>at\s+(?:most|least)\b)",
        "a comma is missing before `at most`",
        "write it as in => Examplia vespera, at most probable",
        snippets=(("couplet_line", '1a duration < 5 ms => unidentified "short" at most possible'),),
    ),
    Slip(
        "K101",
        r",\s*(?P<at>(?!at\s+most\s+(?:definite|probable|possible)\b)\w[^\[]*)$",
        "`{at}` cannot stand behind the comma of a lead",
        "what may follow is: at most definite, at most probable or at most possible",
        rules=LEAD_RULES,
        snippets=(
            ("couplet_line", "1a duration < 5 ms => Examplia vespera, probable"),
            ("couplet_line", "1a duration < 5 ms => Examplia vespera, at most likely"),
            ("couplet_line", "1a duration < 5 ms => Examplia vespera, Examplia matutina"),
        ),
    ),
)
