"""Echoes: delayed, weaker copies of a pulse, recognised among the pulses that follow it.

A copy comes soon after a louder pulse and keeps within its band; often it is torn, because copies from many leaves
arrive together. Two kinds of true calls look alike and are let be: the calls of a feeding buzz, which go on and on at a
steady pace and hardly weaken, and those of a second bat, whose calls are whole and are heard elsewhere as well.
"""

import numpy as np

#: Latest and earliest that an echo comes behind its pulse, in seconds.
LATEST_S = 0.030
EARLIEST_S = 0.0008
#: How much weaker an echo is at least, in dB, and how far it may leave the band of its pulse, in Hz.
WEAKER_DB = 1.5
BAND_SLACK_HZ = 3_000.0
#: So many pulses in a row at a steady pace are a buzz.
BUZZ_ROW = 4
#: A second bat is believed where so many of its calls are heard by themselves within this time.
ELSEWHERE = 2
ELSEWHERE_S = 0.6
ALIKE_DB = 7.0
#: A call of a second bat is whole: it holds to its ridge so well, and spans this share of the louder one's band.
WHOLE_PERCENT = 97.0
WHOLE_SHARE = 0.6
#: Below this a sound is torn; so much louder than its pulse may a bundle of echoes be, in dB.
TORN_PERCENT = 93.0
TORN_LOUDER_DB = 3.0


def find_echoes(found):
    """Which pulses are echoes of one before them.

    Parameters
    ----------
    found : dict of the pulses of one channel in order of onset, as from ``pulses.merged``

    Returns
    -------
    bool, shape (n,)
    """
    onset, level = found["onset"][0], found["level"][0]
    coherence, peak = found["coherence"][0], found["peak_frequency"][0]
    low, high = found["course"].min(axis=1), found["course"].max(axis=1)
    parent = np.full(len(onset), -1)
    for j in range(len(onset)):
        i = np.arange(np.searchsorted(onset, onset[j] - LATEST_S), j)
        torn = coherence[j] < TORN_PERCENT
        kept_in_band = (
            (low[j] > low[i] - 2 * BAND_SLACK_HZ)
            & (high[j] < high[i] + 2 * BAND_SLACK_HZ)
            & (high[j] - low[j] < 1.2 * (high[i] - low[i]) + BAND_SLACK_HZ)
        )
        # of a torn sound the ends are not to be trusted, and many copies together may be louder than one
        i = i[
            (onset[j] - onset[i] >= EARLIEST_S)
            & (level[j] <= level[i] + np.where(torn & (coherence[i] >= WHOLE_PERCENT), TORN_LOUDER_DB, -WEAKER_DB))
            & (peak[j] > low[i] - BAND_SLACK_HZ)
            & (peak[j] < high[i] + BAND_SLACK_HZ)
            & (torn | kept_in_band)
        ]
        if len(i):
            parent[j] = i[np.argmax(level[i])]
    echo = parent >= 0
    echo &= ~_buzzes(onset, level)
    alone = np.flatnonzero(~echo)
    for j in np.flatnonzero(echo):
        wide = high[parent[j]] - low[parent[j]]
        if coherence[j] < WHOLE_PERCENT or high[j] - low[j] < WHOLE_SHARE * wide:
            continue
        near = alone[np.searchsorted(onset[alone], onset[j] - ELSEWHERE_S) : np.searchsorted(onset[alone], onset[j] + ELSEWHERE_S)]
        like = (np.abs(level[near] - level[j]) < ALIKE_DB) & (np.abs(peak[near] - peak[j]) < BAND_SLACK_HZ)
        like &= coherence[near] >= WHOLE_PERCENT
        if like.sum() >= ELSEWHERE:
            echo[j] = False
    return echo


def _buzzes(onset, level):
    """True for members of rows of at least BUZZ_ROW + 1 pulses at a steady, quick pace and of like level."""
    out = np.zeros(len(onset), bool)
    begin = 0
    step = np.diff(onset)
    for j in range(1, len(onset) + 1):
        goes_on = (
            j < len(onset)
            and 2e-3 < step[j - 1] < LATEST_S
            and abs(level[j] - level[j - 1]) < ALIKE_DB
            and (j - 1 == begin or 0.65 < step[j - 1] / step[j - 2] < 1.4)
        )
        if not goes_on:
            if j - begin > BUZZ_ROW:
                out[begin:j] = True
            begin = j
    return out
