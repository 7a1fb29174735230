"""What can be proven about a key: faults that no test on examples would be sure to find.

``check`` gives every finding; ``docs/rules/`` has a page for each kind. The proofs are exact for conditions made of
comparisons of metrics, sums and ratios of metrics and abs( ) with numbers, joined by and, or and not, with overlap
zones; where something else stands they say so.
"""

from classifier.key.check.run import check, check_reading

__all__ = ["check", "check_reading"]
