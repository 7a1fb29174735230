"""Every kind of finding about a key: its code, its name and how grave it is.

A code is never given to another finding, also not after its rule is gone. The name tells the pattern that was found, not
the cure. docs/rules/ has a page for each.

    K1..  the form of a statement        K2..  names, units and numbers      K3..  bases, limits, whole blocks
    K4..  what the checker proves        K5..  worked examples
"""

from dataclasses import dataclass

ERROR, WARNING, NOTE = "error", "warning", "note"


@dataclass(frozen=True)
class Rule:
    """One kind of finding; ``summary`` is one sentence for tables and ``--explain``."""

    code: str
    name: str
    severity: str
    summary: str


def _table(severity, *rows):
    return {code: Rule(code, name, severity, summary) for code, name, summary in rows}


RULES = {
    **_table(
        ERROR,
        ("K101", "statement-malformed", "A statement does not have the form of its kind."),
        ("K102", "statement-unknown", "A line starts with a word that starts no statement."),
        ("K103", "line-outside-block", "A line belongs into a block but stands outside one."),
        ("K104", "quote-unclosed", "A text opens with a quotation mark that is not closed on the same line."),
        ("K105", "bracket-unclosed", "A bracket is opened and not closed, or closed and not opened."),
        ("K106", "comparison-chained", "Two comparisons in a row without a word between them."),
        ("K107", "target-missing", "A lead does not say where it goes."),
        ("K108", "label-malformed", "A lead does not start with its label."),
        ("K109", "decimal-comma", "A number is written with a comma."),
        (
            "K110",
            "operator-foreign",
            "A sign from another notation stands in place of one of the key's words or signs.",
        ),
        ("K111", "character-unknown", "A character that has no meaning in a key."),
        ("K112", "unit-spaced", "A unit is written in pieces."),
        ("K201", "name-unknown", "A name is neither a metric nor defined by let."),
        ("K202", "taxon-undeclared", "A taxon is named that no taxon block declares."),
        ("K203", "unit-missing", "A number stands without the unit that its place needs."),
        ("K204", "unit-wrong", "Quantities of different units are compared or added."),
        ("K205", "unit-unknown", "A unit that the key language does not have."),
        ("K206", "kind-wrong", "A condition stands where a quantity is needed, or the other way round."),
        ("K207", "name-twice", "Two statements define the same thing."),
        ("K208", "name-reserved", "A let takes a name that is already a metric or a word of the language."),
        ("K209", "let-circular", "Lets are defined by each other in a circle."),
        ("K210", "couplet-missing", "A lead goes to a couplet that does not exist."),
        ("K211", "couplet-circular", "Couplets lead back to themselves."),
        (
            "K213",
            "label-wrong",
            "A lead's label has another number than its couplet, or its letter is out of turn.",
        ),
        ("K214", "lead-after-otherwise", "A lead stands after one that takes everything."),
        ("K215", "group-undeclared", "A group is named that no group statement declares."),
        ("K216", "source-undeclared", "A citation names a source that no source statement declares."),
        (
            "K217",
            "zone-misplaced",
            "An overlap zone stands where it has no meaning, or is not a plain amount.",
        ),
        ("K218", "equality-of-measurement", "A measured quantity is compared with =."),
        ("K219", "comparison-without-metric", "A comparison in which nothing measured occurs."),
        (
            "K220",
            "level-mixed",
            "A statistic of the pass stands in a condition on pulses, or the other way round.",
        ),
        ("K221", "function-unknown", "A function that the key language does not have."),
        ("K222", "range-reversed", "The lower end of a range lies above its upper end."),
        ("K223", "number-out-of-bounds", "A number outside what its place allows."),
        ("K301", "heading-missing", "A key does not start by saying its name and version."),
        ("K302", "block-empty", "A block has no lines."),
        ("K303", "base-missing", "The key's base cannot be found or read."),
        ("K304", "base-circular", "Keys are based on each other in a circle."),
        ("K305", "base-elsewhere", "A base lies outside the places where bases may stand."),
        ("K306", "without-unknown", "A statement takes out what the base does not have."),
        ("K307", "tiers-disordered", "The tiers do not run from definite to possible."),
        ("K308", "couplets-missing", "A key has no couplet."),
        ("K309", "statement-twice", "A statement that may stand once stands more often."),
        ("K310", "file-unreadable", "The file is not text in UTF-8."),
        ("K320", "limit-size", "A file or a statement is longer than a key may be."),
        ("K321", "limit-depth", "A statement is nested too deeply or made of too many pieces."),
        ("K322", "limit-count", "A key has more of something than a key may have."),
        ("K401", "lead-unreachable", "No call can come to a lead."),
        ("K403", "couplet-gap", "A couplet leaves some calls without a lead."),
        ("K405", "boundary-impossible", "A boundary lies where no call can be on both sides of it."),
        ("K410", "definite-unsafe", "Calls inside one taxon's declared ranges can be labelled definite as another."),
        ("K411", "definite-unguarded", "A pass can be definite without one clear pulse."),
        ("K412", "gate-shut", "No call can pass the gate."),
        ("K413", "ranges-impossible", "No call can lie in all declared ranges of a taxon."),
        ("K501", "example-failed", "A worked example does not get the label it must get."),
    ),
    **_table(
        WARNING,
        ("K212", "couplet-orphaned", "No lead goes to a couplet."),
        ("K224", "unused-let", "A let that nothing uses."),
        ("K225", "taxon-unnamed", "A declared taxon that no lead names."),
        ("K226", "reason-missing", "A lead ends unidentified without saying why."),
        ("K402", "lead-never-clear", "No call takes a lead without another candidate beside it."),
        ("K404", "leads-overlap", "Two leads are both a plain yes to some calls, and only their order parts them."),
        ("K406", "past-nyquist", "A boundary or range lies past the Nyquist frequency of the recordings."),
        ("K407", "zone-too-narrow", "An overlap zone is narrower than its metric can be measured."),
        ("K408", "taxon-out-of-region", "A declared taxon does not occur in the key's region."),
        ("K409", "tier-never-given", "No pass can ever be given a tier."),
    ),
    **_table(
        NOTE,
        ("K490", "not-decided", "A question that the proofs cannot answer."),
        ("K491", "proof-unfinished", "A key too tangled to be proven within the effort allowed."),
    ),
}
