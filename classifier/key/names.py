"""What a key declares, and the findings about names that are not among it."""

from classifier.key import syntax as s
from classifier.key.meaning import Meanings
from classifier.key.messages import finding
from classifier.key.vocabulary import SOURCELESS
from classifier.metrics import METRICS


class Names:
    """Looks names up in a key; ``found`` gathers the findings, ``conditions`` the meanings by id of the expression."""

    def __init__(self, key, quote, broken, dropped):
        self.key = key
        self.quote = quote
        self.broken = broken
        self.dropped = dropped
        self.found = []
        self.conditions = {}
        broken_lets = frozenset(name for kind, name in broken if kind == "let" and name)
        self.meanings = Meanings(key.lets, self.found.append, quote, broken_lets)
        self.suggest = self.meanings.suggest
        self.led_to = set()  # couplets
        self.named = set()  # taxa and groups that a lead ends in
        self._common = None  # scientific names by common ones, made when first asked for

    def say(self, code, message, span, help="", related=()):
        self.found.append(finding(code, message, span, help, related))

    def extent(self, extent):
        for name, degrees, most in (
            ("south", extent.south, 90),
            ("north", extent.north, 90),
            ("west", extent.west, 180),
            ("east", extent.east, 180),
        ):
            if abs(degrees) > most:
                self.say("K223", f"{name} {degrees}: degrees run from -{most} to {most}", extent.span)
        if extent.south > extent.north:
            self.say(
                "K222",
                f"south {extent.south} lies north of north {extent.north}",
                extent.span,
                "swap the two",
            )

    def citations(self, citations):
        for citation in citations:
            known = citation.source in self.key.sources or citation.source in SOURCELESS
            if not known and ("source", citation.source) not in self.broken:
                self.say(
                    "K216",
                    f"`{citation.source}` is not declared as a source",
                    citation.span,
                    self.suggest(citation.source, self.key.sources)
                    or f'add a line: source {citation.source} "Author, A. (2012). Title."',
                )

    def empty(self, statement, lines, what, help):
        kind, name = s.identity_of(statement)
        if not lines and (kind, name) not in self.broken:
            self.say("K302", f"{what} without lines", statement.span, help)

    def taxon_known(self, taxon):
        name = taxon.name
        if name in self.key.taxa or ("taxon", name) in self.broken:
            return
        if name in self.dropped:
            self.say(
                "K202",
                f"`{name}` is taken out of this key by `without`",
                taxon.span,
                f'replace this statement, or say where its leads go: without {name} => unidentified "not in this region"',
                (("taken out here", self.dropped[name].span),),
            )
            return
        if " at " in name:
            self.say(
                "K101",
                "a comma is missing before `at most`",
                taxon.span,
                "write it as in => Examplia vespera, at most probable",
            )
            return
        if name in self.key.groups:
            self.say(
                "K202",
                f"`{name}` is a group, not a taxon",
                taxon.span,
                f'write a group\'s name in quotation marks: "{name}"',
            )
            return
        if self._common is None:
            self._common = {each: taxon.name for taxon in self.key.taxa.values() for each in taxon.common_names}
        help = (
            f"write its scientific name: {self._common[name]}"
            if name in self._common
            else (self.suggest(name, self.key.taxa) or f"add a block: taxon {name}")
        )
        self.say("K202", f"no taxon block declares `{name}`", taxon.span, help)

    def taxa(self, taxa):
        seen = set()
        for taxon in taxa:
            if taxon.name in seen:
                self.say("K207", f"`{taxon.name}` is named twice", taxon.span, "take one out")
                continue
            seen.add(taxon.name)
            self.taxon_known(taxon)

    def metric_known(self, name, span):
        if name in METRICS:
            return METRICS[name]
        self.say(
            "K201",
            f"`{name}` is not a metric",
            span,
            self.suggest(name, METRICS) or "`callkey metrics` lists the metrics",
        )
        return None

    def condition(self, expression, level):
        meaning = self.meanings.condition(expression, level)
        if meaning is not None:
            self.conditions[id(expression)] = meaning
        return meaning

    def group_known(self, target):
        name = target.name
        if name in self.key.groups or ("group", name) in self.broken:
            return
        if name in self.key.taxa:
            help = f"write a taxon's name without quotation marks: {name}"
        else:
            help = self.suggest(name, self.key.groups) or f'add a line: group "{name}" and its taxa'
        self.say("K215", f"no group statement declares `{name}`", target.span, help)
