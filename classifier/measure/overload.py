"""What a recorder takes away when it is driven beyond full scale, and how to put it back.

A sine of amplitude A whose tops are cut off at 1 keeps a sine of its own frequency, of amplitude
F(A) = 2/pi (A asin(1/A) + sqrt(1 - 1/A^2)) (describing function of a limiter, Gelb & Vander Velde 1968; from memory), and
harmonics beside it. Along its ridge a pulse is such a sine; so what was cut off follows from what is left, as long as that still
rises with A: F(1) = 1, and it never comes to 4/pi.
"""

import numpy as np

from classifier.compiled import compiled

#: Amplitudes are put back up to this many times full scale (9.5 dB); beyond, what is left hardly changes any more.
MOST = 3.0
#: Newton's steps to the amplitude, which leave less than a millionth.
_STEPS = 8
#: Samples over this were not cut off at 1: a file of floating-point numbers holds them.
_UNLIMITED = 1.0001


@compiled
def kept(amplitude):
    """Amplitude that is left of a sine, and how fast it rises with the sine's own; full scale 1."""
    if amplitude <= 1.0:
        return amplitude, 1.0
    ratio = 1.0 / amplitude
    angle, root = np.arcsin(ratio), np.sqrt(1.0 - ratio * ratio)
    return 2 / np.pi * amplitude * (angle + ratio * root), 2 / np.pi * (angle - ratio * root)


@compiled
def before_limit(left):
    """Amplitude of the sine of which ``left`` is kept, at most MOST."""
    if left <= 1.0:
        return left
    amplitude = 1.0
    for _ in range(_STEPS):
        have, rise = kept(amplitude)
        amplitude = min(amplitude + (left - have) / max(rise, 1e-3), MOST)
    return amplitude


@compiled
def restore(signal, noise, recorded):
    """Put back in place what was cut off a demodulated pulse.

    Parameters
    ----------
    signal : complex128, shape (n,), half the pulse's amplitude, with its phase
    noise : float64, shape (n,), mean noise power of each sample; in place made that of the phase
    recorded : float32, the recording from which it was demodulated

    Returns
    -------
    factor : float64, shape (n,), by which each sample was multiplied: 1 where nothing was cut off
    amplitude_noise : float64, shape (n,), mean noise power as the amplitude has it: the flatter the tops, the less they say
    """
    n = len(signal)
    factor, amplitude_noise = np.ones(n), noise.copy()
    highest = 0.0
    for i in range(n):
        highest = max(highest, signal[i].real ** 2 + signal[i].imag ** 2)
    if 4.0 * highest <= 1.0 or np.abs(recorded).max() > _UNLIMITED:
        return factor, amplitude_noise
    for i in range(n):
        left = 2.0 * np.sqrt(signal[i].real ** 2 + signal[i].imag ** 2)
        if left > 1.0:
            amplitude = before_limit(left)
            factor[i] = amplitude / left
            amplitude_noise[i] /= kept(amplitude)[1] ** 2
            signal[i] *= factor[i]
            noise[i] *= factor[i] ** 2
    return factor, amplitude_noise
