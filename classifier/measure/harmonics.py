"""Which harmonic the ridge follows, and the levels of the others.

The pulse is demodulated along multiples and simple fractions of its ridge; what is then narrow and slow is a
harmonic. A lower harmonic is believed only when it holds its phase against the ridge, so that another bat flying by at
half the frequency is not taken for one.
"""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.ridge import NARROW, NODE, demodulate, smooth

#: Energy over the noise, in its standard deviations, from which a harmonic is measured.
SURE = 4.0
#: Share of the energy of a lower harmonic that must keep step with the ridge.
IN_STEP = 0.5
#: Where harmonics are listened for, in multiples of the ridge.
RATIOS = (1 / 3, 1 / 2, 2 / 3, 3 / 2, 2.0, 3.0)
#: Room that a harmonic needs under the Nyquist frequency, in Hz.
ROOM_HZ = 2_000.0


@compiled
def harmonics(samples, begin, nodes_hz, first, last, own, noted, audible, floor, floor_bin_hz, kernel, decimation, rate_hz):
    """Which harmonic the ridge is, and the levels of the others.

    Parameters
    ----------
    samples, begin, kernel, decimation, rate_hz : as for ``ridge.demodulate``
    nodes_hz : float64, shape (n_nodes,), the fitted ridge at every node
    first, last : int, first and last baseband sample of the span
    own : float, energy along the ridge
    noted : int, harmonic that the ridge was found to be from the tracks
    audible : bool, shape (len(RATIOS),), whether the recording holds more than noise in the band of the ridge times
        each of RATIOS; where it does not there is no harmonic to look for
    floor, floor_bin_hz : noise density, full scale squared per Hz, at multiples of floor_bin_hz

    Returns
    -------
    strongest : int, 1, 2 or 3
    levels : float64, shape (3,), energies of first, second and third, full scale squared times seconds; NaN where not
        to be measured
    """
    strongest = noted
    if noted == 1 and (audible[0] or audible[1]):
        _, _, reference, _ = _energy(samples, begin, nodes_hz, first, last, floor, floor_bin_hz, kernel, decimation, rate_hz)
        for place, number in ((1, 2), (0, 3)):
            if audible[place] and strongest == 1:
                energy, scatter, lower, seen = _energy(
                    samples, begin, nodes_hz / number, first, last, floor, floor_bin_hz, kernel, decimation, rate_hz
                )
                if seen and energy > SURE * scatter and _in_step(lower, reference, number) > IN_STEP:
                    strongest = number
    levels = np.full(3, np.nan)
    levels[strongest - 1] = own
    for place in range(len(RATIOS)):
        number = RATIOS[place] * strongest
        which = int(np.round(number))
        if not audible[place] or which > 3 or which == strongest or abs(number - which) > 1e-6:
            continue
        energy, scatter, _, seen = _energy(
            samples, begin, nodes_hz * RATIOS[place], first, last, floor, floor_bin_hz, kernel, decimation, rate_hz
        )
        if seen and energy > SURE * scatter:
            levels[which - 1] = energy
    return strongest, levels


@compiled
def density_at(frequency_hz, density, bin_hz):
    """Linear interpolation of a density that is known at multiples of ``bin_hz``."""
    place = min(max(frequency_hz / bin_hz, 0.0), len(density) - 1.000001)
    left = int(place)
    return density[left] + (density[left + 1] - density[left]) * (place - left)


@compiled
def noise_along(ridge_hz, floor, floor_bin_hz, baseband_hz):
    """Noise power of each baseband sample: its complex density is half the one-sided density of the recording."""
    out = np.empty(len(ridge_hz))
    for i in range(len(out)):
        out[i] = 0.5 * density_at(ridge_hz[i], floor, floor_bin_hz) * baseband_hz
    return out


@compiled
def _energy(samples, begin, nodes_hz, first, last, floor, floor_bin_hz, kernel, decimation, rate_hz):
    """Energy along nodes within the span, less its noise; the noise's scatter; the signal; whether enough can be heard."""
    limit = 0.5 * rate_hz - ROOM_HZ
    # the nodes of the span and one on either side are enough
    low = max(first // NODE - 1, 0)
    high = min(last // NODE + 3, len(nodes_hz))
    nodes = np.minimum(np.maximum(nodes_hz[low:high], 1_000.0), limit)
    signal, ridge = demodulate(samples, begin + low * NODE * decimation, nodes, kernel, decimation, rate_hz)
    share = np.sum(NARROW**2)
    signal = smooth(signal, NARROW)[first - low * NODE : last + 1 - low * NODE]
    baseband_hz = rate_hz / decimation
    energy, expected, count = 0.0, 0.0, 0
    for i in range(len(signal)):
        frequency = ridge[first - low * NODE + i]
        if 2_000.0 < frequency < limit - 500.0:
            noise = 0.5 * density_at(frequency, floor, floor_bin_hz) * baseband_hz * share
            energy += signal[i].real ** 2 + signal[i].imag ** 2 - noise
            expected += noise
            count += 1
        else:
            signal[i] = 0.0
    # averaged samples hang together over about half a window
    independent = max(count / (0.6 * len(NARROW)), 1.0)
    factor = 2.0 / baseband_hz
    return factor * energy, factor * expected / np.sqrt(independent), signal, count >= 0.5 * len(signal)


@compiled
def _in_step(lower, reference, times):
    """Share of the lower harmonic's energy whose phase, taken ``times`` fold (2 or 3), keeps step with the reference."""
    together, total = 0j, 0.0
    for i in range(len(lower)):
        z = lower[i]
        size = np.sqrt(z.real * z.real + z.imag * z.imag)
        if size == 0.0:
            continue
        beat = z * z if times == 2 else z * z * z
        beat *= np.conj(reference[i])
        # the phase of the beat with the weight of both their amplitudes
        together += beat / (size if times == 2 else size * size)
        total += size * np.sqrt(reference[i].real * reference[i].real + reference[i].imag * reference[i].imag)
    return np.sqrt(together.real * together.real + together.imag * together.imag) / max(total, 1e-300)
