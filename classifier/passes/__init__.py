"""Pulses to passes: each bat followed through time and frequency. Knows tables and numbers, no files."""

from classifier.passes.follow import Followed, follow
from classifier.passes.settings import PassSettings

__all__ = ["Followed", "PassSettings", "follow"]
