"""What share of a taxon's calls a recorder's settings would miss, and why."""

from dataclasses import dataclass

import numpy as np

from classifier.plan.calls import Calls
from classifier.plan.settings import CONTINUOUS

ABOVE_NYQUIST = "above half the sample rate"
BELOW_BAND = "below the trigger floor"
ABOVE_BAND = "above the trigger ceiling"
TOO_SHORT = "shorter than the shortest event"


@dataclass(frozen=True)
class Misses:
    """Shares (0 to 1) of a taxon's calls; None where the key does not say enough.

    above_nyquist, below_band, above_band : the call's strongest frequency lies there, so that it triggers nothing
    too_short : shorter than the shortest event
    missed : for at least one of these reasons. Where a reason is not known this counts the known ones alone and
        ``complete`` is False: the share is a lower bound. None where no reason is known.
    cut : the call triggers, and the top of its sweep lies above half the sample rate: it is recorded in part, and its
        start frequency is wrong
    """

    above_nyquist: float | None
    below_band: float | None
    above_band: float | None
    too_short: float | None
    missed: float | None
    complete: bool
    cut: float | None

    @property
    def reasons(self) -> dict[str, float]:
        """The reasons that cost anything, the costliest first."""
        shares = {
            ABOVE_NYQUIST: self.above_nyquist,
            BELOW_BAND: self.below_band,
            ABOVE_BAND: self.above_band,
            TOO_SHORT: self.too_short,
        }
        return dict(sorted(((why, share) for why, share in shares.items() if share), key=lambda each: -each[1]))


def misses_of(calls: Calls, settings) -> Misses:
    """Hold calls against the settings of a recorder.

    A call counts as missed where it would not trigger a recording by itself. Others of the same pass may trigger, and
    then it is recorded after all: shares are of calls, not of passes. Where recording is continuous nothing has to
    trigger, and only what lies above half the sample rate is lost.
    """
    strongest, duration = calls.strongest_khz, calls.duration_ms
    triggered = settings.recording != CONTINUOUS
    beyond = strongest >= settings.nyquist_khz
    below = triggered & (strongest < settings.trigger_floor_khz)
    above = triggered & (strongest > settings.ceiling_khz) & ~beyond
    short = triggered & (duration < settings.shortest_event_ms)
    frequency_known = not np.isnan(strongest).any()
    duration_known = not triggered or not np.isnan(duration).any()
    top_known = not np.isnan(calls.highest_khz).any()
    missed = beyond | below | above | short
    cut = (calls.highest_khz > settings.nyquist_khz) & ~missed

    def share(which, known):
        return float(np.mean(which)) if known else None

    return Misses(
        share(beyond, frequency_known),
        share(below, frequency_known),
        share(above, frequency_known),
        share(short, duration_known),
        share(missed, frequency_known or duration_known),
        frequency_known and duration_known,
        share(cut, top_known),
    )
