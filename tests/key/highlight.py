"""A line tokeniser that follows a TextMate grammar of plain ``match`` patterns, for tests.

The rule of such grammars: from each position the pattern whose match starts first is taken, of several that start there the
first in the list.
"""

import re


class Highlighter:
    def __init__(self, grammar):
        self.rules = [(re.compile(rule["match"]), rule["name"]) for rule in grammar["patterns"]]

    def line(self, text):
        """(start, end, scope) of each token; what no pattern takes has none."""
        tokens, position = [], 0
        while position < len(text):
            found = [
                (match.start(), place, match)
                for place, (rule, _) in enumerate(self.rules)
                if (match := rule.search(text, position)) and match.end() > match.start()
            ]
            if not found:
                break
            _, place, match = min(found, key=lambda each: each[:2])
            tokens.append((match.start(), match.end(), self.rules[place][1]))
            position = match.end()
        return tokens

    def text(self, text):
        """The same for a whole text, counted from its start."""
        tokens, start = [], 0
        for row in text.split("\n"):
            tokens += [(start + low, start + high, scope) for low, high, scope in self.line(row)]
            start += len(row) + 1
        return tokens

    def scopes(self, text):
        """The scope of every character ('' where there is none)."""
        result = [""] * len(text)
        for low, high, scope in self.text(text):
            result[low:high] = [scope.removesuffix(".callkey")] * (high - low)
        return result
