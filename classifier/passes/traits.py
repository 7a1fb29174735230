"""What is compared from pulse to pulse: traits, how much each may vary, and which pulse may be an unflagged echo."""

from dataclasses import dataclass

import numpy as np

from classifier.metrics import METRICS

#: Traits in their order; all as 100 times the natural logarithm, so that differences read in per cent.
TRAITS = ("characteristic_frequency", "peak_frequency", "end_frequency", "start_frequency", "duration")
#: How far bats differ from each other in each trait: a new bat's traits may be anything of this spread (per cent).
BETWEEN = np.array([24.0, 24.0, 24.0, 35.0, 40.0])
#: Spread between bats in level, dB.
BETWEEN_LEVEL = 12.0
#: Natural logarithm of the width of a flat density as likely, on average, as a normal one of spread 1.
FLAT = 0.5 * np.log(2 * np.pi * np.e)


@dataclass(frozen=True)
class Traits:
    """Arrays over n pulses. ``value`` and ``weight`` (1/variance, 0 where missing) are (n, 5).

    ``error`` (n, 5) holds the measured standard errors, per cent, 0 where missing.
    ``lift`` (n, 5) is what a trait's agreement is worth over a new bat: log of the ratio of the two widths.
    ``level`` (n,) in dB, NaN where missing; ``missed`` (n,) how likely a pulse like this goes undetected.
    """

    value: np.ndarray
    weight: np.ndarray
    error: np.ndarray
    lift: np.ndarray
    level: np.ndarray
    snr: np.ndarray
    missed: np.ndarray
    harmonic: np.ndarray


def column(table, name, error=False):
    """A metric's column of a table as floats, NaN where missing or absent."""
    metric = METRICS[name]
    heading = metric.error_column if error else metric.column
    if heading not in table.columns:
        return np.full(table.height, np.nan)
    return table[heading].cast(float).fill_null(np.nan).to_numpy().astype(float)


def traits(pulses, settings) -> Traits:
    """Traits of each pulse with the variance that one bat's next pulse may show in them.

    variance = spread² + standard error² + what the call's shape adds: slope · stretch_ms for frequencies read at
    the flattest stretch and the peak, sweep_share of the distance from the characteristic frequency for the
    others, and more where the pulse is faint or overlapped.

    pulses : DataFrame as pulses.parquet, any number of its metric columns missing
    """
    n = pulses.height
    raw = {name: column(pulses, name) for name in TRAITS}
    snr = column(pulses, "snr")
    faint = np.maximum(0.0, settings.full_snr_db - np.where(np.isnan(snr), 20.0, snr))
    spread = (
        settings.characteristic_percent,
        settings.peak_percent,
        settings.end_percent,
        settings.start_percent,
        settings.duration_percent,
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.column_stack([100.0 * np.log(raw[name]) for name in TRAITS]).reshape(n, 5)
        error = np.column_stack([100.0 * column(pulses, name, error=True) / raw[name] for name in TRAITS])
        error = np.nan_to_num(error.reshape(n, 5))
        variance = np.array(spread) ** 2 + error**2
        smear = 100.0 * _slope(pulses, raw) * settings.stretch_ms
        variance[:, 0] += np.nan_to_num(smear / raw[TRAITS[0]]) ** 2
        variance[:, 1] += np.nan_to_num(smear / raw[TRAITS[1]]) ** 2
        reach = np.abs(value[:, 1:4] - value[:, :1])
        variance[:, 1:4] += np.where(np.isnan(reach), 3.0, settings.sweep_share * reach) ** 2
        variance[:, 3] += (settings.faint_start_percent * faint) ** 2
        variance[:, 4] += (settings.faint_duration_percent * faint) ** 2
    missing = ~(np.isfinite(value) & np.isfinite(variance))
    value[missing], variance[missing] = 0.0, 1.0
    weight = np.where(missing, 0.0, 1.0 / variance)
    lift = np.where(missing, 0.0, np.log(BETWEEN) + FLAT - 0.5 * np.log(variance))
    level = column(pulses, "level")
    level = np.where(np.isnan(level), snr, level)
    missed = 0.3 / (1.0 + np.exp((np.where(np.isnan(snr), 20.0, snr) - 12.0) / 2.0))
    return Traits(value, weight, error, lift, level, np.where(np.isnan(snr), 0.0, snr), missed, _harmonic(pulses))


def _slope(pulses, raw):
    """Steepness of the flattest stretch in kHz/ms; half the mean steepness of the call where it is missing."""
    slope = np.abs(column(pulses, "characteristic_slope"))
    rough = 0.5 * np.abs(raw["start_frequency"] - raw["end_frequency"]) / np.maximum(raw["duration"], 0.1)
    return np.where(np.isnan(slope), np.where(np.isnan(rough), 1.0, rough), slope)


def _harmonic(pulses):
    """100 times the logarithm of the harmonic that the ridge follows: 0 for the first or where it is unknown."""
    number = column(pulses, "strongest_harmonic")
    return 100.0 * np.log(np.where(np.isnan(number) | (number < 1), 1.0, number))


def echo_scores(times, found: Traits, settings, series=None):
    """How well each pulse is explained as an echo that measuring left unflagged; -inf where it is none.

    An echo starts within echo_s of a pulse at least echo_drop_db louder and has its course. The score is the
    logarithm of its density in time and traits over that of a new bat's pulse.

    times : float array (n,), s, ascending within each of ``series`` (int array (n,); None: one series)
    found : Traits in the same order
    """
    n = len(times)
    best = np.full(n, -np.inf)
    if n == 0:
        return best
    density = np.log(settings.echo_share / 0.02)
    for lag in range(1, min(7, n)):
        apart = times[lag:] - times[:-lag]
        if series is not None:
            apart = np.where(series[lag:] == series[:-lag], apart, np.inf)
        near = (apart > 0.0005) & (apart < settings.echo_s)
        if not (apart < settings.echo_s).any():
            break
        drop = found.level[:-lag] - found.level[lag:]
        weight = np.where(found.weight[:-lag] > 0, found.weight[lag:], 0.0) / 1.5
        away = found.value[lag:] - found.value[:-lag]
        lift = np.where(weight > 0, found.lift[lag:] - 0.5 * np.log(2 * np.pi * 1.5), 0.0)
        score = (lift - 0.5 * away**2 * weight).sum(axis=1) + density
        score = np.where(near & (drop > settings.echo_drop_db), score, -np.inf)
        best[lag:] = np.maximum(best[lag:], score)
    return best
