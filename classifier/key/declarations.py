"""Taxa, lets, passes, refine blocks and examples: whether each is sound in itself."""

from classifier.key import syntax as s
from classifier.key.leads import Leads
from classifier.key.units import unit
from classifier.key.vocabulary import PASS, RESERVED, TIER
from classifier.metrics import METRICS


class Declarations(Leads):
    """Findings about everything that is declared beside couplets."""

    def taxon(self, taxon):
        self.citations(taxon.citations)
        ranges = {}
        for entry in taxon.entries:
            self.citations(entry.citations)
            match entry:
                case s.Range():
                    self.range(entry)
                    if entry.metric in ranges:
                        self.say(
                            "K207",
                            f"`{entry.metric}` has a second range",
                            entry.span,
                            "keep one of them",
                            (("first here", ranges[entry.metric].span),),
                        )
                    ranges.setdefault(entry.metric, entry)
                case s.Similar():
                    self.taxa(entry.taxa)
                    if any(each.name == taxon.name for each in entry.taxa):
                        self.say(
                            "K202",
                            f"`{taxon.name}` is called similar to itself",
                            entry.span,
                            "name other taxa",
                        )
                case s.Occurs():
                    self.extent(entry.extent)

    def range(self, entry):
        metric = self.metric_known(entry.metric, entry.span)
        if metric is None:
            return
        wanted = unit(metric.unit)
        high = self.meanings.amount(entry.high, wanted, f"`{metric.name}`")
        low_written = entry.low
        if low_written.unit is None and entry.high.unit is not None:
            low_written = s.Quantity(low_written.value, entry.high.unit, span=low_written.span)
        low = self.meanings.amount(low_written, wanted, f"`{metric.name}`") if high is not None else None
        if low is not None and low > high:
            self.say(
                "K222",
                f"the lower end of `{self.quote(entry.span)}` lies above its upper end",
                entry.span,
                "write the lower end first" + ("; -8 is lower than -3" if high < 0 else ""),
            )

    def let(self, let):
        self.citations(let.citations)
        if let.name in RESERVED:
            what = "a metric" if let.name in METRICS else "a word of the language"
            self.say("K208", f"`{let.name}` is already {what}", let.span, "give the let another name")
            return
        self.meanings.let(let.name)

    def passes(self, passes):
        self.empty(passes, passes.entries, "passes", "add its rules, as in gap 1 s")
        seen = {}
        for entry in passes.entries:
            self.citations(entry.citations)
            kind = entry.tier if isinstance(entry, s.Tier) else type(entry).__name__
            if kind in seen:
                self.say(
                    "K309",
                    f"`{self.quote(entry.span)}`: a second line of this kind",
                    entry.span,
                    "keep one of them",
                    (("first here", seen[kind].span),),
                )
            seen.setdefault(kind, entry)
            match entry:
                case s.Gap(time):
                    length = self.meanings.amount(time, unit("s"), "the gap")
                    if length is not None and not 0 < length <= 3_600_000:
                        self.say("K223", "a gap lies between 0 s and an hour", time.span, "1 s is usual")
                case s.AtLeast(pulses):
                    if not 1 <= pulses <= 10_000:
                        self.say("K223", f"at least {pulses} pulses; 1 to 10,000 are allowed", entry.span)
                case s.Tier(_, condition) if condition is not None:
                    self.condition(condition, TIER)
        tiers = [tier.tier for tier in passes.tiers]
        if tiers != sorted(tiers, key=s.TIERS.index):
            self.say(
                "K307",
                "the tiers run " + ", ".join(tiers),
                passes.tiers[0].span,
                "write them from definite to possible: the first that holds is given",
            )
        for tier, following in zip(passes.tiers, passes.tiers[1:], strict=False):
            if tier.condition is None:
                self.say(
                    "K214",
                    f"`{following.tier}` is never given: `{tier.tier} otherwise` takes everything",
                    following.span,
                    "write `otherwise` last",
                )

    def refine(self, refine):
        self.citations(refine.citations)
        names = set()
        for candidate in refine.candidates:
            if (type(candidate), candidate.name) in names:
                self.say("K207", f"`{candidate.name}` is named twice", candidate.span, "take one out")
            names.add((type(candidate), candidate.name))
            self.taxon_known(candidate) if isinstance(candidate, s.ToTaxon) else self.group_known(candidate)
        if len(refine.candidates) == 1 and isinstance(refine.candidates[0], s.ToTaxon):
            self.say(
                "K223",
                "refine decides between taxa, and one alone is named",
                refine.candidates[0].span,
                "write it as in refine Examplia vespera | Examplia matutina",
            )
        self.empty(refine, refine.leads, "refine", "add its leads, as in a alternation >= 3 kHz => Examplia vespera")
        self.leads(refine.leads, None, PASS)

    def example(self, example):
        self.citations(example.citations)
        seen = set()
        for value in example.values:
            if value.metric in seen:
                self.say("K207", f"`{value.metric}` is given twice", value.span, "keep one of them")
                continue
            seen.add(value.metric)
            metric = self.metric_known(value.metric, value.span)
            if metric is None:
                continue
            for quantity in (value.value, value.error):
                if quantity is not None:
                    self.meanings.amount(quantity, unit(metric.unit), f"`{metric.name}`")
            if value.error is not None and value.error.value < 0:
                self.say("K223", "a standard error is not negative", value.error.span)
        for label in example.outcome.labels:
            match label:
                case s.ToTaxon():
                    self.taxon_known(label)
                case s.ToGroup():
                    self.group_known(label)
                case s.ToCouplet():
                    self.say(
                        "K101",
                        "an example ends in a label, not in a couplet",
                        label.span,
                        "write the taxon or group, unidentified, not a bat, or gated",
                    )
