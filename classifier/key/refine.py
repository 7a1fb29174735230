"""Conditions above the single pulse: refine blocks on statistics of the pass, tiers on its votes.

The pulses' own columns and the number of each pulse's pass are enough: the summaries that a key asks for (median(x),
share(condition) ...) are worked out here.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from classifier.errors import ParameterError
from classifier.key import forms as f
from classifier.key import truth
from classifier.key.columns import Columns, form_values
from classifier.key.compile import CompiledKey, Refinement
from classifier.key.syntax import TIERS
from classifier.key.vocabulary import NAMES, PASS

#: Error of a median over that of a mean, for normally distributed values: sqrt(pi / 2).
_MEDIAN_FACTOR = float(np.sqrt(np.pi / 2))


@dataclass(frozen=True)
class Refined:
    """What one refine block says of each of m passes (whether it applies to a pass is the caller's question).

    decision : int32 (m,), place in ``compiled.ends``; -1 where the label stays (said so, no lead applied, or unsure
        between several outcomes)
    cap : int8 (m,), place in syntax.TIERS, 0 where the label stays
    trail : str objects (m,), letters of the leads taken, several joined by " | "; '' where no lead applied
    """

    refinement: Refinement
    decision: np.ndarray
    cap: np.ndarray
    trail: np.ndarray


def evaluate_refine(
    compiled: CompiledKey,
    *,
    pulses: Mapping[str, np.ndarray],
    pulse_errors: Mapping[str, np.ndarray],
    pass_of: np.ndarray,
    statistics: Mapping[str, np.ndarray],
    statistic_errors: Mapping[str, np.ndarray] | None = None,
) -> list[Refined]:
    """Every refine block of a key, in order, on m passes.

    Parameters
    ----------
    pulses, pulse_errors : columns of the usable pulses, float (n,), by metric name, in its unit, NaN where missing
    pass_of : int (n,), 0 to m - 1: the pass of each pulse
    statistics, statistic_errors : float (m,) by the names of ``vocabulary.NAMES['pass']`` (alternation, interval, duty_cycle,
        feeding_buzz as 0 and 1, month, hour_after_sunset, pulses), in their units, NaN where not known; an absent one
        is not known in any pass. At least one must be there, since it tells m.

    Returns
    -------
    list of Refined, one for each of ``compiled.refinements``

    Raises
    ------
    ParameterError : arrays of different lengths, an unknown statistic, or no statistic at all
    """
    lengths = {len(array) for array in statistics.values()}
    if len(lengths) != 1:
        raise ParameterError("statistics of the passes must be given, all of one length")
    unknown = sorted(set(statistics) - set(NAMES[PASS]))
    if unknown:
        raise ParameterError(f"no statistics of a pass: {', '.join(unknown)}")
    count = lengths.pop()
    pass_of = np.asarray(pass_of)
    if len(pass_of) and (pass_of.min() < 0 or pass_of.max() >= count):
        raise ParameterError(f"pass_of must lie between 0 and {count - 1}")
    values = {name: np.asarray(array, float) for name, array in statistics.items()}
    errors = {name: np.asarray(array, float) for name, array in (statistic_errors or {}).items()}
    for atom in _summaries(compiled):
        values[atom], errors[atom] = _gather(atom, compiled.standard_errors, pulses, pulse_errors, pass_of, count)
    columns = Columns(values, errors, compiled.standard_errors, count)
    return [_refine(refinement, columns) for refinement in compiled.refinements]


def evaluate_tiers(
    compiled: CompiledKey,
    *,
    support: np.ndarray,
    clear: np.ndarray,
    pulses: np.ndarray,
    clearance: np.ndarray,
) -> np.ndarray:
    """The tier that the passes block gives, before any cap: the first whose condition is yes.

    Parameters
    ----------
    support (percent), clear and pulses (counts), clearance (median) : float (m,)

    Returns
    -------
    int8 (m,), place in syntax.TIERS; -1 where no tier's condition is yes
    """
    columns = Columns(
        {
            "support": np.asarray(support, float),
            "clear": np.asarray(clear, float),
            "pulses": np.asarray(pulses, float),
            "clearance": np.asarray(clearance, float),
        },
        {},
        compiled.standard_errors,
        len(support),
    )
    result = np.full(len(support), -1, np.int8)
    for tier, condition in compiled.tiers:
        yes = np.ones(len(support), bool) if condition is None else truth.ready(condition).judge(columns, None)[0]
        result[yes & (result < 0)] = TIERS.index(tier)
    return result


def _refine(refinement, columns):
    count = columns.rows
    trail = np.full(count, "", object)
    caps = np.zeros(count, np.int8)
    decision = np.full(count, -2, np.int32)  # -2: nothing yet; -1: stays
    left = np.arange(count)
    for route in refinement.routes:
        if not len(left):
            break
        if route.judge is None:
            yes, unsure = np.ones(len(left), bool), None
        else:
            yes, unsure, _ = route.judge.judge(columns, left)
        going = left[yes if unsure is None else yes | unsure]
        outcome = -1 if route.end is None else route.end
        fresh = decision[going] == -2
        same = decision[going] == outcome
        caps[going[fresh]] = route.cap
        caps[going[same]] = np.minimum(caps[going[same]], route.cap)
        decision[going[fresh]] = outcome
        decision[going[~fresh & ~same]] = -1
        trail[going] += np.where(fresh, route.label, " | " + route.label).astype(object)
        left = left[~yes]
    decision[decision == -2] = -1
    caps[decision == -1] = 0
    return Refined(refinement, decision, caps, trail)


def _summaries(compiled):
    """Every summary over pulses that the refine blocks ask for, each once."""
    found, stack = (
        {},
        [route.meaning for each in compiled.refinements for route in each.routes if route.meaning is not None],
    )
    while stack:
        match stack.pop():
            case f.Gathered() as atom:
                found.setdefault(atom)
            case f.Comparison(form):
                stack.append(form)
            case f.Linear(terms):
                stack.extend(atom for atom, _ in terms)
            case f.Absolute(of) | f.Not(of):
                stack.append(of)
            case f.Product(one, other) | f.Ratio(one, other):
                stack.extend((one, other))
            case f.All(parts) | f.Any(parts):
                stack.extend(parts)
    return list(found)


def _gather(atom, standard_errors, pulses, pulse_errors, pass_of, count):
    """(values, standard errors) of one summary for all passes; NaN where no pulse has a value."""
    pulses = {name: np.asarray(array, float) for name, array in pulses.items()}
    pulse_errors = {name: np.asarray(array, float) for name, array in pulse_errors.items()}
    columns = Columns(pulses, pulse_errors, standard_errors, len(pass_of))
    if isinstance(atom.of, f.Linear):
        value, error = form_values(atom.of, columns)
        return _of_quantity(atom.function, value, error, pass_of, count)
    yes, unsure, _ = truth.ready(atom.of).judge(columns, None)
    return _of_condition(atom.function, yes, unsure, pass_of, count)


def _of_condition(function, yes, unsure, pass_of, count):
    """share: percent of yes among the pulses that are not unsure, its error from (k + 1) / (n + 2) so that few pulses
    that all agree are not taken as certain; count: pulses that are yes."""
    holds = np.bincount(pass_of[yes], minlength=count).astype(float)
    if function == "count":
        return holds, np.zeros(count)
    sure = np.ones(len(yes), bool) if unsure is None else ~unsure
    known = np.bincount(pass_of[sure], minlength=count).astype(float)
    with np.errstate(all="ignore"):
        share = 100.0 * holds / known
        tempered = (holds + 1) / (known + 2)
        error = 100.0 * np.sqrt(tempered * (1 - tempered) / known)
    share[known == 0] = np.nan
    error[known == 0] = np.nan
    return share, error


def _of_quantity(function, value, error, pass_of, count):
    """median, mean or spread over the pulses of each pass that have a value.

    Errors: mean s / sqrt(n), median sqrt(pi / 2) times that, spread s / sqrt(2 (n - 1)), with s the sample standard
    deviation; of a single pulse, its own. The spread of a single pulse is not known.
    """
    known = ~np.isnan(value)
    order = np.lexsort((value[known], pass_of[known]))
    value, error, of = value[known][order], error[known][order], pass_of[known][order]
    number = np.bincount(of, minlength=count)
    first = np.concatenate(([0], np.cumsum(number)[:-1])) if count else np.zeros(0, int)
    some = number > 0
    sums = np.bincount(of, value, minlength=count)
    with np.errstate(all="ignore"):
        mean = sums / number
        squares = np.bincount(of, (value - mean[of]) ** 2, minlength=count)
        deviation = np.sqrt(squares / (number - 1))
        standard_error = deviation / np.sqrt(number)
    own = np.zeros(count)
    own[some] = error[first[some]]
    single = number == 1
    result = np.full(count, np.nan)
    if function == "mean":
        result, errors = mean, standard_error
    elif function == "median":
        result[some] = _quantile(value, first[some], number[some], 0.5)
        errors = _MEDIAN_FACTOR * standard_error
    else:
        several = number > 1
        low = _quantile(value, first[several], number[several], 0.16)
        high = _quantile(value, first[several], number[several], 0.84)
        result[several] = (high - low) / 2
        with np.errstate(all="ignore"):
            errors = deviation / np.sqrt(2.0 * (number - 1))
    errors = np.where(single, own, errors)
    errors[~some] = np.nan
    return result, errors


def _quantile(value, first, number, share):
    """Quantiles of sorted runs, linear between neighbours."""
    place = share * (number - 1)
    below = np.floor(place).astype(int)
    above = np.minimum(below + 1, number - 1)
    part = place - below
    low, high = value[first + below], value[first + above]
    return low + part * (high - low)
