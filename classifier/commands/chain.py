"""What several commands do with a survey and a key: read the key, label the survey, find the labels asked
for."""

import hashlib
import os
from pathlib import Path

from classifier.commands import show
from classifier.errors import InputError, KeyFaultError


def sound_key(path):
    """Read a key that must be without errors; its faults are shown and raised as one KeyFaultError."""
    from classifier.key import read_key
    from classifier.key.messages import has_errors

    reading = read_key(path)
    errors = [each for each in reading.diagnostics if each.severity == "error"]
    if reading.key is None or has_errors(reading.diagnostics):
        for each in errors:
            show.diagnostic(each, reading)
        count = f"{len(errors)} fault{'s' if len(errors) != 1 else ''}"
        raise KeyFaultError(f"{path}: the key has {count}, nothing was done with it; mend what is marked above", errors)
    return reading


def label_survey(survey, reading, name):
    """Follow the survey's pulses into passes, label them with the key and keep the labels under ``name``."""
    from classifier.key import compile_key
    from classifier.label import label
    from classifier.passes import follow

    compiled = compile_key(reading.key, reading.meanings)
    pulses, recordings = survey.pulses(), survey.recordings()
    followed = follow(pulses, recordings, gap_s=compiled.gap_s)
    labels = label(pulses, recordings, followed, compiled)
    made = {"key_file": os.path.abspath(reading.file), "key_with_bases_sha256": _digest(reading)}
    survey.write_labels(name, reading.text, labels.passes, labels.pulses, settings=made)
    return labels


def stored_labels(survey, name):
    """The labels that a command is to show: those named, or the only ones there are."""
    names = survey.label_names()
    if not names:
        raise InputError(
            f"{survey.folder}: nothing has been labelled in this survey yet; run `callkey label {survey.folder} --key KEY`"
        )
    if name is None:
        if len(names) > 1:
            raise InputError(
                f"{survey.folder}: this survey is labelled with several keys ({', '.join(names)}); choose one with --name"
            )
        name = names[0]
    if name not in names:
        raise InputError(f"{survey.folder}: there are no labels `{name}` in this survey; it has {', '.join(names)}")
    stored = survey.labels(name)
    if not stored.current:
        show.say(f"note   the survey was measured anew since `{name}` was labelled; label it again")
    return stored


def reading_of(stored, survey):
    """The key that stored labels were made with, read again; its bases, if it has any, from where they lay
    then.

    Raises InputError where the bases are gone or have changed: the key.txt beside the labels is one key's
    text alone.
    """
    from classifier.key import parse_key, read_key

    reading = parse_key(stored.key_text, "key.txt")
    if reading.key is not None:
        return reading
    made = survey.settings.get("labels", {}).get(stored.name, {})
    path = made.get("key_file", "")
    if path and Path(path).is_file():
        reading = read_key(path)
        if reading.key is not None and _digest(reading) == made.get("key_with_bases_sha256"):
            return reading
    raise InputError(
        f"{survey.folder}: the labels `{stored.name}` were made with a key based on another, and what it "
        f"was made of is no longer at {path or 'its place'}; label again with the key as it is now"
    )


def compiled_of(stored, survey):
    """The key that stored labels were made with, ready to evaluate."""
    from classifier.key import compile_key

    reading = reading_of(stored, survey)
    return compile_key(reading.key, reading.meanings)


def _digest(reading):
    return hashlib.sha256(reading.digest_text.encode("utf-8")).hexdigest()


def is_survey(path: Path) -> bool:
    """Whether a path is a survey folder."""
    return (Path(path) / "survey.toml").is_file()
