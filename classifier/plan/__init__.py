"""Planning a survey: how far calls carry, and what a recorder's settings would miss.

``planning.plan_survey`` makes the plan, ``advice.advise`` puts it into sentences, ``figure.draw_plan`` draws it;
``absorption`` and ``distance`` can be used by themselves. Only what the command line's help needs is imported here.
"""

from classifier.plan.settings import SETTINGS, Settings, read_settings
from classifier.plan.weather import Weather

__all__ = ["SETTINGS", "Settings", "Weather", "read_settings"]
