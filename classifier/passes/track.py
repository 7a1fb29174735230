"""The track that one bat's pulses make: what it remembers, how it begins, how a pulse carries it on.

A track remembers its last pulse, its rhythm, how much its calls vary, and one or two call types (``gains`` weighs how well
a further pulse would fit). Pulses and tracks are rows of structured arrays, so that all of it is compiled.
"""

from dataclasses import fields
from math import log, pi

import numpy as np

from classifier.compiled import compiled
from classifier.passes.settings import PassSettings
from classifier.passes.traits import BETWEEN, BETWEEN_LEVEL, FLAT

#: What the search reads of a pulse: s, s, the traits of traits.py, dB (NaN if missing), log scores. ``era`` as in
#: across_files.py; ``new`` and ``edge`` are what it costs a bat to begin and to end here, ``echo`` the score as one.
PULSE = np.dtype(
    [
        ("time", "f8"),
        ("duration", "f8"),
        ("era", "i8"),
        ("value", "f8", 5),
        ("weight", "f8", 5),
        ("lift", "f8", 5),
        ("level", "f8"),
        ("missed", "f8"),
        ("harmonic", "f8"),
        ("echo", "f8"),
        ("new", "f8"),
        ("edge", "f8"),
        ("crossed", "i8"),
    ],
    align=True,
)
#: A track after its newest pulse. Rhythm as log seconds, NaN where unknown; call types in [0] (the newest) and [1]:
#: running means of their traits, the variances of these (NaN where nothing is known), and when they were last heard.
TRACK = np.dtype(
    [
        ("node", "i8"),
        ("pulse", "i8"),
        ("before", "i8"),
        ("count", "i8"),
        ("doubts", "i8"),
        ("time", "f8"),
        ("duration", "f8"),
        ("era", "i8"),
        ("edge", "f8"),
        ("length", "f8"),
        ("other_length", "f8"),
        ("wobble", "f8"),
        ("wobble_count", "f8"),
        ("square", "f8"),
        ("values", "f8"),
        ("sway", "f8"),
        ("sways", "f8"),
        ("drift", "f8"),
        ("home", "f8"),
        ("stays", "f8"),
        ("switches", "f8"),
        ("types", "i8"),
        ("mean", "f8", (2, 5)),
        ("unsure", "f8", (2, 5)),
        ("heard", "f8", 2),
        ("level", "f8", 2),
        ("level_time", "f8", 2),
        ("harmonic", "f8", 2),
    ],
    align=True,
)
_DERIVED = (
    "log_confirm",
    "log_break",
    "usual",
    "usual_width",
    "level_lift",
    "type_lift",
    "home_lift",
    "shift2",
    "change2",
    "wobble_most",
)
NUMBERS = np.dtype([(each.name, "f8") for each in fields(PassSettings)] + [(name, "f8") for name in _DERIVED])

HALF_LOG_2PI = 0.5 * log(2 * pi)
#: Of frequencies compared along a track no more are counted, so that its spread may still change.
VALUES_MOST = 60
#: Log seconds: intervals shorter than these are a feeding buzz, and an approach to prey.
QUICK, _APPROACH = log(0.025), log(0.06)
#: Numbers of intervals that are none: a break; the rhythm begun by the break before it is taken up.
BREAK, TAKEN_UP = 0, 99


def numbers(settings: PassSettings):
    """The settings and what follows from them as one row of NUMBERS, for compiled code."""
    row = np.zeros(1, NUMBERS)
    for each in fields(settings):
        row[each.name] = getattr(settings, each.name)
    row["log_confirm"], row["log_break"] = log(settings.confirm_share), log(settings.break_share)
    row["usual"] = log(settings.usual_interval_s)
    row["usual_width"] = log(settings.usual_interval_spread) + HALF_LOG_2PI
    row["level_lift"] = log(BETWEEN_LEVEL) + FLAT - HALF_LOG_2PI
    row["type_lift"] = log(BETWEEN[0]) + FLAT - log(settings.type_percent) - HALF_LOG_2PI
    row["home_lift"] = log(BETWEEN[0]) + FLAT - log(settings.same_bat_percent) - HALF_LOG_2PI
    row["shift2"], row["change2"] = settings.shift_percent**2, settings.change_percent**2
    row["wobble_most"] = settings.interval_spread_most**2
    return row[0]


@compiled
def start(track, pulse, index, number):
    """Make ``track`` (a row of TRACK) that of a bat first heard with ``pulse``, whose place is ``index``."""
    track.pulse, track.before, track.count, track.doubts = index, -1, 1, 0
    track.time, track.duration, track.era, track.edge = pulse.time, pulse.duration, pulse.era, pulse.edge
    track.length = track.other_length = np.nan
    track.wobble, track.wobble_count = 4.0 * number.interval_spread**2, 4.0
    track.square = track.values = number.prior_values
    track.sway, track.sways, track.drift = number.prior_sways * number.shift_percent**2, number.prior_sways, 0.0
    track.stays, track.switches, track.types, track.home = 3.0, 1.0, 1, np.nan
    _first_of_type(track, pulse)


@compiled
def _first_of_type(track, pulse):
    for trait in range(5):
        track.mean[0, trait] = pulse.value[trait]
        # The variance of the mean, NaN where nothing is known.
        track.unsure[0, trait] = 1.0 / pulse.weight[trait] if pulse.weight[trait] > 0 else np.nan
    track.heard[0], track.level[0], track.level_time[0] = 1.0, pulse.level, pulse.time
    track.harmonic[0] = pulse.harmonic


@compiled
def wander(trait, number):
    """How fast the mean of a trait moves on, per cent squared a second."""
    if trait < 3:
        return number.wander_percent**2
    return number.form_wander_percent**2


@compiled
def extend(track, pulse, index, place, square, values, shift, spans, misfit, moment, weights, number):
    """Continue ``track`` in place with ``pulse``, by the choice that ``gain`` returned."""
    quick = track.length < QUICK
    since = pulse.time - track.level_time[max(place, 0)]
    _keep_time(track, pulse, spans, misfit)
    prior = number.prior_values
    track.square = max((track.square - prior) * 0.96 + min(square, 3.0 * values), 0.0) + prior
    track.values = min((track.values - prior) * 0.96 + values + prior, VALUES_MOST)
    if place != 0 or square > 10.0 * max(values, 1) or spans in (BREAK, -3, TAKEN_UP):
        track.doubts += 1
    track.before, track.pulse = track.pulse, index
    track.count += 1
    track.time, track.duration, track.era, track.edge = pulse.time, pulse.duration, pulse.era, pulse.edge
    if place != 0:
        _swap_types(track)
        track.types = 2
        track.switches = 0.95 * track.switches + 1
    elif track.types > 1:
        track.stays = 0.95 * track.stays + 1
    if place < 0:
        _first_of_type(track, pulse)
        return
    if weights == 0 and values > 0:
        # Torn by a crossing pulse: its frequencies tell nothing.
        track.level_time[0] = pulse.time
        track.heard[0] += 1
        return
    drift = track.drift * min(since, 0.5)
    if values > 0 and place >= 0:
        off = moment / weights
        if track.heard[0] > 2:
            track.sway = number.sway_memory * track.sway + min(off * off, 9.0)
            track.sways = number.sway_memory * track.sways + 1.0
            if pulse.era == track.era:
                track.drift += number.drift_pace * min(max(off, -2.0), 2.0) / max(since, 0.03)
                track.drift = min(max(track.drift, -4.0), 4.0)
    for trait in range(5):
        if pulse.weight[trait] == 0:
            continue
        now = pulse.value[trait] - (shift if trait < 4 else 0.0)
        if np.isnan(track.unsure[0, trait]):
            track.mean[0, trait], track.unsure[0, trait] = now, 1.0 / pulse.weight[trait]
            continue
        # A Kalman step; the common shift moves the mean of every frequency and is noise to it.
        noise = 1.0 / pulse.weight[trait]
        before = track.unsure[0, trait] + wander(trait, number) * since
        pace = 0.6 if quick else before / (before + noise)
        track.mean[0, trait] += drift if trait < 4 else 0.0
        track.mean[0, trait] += pace * (now - track.mean[0, trait])
        track.unsure[0, trait] = before * noise / (before + noise)
    if not np.isnan(pulse.level):
        track.level[0] = pulse.level
    track.level_time[0] = pulse.time
    track.heard[0] += 1


@compiled
def _swap_types(track):
    for trait in range(5):
        track.mean[0, trait], track.mean[1, trait] = track.mean[1, trait], track.mean[0, trait]
        track.unsure[0, trait], track.unsure[1, trait] = track.unsure[1, trait], track.unsure[0, trait]
    track.heard[0], track.heard[1] = track.heard[1], track.heard[0]
    track.level[0], track.level[1] = track.level[1], track.level[0]
    track.level_time[0], track.level_time[1] = track.level_time[1], track.level_time[0]
    track.harmonic[0], track.harmonic[1] = track.harmonic[1], track.harmonic[0]


@compiled
def _keep_time(track, pulse, spans, misfit):
    """Carry the rhythm on: slow to change, quick in an approach, two at a time after a break."""
    if track.length > _APPROACH:
        track.home = track.mean[0, 0]
    other, track.other_length = track.other_length, np.nan
    if pulse.era != track.era:
        return
    now = log(pulse.time - track.time)
    if np.isnan(track.length) or spans < -1:
        track.length = now
    elif spans == BREAK:
        track.other_length = now
    elif spans == TAKEN_UP:
        track.length = other + 0.5 * misfit
    else:
        # Nothing missed can shorten an interval: a shorter one is news, the approach to prey.
        pace = 0.8 if misfit < -0.18 else 0.5 if track.count <= 2 else 0.4 if track.length > -3.2 else 0.7
        track.length += pace * misfit
        track.wobble = 0.9 * track.wobble + min(misfit * misfit * max(spans, 1), 0.25)
        track.wobble_count = 0.9 * track.wobble_count + 1
