"""What the proofs could not decide, gathered so that it is said once and in one place."""

from classifier.key import limits
from classifier.key.check.axes import Axes
from classifier.key.check.kinds import OPAQUE
from classifier.key.check.words import axis_name, listed
from classifier.key.messages import Diagnostic, finding


class Undecided:
    """Questions left open. A note (K490) is made of each place, and one (K491) if effort ran out."""

    def __init__(self):
        self._questions = []  # (span, question)
        self.unfinished = False
        self.cut_short = set()

    def add(self, span, question: str) -> None:
        """Leave a question open, put as in ``whether couplet 3 leaves calls without a lead``."""
        self._questions.append((span, question))

    def too_many(self, found: list[Diagnostic]) -> bool:
        """Whether there are more findings of one kind than are worth listing; then that is said as well."""
        if len(found) < limits.FINDINGS:
            return False
        self.cut_short.add(found[0].code)
        return True

    def findings(self, axes: Axes, whole_span) -> list[Diagnostic]:
        found = [_not_linear(axis) for axis in axes.all if axis.kind == OPAQUE and axis.comparisons]
        for span, question in self._questions:
            found.append(
                finding(
                    "K490",
                    f"it is not decided {question}",
                    span,
                    "the proofs cover sums, differences, ratios of sums, abs( ) and fixed factors; products of metrics, and what "
                    "mean_slope says about the ends of a call, are only tried on single calls",
                )
            )
        found.extend(
            finding(
                "K491",
                f"more than {limits.FINDINGS} findings like {code}; the rest is not listed",
                whole_span,
                "mend these first, then check again",
            )
            for code in sorted(self.cut_short)
        )
        if self.unfinished:
            found.append(
                finding(
                    "K491",
                    "the key is too tangled to be proven: the effort allowed ran out, and what is not reported was not looked at",
                    whole_span,
                    "divide conditions with many `or` into couplets of their own",
                )
            )
        return found


def _not_linear(axis):
    comparison = axis.comparisons[0]
    metrics = listed([f"`{name}`" for name in axis.names])
    return finding(
        "K490",
        f"`{axis_name(axis)}` joins {metrics} in a way that proofs cannot follow: they take every outcome of this "
        "comparison as possible",
        comparison.span,
        "faults that hang on it may go unreported; a fixed factor, a sum or a ratio can be followed",
    )
