"""The model of one bat's pulses: how well a pulse continues a track, and the track that it makes.

A track remembers its last pulse, its rhythm, how much its calls vary, and one or two call types. All scores are
natural logarithms of likelihood over that of the pulse being a new bat's, so a gain above 0 speaks for the track.
The joint density of the frequencies is Student's t with a common shift, its spread learned along the track (normal
model with inverse-gamma variance); Bar-Shalom & Li 1995 give the frame, multiple-hypothesis tracking.

Pulses and tracks are rows of structured arrays, so that all of it is compiled.
"""

from dataclasses import fields
from math import exp, lgamma, log, pi

import numpy as np

from classifier.compiled import compiled
from classifier.passes.settings import PassSettings
from classifier.passes.traits import BETWEEN, BETWEEN_LEVEL, FLAT

#: What the search reads of a pulse: s, s, the traits of traits.py, dB (NaN if missing), log scores. ``era`` as in
#: across_files.py; ``new`` and ``edge`` are what it costs a bat to begin and to end here, ``echo`` the score as one.
PULSE = np.dtype([("time", "f8"), ("duration", "f8"), ("era", "i8"), ("value", "f8", 5), ("weight", "f8", 5),
                  ("lift", "f8", 5), ("level", "f8"), ("missed", "f8"), ("harmonic", "f8"), ("echo", "f8"),
                  ("new", "f8"), ("edge", "f8"), ("crossed", "i8")], align=True)
#: A track after its newest pulse. Rhythm as log seconds, NaN where unknown; call types in [0] (the newest) and [1]:
#: running means of their traits, the variances of these (NaN where nothing is known), and when they were last heard.
TRACK = np.dtype([("node", "i8"), ("pulse", "i8"), ("before", "i8"), ("count", "i8"), ("doubts", "i8"),
                  ("time", "f8"), ("duration", "f8"), ("era", "i8"), ("edge", "f8"),
                  ("length", "f8"), ("other_length", "f8"), ("wobble", "f8"), ("wobble_count", "f8"),
                  ("square", "f8"), ("values", "f8"), ("sway", "f8"), ("sways", "f8"), ("drift", "f8"), ("home", "f8"), ("stays", "f8"), ("switches", "f8"), ("types", "i8"),
                  ("mean", "f8", (2, 5)), ("unsure", "f8", (2, 5)), ("heard", "f8", 2), ("level", "f8", 2),
                  ("level_time", "f8", 2), ("harmonic", "f8", 2)], align=True)
_DERIVED = ("log_confirm", "log_break", "usual", "usual_width", "level_lift", "type_lift", "home_lift", "shift2", "change2",
            "wobble_most")
NUMBERS = np.dtype([(each.name, "f8") for each in fields(PassSettings)] + [(name, "f8") for name in _DERIVED])

_HALF_LOG_2PI = 0.5 * log(2 * pi)
_VALUES_MOST = 60
_FORM = 8
#: Student's t: log of the constant for df degrees of freedom (rows) and k values, without the spread.
_STUDENT = np.array([[0.0] * 4] + [[lgamma((df + k) / 2) - lgamma(df / 2) - k / 2 * log(df * pi) for k in range(4)]
                                   for df in range(1, _VALUES_MOST + 1)])
#: A pulse so far (per cent) from every call type of a track is not weighed at all.
_FAR = 90.0
_QUICK = log(0.025)
_APPROACH = log(0.06)
IMPOSSIBLE = -50.0
#: Numbers of intervals that are none: a break; the rhythm begun by the break before it is taken up.
BREAK, TAKEN_UP = 0, 99


def numbers(settings: PassSettings):
    """The settings and what follows from them as one row of NUMBERS, for compiled code."""
    row = np.zeros(1, NUMBERS)
    for each in fields(settings):
        row[each.name] = getattr(settings, each.name)
    row["log_confirm"], row["log_break"] = log(settings.confirm_share), log(settings.break_share)
    row["usual"] = log(settings.usual_interval_s)
    row["usual_width"] = log(settings.usual_interval_spread) + _HALF_LOG_2PI
    row["level_lift"] = log(BETWEEN_LEVEL) + FLAT - _HALF_LOG_2PI
    row["type_lift"] = log(BETWEEN[0]) + FLAT - log(settings.type_percent) - _HALF_LOG_2PI
    row["home_lift"] = log(BETWEEN[0]) + FLAT - log(settings.same_bat_percent) - _HALF_LOG_2PI
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
def rhythm(track, pulse, number):
    """Log density per second of the interval to ``pulse``, the number of intervals it spans, and the misfit.

    The number is BREAK for a break, negative where the rhythm turns out to be a half or a third of what was
    thought, TAKEN_UP where the pulse takes up the rhythm begun by the break before it.
    """
    if pulse.era != track.era:
        return 0.0, BREAK, 0.0
    interval = pulse.time - track.time
    if interval < number.shortest_interval_s or interval < 0.9 * track.duration:
        return IMPOSSIBLE, BREAK, 0.0
    now = log(interval)
    z = (now - number.usual) / number.usual_interval_spread
    broad = -0.5 * z * z - now - number.usual_width
    length = track.length
    if np.isnan(length):
        return broad, 1, 0.0
    # After an attempt at prey the bat pauses and goes back to searching.
    pause = length < _QUICK and interval > number.buzz_pause_s
    broken = log(number.pause_share) if pause else number.log_break
    best, spans, misfit = broken + broad - (1.5 if now < length - 0.7 else 0.0), BREAK, 0.0
    wobble = min(track.wobble / track.wobble_count, number.wobble_most)
    skip = number.skip_share + pulse.missed
    half = number.half_share
    once = 1.0 - skip - 2 * half
    ratio = exp(now - length)
    times = int(ratio + 0.5)
    for choice in range(3):
        if ratio < 0.75:
            span = (1, -2, -3)[choice]
            factor = (1.0, 1 / 2, 1 / 3)[choice]
            share = (once, half, half / 3)[choice]
        else:
            span = times - choice
            if choice == 2 or span < 1 or times > 12:
                break
            factor = float(span)
            share = once
            if span > 1:
                share = (1 - skip) * skip ** (span - 1)
        off = now - length - log(factor)
        variance = wobble / max(factor, 1.0) + 1e-4
        score = log(share) - 0.5 * off * off / variance - 0.5 * log(variance) - _HALF_LOG_2PI - now
        if score > best:
            best, spans, misfit = score, span, off
    if not np.isnan(track.other_length):
        off = now - track.other_length
        variance = wobble + 0.01
        score = log(0.4) - 0.5 * off * off / variance - 0.5 * log(variance) - _HALF_LOG_2PI - now
        if score > best:
            best, spans, misfit = score, TAKEN_UP, off
    return best, spans, misfit


@compiled
def gain(track, pulse, number):
    """(gain, place, square, values, shift, spans, misfit) of continuing ``track`` with ``pulse``.

    The gain is -inf where one bat cannot have made both. ``place`` is the call type, -1 a new one; the others are
    what ``extend`` needs: square of the misfit, number of frequencies compared, harmonic shift, and the rhythm's.
    """
    nothing = (-np.inf, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    if pulse.weight[0] > 0 and not np.isnan(track.unsure[0, 0]) and abs(pulse.value[0] - track.mean[0, 0]) > _FAR:
        return nothing
    beat, spans, misfit = rhythm(track, pulse, number)
    if beat <= IMPOSSIBLE:
        return nothing
    quick = track.length < _QUICK
    total = track.stays + track.switches
    best, place, square, values, shift, moment, weights = -1e18, -1, 0.0, 0, 0.0, 0.0, 0.0
    for kind in range(track.types):
        same, lost, moved, left, compared, step, mo, we = _agreement(track, kind, pulse, quick, 0.0, number)
        if kind > 0:
            turn = log(track.switches / total)
        else:
            turn = log(track.stays / total) * (1.0 if track.types > 1 else 0.5)
            # Only where the pulse fits badly can a changed call explain it better.
            if lost < -1.5:
                change = _change(track, pulse, same + turn - lost, moved, step, number)
                if change > best:
                    best, place, square, values, shift, moment, weights = change, -1, 0.0, 0, 0.0, 0.0, 0.0
        if pulse.crossed:
            torn = _agreement(track, kind, pulse, quick, number.overlapped_percent**2, number)
            same += log(1 - number.overlapped_share)
            if torn[0] + log(number.overlapped_share) > same:
                same, lost, moved, left, compared, step, mo, we = torn
                same, we = same + log(number.overlapped_share), 0.0
        same += turn
        if same > best:
            best, place, square, values, shift, moment, weights = same, kind, left, compared, step, mo, we
    if track.count == 1:
        best += number.log_confirm
    return best + beat, float(place), square, float(values), shift, float(spans), misfit, moment, weights


@compiled
def _level_gain(track, kind, pulse, factor, number):
    """What the level speaks for one bat, robust against a turned head."""
    if np.isnan(pulse.level) or np.isnan(track.level[kind]):
        return 0.0
    variance = (factor * number.level_db) ** 2 + (number.level_db_per_s * (pulse.time - track.level_time[kind])) ** 2
    away = pulse.level - track.level[kind]
    return number.level_lift - 0.5 * log(variance) - 1.5 * log(1 + away * away / (2 * variance))


@compiled
def _change(track, pulse, perfect, moved, shift, number):
    """Gain if the bat has changed its call: as a whole to another frequency, or to a call type not heard before.

    perfect : the gain if the frequencies had agreed exactly; moved : their square about a free common shift
    """
    share = log((number.change_prior + number.change_share * track.count) / (3.0 + track.count))
    level = _level_gain(track, 0, pulse, 2.0, number)
    best = perfect + share + level - _level_gain(track, 0, pulse, 1.0, number) + moved
    if pulse.weight[0] > 0 and not np.isnan(track.unsure[0, 0]):
        away = (pulse.value[0] - track.mean[0, 0] - shift) / number.type_percent
        best = max(best, number.type_lift - 0.5 * away * away + share + level)
        if track.length < _QUICK and pulse.time - track.time > number.buzz_pause_s and not np.isnan(track.home):
            back = (pulse.value[0] - track.home - shift) / number.same_bat_percent
            back = number.home_lift - 0.5 * back * back + log(number.pause_share) + level
            best = max(best, back)
    return best


@compiled
def _agreement(track, kind, pulse, quick, extra, number):
    """How the traits agree: (gain, its part lost to misfit of frequencies, that part if the call has moved as a
    whole, square of the misfit, number of frequencies compared, harmonic shift)."""
    shift = 0.0
    if pulse.harmonic != track.harmonic[kind]:
        step = pulse.harmonic - track.harmonic[kind]
        away = pulse.value[0] - track.mean[kind, 0]
        if abs(away - step) < abs(away):
            shift = step
    since = pulse.time - track.level_time[kind]
    drift = track.drift * min(since, 0.5)
    square = weights = moment = worth = form = 0.0
    values = forms = 0
    for trait in range(5):
        weight = pulse.weight[trait]
        if weight == 0 or np.isnan(track.unsure[kind, trait]):
            continue
        away = pulse.value[trait] - track.mean[kind, trait] - (shift + drift if trait < 4 else 0.0)
        worth += pulse.lift[trait]
        # The mean is unsure, the more the longer ago; in an approach everything changes.
        wide = 1 + weight * (extra + track.unsure[kind, trait] + _wander(trait, number) * since) + (4.0 if quick else 0.0)
        worth -= 0.5 * log(wide)
        weight /= wide
        if trait < 3:
            square += weight * away * away
            moment += weight * away
            weights += weight
            values += 1
        else:
            form += weight * away * away
            forms += 1
    worth += _STUDENT[_FORM, forms] - 0.5 * (_FORM + forms) * log(1 + form / _FORM)
    spread = track.square
    worth += _STUDENT[int(track.values), values] - 0.5 * values * log(spread / track.values)
    worth += _level_gain(track, kind, pulse, 1.0, number)
    power = -0.5 * (track.values + values)
    shift2 = track.sway / track.sways
    common = 1.0 + shift2 * weights
    left = (square - moment * moment * shift2 / common)
    fall = power * log(1 + left / spread)
    moved = 0.0
    if fall < -1.5:
        wide = 1.0 + number.change2 * weights
        rest = (square - moment * moment * number.change2 / wide)
        moved = power * log(1 + rest / spread) - 0.5 * log(wide / common)
    return worth - 0.5 * log(common) + fall, fall, moved, left, values, shift, moment, weights


@compiled
def _wander(trait, number):
    """How fast the mean of a trait moves on, per cent squared a second."""
    if trait < 3:
        return number.wander_percent**2
    return number.form_wander_percent**2


@compiled
def extend(track, pulse, index, place, square, values, shift, spans, misfit, moment, weights, number):
    """Continue ``track`` in place with ``pulse``, by the choice that ``gain`` returned."""
    quick = track.length < _QUICK
    since = pulse.time - track.level_time[max(place, 0)]
    _keep_time(track, pulse, spans, misfit)
    prior = number.prior_values
    track.square = max((track.square - prior) * 0.96 + min(square, 3.0 * values), 0.0) + prior
    track.values = min((track.values - prior) * 0.96 + values + prior, _VALUES_MOST)
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
        before = track.unsure[0, trait] + _wander(trait, number) * since
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
