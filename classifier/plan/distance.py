"""How far a call carries: from its source level, spherical spreading, absorption and the recorder's noise."""

import numpy as np

from classifier.errors import ParameterError
from classifier.plan.absorption import absorption_db_per_m
from classifier.plan.weather import Weather

#: Where source levels of bats are stated, metres from the mouth.
REFERENCE_DISTANCE_M = 0.1
#: Range for which ISO 9613-1 states its formula: frequencies of its tables, and the air (section 7 and annex A;
#: memory).
STANDARD_HZ = (50.0, 10_000.0)
STANDARD_CELSIUS = (-20.0, 50.0)
STANDARD_HUMIDITY_PERCENT = (10.0, 100.0)


def detection_distance_m(source_level_db, frequency_hz, least_level_db, weather=None):
    """Distance at which a call has faded to the least level that the recorder hears.

    The root r of

        source_level - 20 log10(r / 0.1 m) - absorption(frequency) * (r - 0.1 m) = least_level

    With a = absorption * ln(10) / 20 that is ln r + a r = c, whose one root is r = W(a exp c) / a, W being Lambert's
    function: exact, and for whole arrays at once. It is the distance on the axis of the bat's beam in still air.

    Parameters
    ----------
    source_level_db : float or array, dB SPL at 0.1 m
    frequency_hz : float or array, > 0
    least_level_db : float or array, dB SPL at the microphone
    weather : Weather; None takes the default night

    Returns
    -------
    float array of the broadcast shape (a float for floats), metres; 0 where not even 0.1 m is reached, NaN where an
    input is NaN

    Source: spherical spreading is standard acoustics; absorption as in [ISO9613-1]
    """
    from scipy.special import lambertw

    level, frequency, least = np.broadcast_arrays(
        np.asarray(source_level_db, float), np.asarray(frequency_hz, float), np.asarray(least_level_db, float)
    )
    if np.any(frequency <= 0):
        raise ParameterError("frequency_hz must be greater than 0 everywhere")
    known = ~np.isnan(frequency)
    per_metre = np.asarray(absorption_db_per_m(np.where(known, frequency, 1e4), weather), float)
    scale = np.log(10.0) / 20.0
    a = per_metre * scale
    c = (level - least) * scale + np.log(REFERENCE_DISTANCE_M) + a * REFERENCE_DISTANCE_M
    root = lambertw(a * np.exp(c)).real / a
    distance = np.where(level < least, 0.0, np.where(known, root, np.nan))
    distance = np.where(np.isnan(level) | np.isnan(least), np.nan, distance)
    return float(distance) if distance.ndim == 0 else distance


def least_level_db(settings) -> float:
    """The faintest sound, dB SPL at the microphone, that the recorder's trigger hears.

    Noise (of microphone, recorder and place) and the noise of quantisation are added as powers; the threshold stands
    over their sum. The noise of ideal samples of b bits lies 6.02 b + 1.76 dB under a full-scale sine (standard signal
    theory) and is spread over everything up to half the sample rate: all of it is counted here, which errs to the side
    of too short a distance for recorders of few bits; with the defaults and 16 bits it adds 0.2 dB.
    """
    quantisation_db = settings.full_scale_db - (6.02 * settings.bits + 1.76)
    noise_db = 10.0 * np.log10(10.0 ** (settings.noise_db / 10.0) + 10.0 ** (quantisation_db / 10.0))
    return float(noise_db + settings.level_threshold_db)


def beyond_the_standard(highest_khz: float, weather: Weather) -> list[str]:
    """Sentences that say where ISO 9613-1 is used past the range for which it is stated; empty inside it."""
    found = []
    if highest_khz * 1e3 > STANDARD_HZ[1]:
        found.append(
            "Absorption follows ISO 9613-1, which is stated up to 10 kHz: above that the formula is carried on. "
            "Ultrasound "
            "measured at 25 °C and 50 % humidity was absorbed less (by 23 % at 30 kHz, 13 % at 200 kHz; Lawrence "
            "& Simmons "
            "1982), so bats may be heard from somewhat farther than stated."
        )
    low, high = STANDARD_CELSIUS
    if not low <= weather.temperature_c <= high:
        found.append(f"{weather.temperature_c:g} °C lies outside the {low:g} to {high:g} °C of ISO 9613-1.")
    low, high = STANDARD_HUMIDITY_PERCENT
    if not low <= weather.humidity_percent <= high:
        found.append(f"{weather.humidity_percent:g} % humidity lies outside the {low:g} to {high:g} % of ISO 9613-1.")
    return found
