"""Which files are recordings: those given by name, and the WAV and FLAC files in given folders."""

import os
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import InputError

ENDINGS = (".wav", ".flac")


@dataclass(frozen=True)
class Found:
    """Recordings, sorted and each once; ``notices`` are sentences on folders that hold none or cannot be
    read."""

    files: tuple[Path, ...]
    notices: tuple[str, ...]


def search(paths):
    """Recordings among ``paths``.

    A file given by name is taken whatever its ending. A folder is walked for ``.wav`` and ``.flac`` in any
    case; hidden files and folders (a leading dot, such as the shadow files that some systems leave on cards)
    are passed over.

    Returns
    -------
    Found, whose ``files`` may be empty
    Raises
    ------
    InputError : a path does not exist
    """
    files, notices = {}, []
    for given in map(Path, paths):
        if given.is_dir():
            inside = list(_walk(given, notices))
            if not inside:
                notices.append(f"{given}: holds no recording (no file that ends in .wav or .flac)")
            files.update((os.path.abspath(path), path) for path in inside)
        elif given.exists():
            files.setdefault(os.path.abspath(given), given)
        else:
            raise InputError(f"{given}: no such file or folder; check the spelling, and that the card is in")
    return Found(tuple(files[key] for key in sorted(files)), tuple(notices))


def find(paths):
    """Recordings among ``paths`` as a sorted list of ``Path``, each once; see ``search``.

    Raises
    ------
    InputError : a path does not exist, or there is no recording at all
    """
    found = search(paths)
    if not found.files:
        raise InputError("; ".join(found.notices) or "no recording was named: give files or folders")
    return list(found.files)


def _walk(folder, notices):
    """Recordings below a folder."""

    def unlisted(error):
        notices.append(f"{error.filename}: cannot be listed ({error.strerror}); its recordings are left out")

    for parent, folders, names in os.walk(folder, onerror=unlisted):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            if name.lower().endswith(ENDINGS) and not name.startswith("."):
                yield Path(parent, name)
