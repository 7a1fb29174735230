"""Recording to pulses: find, follow the ridge, describe, and say how sure that is."""

from classifier.measure.meter import measure_blocks
from classifier.measure.settings import MeasureSettings
from classifier.measure.table import pulse_schema

__all__ = ["MeasureSettings", "measure_blocks", "pulse_schema"]
