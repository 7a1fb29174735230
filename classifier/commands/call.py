"""One call as a person writes it: ``characteristic_frequency = 47 kHz, duration = 5.6 ms ± 0.1 ms``."""

import re
from fractions import Fraction

from classifier.errors import InputError
from classifier.metrics import METRICS

_PIECE = re.compile(
    r"^(?P<name>\w+)\s*=?\s*(?P<value>[-−+]?[0-9]+(?:\.[0-9]+)?)\s*(?P<unit>[^\s±+0-9][^\s±+]*)?"
    r"(?:\s*(?:±|\+/-)\s*(?P<error>[0-9]+(?:\.[0-9]+)?)\s*(?P<error_unit>\S+)?)?$"
)


def parse_call(text: str) -> dict[str, tuple[float, float | None]]:
    """Value and standard error by metric name, in the metric's unit; InputError says what is wrong."""
    call = {}
    for piece in filter(None, (each.strip() for each in text.split(","))):
        match = _PIECE.match(piece)
        if match is None:
            raise InputError(
                f"--call: `{piece}` does not read as a value; write `duration = 5.6 ms`, pieces "
                "divided by commas and decimals by a point"
            )
        name = match["name"]
        if name not in METRICS:
            from difflib import get_close_matches

            near = get_close_matches(name, METRICS, n=1)
            hint = f"did you mean `{near[0]}`?" if near else "`callkey metrics` lists them"
            raise InputError(f"--call: there is no metric `{name}`; {hint}")
        if name in call:
            raise InputError(f"--call: `{name}` is given twice; keep one of the two")
        metric = METRICS[name]
        value = _in_unit(match["value"].replace("−", "-"), match["unit"], metric)
        error = (
            None
            if match["error"] is None
            else _in_unit(match["error"], match["error_unit"] or match["unit"], metric)
        )
        call[name] = (value, error)
    if not call:
        raise InputError("--call: no value is given; write for example `duration = 5.6 ms`")
    return call


def _in_unit(number, written, metric):
    """A written quantity in the unit of the metric."""
    from classifier.key.units import unit

    own = unit(metric.unit)
    given = unit(written) if written else None
    if written is None and metric.unit:
        raise InputError(
            f"--call: `{metric.name}` needs its unit; write `{metric.name} = {number} {metric.unit}`"
        )
    if written is None:
        return float(number)
    if given is None or not given.like(own):
        wanted = f"is counted in {metric.unit}" if metric.unit else "is a plain number"
        raise InputError(f"--call: `{number} {written}` does not fit: {metric.name} {wanted}")
    return float(Fraction(number) * given.factor / own.factor)
