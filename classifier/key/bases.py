"""Keys that are based on other keys: finding the base, and merging the two.

A statement of the variant takes the place of the base's statement on the same thing (``syntax.identity_of``); what
the base does not have is added behind. ``without`` takes things out. The result is one list of statements; each keeps the
span of the file where it stands.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import classifier
from classifier.key import limits
from classifier.key import syntax as s
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
            return Refusal(
                "K305", f"the base `{name}` is a link to another place", "copy the base beside this key"
            )
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
        statements, more = _merge(statements, parsed, dropped, quiet=bool(found))
        found.extend(more)
    return Merged(tuple(statements), tuple(parts), tuple(found), dropped)


def _identity(file):
    try:
        return str(Path(file).resolve())
    except (OSError, RuntimeError, ValueError):
        return file


def _merge(base, parsed, dropped, *, quiet):
    """The base's statements with a variant's in their places; ``dropped`` gathers the taxa taken out."""
    found = []
    own = {}
    withouts = []
    for statement in parsed.statements:
        if isinstance(statement, s.Without):
            withouts.append(statement)
        elif not isinstance(statement, s.BasedOn):
            own.setdefault(s.identity_of(statement), statement)
    for without in withouts:
        base, more = _take_out(base, without, dropped, quiet)
        found.extend(more)
    for kind, name in own:
        if kind == "taxon":
            dropped.pop(name, None)
    merged = []
    for statement in base:
        merged.append(own.pop(s.identity_of(statement), statement))
    merged.extend(own.values())
    return merged, found


def _thing(without):
    """The identity of what a ``without`` takes out."""
    if without.kind == "refine":
        return "refine", frozenset((type(each).__name__, each.name) for each in without.identity)
    return without.kind, without.identity


def _take_out(statements, without, dropped, quiet):
    thing = _thing(without)
    left = [statement for statement in statements if s.identity_of(statement) != thing]
    found = []
    if len(left) == len(statements) and not quiet:
        kind, name = thing
        shown = name if kind in ("taxon", "couplet", "group", "example") else "such block"
        known = [s.identity_of(each)[1] for each in statements if s.identity_of(each)[0] == kind]
        help = did_you_mean(str(name), [str(each) for each in known]) if kind != "refine" else ""
        found.append(
            finding(
                "K306",
                f"the base has no {kind} `{shown}` to take out",
                without.span,
                help or "`without` takes things out of the key named by `based on`",
            )
        )
    if without.kind == "taxon":
        dropped[without.identity] = without
        left = [
            each for each in (_without_taxon(statement, without) for statement in left) if each is not None
        ]
    return left, found


def _without_taxon(statement, without):
    """A statement of the base after a taxon was taken out; None if nothing of it is left."""
    gone = without.identity
    match statement:
        case s.Group(_, members):
            members = tuple(each for each in members if each.name != gone)
            return replace(statement, members=members) if members else None
        case s.Taxon(_, _, entries):
            kept = (_similar_without(entry, gone) for entry in entries)
            return replace(statement, entries=tuple(entry for entry in kept if entry is not None))
        case s.Couplet(_, _, leads):
            return replace(statement, leads=_redirected(leads, without))
        case s.Refine(candidates, leads):
            kept = tuple(each for each in candidates if not _is_taxon(each, gone))
            if len(kept) == len(candidates):
                return replace(statement, leads=_redirected(leads, without))
            if not kept or (len(kept) == 1 and isinstance(kept[0], s.ToTaxon)):
                return None
            leads = tuple(lead for lead in leads if not _is_taxon(lead.target, gone))
            return replace(statement, candidates=kept, leads=leads) if leads else None
        case s.Example(_, _, outcome):
            return None if any(_is_taxon(each, gone) for each in outcome.labels) else statement
    return statement


def _is_taxon(target, name):
    return isinstance(target, s.ToTaxon) and target.name == name


def _similar_without(entry, gone):
    if not isinstance(entry, s.Similar):
        return entry
    taxa = tuple(each for each in entry.taxa if each.name != gone)
    return replace(entry, taxa=taxa) if taxa else None


def _redirected(leads, without):
    if without.instead is None:
        return leads
    return tuple(
        replace(lead, target=replace(without.instead, span=lead.target.span))
        if _is_taxon(lead.target, without.identity)
        else lead
        for lead in leads
    )
