"""The air between bat and recorder."""

from dataclasses import dataclass

from classifier.errors import ParameterError

#: Pressure at sea level, to which ISO 9613-1 refers.
REFERENCE_PRESSURE_KPA = 101.325


@dataclass(frozen=True)
class Weather:
    """The air that sound travels through. Defaults: a mild damp night, at sea level (chosen)."""

    temperature_c: float = 12.0
    humidity_percent: float = 80.0
    pressure_kpa: float = REFERENCE_PRESSURE_KPA

    def __post_init__(self):
        if not -73.0 <= self.temperature_c <= 60.0:
            raise ParameterError(f"temperature_c must lie from -73 to 60 degrees Celsius, not {self.temperature_c:g}")
        if not 0.0 <= self.humidity_percent <= 100.0:
            raise ParameterError(f"humidity_percent must lie from 0 to 100, not {self.humidity_percent:g}")
        if not 30.0 <= self.pressure_kpa <= 200.0:
            raise ParameterError(f"pressure_kpa must lie from 30 to 200 kilopascals, not {self.pressure_kpa:g}")
