"""``callkey audit``: how often, where and between whom the key gives an ambiguous result."""

from classifier.commands import options, show

EXAMPLE = "callkey audit survey"

#: Rows shown of each table; `--json` has them all.
MOST_ROWS = 12
#: Candidates named where a couplet leaves many open.
MOST_NAMES = 3


def audit(survey: options.Survey, name: options.Name = None, json: options.Json = False) -> None:
    """Audit a labelled survey: where the key could not decide, worst first.

    Shares are of keyed pulses, those that the gate let through, and of passes. A pulse is ambiguous if
    several candidates are left, a pass if its label is a group or no candidate leads.
    """
    from classifier.commands.chain import stored_labels
    from classifier.survey import open_survey

    opened = open_survey(survey)
    stored = stored_labels(opened, name)
    found, key = audit_of(stored, opened)
    if json:
        show.as_json(
            {
                "survey": str(survey),
                "labels": stored.name,
                **{field: getattr(found, field) for field in found.__dataclass_fields__},
            }
        )
        return
    show_audit(found, key)


def audit_of(stored, survey):
    """The audit of stored labels, and the key they were made with."""
    from classifier.commands.chain import compiled_of
    from classifier.judge import audit as audit_tables

    compiled = compiled_of(stored, survey)
    # What a lead ends in, for the leads that go to no other couplet.
    ends = {route.label: compiled.ends[route.end].label for route in compiled.routes if route.end is not None}
    return audit_tables(stored.passes, stored.pulses, groups=list(compiled.key.groups), ends=ends), compiled.key


def show_audit(found, key, *, most: int = MOST_ROWS) -> None:
    """The audit as tables on stdout, at most so many couplets and pairs."""
    from classifier.judge.audit import PASS_KINDS, PULSE_KINDS

    out = show.console()
    for title, table, meaning in (
        ("Passes", found.passes, PASS_KINDS),
        ("Pulses", found.pulses, PULSE_KINDS),
    ):
        show.heading(f"{title}: {table['count'].sum():,}".replace(",", " "), to=out)
        show.table(
            ["", "count>", "share>", "meaning~"],
            [(kind, count, show.percent(share, 1), meaning[kind]) for kind, count, share in table.iter_rows() if count],
            to=out,
        )
    if found.couplets.height:
        show.heading("Where pulses become ambiguous", to=out)
        questions = {str(number): couplet.question for number, couplet in key.couplets.items()}
        show.table(
            ["couplet>", "pulses>", "of keyed>", "passes>", "most often between~", "question~"],
            [
                (
                    couplet,
                    pulses,
                    show.percent(share, 1),
                    passes,
                    _few(between),
                    questions.get(couplet) or "",
                )
                for couplet, pulses, share, passes, between in found.couplets.head(most).iter_rows()
            ],
            to=out,
        )
        _more(found.couplets, most, out)
    if found.pairs.height:
        show.heading("Between whom", to=out)
        show.table(
            ["first", "second", "pulses>", "of keyed>", "passes>", "parted at couplet~"],
            [
                (first, second, pulses, show.percent(share, 1), passes, couplets)
                for first, second, pulses, share, passes, couplets in found.pairs.head(most).iter_rows()
            ],
            to=out,
        )
        _more(found.pairs, most, out)
    if found.gates.height:
        show.heading("Kept from the key", to=out)
        show.table(
            ["by", "pulses>", "of all>"],
            [(gate, pulses, show.percent(share, 1)) for gate, pulses, share in found.gates.iter_rows()],
            to=out,
        )


def _few(between):
    """The first candidates of a list, and how many more there are."""
    names = between.split("; ")
    more = f" | and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES + 1 else ""
    return " | ".join(names[:MOST_NAMES] if more else names) + more


def _more(table, most, out):
    if table.height > most:
        show.paragraph(f"  and {table.height - most} more; --json has them all", to=out, style="dim")
