"""Writing so that nothing is lost: a file is either the old one or the new one, and one run at a time."""

import contextlib
import errno
import os
import shutil
from pathlib import Path

from classifier.errors import InputError

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None
    import msvcrt

LOCK_NAME = ".lock"
_TEMPORARY = ".tmp"


def write_atomically(path, data):
    """Put ``data`` (bytes) at ``path`` so that a reader, a crash or a full disk never meets half of it.

    It is written under a temporary name in the same folder, forced to the disk, and renamed. A file that was there before
    hands its permissions on.

    Raises
    ------
    InputError : the disk is full, the folder cannot be written to, or the like; what was there is unchanged
    """
    write_together({Path(path): data})


def write_together(files):
    """Put several files in place, all but at once: none is renamed before all are safe on the disk.

    Parameters
    ----------
    files : mapping of Path to bytes; they are renamed in this order

    Raises
    ------
    InputError : as ``write_atomically``
    """
    written = {}
    try:
        for path, data in files.items():
            temporary = path.with_name(f".{path.name}.{os.getpid()}{_TEMPORARY}")
            written[temporary] = path
            with open(temporary, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if path.exists():
                shutil.copymode(path, temporary)
        for temporary, path in written.items():
            os.replace(temporary, path)
        for folder in {path.parent for path in files}:
            _sync_folder(folder)
    except OSError as error:
        for temporary in written:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
        raise InputError(_sentence(path, error)) from error


def make_folder(path):
    """Make a folder and those above it, unless they are there.

    Raises
    ------
    InputError : that cannot be done
    """
    try:
        Path(path).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(_sentence(path, error)) from error


def remove_temporary(folder):
    """Remove what a killed run left half-written in a folder, if there is such a folder."""
    for path in Path(folder).glob(f".*{_TEMPORARY}"):
        with contextlib.suppress(OSError):
            path.unlink()


@contextlib.contextmanager
def locked(folder):
    """Hold a survey folder for one run; the system lets go of it even if the run is killed.

    Raises
    ------
    InputError : another run holds it, or the folder cannot be written to
    """
    path = Path(folder, LOCK_NAME)
    file = _lock(path)
    try:
        yield
    finally:
        # Removed before it is let go: whoever opened it meanwhile finds it gone and tries again.
        with contextlib.suppress(OSError):
            path.unlink()
        file.close()


def _lock(path):
    """The open and locked lock file."""
    while True:
        try:
            file = open(path, "a+b")  # noqa: SIM115 (it stays open as long as the lock is held)
        except OSError as error:
            raise InputError(_sentence(path.parent, error)) from error
        try:
            if fcntl:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            else:
                file.seek(0)
                msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
            if _is_at(file, path):
                return file
        except OSError as error:
            file.close()
            if error.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
                raise InputError(
                    f"{path.parent}: another run is writing to this survey; wait until it is done, or give another folder with -o"
                ) from error
            raise InputError(_sentence(path.parent, error)) from error
        file.close()


def _is_at(file, path):
    """Whether an open file is still the one that its path names."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), os.stat(path))
    except FileNotFoundError:
        return False


def _sync_folder(folder):
    """Force the names in a folder to the disk, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network shares cannot, and need not
            raise
    finally:
        os.close(descriptor)


def _sentence(path, error):
    """What stopped a write, and the remedy."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        why = "the disk is full; make room and run again"
    elif error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        why = "the folder cannot be written to; give another folder with -o, or change its permissions"
    elif error.errno in (errno.ENOTDIR, errno.EEXIST):
        why = "a file stands where a folder is needed; give another folder with -o"
    else:
        why = f"{error.strerror or error}; run again when that is mended"
    return f"{path}: cannot be written: {why}. Nothing was lost: what was there and what was measured is kept."
