"""How much a key may hold. A key from a stranger must not be able to fill a machine or keep it busy.

Every number is chosen: far above what a person writes by hand, low enough that everything stays fast.
"""

#: Characters in one key file (about ten thousand lines).
FILE_CHARACTERS = 1_000_000
#: Characters in one statement, its continued lines included.
STATEMENT_CHARACTERS = 8_000
#: Brackets and signs (+ - * / not) in one statement: the depth of its tree cannot be more.
STATEMENT_NESTING = 60
#: Lines of one block.
BLOCK_LINES = 200
#: Keys on which a key may be based, one upon the other.
BASES = 8
COUPLETS = 2_000
TAXA = 2_000
STATEMENTS = 20_000
#: Comparisons and sums of one condition or let once the lets in it are written out.
COMPARISONS = 200
#: Slips of form in one file after which reading stops; a file with more is no key.
FINDINGS = 100
#: Findings of all kinds that are shown.
ALL_FINDINGS = 300
#: Leads and comparisons that all examples together may try.
EXAMPLE_STEPS = 60_000
#: Combining characters (accents typed as characters of their own) in a row.
MARKS = 30
#: Digits of a number.
DIGITS = 30
#: Binary digits of an exact number that lets compute.
NUMBER_BITS = 256
#: Depth of an expression once the lets in it are written out.
MEANING_DEPTH = 100
