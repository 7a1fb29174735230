"""A survey folder as its readers see it: settings, tables, labels."""

import hashlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from classifier import __version__
from classifier.errors import InputError, ParameterError
from classifier.recordings import Recording, inspect
from classifier.survey.cache import PULSES_NAME
from classifier.survey.provenance import (
    READING_OPTIONS,
    SETTINGS_NAME,
    moment,
    read_settings,
    storable,
    write_settings,
)
from classifier.survey.storage import locked, make_folder, remove_temporary, write_together
from classifier.survey.tables import csv_bytes, parquet_bytes, read_metadata, read_parquet

RECORDINGS_NAME = "recordings.parquet"
_LABELS_NAME = "labels"


@dataclass(frozen=True)
class StoredLabels:
    """The labels of one key: its exact text, a row per pass and a row per pulse.

    ``current`` is False where the survey was measured anew since, so that passes and pulses may no longer
    fit.
    """

    name: str
    key_text: str
    passes: pl.DataFrame
    pulses: pl.DataFrame
    current: bool


@dataclass(frozen=True)
class Survey:
    """A survey folder. ``settings`` is what survey.toml says; the tables are read when they are asked for."""

    folder: Path
    settings: Mapping

    def recordings(self) -> pl.DataFrame:
        """A row per file met, good or bad; columns of ``RECORDING_SCHEMA``. InputError if it cannot be
        read."""
        return read_parquet(self.folder / RECORDINGS_NAME)

    def pulses(self) -> pl.DataFrame:
        """A row per pulse; columns of ``PULSE_SCHEMA``. InputError if it cannot be read."""
        return read_parquet(self.folder / PULSES_NAME)

    def is_of(self, paths) -> bool:
        """Whether this survey was made from just these files and folders."""
        return {storable(os.path.abspath(path)) for path in paths} == set(self.settings["recordings"]["paths"])

    def recording(self, name) -> Recording:
        """The sound file behind a row, looked at with the survey's settings; ready for ``blocks``.

        It is looked for under the root that survey.toml names, then where that root lay from this folder.

        Raises
        ------
        InputError : it is no longer there
        """
        made = self.settings["recordings"]
        roots = [made["root"]]
        if "root_from_survey" in made:
            roots.append(self.folder / made["root_from_survey"])
        for root in roots:
            path = Path(root, name)
            if path.is_file():
                return inspect(path, **{option: made.get(option) for option in READING_OPTIONS})
        raise InputError(f"{Path(roots[0], name)}: the recording is no longer there; bring it back to hear or see it")

    def label_names(self) -> list[str]:
        """Names of the labels there are, sorted."""
        return sorted(path.parent.name for path in self.folder.glob(f"{_LABELS_NAME}/*/key.txt"))

    def labels(self, name) -> StoredLabels:
        """The labels kept under a name.

        Raises
        ------
        InputError : there are none, or the files in their folder do not belong together
        """
        folder = self.folder / _LABELS_NAME / name
        if name not in self.label_names():
            there = ", ".join(self.label_names()) or "none"
            raise InputError(f"{self.folder}: there are no labels `{name}` in this survey; it has {there}")
        try:
            key = (folder / "key.txt").read_bytes()
            text = key.decode("utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"{folder / 'key.txt'}: cannot be read ({error}); label again to have it back") from error
        origins = [read_metadata(folder / f"{table}.parquet") for table in ("passes", "pulses")]
        if any(origin.get("key_sha256") != _digest(key) for origin in origins):
            raise InputError(
                f"{folder}: the tables were not made with the key.txt beside them "
                "(it was changed, or a run was stopped); label again"
            )
        tables = [read_parquet(folder / f"{table}.parquet") for table in ("passes", "pulses")]
        made_from = {origin.get("measured_sha256") for origin in origins}
        return StoredLabels(name, text, *tables, current=made_from == {self._measured()})

    def write_labels(self, name, key_text, passes, pulses, *, settings=None) -> Path:
        """Keep the labels of a key: its text and both tables, as Parquet and as CSV; all of them or none.

        Parameters
        ----------
        name : str, the folder's name under labels/: letters, digits, blank, and . _ -
        key_text : str, the exact text of the key
        passes, pulses : polars.DataFrame
        settings : mapping or None, what else the labels rest on; kept in survey.toml

        Returns
        -------
        Path of the labels' folder
        Raises
        ------
        ParameterError : the name cannot be a folder's
        InputError : the folder cannot be written to, or another run is writing to it
        """
        if not re.fullmatch(r"[\w-](?:[\w .-]*[\w-])?", name):
            raise ParameterError(f"labels cannot be named '{name}': use letters, digits, blanks and . _ - inside")
        key = key_text.encode("utf-8")
        origin = {"key_sha256": _digest(key), "measured_sha256": self._measured()}
        folder = self.folder / _LABELS_NAME / name
        with locked(self.folder):
            make_folder(folder)
            remove_temporary(folder)
            write_together(
                {
                    folder / "passes.parquet": parquet_bytes(passes, origin),
                    folder / "pulses.parquet": parquet_bytes(pulses, origin),
                    folder / "passes.csv": csv_bytes(passes),
                    folder / "pulses.csv": csv_bytes(pulses),
                    folder / "key.txt": key,
                }
            )
            now = read_settings(self.folder)
            made = {
                "key_sha256": origin["key_sha256"],
                "callkey": __version__,
                "labelled_at": moment(),
                "passes": passes.height,
                **(settings or {}),
            }
            write_settings(self.folder, {**now, "labels": {**now.get("labels", {}), name: made}})
        return folder

    def _measured(self):
        """Digest of the pulses that are in the survey now."""
        return read_settings(self.folder).get("tables", {}).get("pulses_sha256", "")


def open_survey(folder) -> Survey:
    """The survey in a folder.

    Raises
    ------
    InputError : there is none, it is damaged, or a newer callkey wrote it
    """
    folder = Path(folder)
    if not (folder / SETTINGS_NAME).is_file():
        raise InputError(f"{folder}: is no survey folder (it holds no {SETTINGS_NAME}); make one with callkey measure")
    return Survey(folder, read_settings(folder))


def _digest(data):
    return hashlib.sha256(data).hexdigest()
