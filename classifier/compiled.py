"""The decorator of everything that runs sample by sample or point by point: compiled by numba, and kept.

Numba's own cache looks at the file of a function alone and not at those of the functions it calls, so that a change
there would go unseen. Here the cache stands under a digest of everything that may hold such functions.
"""

import hashlib
import importlib.metadata
import os
from pathlib import Path

import numba


def _cache_folder():
    """Where compiled code is kept: beside this file, else in the user's cache; None where neither can be written."""
    here = Path(__file__).parent
    sources = [Path(__file__), *sorted(here.glob("measure/*.py")), *sorted(here.glob("passes/*.py"))]
    content = b"".join(path.read_bytes() for path in sources)
    # compiled code holds calls into this library, which may change from version to version
    content += importlib.metadata.version("rocket-fft").encode()
    digest = hashlib.sha256(content).hexdigest()[:16]
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    for base in (here / "__pycache__", Path(home) / "callkey"):
        folder = base / f"compiled-{digest}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return str(folder)
    return None


_FOLDER = _cache_folder()


def compiled(function):
    """Compile ``function`` at its first call.

    Sums may be regrouped (which lets them run four or eight at a time); NaN keeps its meaning, division by zero
    gives infinity as in numpy.
    """
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = _FOLDER or before
    try:
        return numba.njit(
            cache=_FOLDER is not None,
            nogil=True,
            error_model="numpy",
            fastmath={"reassoc", "contract", "arcp"},
        )(function)
    finally:
        numba.config.CACHE_DIR = before
