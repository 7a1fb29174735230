"""What a single name or function in a condition means, on the level where it stands."""

from classifier.key import forms as f
from classifier.key.quantities import Condition, Quantities, Quantity
from classifier.key.units import meant, unit
from classifier.key.vocabulary import FUNCTIONS, NAMES, PASS, PULSE, SUMMARIES, TIER

_LEVEL_WORDS = {PULSE: "single pulses", PASS: "the whole pass", TIER: "the votes of a pass"}


class Atoms(Quantities):
    """Meanings of names and functions. ``Meanings`` builds on it and supplies the lets and the level."""

    def _name(self, expression):
        name, level = expression.name, self._levels[-1]
        if name in NAMES[level]:
            quality = NAMES[level][name]
            if quality.condition:
                return Condition(f.Fact(name, expression.span), 1, level)
            return self._measured(quality, level)
        if name in self._lets:
            self.used.add(name)
            result = self.let(name)
            if result is not None and result.level not in (None, level):
                self._say(
                    "K220",
                    f"`{name}` speaks of {_LEVEL_WORDS[result.level]}; this condition is about {_LEVEL_WORDS[level]}",
                    expression.span,
                    self._level_help(name, result, level),
                )
                return None
            return result
        if name in self._broken:
            return None
        self._unknown(name, level, expression.span)
        return None

    def _level_help(self, name, result, level):
        if result.level == PULSE and level == PASS:
            return f"say share({name})" if isinstance(result, Condition) else f"say median({name}), mean or spread"
        return "statistics of the pass belong into refine, votes into passes"

    def _unknown(self, name, level, span):
        for other, names in NAMES.items():
            if other != level and name in names:
                help = {
                    (
                        PASS,
                        PULSE,
                    ): f"say which value of the pass is meant: median({name}), mean({name}) or spread({name})"
                }.get(
                    (level, other),
                    {
                        PULSE: "metrics belong into couplets and the gate",
                        PASS: "statistics of the pass belong into refine",
                        TIER: "votes belong into the passes block",
                    }[other],
                )
                self._say(
                    "K220",
                    f"`{name}` speaks of {_LEVEL_WORDS[other]}; this condition is about {_LEVEL_WORDS[level]}",
                    span,
                    help,
                )
                return
        if name.lower() in ("else", "default", "elsewhere", "otherwise"):
            self._say(
                "K110",
                f"`{name}` is not a word of the key language",
                span,
                "the lead for all other calls is written with the word otherwise",
            )
            return
        if unit(name) is not None or meant(name) is not None:
            self._say(
                "K112",
                f"the unit `{name}` stands by itself",
                span,
                "write a unit behind its number and in one piece, as in 0.3 kHz/ms",
            )
            return
        help = self.suggest(name, [*NAMES[level], *self._lets])
        self._say(
            "K201",
            f"`{name}` is neither " + ("a metric" if level == PULSE else "a name known here") + " nor defined by let",
            span,
            help or "`callkey metrics` lists the metrics",
        )

    def _call(self, expression):
        name = expression.function
        if name == "abs":
            inner = self._quantity(expression.argument)
            if inner is None:
                return None
            if not self._bounded(inner.size + 1, expression):
                return None
            if inner.form.is_constant:
                return Quantity(f.Linear(constant=abs(inner.form.constant)), inner.unit, inner.bare, size=0)
            factor = inner.unit.factor
            form = f.Linear(((f.Absolute(inner.form.times(1 / factor)), factor),))
            return Quantity(form, inner.unit, size=inner.size + 1, level=inner.level, percent=inner.percent)
        if name not in SUMMARIES:
            self._say(
                "K221",
                f"`{name}` is not a function of the key language",
                expression.span,
                self.suggest(name, FUNCTIONS) or "functions are " + ", ".join(FUNCTIONS),
            )
            return None
        if self._levels[-1] != PASS:
            self._say(
                "K220",
                f"`{name}` gathers the pulses of a pass; this condition is about {_LEVEL_WORDS[self._levels[-1]]}",
                expression.span,
                "such conditions belong into refine",
            )
            return None
        return self._gathered(expression, SUMMARIES[name])

    def _gathered(self, expression, summary):
        self._levels.append(PULSE)
        inner = (self._condition if summary.of == "condition" else self._quantity)(expression.argument)
        self._levels.pop()
        if inner is None:
            return None
        if inner.level is None:
            self._say(
                "K219",
                f"`{self._quote(expression.span)}` gathers nothing measured",
                expression.span,
                "name a metric in it",
            )
            return None
        own = inner.unit if summary.unit is None else unit(summary.unit)
        of = inner.form.times(1 / own.factor) if summary.of == "quantity" else inner.form
        form = f.Linear(((f.Gathered(summary.name, of), own.factor),))
        return Quantity(form, own, size=inner.size + 1, level=PASS, percent=own.text == "%", whole=summary.unit == "")
