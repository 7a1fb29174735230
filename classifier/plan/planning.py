"""The plan as a whole: taxa against settings, distances, card space, and the settings that would lose least."""

import math
from dataclasses import dataclass, replace

import numpy as np

from classifier.key.syntax import Gap, Key
from classifier.key.units import unit
from classifier.plan.absorption import absorption_db_per_m
from classifier.plan.callers import LOUD, QUIET, Caller, callers_of
from classifier.plan.calls import Calls, calls_of
from classifier.plan.card import Space, space_of
from classifier.plan.distance import beyond_the_standard, detection_distance_m, least_level_db
from classifier.plan.misses import Misses, misses_of
from classifier.plan.schedule import Night, nights_of
from classifier.plan.settings import CONFINED, CONTINUOUS, TRIGGERED, Settings
from classifier.plan.weather import Weather

#: Sample rates that are held beside each other, kHz (rates that sound hardware commonly has).
RATES_KHZ = (192.0, 256.0, 320.0, 384.0, 500.0)
#: Weathers that are held beside each other (chosen: nights and evenings of most of the keys' regions).
WEATHERS = {
    "cold and damp": Weather(5.0, 90.0),
    "mild and damp": Weather(12.0, 80.0),
    "warm": Weather(20.0, 60.0),
    "hot and dry": Weather(28.0, 30.0),
}
#: Frequencies of the table of distances, kHz.
FREQUENCIES_KHZ = (10.0, 20.0, 30.0, 40.0, 50.0, 70.0, 100.0, 150.0)
#: A taxon that carries less than this even where it is as loud as it may be is hardly suited to acoustic survey
#: (chosen).
HARDLY_SUITED_M = 10.0
#: To what share of their length calls are taken to be cut in small caves and buildings (chosen; calls in narrow places
#: last some 1 to 3 ms, memory).
CONFINED_SHARE = 0.4
#: Shortest events that are tried, ms, and the mean share of calls that the longest advisable may cost (chosen).
EVENTS_MS = (1.0, 2.0, 3.0, 4.0, 5.0)
EVENT_COST = 0.10
#: The gap of passes where a key says nothing (docs/key-language.md, section 7).
_GAP_S = 1.0


@dataclass(frozen=True)
class TaxonPlan:
    """One taxon against the settings. Frequencies in kHz and durations in ms as (least, most); None where not declared.

    distance_m : (low, middle, high) by how loud it may be, of the middle one of its calls that lie in the recorder's
        band; None where its frequency is not known, zeros where all lie outside
    hardly_suited : carries so little, whatever the recorder, that acoustic survey hardly finds it
    """

    taxon: str
    common_name: str
    listed: bool
    quiet: bool
    source_level_db: tuple[float, float, float]
    source_level_source: str
    strongest_khz: tuple[float, float] | None
    highest_khz: float | None
    duration_ms: tuple[float, float] | None
    misses: Misses
    distance_m: tuple[float, float, float] | None
    hardly_suited: bool


@dataclass(frozen=True)
class Rate:
    """A sample rate beside others: mean shares of calls over the wanted taxa, and what the card holds; None where not
    known.

    missed : for any reason; beyond : partly or wholly above half the rate (of taxa of which that is known)
    """

    sample_rate_khz: float
    records_to_khz: float
    missed: float | None
    beyond: float | None
    nights_a_card_triggered: int | None
    nights_a_card_continuous: int | None


@dataclass(frozen=True)
class Best:
    """The settings that would lose least within the card.

    lost : mean share of calls missed or cut over the taxa that acoustic survey suits
    fits : whether one card holds all nights
    """

    settings: Settings
    lost: float | None
    nights_a_card: int | None
    fits: bool


@dataclass(frozen=True)
class Plan:
    key: str
    key_version: str
    settings: Settings
    gap_s: float
    longest_interval_s: float | None
    least_level_db: float
    taxa: tuple[TaxonPlan, ...]
    distances: tuple[dict, ...]
    nights: tuple[Night, ...]
    space: tuple[Space, Space]
    rates: tuple[Rate, ...]
    highest_floor_khz: float | None
    highest_floor_of_listed_khz: float | None
    longest_event_ms: float | None
    longest_event_cost: float | None
    best: Best
    beyond_the_standard: tuple[str, ...]


def plan_survey(key: Key, settings: Settings, only=()) -> Plan:
    """Plan a survey of a key's taxa (all, or those named in ``only``).

    Raises
    ------
    InputError : a name that the key does not know, or a schedule that the sun does not allow
    """
    callers = callers_of(key, only=only, source_levels=settings.source_level_db)
    shortened = CONFINED_SHARE if settings.surroundings == CONFINED else 1.0
    calls = {caller.name: calls_of(caller, shortened_to=shortened) for caller in callers}
    nights = nights_of(settings)
    taxa = tuple(_taxon(caller, calls[caller.name], settings) for caller in callers)
    # What acoustic survey hardly suits is no reason to choose settings for, unless nothing else is wanted.
    wanted = [calls[each.taxon] for each in taxa if not each.hardly_suited] or list(calls.values())
    listed = [calls[each.taxon] for each in taxa if each.listed and not each.hardly_suited]
    floor = _highest_floor(wanted)
    event, cost = _longest_event(wanted, settings)
    tops = [each.strongest_khz[1] for each in taxa if each.strongest_khz]
    intervals = [caller.ranges["interval"][1] / 1e3 for caller in callers if "interval" in caller.ranges]
    return Plan(
        key=key.name,
        key_version=key.version,
        settings=settings,
        gap_s=_gap_s(key),
        longest_interval_s=max(intervals, default=None),
        least_level_db=least_level_db(settings),
        taxa=taxa,
        distances=distance_table(settings),
        nights=nights,
        space=space_of(settings, nights),
        rates=tuple(_rate(rate, wanted, settings, nights) for rate in RATES_KHZ),
        highest_floor_khz=floor,
        highest_floor_of_listed_khz=_highest_floor(listed),
        longest_event_ms=event,
        longest_event_cost=cost,
        best=_best(wanted, settings, nights, floor, event),
        beyond_the_standard=tuple(beyond_the_standard(max(tops, default=0.0), settings.weather)),
    )


def distance_table(settings) -> tuple[dict, ...]:
    """Absorption and distances of a loud and of a quiet caller, by weather (the survey's first) and frequency."""
    least, rows = least_level_db(settings), []
    frequencies = np.array(FREQUENCIES_KHZ) * 1e3
    own = settings.weather
    others = {name: weather for name, weather in WEATHERS.items() if weather != own}
    for name, weather in {"as planned": own, **others}.items():
        absorbed = absorption_db_per_m(frequencies, weather)
        far = [detection_distance_m(each.middle_db, frequencies, least, weather) for each in (LOUD, QUIET)]
        rows += [
            {
                "weather": name,
                "temperature_c": weather.temperature_c,
                "humidity_percent": weather.humidity_percent,
                "pressure_kpa": weather.pressure_kpa,
                "frequency_khz": frequency,
                "absorption_db_per_m": float(absorbed[place]),
                "loud_m": float(far[0][place]),
                "quiet_m": float(far[1][place]),
            }
            for place, frequency in enumerate(FREQUENCIES_KHZ)
        ]
    return tuple(rows)


def _taxon(caller: Caller, calls: Calls, settings):
    return TaxonPlan(
        taxon=caller.name,
        common_name=caller.common_name,
        listed=caller.listed,
        quiet=caller.quiet,
        source_level_db=_levels(caller),
        source_level_source=caller.level.source,
        strongest_khz=_span(calls.strongest_khz),
        highest_khz=None if np.isnan(calls.highest_khz).any() else round(float(calls.highest_khz.max()), 1),
        duration_ms=caller.ranges.get("duration"),
        misses=misses_of(calls, settings),
        distance_m=_distance(caller, calls, settings),
        hardly_suited=_carries_little(caller, calls),
    )


def _span(values):
    # Points stand half a step inside the declared ends: a hundredth of a kHz covers that.
    return None if np.isnan(values).any() else (round(float(values.min()), 2), round(float(values.max()), 2))


def _distance(caller, calls, settings):
    strongest = calls.strongest_khz
    if np.isnan(strongest).any():
        return None
    heard = strongest[strongest < settings.nyquist_khz]
    if settings.recording == TRIGGERED:
        heard = heard[(heard >= settings.trigger_floor_khz) & (heard <= settings.ceiling_khz)]
    if not len(heard):
        return 0.0, 0.0, 0.0
    return tuple(_middle_m(level, heard, settings) for level in _levels(caller))


def _levels(caller):
    return caller.level.low_db, caller.level.middle_db, caller.level.high_db


def _middle_m(level_db, strongest_khz, settings):
    far = detection_distance_m(level_db, strongest_khz * 1e3, least_level_db(settings), settings.weather)
    return float(np.median(far))


def _carries_little(caller, calls):
    """Whether even the loudest the taxon may be carries less than HARDLY_SUITED_M.

    Judged with the default recorder and air: it is said of the bat. A noisy recorder is no reason to give up a taxon.
    """
    strongest = calls.strongest_khz
    return not np.isnan(strongest).any() and _middle_m(caller.level.high_db, strongest, Settings()) < HARDLY_SUITED_M


def _gap_s(key):
    gap = next((each for each in (key.passes.entries if key.passes else ()) if isinstance(each, Gap)), None)
    if gap is None:
        return _GAP_S
    return float(gap.time.value) * float(unit(gap.time.unit).factor / unit("s").factor)


def _highest_floor(wanted):
    """The highest whole kHz under which no call lies; None where no taxon's frequency is known."""
    lows = [span[0] for span in (_span(each.strongest_khz) for each in wanted) if span]
    return float(math.floor(min(lows))) if lows else None


def _mean(shares):
    known = [each for each in shares if each is not None]
    return float(np.mean(known)) if known else None


def _longest_event(wanted, settings):
    """(ms, cost): the longest shortest event whose mean cost over the taxa stays within EVENT_COST.

    The least that is tried where none stays within; (None, None) where no duration is declared.
    """
    triggered = replace(settings, recording=TRIGGERED)
    costs = {
        event: _mean(misses_of(each, replace(triggered, shortest_event_ms=event)).too_short for each in wanted)
        for event in EVENTS_MS
    }
    if None in costs.values():
        return None, None
    event = max((event for event, cost in costs.items() if cost <= EVENT_COST), default=EVENTS_MS[0])
    return event, costs[event]


def _rate(rate_khz, wanted, settings, nights):
    tried = _with_rate(settings, rate_khz)
    found = [misses_of(each, tried) for each in wanted]
    triggered, continuous = space_of(tried, nights)
    return Rate(
        rate_khz,
        tried.nyquist_khz,
        _mean(each.missed for each in found),
        _mean(_beyond(each) for each in found),
        triggered.nights_a_card,
        continuous.nights_a_card,
    )


def _beyond(misses):
    """Share of calls partly or wholly above half the sample rate; None where that cannot be told."""
    if misses.cut is not None and misses.above_nyquist is not None:
        return misses.cut + misses.above_nyquist
    return misses.above_nyquist or None


def _with_rate(settings, rate_khz, **more):
    """The settings at another sample rate, the trigger's ceiling lowered, and its floor, where the rate asks for it."""
    ceiling = settings.trigger_ceiling_khz
    floor = more.pop("trigger_floor_khz", settings.trigger_floor_khz)
    return replace(
        settings,
        sample_rate_khz=rate_khz,
        trigger_ceiling_khz=None if ceiling is None or ceiling >= rate_khz / 2 else ceiling,
        trigger_floor_khz=min(floor, rate_khz / 2 - 1),
        **more,
    )


def _best(wanted, settings, nights, floor, event):
    """Least lost among the sample rates and both ways to record that fit the card; of equals the one that takes less
    room.

    Nothing here counts what a lower floor or a shorter event lets in, so these two follow their own rules
    (_highest_floor, _longest_event) and only rate and way are searched. The trigger's ceiling is opened.
    """
    needed = max(1, len(nights))
    tried = []
    for rate in RATES_KHZ:
        for recording in (TRIGGERED, CONTINUOUS):
            each = _with_rate(
                replace(settings, trigger_ceiling_khz=None),
                rate,
                recording=recording,
                trigger_floor_khz=settings.trigger_floor_khz if floor is None else floor,
                shortest_event_ms=settings.shortest_event_ms if event is None else event,
            )
            space = space_of(each, nights)[recording == CONTINUOUS]
            if space.bytes_a_night is None:
                continue
            found = [misses_of(calls, each) for calls in wanted]
            lost = _mean(None if one.missed is None else one.missed + (one.cut or 0.0) for one in found)
            fits = space.nights_a_card is None or space.nights_a_card >= needed
            order = (not fits, space.bytes_a_night if not fits else 0.0, round(lost or 0.0, 3), space.bytes_a_night)
            tried.append((order, Best(each, lost, space.nights_a_card, fits)))
    return min(tried, key=lambda pair: pair[0])[1]
