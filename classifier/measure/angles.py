"""Angles in turns, and the points of the unit circle: polynomials, which run eight at a time where the C library runs one.

Both are good to some 1e-10; the phase of the loudest pulse is known to 1e-4. And phases over time: from a frequency, and from a
signal.
"""

import numpy as np
from numpy.polynomial import Polynomial
from numpy.polynomial.chebyshev import Chebyshev

from classifier.compiled import compiled

#: Degrees at which cosine and sine, and the angle, are good to 1e-10, as polynomials of a square.
_CIRCLE_DEGREE, _ANGLE_DEGREE = 7, 9


def _of_square(function, degree, highest):
    """Coefficients, lowest power first, of the polynomial that goes through ``function`` at Chebyshev's points of the range
    from 0 to ``highest``."""
    return tuple(Chebyshev.interpolate(function, degree, [0.0, highest]).convert(kind=Polynomial).coef.tolist())


_COSINE = _of_square(lambda u: np.cos(2 * np.pi * np.sqrt(u)), _CIRCLE_DEGREE, 0.25)
_SINE = _of_square(lambda u: 2 * np.pi * np.sinc(2 * np.sqrt(u)), _CIRCLE_DEGREE, 0.25)
_ANGLE = _of_square(lambda u: np.arctan(np.sqrt(u)) / np.sqrt(u) / (2 * np.pi), _ANGLE_DEGREE, 1.0)


@compiled
def circle(turns):
    """Cosine and sine of an angle in turns."""
    r = turns - np.floor(turns + 0.5)
    u = r * r
    c, s = _COSINE, _SINE
    cosine = c[0] + u * (c[1] + u * (c[2] + u * (c[3] + u * (c[4] + u * (c[5] + u * (c[6] + u * c[7]))))))
    sine = s[0] + u * (s[1] + u * (s[2] + u * (s[3] + u * (s[4] + u * (s[5] + u * (s[6] + u * s[7]))))))
    return cosine, r * sine


@compiled
def turned(value, turns):
    """A complex number turned by so many turns."""
    cosine, sine = circle(turns)
    return complex(value.real * cosine - value.imag * sine, value.real * sine + value.imag * cosine)


@compiled
def angle(real, imaginary):
    """Angle of a complex number in turns, from -0.5 to 0.5; that of zero is 0."""
    x, y = abs(real), abs(imaginary)
    part = min(x, y) / max(x, y, 1e-300)
    u = part * part
    c = _ANGLE
    out = c[5] + u * (c[6] + u * (c[7] + u * (c[8] + u * c[9])))
    out = part * (c[0] + u * (c[1] + u * (c[2] + u * (c[3] + u * (c[4] + u * out)))))
    out = 0.25 - out if y > x else out
    out = 0.5 - out if real < 0.0 else out
    return -out if imaginary < 0.0 else out


@compiled
def turns_of(frequency_hz, rate_hz):
    """Phase in turns whose derivative is the given frequency, by the trapezoidal rule."""
    out = np.zeros(len(frequency_hz))
    for i in range(1, len(out)):
        out[i] = out[i - 1] + 0.5 * (frequency_hz[i] + frequency_hz[i - 1]) / rate_hz
    return out


@compiled
def unwrapped(signal, start):
    """Phase in turns without jumps, followed from the sample ``start`` both ways."""
    n = len(signal)
    out = np.empty(n)
    step = np.zeros(n)
    for i in range(1, n):
        turn = signal[i] * np.conj(signal[i - 1])
        step[i] = angle(turn.real, turn.imag)
    out[start] = angle(signal[start].real, signal[start].imag)
    for i in range(start + 1, n):
        out[i] = out[i - 1] + step[i]
    for i in range(start - 1, -1, -1):
        out[i] = out[i + 1] - step[i + 1]
    return out
