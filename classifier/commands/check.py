"""``callkey check``: what is wrong with a key, all of it in one run."""

import typer

from classifier.commands import options, show

EXAMPLE = "callkey check keys/britain-and-ireland.key"


def check(keys: options.Keys, json: options.Json = False) -> None:
    """Check keys and name every fault with its line, its place in the line and the remedy."""
    from classifier.key import read_key
    from classifier.key.messages import has_errors

    readings = [(path, read_key(path)) for path in keys]
    if json:
        show.as_json(
            [
                {
                    "key": str(path),
                    "sound": not has_errors(reading.diagnostics),
                    "diagnostics": [each.as_dict() for each in reading.diagnostics],
                }
                for path, reading in readings
            ]
        )
    else:
        for path, reading in readings:
            _show(path, reading)
    if any(has_errors(reading.diagnostics) for _, reading in readings):
        raise typer.Exit(1)


def _show(path, reading):
    for each in reading.diagnostics:
        show.diagnostic(each, reading)
    errors = sum(each.severity == "error" for each in reading.diagnostics)
    warnings = len(reading.diagnostics) - errors
    found = (
        " and ".join(
            f"{count} {what}{'s' if count != 1 else ''}"
            for count, what in ((errors, "error"), (warnings, "warning"))
            if count
        )
        or "no faults"
    )
    size = ""
    if reading.key is not None and not errors:
        parts = (
            ("couplet", "couplets", reading.key.couplets),
            ("taxon", "taxa", reading.key.taxa),
            ("group", "groups", reading.key.groups),
        )
        size = ": " + ", ".join(f"{len(each)} {one if len(each) == 1 else many}" for one, many, each in parts)
    print(f"{path}: {found}{size}")
