"""How well a pulse continues a track.

All scores are natural logarithms of likelihood over that of the pulse being a new bat's, so a gain above 0 speaks for the
track. The joint density of the frequencies is Student's t with a common shift, its spread learned along the track (normal
model with inverse-gamma variance); Bar-Shalom & Li 1995 give the frame, multiple-hypothesis tracking.
"""

from math import exp, lgamma, log, pi

import numpy as np

from classifier.compiled import compiled
from classifier.passes.track import BREAK, HALF_LOG_2PI, QUICK, TAKEN_UP, VALUES_MOST, wander

#: Degrees of freedom of the traits that tell the form of a call.
_FORM = 8
#: Student's t: log of the constant for df degrees of freedom (rows) and k values, without the spread.
_STUDENT = np.array(
    [[0.0] * 4]
    + [[lgamma((df + k) / 2) - lgamma(df / 2) - k / 2 * log(df * pi) for k in range(4)] for df in range(1, VALUES_MOST + 1)]
)
#: A pulse so far (per cent) from every call type of a track is not weighed at all.
_FAR = 90.0
#: The score of an interval that no bat leaves between its calls.
IMPOSSIBLE = -50.0


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
    pause = length < QUICK and interval > number.buzz_pause_s
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
        score = log(share) - 0.5 * off * off / variance - 0.5 * log(variance) - HALF_LOG_2PI - now
        if score > best:
            best, spans, misfit = score, span, off
    if not np.isnan(track.other_length):
        off = now - track.other_length
        variance = wobble + 0.01
        score = log(0.4) - 0.5 * off * off / variance - 0.5 * log(variance) - HALF_LOG_2PI - now
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
    quick = track.length < QUICK
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
        if track.length < QUICK and pulse.time - track.time > number.buzz_pause_s and not np.isnan(track.home):
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
        wide = 1 + weight * (extra + track.unsure[kind, trait] + wander(trait, number) * since) + (4.0 if quick else 0.0)
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
    left = square - moment * moment * shift2 / common
    fall = power * log(1 + left / spread)
    moved = 0.0
    if fall < -1.5:
        wide = 1.0 + number.change2 * weights
        rest = square - moment * moment * number.change2 / wide
        moved = power * log(1 + rest / spread) - 0.5 * log(wide / common)
    return worth - 0.5 * log(common) + fall, fall, moved, left, values, shift, moment, weights
