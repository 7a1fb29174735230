"""survey.toml: what a survey was made from, how, when and on what; enough to run it again."""

import os
import platform
import sys
import tomllib
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import numpy
import polars
import scipy
import soundfile

from classifier import __version__
from classifier.errors import InputError
from classifier.survey.storage import write_atomically
from classifier.survey.toml import toml_text

SETTINGS_NAME = "survey.toml"
FORMAT = 1

#: Options of ``classifier.recordings.inspect`` that survey.toml keeps.
READING_OPTIONS = ("site", "time_expansion", "timezone", "name_pattern")

_COMMENT = (
    "Written by callkey: what this survey was made from and how.\n"
    "A run with these settings on the same recordings gives the same tables."
)


def description(paths, root, folder, options, settings):
    """The settings of a run that begins now, as survey.toml keeps them.

    Parameters
    ----------
    paths : the files and folders given
    root : str, folder below which recordings are named; "" where there is none
    folder : Path of the survey folder
    options : dict of ``READING_OPTIONS``
    settings : dict, the settings of measuring

    Returns
    -------
    dict of dicts; None stands for an option that was not given
    """
    from_survey = None
    with suppress(ValueError):  # drives of their own have no way from one to the other
        from_survey = storable(Path(os.path.relpath(root, folder)).as_posix()) if root else None
    return {
        "survey": {"format": FORMAT, "callkey": __version__, "started_at": moment()},
        "recordings": {
            "root": storable(root),
            "root_from_survey": from_survey,
            "paths": sorted({storable(os.path.abspath(path)) for path in paths}),
            **options,
        },
        "measure": settings,
        "machine": {
            "system": platform.platform(),
            "python": sys.version.split()[0],
            "numpy": numpy.__version__,
            "scipy": scipy.__version__,
            "polars": polars.__version__,
            "soundfile": soundfile.__version__,
            "libsndfile": soundfile.__libsndfile_version__,
        },
    }


def read_settings(folder):
    """What survey.toml says, as a dict; InputError if it cannot be read or a newer callkey wrote it."""
    path = Path(folder, SETTINGS_NAME)
    try:
        settings = tomllib.loads(path.read_text(encoding="utf-8"))
        number = settings["survey"]["format"]
        missing = {"paths", "root"} - settings["recordings"].keys()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(f"{path}: cannot be read ({error}); measure again into another folder") from error
    if missing:
        raise InputError(f"{path}: says nothing on {sorted(missing)}; measure again into another folder")
    if number > FORMAT:
        writer = settings["survey"].get("callkey")
        raise InputError(f"{path}: was written by a newer callkey ({writer}); update callkey to read it")
    return settings


def write_settings(folder, settings):
    """Write survey.toml; InputError if that is not possible."""
    write_atomically(Path(folder, SETTINGS_NAME), settings_bytes(settings))


def settings_bytes(settings):
    """survey.toml as bytes."""
    return toml_text(settings, _COMMENT).encode("utf-8")


def moment():
    """Now, to the second, in UTC."""
    return datetime.now(UTC).replace(microsecond=0)


def storable(text):
    """The text, with bytes of a file's name that are no UTF-8 spelled out."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
