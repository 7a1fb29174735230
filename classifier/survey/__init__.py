"""The survey folder: measuring into it, its tables, its labels."""

from classifier.survey.folder import StoredLabels, Survey, open_survey
from classifier.survey.measuring import Progress, SurveyResult, measure_survey
from classifier.survey.tables import PULSE_SCHEMA, RECORDING_SCHEMA

__all__ = [
    "PULSE_SCHEMA",
    "RECORDING_SCHEMA",
    "Progress",
    "StoredLabels",
    "Survey",
    "SurveyResult",
    "measure_survey",
    "open_survey",
]
