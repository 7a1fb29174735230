"""The model of one bat's pulses: how well a pulse continues a track, and the track that it makes.

A track remembers its last pulse, its rhythm, how much its calls vary, and one or two call types. All scores are
natural logarithms of likelihood over that of the pulse being a new bat's, so a gain above 0 speaks for the track.
The joint density of the frequencies is Student's t with a common shift, its spread learned along the track (normal
model with inverse-gamma variance); Bar-Shalom & Li 1995 give the frame, multiple-hypothesis tracking.
"""

from math import exp, lgamma, log, pi

from classifier.passes.traits import BETWEEN, BETWEEN_LEVEL, FLAT

_HALF_LOG_2PI = 0.5 * log(2 * pi)
_VALUES_MOST = 60
_FORM = 8
#: Student's t: log of the constant for df degrees of freedom and k values, without the spread.
_STUDENT = [[lgamma((df + k) / 2) - lgamma(df / 2) - k / 2 * log(df * pi) for k in range(4)]
            for df in range(1, _VALUES_MOST + 2)]
_STUDENT.insert(0, None)
#: A pulse so far (per cent) from every call type of a track is not weighed at all.
_FAR = 90.0
_QUICK = log(0.025)
_IMPOSSIBLE = -50.0


class Pulse:
    """What the search reads of a pulse; plain numbers, made once."""

    __slots__ = ("duration", "echo", "edge", "era", "harmonic", "index", "level", "lift", "missed", "new", "time",
                 "value", "weight")

    def __init__(self, index, time, duration, era, value, weight, lift, level, missed, harmonic, echo, new, edge):
        self.index, self.time, self.duration, self.era = index, time, duration, era
        self.value, self.weight, self.lift = value, weight, lift
        self.level, self.missed, self.harmonic, self.echo = level, missed, harmonic, echo
        self.new, self.edge = new, edge


class CallType:
    """A call type of a track: running means of its traits, which of them are known, and when it was last heard."""

    __slots__ = ("count", "harmonic", "known", "level", "mean", "time")

    def __init__(self, mean, known, count, level, time, harmonic):
        self.mean, self.known, self.count = mean, known, count
        self.level, self.time, self.harmonic = level, time, harmonic


class Track:
    """A track after its newest pulse; ``parent`` is the track before it."""

    __slots__ = ("count", "duration", "edge", "era", "index", "key", "length", "other_length", "parent", "doubts",
                 "square", "stays", "switches", "time", "types", "values", "wobble", "wobble_count")


class Model:
    """Gains and continuations for one PassSettings."""

    def __init__(self, settings):
        self.settings = settings
        self.log_confirm = log(settings.confirm_share)
        self.log_break = log(settings.break_share)
        self.usual = log(settings.usual_interval_s)
        self.usual_width = log(settings.usual_interval_spread) + _HALF_LOG_2PI
        self.level_lift = log(BETWEEN_LEVEL) + FLAT - _HALF_LOG_2PI
        self.type_lift = log(BETWEEN[0]) + FLAT - log(settings.type_percent) - _HALF_LOG_2PI
        self.shift2 = settings.shift_percent**2
        self.change2 = settings.change_percent**2
        self.wobble_most = settings.interval_spread_most**2

    def start(self, pulse):
        """The track of a bat first heard with ``pulse``."""
        track = Track()
        track.parent, track.index, track.key, track.count = None, pulse.index, (pulse.index, -1), 1
        track.time, track.duration, track.era, track.edge = pulse.time, pulse.duration, pulse.era, pulse.edge
        track.length = track.other_length = None
        track.wobble, track.wobble_count = 4.0 * self.settings.interval_spread**2, 4.0
        track.square = track.values = self.settings.prior_values
        track.stays, track.switches, track.doubts = 3.0, 1.0, 0
        track.types = (self._new_type(pulse),)
        return track

    @staticmethod
    def _new_type(pulse):
        return CallType(pulse.value, tuple(weight > 0 for weight in pulse.weight), 1, pulse.level, pulse.time,
                        pulse.harmonic)

    def rhythm(self, track, pulse):
        """Log density per second of the interval to ``pulse``, the number of intervals it spans, and the misfit.

        The number is 0 for a break, negative where the rhythm turns out to be a half or a third of what was
        thought, 99 where the pulse takes up the rhythm begun by the break before it.
        """
        settings = self.settings
        if pulse.era != track.era:
            return 0.0, 0, 0.0
        interval = pulse.time - track.time
        if interval < settings.shortest_interval_s or interval < 0.9 * track.duration:
            return _IMPOSSIBLE, 0, 0.0
        now = log(interval)
        z = (now - self.usual) / settings.usual_interval_spread
        broad = -0.5 * z * z - now - self.usual_width
        length = track.length
        if length is None:
            return broad, 1, 0.0
        best, spans, misfit = self.log_break + broad - (1.5 if now < length - 0.7 else 0.0), 0, 0.0
        wobble = min(track.wobble / track.wobble_count, self.wobble_most)
        skip = settings.skip_share + pulse.missed
        half = settings.half_share
        once = 1.0 - skip - 2 * half
        ratio = exp(now - length)
        if ratio < 0.75:
            choices = ((1, 1.0, once), (-2, 0.5, half), (-3, 1 / 3, half / 3))
        else:
            times = int(ratio + 0.5)
            if times == 1:
                choices = ((1, 1.0, once),)
            elif times <= 12:
                fewer = (1 - skip) * skip ** (times - 2) if times > 2 else once
                choices = ((times, float(times), (1 - skip) * skip ** (times - 1)), (times - 1, times - 1.0, fewer))
            else:
                choices = ()
        for number, factor, share in choices:
            off = now - length - log(factor)
            variance = wobble / (factor if factor > 1 else 1.0) + 1e-4
            score = log(share) - 0.5 * off * off / variance - 0.5 * log(variance) - _HALF_LOG_2PI - now
            if score > best:
                best, spans, misfit = score, number, off
        if track.other_length is not None:
            off = now - track.other_length
            variance = wobble + 0.01
            score = log(0.4) - 0.5 * off * off / variance - 0.5 * log(variance) - _HALF_LOG_2PI - now
            if score > best:
                best, spans, misfit = score, 99, off
        return best, spans, misfit

    def gain(self, track, pulse):
        """(gain, how) of continuing ``track`` with ``pulse``; None where one bat cannot have made both."""
        first = track.types[0]
        if abs(pulse.value[0] - first.mean[0]) > _FAR and pulse.weight[0] and first.known[0]:
            return None
        rhythm, spans, misfit = self.rhythm(track, pulse)
        if rhythm <= _IMPOSSIBLE:
            return None
        quick = track.length is not None and track.length < _QUICK
        total = track.stays + track.switches
        two = len(track.types) > 1
        best, how = -1e18, None
        for place, kind in enumerate(track.types):
            same, lost, moved, square, values, shift = self._agreement(track, kind, pulse, quick)
            if place == 0:
                same += log(track.stays / total) * (1.0 if two else 0.5)
                # Only where the pulse fits badly can a changed call explain it better.
                if lost < -1.5:
                    change = self._change(track, kind, pulse, same - lost, moved, values, shift)
                    if change > best:
                        best, how = change, (-1, 0.0, 0, 0.0)
            else:
                same += log(track.switches / total)
            if same > best:
                best, how = same, (place, square, values, shift)
        if track.count == 1:
            best += self.log_confirm
        return best + rhythm, (how, spans, misfit)

    def _level_gain(self, kind, pulse, factor):
        """What the level speaks for one bat, robust against a turned head."""
        if pulse.level is None or kind.level is None:
            return 0.0
        settings = self.settings
        variance = (factor * settings.level_db) ** 2 + (settings.level_db_per_s * (pulse.time - kind.time)) ** 2
        away = pulse.level - kind.level
        return self.level_lift - 0.5 * log(variance) - 1.5 * log(1 + away * away / (2 * variance))

    def _change(self, track, kind, pulse, perfect, moved, values, shift):
        """Gain if the bat has changed its call: as a whole to another frequency, or to a call type not heard before.

        perfect : the gain if the frequencies had agreed exactly; moved : their square about a free common shift
        """
        settings = self.settings
        share = log((settings.change_prior + settings.change_share * track.count) / (3.0 + track.count))
        level = self._level_gain(kind, pulse, 2.0)
        best = perfect + share + level - self._level_gain(kind, pulse, 1.0) + moved
        if pulse.weight[0] and kind.known[0]:
            away = (pulse.value[0] - kind.mean[0] - shift) / settings.type_percent
            best = max(best, self.type_lift - 0.5 * away * away + share + level)
        return best

    def _agreement(self, track, kind, pulse, quick):
        """How the traits agree: (gain, its part lost to misfit of frequencies, that part if the call has moved as a
        whole, square of the misfit, number of frequencies compared, harmonic shift)."""
        value, weight, lift, mean, known = pulse.value, pulse.weight, pulse.lift, kind.mean, kind.known
        shift = 0.0
        if pulse.harmonic != kind.harmonic:
            step = pulse.harmonic - kind.harmonic
            if abs(value[0] - mean[0] - step) < abs(value[0] - mean[0]):
                shift = step
        unsure = max(1.0 / kind.count, 0.25) + 0.3 * (pulse.time - kind.time) + (4.0 if quick else 0.0)
        shrink = 1.0 / (1.0 + unsure)
        log_shrink = log(shrink)
        square = weights = moment = worth = form = 0.0
        values = forms = 0
        for trait in (0, 1, 2):
            w = weight[trait]
            if w and known[trait]:
                d = value[trait] - mean[trait] - shift
                wd = w * d
                square += wd * d
                moment += wd
                weights += w
                worth += lift[trait]
                values += 1
        w = weight[3]
        if w and known[3]:
            d = value[3] - mean[3] - shift
            form = d * d * w
            worth += lift[3]
            forms = 1
        w = weight[4]
        if w and known[4]:
            d = value[4] - mean[4]
            form += d * d * w
            worth += lift[4]
            forms += 1
        worth += (_STUDENT[_FORM][forms] + 0.5 * (values + forms) * log_shrink
                  - 0.5 * (_FORM + forms) * log(1 + form * shrink / _FORM))
        spread, df = track.square, int(track.values)
        worth += _STUDENT[df][values] - 0.5 * values * log(spread / track.values)
        if pulse.level is not None and kind.level is not None:
            worth += self._level_gain(kind, pulse, 1.0)
        power = -0.5 * (track.values + values)
        common = 1.0 + self.shift2 * weights
        left = (square - moment * moment * self.shift2 / common) * shrink
        fall = power * log(1 + left / spread)
        moved = 0.0
        if fall < -1.5:
            wide = 1.0 + self.change2 * weights
            rest = (square - moment * moment * self.change2 / wide) * shrink
            moved = power * log(1 + rest / spread) - 0.5 * log(wide / common)
        return worth - 0.5 * log(common) + fall, fall, moved, left, values, shift

    def extend(self, track, pulse, choice):
        """The track that ``pulse`` makes of ``track``, by the choice that ``gain`` returned."""
        (place, square, values, shift), spans, misfit = choice
        settings = self.settings
        new = Track()
        new.parent, new.index, new.key, new.count = track, pulse.index, (pulse.index, track.index), track.count + 1
        new.time, new.duration, new.era, new.edge = pulse.time, pulse.duration, pulse.era, pulse.edge
        self._keep_time(new, track, pulse, spans, misfit)
        prior = settings.prior_values
        new.square = max((track.square - prior) * 0.96 + min(square, 3.0 * values), 0.0) + prior
        new.values = min((track.values - prior) * 0.96 + values + prior, _VALUES_MOST)
        new.stays, new.switches = track.stays, track.switches
        new.doubts = track.doubts + (place != 0 or square > 10.0 * max(values, 1) or spans in (0, -3, 99))
        if place < 0:
            new.types = (self._new_type(pulse), track.types[0])
            new.switches = 0.95 * track.switches + 1
            return new
        kind = track.types[place]
        pace = 0.6 if track.length is not None and track.length < _QUICK else max(1.0 / (kind.count + 1), 0.2)
        mean, known = list(kind.mean), list(kind.known)
        for trait in range(5):
            if pulse.weight[trait]:
                now = pulse.value[trait] - (shift if trait < 4 else 0.0)
                mean[trait] = mean[trait] + pace * (now - mean[trait]) if known[trait] else now
                known[trait] = True
        level = kind.level if pulse.level is None else pulse.level
        fresh = CallType(tuple(mean), tuple(known), kind.count + 1, level, pulse.time, kind.harmonic)
        if place == 0:
            new.types = (fresh, *track.types[1:])
            if len(track.types) > 1:
                new.stays = 0.95 * track.stays + 1
        else:
            new.types = (fresh, track.types[0])
            new.switches = 0.95 * track.switches + 1
        return new

    def _keep_time(self, new, track, pulse, spans, misfit):
        """Carry the rhythm on: slow to change, quick in an approach, two at a time after a break."""
        new.length, new.other_length = track.length, None
        new.wobble, new.wobble_count = track.wobble, track.wobble_count
        if pulse.era != track.era:
            return
        now = log(pulse.time - track.time)
        if track.length is None or spans < -1:
            new.length = now
        elif spans == 0:
            new.other_length = now
        elif spans == 99:
            new.length = track.other_length + 0.5 * misfit
        else:
            # Nothing missed can shorten an interval: a shorter one is news, the approach to prey.
            pace = 0.8 if misfit < -0.18 else 0.5 if track.count <= 2 else 0.4 if track.length > -3.2 else 0.7
            new.length = track.length + pace * misfit
            new.wobble = 0.9 * track.wobble + min(misfit * misfit * max(spans, 1), 0.25)
            new.wobble_count = 0.9 * track.wobble_count + 1
