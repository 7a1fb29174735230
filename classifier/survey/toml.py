"""Write TOML: the small part of it that survey.toml needs. The standard library reads it back.

The writer is our own because what is written is flat and known (texts, numbers, times, lists, tables in
tables), and a practitioner's machine needs one package less.
"""

import json
import math
import re
from collections.abc import Mapping
from datetime import date, datetime


def toml_text(values, comment=None):
    """Values as TOML.

    Parameters
    ----------
    values : mapping of str to str, bool, int, float, date, datetime, list or tuple of these, or mapping
        likewise; an entry that is None is left out, since TOML has no word for it
    comment : str or None, put on top, line by line

    Returns
    -------
    str; ``tomllib.loads`` gives the same values back, tuples as lists
    Raises
    ------
    TypeError : a value of another kind
    """
    lines = [f"# {line}".rstrip() for line in (comment or "").splitlines()]
    _table(values, (), lines)
    return "\n".join(lines).lstrip("\n") + "\n"


def _table(values, path, lines):
    """One table: its own entries first, then the tables inside it."""
    entries = {name: value for name, value in values.items() if value is not None}
    plain = {name: value for name, value in entries.items() if not isinstance(value, Mapping)}
    if path and (plain or not entries):
        lines += ["", f"[{'.'.join(map(_name, path))}]"]
    lines += [f"{_name(name)} = {_value(value)}" for name, value in plain.items()]
    for name, value in entries.items():
        if isinstance(value, Mapping):
            _table(value, (*path, name), lines)


def _name(name):
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text(name)


def _text(text):
    # A JSON string is a TOML string but for the one control character that JSON lets pass.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else str(value)
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_value, value))}]"
    raise TypeError(f"TOML has no form for {type(value).__name__}")
