"""Keys that are based on other keys: where bases may lie, and reading them one upon the other."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import classifier
from classifier.key import limits
from classifier.key import syntax as s
from classifier.key.merging import merge
from classifier.key.messages import Diagnostic, did_you_mean, finding
from classifier.key.parse import Parsed, parse

#: Where the keys lie that come with the package.
KEYS_FOLDER = Path(classifier.__file__).resolve().parents[1] / "keys"

#: Gives the text of a base: (name as written, file of the key that names it) -> (file, text); or a Refusal.
Resolver = Callable[[str, str], "tuple[str, str] | Refusal"]


@dataclass(frozen=True)
class Refusal:
    """Why a base cannot be had: a rule's code, what is wrong and the remedy."""

    code: str
    message: str
    help: str


@dataclass(frozen=True)
class Merged:
    """``statements`` of a key and all its bases as one; ``parts`` are the parsed files, the key's own first."""

    statements: tuple[s.Statement, ...]
    parts: tuple[tuple[str, str, Parsed], ...]
    diagnostics: tuple[Diagnostic, ...]
    dropped: dict[str, s.Without]


def read_text(path: Path) -> "str | Refusal":
    """The text of a key file, or why it cannot be read."""
    try:
        with open(path, "rb") as file:
            content = file.read(4 * limits.FILE_CHARACTERS + 1)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        return Refusal("K310", f"the file cannot be read: {reason}", "check the path and its permissions")
    if len(content) > 4 * limits.FILE_CHARACTERS:
        return Refusal(
            "K320",
            f"the file is larger than {4 * limits.FILE_CHARACTERS // 10**6} MB; no key is",
            "give a text file with a key",
        )
    return decoded(content)


def decoded(content: bytes) -> "str | Refusal":
    """The text that a file's bytes are, or why they are none."""
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return Refusal("K310", f"line {line} is not text in UTF-8", "save the file as UTF-8 in your editor")


def files_beside(name: str, file: str) -> "tuple[str, str] | Refusal":
    """The Resolver for keys on disk: a base stands beside the key that names it, or in the package's keys folder.

    Only a plain file name is taken: no folders, no links out of the two places. Nothing else is ever opened.
    """
    plain = name == Path(name).name and name not in ("", ".", "..") and not set(name) & set("/\\:\0")
    if not plain:
        return Refusal(
            "K305",
            f"the base `{name}` is not a plain file name",
            'put the base beside this key and name it alone, as in based on "tableland.key"',
        )
    folders = dict.fromkeys((Path(file).resolve().parent, KEYS_FOLDER))
    for folder in folders:
        path = folder / name
        try:
            real = path.resolve()
            if not real.is_file():
                continue
        except (OSError, RuntimeError, ValueError):
            continue
        if real.parent != folder:
            return Refusal("K305", f"the base `{name}` is a link to another place", "copy the base beside this key")
        text = read_text(real)
        if isinstance(text, Refusal):
            return Refusal("K303", f"the base `{name}` cannot be used: {text.message}", text.help)
        return str(path) if folder != Path(file).resolve().parent else str(Path(file).parent / name), text
    siblings = sorted({each.name for folder in folders if folder.is_dir() for each in folder.glob("*.key")})
    return Refusal(
        "K303",
        f"there is no base `{name}` beside this key or in {KEYS_FOLDER.name}/",
        did_you_mean(name, siblings[:200]) or "put the base beside this key",
    )


def no_files(name: str, file: str) -> Refusal:
    """The Resolver for keys that are only text."""
    return Refusal(
        "K303",
        f"the base `{name}` cannot be looked up for a key without a file",
        "read the key from its file",
    )


def merge_bases(text: str, file: str, resolver: Resolver) -> Merged:
    """Parse a key and, one upon the other, the keys it is based on."""
    parts, found = [], []
    seen = {}
    while True:
        parsed = parse(text, file)
        parts.append((file, text, parsed))
        seen[_identity(file)] = file
        base = next((each for each in parsed.statements if isinstance(each, s.BasedOn)), None)
        if base is None:
            break
        if len(parts) > limits.BASES:
            found.append(finding("K322", f"more than {limits.BASES} keys are based on each other", base.span))
            break
        reply = resolver(base.path, file)
        if isinstance(reply, Refusal):
            found.append(finding(reply.code, reply.message, base.span, reply.help))
            break
        if _identity(reply[0]) in seen:
            way = " → ".join(Path(each).name for each in [*seen.values(), reply[0]])
            found.append(
                finding(
                    "K304",
                    f"keys are based on each other in a circle: {way}",
                    base.span,
                    "one of them must stand by itself",
                )
            )
            break
        file, text = reply
    statements, dropped = [], {}
    # A base that could not be had may hold anything: then nothing is said about what is missing.
    for _, _, parsed in reversed(parts):
        statements, more = merge(statements, parsed.statements, dropped, quiet=bool(found))
        found.extend(more)
    return Merged(tuple(statements), tuple(parts), tuple(found), dropped)


def _identity(file):
    try:
        return str(Path(file).resolve())
    except (OSError, RuntimeError, ValueError):
        return file
