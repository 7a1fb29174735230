"""How fast the air takes sound away: pure-tone absorption after ISO 9613-1:1993, and the speed of sound."""

import numpy as np

from classifier.errors import ParameterError
from classifier.plan.weather import REFERENCE_PRESSURE_KPA, Weather

REFERENCE_TEMPERATURE_K = 293.15
TRIPLE_POINT_K = 273.16


def absorption_db_per_m(frequency_hz, weather=None):
    """Attenuation of a pure tone by the air itself, without spreading, in decibels per metre.

    ISO 9613-1 states its tables from 50 Hz to 10 kHz. **Above 10 kHz the formula is used here as an
    extrapolation**: its classical and relaxation terms go on unchanged. It then stands over what was measured
    with ultrasound at 25 °C and 50 % humidity (Lawrence & Simmons 1982): by 30 % at 30 kHz, 16 % at 200 kHz.
    The uncertainty that the standard claims inside its range (10 %) is not claimed here.

    Parameters
    ----------
    frequency_hz : float or float array of any shape, > 0
    weather : Weather; None takes the default night

    Returns
    -------
    float array of the same shape (a float for a float), dB/m, >= 0

    Raises
    ------
    ParameterError : a frequency is not greater than 0

    Source: ISO9613-1, equations 3 to 5 and B.2, B.3
    """
    weather = weather or Weather()
    frequency = np.asarray(frequency_hz, dtype=float)
    if np.any(~(frequency > 0.0)):
        raise ParameterError("frequency_hz must be greater than 0 everywhere")
    kelvin = weather.temperature_c + 273.15
    warmth = kelvin / REFERENCE_TEMPERATURE_K
    pressure = weather.pressure_kpa / REFERENCE_PRESSURE_KPA

    saturation = 10.0 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)
    vapour = weather.humidity_percent * saturation / pressure  # molar concentration of water vapour, percent
    oxygen_hz = pressure * (24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour))
    nitrogen_hz = pressure * warmth**-0.5 * (9.0 + 280.0 * vapour * np.exp(-4.170 * (warmth ** (-1 / 3) - 1.0)))

    squared = frequency**2
    classical = 1.84e-11 / pressure * np.sqrt(warmth)
    oxygen = 0.01275 * np.exp(-2239.1 / kelvin) / (oxygen_hz + squared / oxygen_hz)
    nitrogen = 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen_hz + squared / nitrogen_hz)
    result = 8.686 * squared * (classical + warmth**-2.5 * (oxygen + nitrogen))
    return float(result) if result.ndim == 0 else result


def speed_of_sound_m_s(temperature_c):
    """Speed of sound in air, 343.2 m/s at 20 °C and growing with the root of the absolute temperature.

    Source: ISO9613-1, equation A.5
    """
    return 343.2 * np.sqrt((np.asarray(temperature_c, dtype=float) + 273.15) / REFERENCE_TEMPERATURE_K)
