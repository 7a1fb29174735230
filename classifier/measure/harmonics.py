"""Which harmonic the ridge follows, and the levels of the others.

The pulse is demodulated along multiples and simple fractions of its ridge; what is then narrow and slow is a
harmonic. A lower harmonic is believed only when it holds its phase against the ridge, so that another bat flying by at
half the frequency is not taken for one.
"""

import numpy as np

from classifier.measure.ridge import averaging_window, smooth

#: Energy over the noise, in its standard deviations, from which a harmonic is measured.
SURE = 4.0
#: Share of the energy of a lower harmonic that must keep step with the ridge.
IN_STEP = 0.5


def harmonics(samples, nodes_hz, inside, noted, density_of, *, demodulator, nyquist_hz):
    """Levels of the harmonics.

    Parameters
    ----------
    samples, nodes_hz : as for Demodulator; nodes follow the fitted ridge
    inside : bool, shape (m, n), baseband samples within the span
    noted : int, shape (m,), harmonic that the ridge was found to be from the tracks
    density_of : callable, frequencies (m, n) in Hz -> noise density

    Returns
    -------
    strongest : int, shape (m,)
    second, third : float64, shape (m,), dB relative to the first; NaN where not to be measured
    """
    m = len(samples)
    window = averaging_window(13)
    own, _, reference, _ = _energy(samples, nodes_hz, inside, density_of, demodulator, window, nyquist_hz)
    half, half_noise, signal, there = _energy(samples, nodes_hz / 2, inside, density_of, demodulator, window, nyquist_hz)
    third, third_noise, other, there_too = _energy(
        samples, nodes_hz / 3, inside, density_of, demodulator, window, nyquist_hz
    )
    strongest = noted.copy()
    is_second = there & (half > SURE * half_noise) & (_in_step(signal, reference, 2, inside) > IN_STEP)
    is_third = there_too & (third > SURE * third_noise) & (_in_step(other, reference, 3, inside) > IN_STEP)
    strongest = np.where(is_second & (noted == 1), 2, strongest)
    strongest = np.where(is_third & ~is_second & (noted == 1), 3, strongest)
    levels = np.full((m, 3), np.nan)
    for number in (1, 2, 3):
        for follows in (1, 2, 3):
            rows = np.flatnonzero(strongest == follows)
            if not len(rows):
                continue
            if number == follows:
                levels[rows, number - 1] = own[rows]
                continue
            energy, noise, _, seen = _energy(
                samples[rows],
                nodes_hz[rows] * number / follows,
                inside[rows],
                lambda f, rows=rows: density_of(f, rows),
                demodulator,
                window,
                nyquist_hz,
            )
            levels[rows, number - 1] = np.where(seen & (energy > SURE * noise), energy, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        decibel = 10 * np.log10(levels)
    return strongest, decibel[:, 1] - decibel[:, 0], decibel[:, 2] - decibel[:, 0]


def _energy(samples, nodes_hz, inside, density_of, demodulator, window, nyquist_hz):
    """Energy along nodes within the span, less its noise; the noise's scatter; the signal; whether enough can be heard."""
    limit = nyquist_hz - 2_000.0
    signal, ridge = demodulator(samples, np.clip(nodes_hz, 1_000.0, limit))
    signal = smooth(signal, window)
    heard = inside & (ridge < limit - 500.0) & (ridge > 2_000.0)
    noise = 0.5 * density_of(ridge) * demodulator.rate_hz * np.sum(window**2)
    count = heard.sum(axis=1)
    power = np.abs(signal) ** 2
    expected = np.where(heard, noise, 0).sum(axis=1)
    energy = np.where(heard, power, 0).sum(axis=1) - expected
    # averaged samples hang together over about half a window
    independent = np.maximum(count / (0.6 * len(window)), 1.0)
    scatter = expected / np.sqrt(independent)
    return energy, scatter, np.where(heard, signal, 0), count >= 0.5 * inside.sum(axis=1)


def _in_step(lower, reference, times, inside):
    """Share of the lower harmonic's energy whose phase, taken ``times`` fold, keeps step with the reference."""
    turned = lower**times
    weight = np.where(inside, np.abs(lower) * np.abs(reference), 0)
    phase = turned * np.conj(reference)
    size = np.abs(phase)
    unit = np.where(size > 0, phase / np.maximum(size, 1e-30), 0)
    total = weight.sum(axis=1)
    return np.abs((unit * weight).sum(axis=1)) / np.maximum(total, 1e-30)
