"""A slip of the pen: how it is known, and the words that help."""

from dataclasses import dataclass

LEAD_RULES = ("couplet_line", "refine_line")
EXPRESSIONS = (*LEAD_RULES, "gate_line", "let", "passes_line")


@dataclass(frozen=True)
class Slip:
    """``pattern`` is searched in the statement's text; its group ``at`` (or ``at2``) is the place to mark.

    ``rules`` are the grammar rules it applies to (all, if empty). ``message`` and ``help`` are shown with the marked text
    for ``{at}``. ``snippets`` are texts that must raise exactly this message: (rule, statement).
    """

    code: str
    pattern: str
    message: str
    help: str
    rules: tuple[str, ...] = ()
    snippets: tuple[tuple[str, str], ...] = ()
