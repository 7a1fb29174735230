"""Planning a survey: how far calls carry, and what a recorder's settings would miss."""

from classifier.plan.absorption import Weather, absorption_db_per_m, speed_of_sound_m_s

__all__ = ["Weather", "absorption_db_per_m", "speed_of_sound_m_s"]
