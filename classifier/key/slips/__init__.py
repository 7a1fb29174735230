"""Slips of the pen: what people write by mistake, and the words that help them.

``SLIPS`` is a table of patterns tried in order on a statement that the grammar refuses; the first that fits words the
message. Each entry carries the malformed snippets that it is for, and the tests run exactly those.
"""

from classifier.key.slips.conditions import CONDITIONS
from classifier.key.slips.leads import LEADS
from classifier.key.slips.signs import SIGNS, SMALL_SIGNS
from classifier.key.slips.statements import STATEMENTS

SLIPS = (*SIGNS, *LEADS, *CONDITIONS, *STATEMENTS, *SMALL_SIGNS)
