"""The page of each rule: docs/rules/CODE.md, the one home of its text, shown by the docs and by ``--explain`` alike."""

import sys
from pathlib import Path

from classifier.errors import InputError

#: Beside the source, or where an installed wheel puts its data.
_PLACES = (
    Path(__file__).parents[3] / "docs" / "rules",
    Path(sys.prefix) / "share" / "callkey" / "rules",
)


def page_of(code: str) -> str:
    """The text of a rule's page (Markdown).

    Raises
    ------
    InputError : the page is not there, since the docs were left out of the installation
    """
    for folder in _PLACES:
        path = folder / f"{code}.md"
        if path.is_file():
            return path.read_text(encoding="utf-8")
    raise InputError(f"the page of rule {code} is not installed; it stands in docs/rules/{code}.md of the source")
