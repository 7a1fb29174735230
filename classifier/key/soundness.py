"""Whether a key hangs together: names, numbers, labels and gotos of its statements, all findings in one run.

Works on the merged statements of a key and its bases; every finding points at the file where the text stands.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from classifier.key import forms as f
from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.declarations import Declarations
from classifier.key.messages import Diagnostic, finding
from classifier.key.vocabulary import PULSE, RESERVED


@dataclass(frozen=True)
class Checked:
    """What the check leaves behind for the compiler: the meaning of each condition, by the id of its expression."""

    diagnostics: tuple[Diagnostic, ...]
    meanings: dict[int, f.Condition]


def check_twice(statements: Iterable[s.Statement]) -> list[Diagnostic]:
    """Statements of one file that define a thing a second time; in a variant the base's are not counted."""
    first, found = {}, []
    for statement in statements:
        kind, name = identity = s.identity_of(statement)
        if identity not in first:
            first[identity] = statement
            continue
        related = (("first defined here", first[identity].span),)
        if name is None:
            found.append(
                finding(
                    "K309",
                    f"`{kind}` stands a second time",
                    statement.span,
                    "a key has one; merge the two",
                    related,
                )
            )
        elif kind != "based on":
            shown = f"couplet {name}" if kind == "couplet" else f"{kind} `{_shown(statement)}`"
            found.append(
                finding(
                    "K207",
                    f"{shown} stands a second time",
                    statement.span,
                    "rename one of them, or take it out",
                    related,
                )
            )
    based = [statement for statement in statements if isinstance(statement, s.BasedOn)]
    found.extend(
        finding("K309", "`based on` stands a second time", each.span, "a key is based on one other key") for each in based[1:]
    )
    return found


def _shown(statement):
    if isinstance(statement, s.Refine):
        return " | ".join(each.name for each in statement.candidates)
    return getattr(statement, "name", "") or str(getattr(statement, "identity", ""))


def check_names(
    key: s.Key,
    quote: Callable[[s.Span | None], str],
    broken: frozenset = frozenset(),
    dropped: dict | None = None,
) -> Checked:
    """Every finding about the names of a key.

    Parameters
    ----------
    key : the merged key
    quote : the text of a span
    broken : what has a slip in it (``Parsed.broken``), so that its absence is not reported as well
    dropped : taxa taken out by ``without``, name to the statement
    """
    check = _Check(key, quote, broken, dropped or {})
    check.all()
    return Checked(tuple(check.found), check.conditions)


class _Check(Declarations):
    def all(self):
        self.whole()
        for statement in self.key.statements:
            match statement:
                case s.Region(extent) if extent:
                    self.extent(extent)
                case s.StandardErrors(count):
                    if not 0 <= count <= 10:
                        self.say(
                            "K223",
                            f"{count} standard errors; 0 to 10 are allowed",
                            statement.span,
                            "2 is usual",
                        )
                case s.Taxon():
                    self.taxon(statement)
                case s.Group():
                    self.citations(statement.citations)
                    self.taxa(statement.members)
                case s.Let():
                    self.let(statement)
                case s.Gate():
                    self.empty(statement, statement.lines, "a gate", "add a condition, as in snr >= 12 dB")
                    for line in statement.lines:
                        self.condition(line.condition, PULSE)
                        self.citations(line.citations)
                case s.Couplet():
                    self.couplet(statement)
                case s.Passes():
                    self.passes(statement)
                case s.Refine():
                    self.refine(statement)
                case s.Example():
                    self.example(statement)
        self.routes()
        self.unused()

    # ------------------------------------------------------------------------------------------------ the key whole

    def whole(self):
        key = self.key
        broken = {kind for kind, _ in self.broken}
        start = key.statements[0].span if key.statements else None
        if key.heading is None and "key" not in broken:
            self.say(
                "K301",
                "the key does not say its name and version",
                start,
                'start with a line such as key "Lower Tamble wetlands" version 1',
            )
        if not key.couplets and "couplet" not in broken:
            self.say(
                "K308",
                "the key has no couplet",
                start,
                "add one: a line `couplet 1` and its leads below, as in 1a duration < 5 ms => 2",
            )
        for what, things, most in (
            ("couplets", key.couplets, limits.COUPLETS),
            ("taxa", key.taxa, limits.TAXA),
        ):
            if len(things) > most:
                self.say("K322", f"{len(things):,} {what}; a key may have {most:,}", start)

    # ----------------------------------------------------------------------------------------------------- couplets

    def unused(self):
        if self.broken:
            return
        for name, let in self.key.lets.items():
            if name not in self.meanings.used and name not in RESERVED:
                self.say("K224", f"nothing uses `{name}`", let.span, "use it, or take it out")
        # A lead that misspells a taxon names it all the same.
        misspelt = {each.help for each in self.found if each.code == "K202"}
        for name, taxon in self.key.taxa.items():
            if name not in self.named and f"did you mean `{name}`?" not in misspelt:
                self.say(
                    "K225",
                    f"no lead ends in `{name}`",
                    taxon.span,
                    "lead to it, or to a group with it, or take it out",
                )
