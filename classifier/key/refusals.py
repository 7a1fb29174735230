"""What to say of a statement that the grammar refuses: a known slip, or what was met and what could have stood there."""

import re

from lark import UnexpectedInput

from classifier.key.slips import SLIPS

#: Quoted texts and citations. A bracket that is never closed is taken to the end, so that its end is not looked for again at
#: each bracket after it.
TEXTS = re.compile(r'"[^"]*"|\[[^\]]*(?:\]|$)')
#: What each terminal is called in a message.
TERMINALS = {
    "STRING": 'a text in "quotation marks"',
    "NAME": "a name",
    "WORD": "a scientific name",
    "NUMBER": "a number",
    "INTEGER": "a whole number",
    "VERSION": "a version number",
    "UNIT": "a unit",
    "OPERATOR": "a comparison (< <= > >=)",
    "LABEL": "a label such as 1a",
    "LETTER": "a letter such as a",
    "CITATION": "a citation in [brackets]",
    "TIER": "definite, probable or possible",
    "PRESENCE": "missing or measured",
    "PLUS": "+",
    "MINUS": "-",
    "TIMES": "* or /",
    "_PLUS_MINUS": "±",
    "_PULSES": "pulses",
    "LPAR": "(",
    "RPAR": ")",
    "COMMA": "a comma",
    "EQUAL": "=",
    "VBAR": "|",
    "_END": "the end of the line",
    "$END": "the end of the statement",
    "A": "a",
    "__ANON_0": "=>",
}
FORMS = {
    "key": 'key "Name of the key" version 1',
    "region": "region south -34.2 north -33.0 west 150.1 east 151.4",
    "based": 'based on "other.key"',
    "standard": "standard errors 2",
    "source": 'source H12 "Author, A. (2012). Title. Table 4."',
    "taxon": 'taxon Examplia vespera "dusk bat"',
    "group": 'group "long-eared bats" Auritia minor, Auritia major',
    "without": "without Saltator ripae",
    "let": "let low_split = 16 kHz ± 0.5 kHz",
    "gate": "gate",
    "couplet": 'couplet 1 "how low is the flat part?"',
    "passes": "passes",
    "refine": "refine Examplia vespera | Examplia matutina",
    "example": 'example "mean call" duration 11 ms => Examplia vespera',
    "taxon_line": "characteristic_frequency 24 to 30 kHz",
    "gate_line": "snr >= 12 dB",
    "couplet_line": "1a duration >= 10 ms ± 1 ms => Examplia vespera",
    "passes_line": "definite when support >= 90 % and clear >= 5",
    "refine_line": "a alternation >= 3 kHz ± 1 kHz => Examplia vespera",
    "similar": "similar Examplia matutina",
    "status": 'status "vulnerable (state list)"',
    "tells": 'tells "flat pulses that step between two frequencies"',
    "note": 'note "rarely recorded"',
    "occurs": "occurs south -34.2 north -33.0 west 150.1 east 151.4",
    "gap": "gap 1 s",
    "at": "at least 3 pulses",
    "definite": "definite when support >= 90 % and clear >= 5",
    "probable": "probable when support >= 70 % and clear >= 3",
    "possible": "possible otherwise",
}


def explain_slip(error: UnexpectedInput, text: str, rule: str) -> tuple[str, int, int, str, str]:
    """(code, start, end, message, help) for a statement that the grammar refused.

    ``rule`` is the kind of statement: a heading's word (``couplet``) or the rule of a block's line (``gate_line``).
    """
    bare = _without_texts(text)
    for slip in SLIPS:
        if slip.rules and rule not in slip.rules and not (rule == "taxon_line" and "range" in slip.rules):
            continue
        match = re.search(slip.pattern, text if slip.code in ("K104", "K111") else bare)
        if match:
            where = "at" if match.group("at") is not None else "at2"
            marked = text[match.start(where) : match.end(where)].strip()
            return (
                slip.code,
                match.start(where),
                match.start(where) + max(1, len(marked)),
                _filled(slip.message, marked),
                slip.help,
            )
    return _by_expectation(error, text, rule)


def _filled(message, marked):
    return message.replace("{at}", marked if len(marked) <= 60 else marked[:57] + "…")


def _without_texts(text):
    """The statement with the inside of texts and citations blanked, so that no pattern looks into them."""
    return TEXTS.sub(_blanked, text)


def _blanked(found):
    whole = found[0]
    closed = whole[0] == '"' or whole[-1] == "]"
    return whole[0] + "_" * (len(whole) - 2) + whole[-1] if closed else whole


def _by_expectation(error, text, rule):
    """What the grammar met and what it could have taken, for slips that no pattern knows."""
    token = getattr(error, "token", None)
    start = error.pos_in_stream if error.pos_in_stream is not None else 0
    if token is not None and token.type == "$END":
        start, end, met = len(text), len(text) + 1, "the statement ends too early"
    else:
        word = re.match(r"\w+|\S", text[start:]) if start < len(text) else None
        end = start + (len(word.group()) if word else 1)
        met = f"`{text[start:end]}` cannot stand here"
    wanted = sorted({_terminal(name) for name in (getattr(error, "accepts", None) or getattr(error, "allowed", None) or ())})
    message = met
    if 0 < len(wanted) <= 7:
        message += f"; expected {_either(wanted)}"
    first = re.match(r"\w+", text)
    form = FORMS.get(first.group() if first and first.group() in FORMS else rule)
    return "K101", start, end, message, f"the form is: {form}" if form else ""


def _terminal(name):
    return TERMINALS.get(name, name.lower())


def _either(words):
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]
