"""Advice in sentences: what the numbers of a plan mean for the settings."""

import math
from dataclasses import dataclass

from classifier.plan.card import pass_s
from classifier.plan.planning import CONFINED_SHARE, EVENT_COST, HARDLY_SUITED_M, Plan
from classifier.plan.settings import CONFINED, CONTINUOUS, TRIGGERED

#: Taxa named in one sentence.
_MOST_NAMES = 3
#: Share of a night's passes that its busiest hour holds (chosen).
BUSIEST_HOUR_SHARE = 0.2
#: Share of files that may hold a second bat in the busiest hour (chosen).
SECOND_BAT_SHARE = 0.1
#: A loss below this is not spoken of.
_NEGLIGIBLE = 0.005


@dataclass(frozen=True)
class Advice:
    topic: str
    sentences: str


def advise(plan: Plan) -> tuple[Advice, ...]:
    """Advice by topic, in the order of the settings."""
    found = [_rate(plan)]
    if plan.settings.recording == TRIGGERED:
        found += [_floor(plan), _event(plan), _going_on(plan)]
    found += [_file(plan), _card(plan), _suited(plan), _quiet(plan), _best(plan)]
    return tuple(each for each in found if each is not None)


def _rate(plan):
    settings = plan.settings
    text = f"{settings.sample_rate_khz:g} kHz records up to {settings.nyquist_khz:g} kHz, half of it."
    gone = [(each, each.misses.above_nyquist) for each in plan.taxa]
    cut = [(each, each.misses.cut) for each in plan.taxa]
    if _any(gone):
        text += f" Calls that lie above that altogether: {_names(gone)}."
    if _any(cut):
        text += f" The top of the sweep is cut off and its start frequency wrong in {_names(cut)}."
    if not _any(gone) and not _any(cut):
        unknown = [each.taxon for each, share in cut if share is None]
        start = "starts" if len(unknown) == 1 else "start"
        known = f"; the key does not say how high {_list(unknown)} {start}" if unknown else ""
        return Advice("sample rate", f"{text} No call is known to reach above that{known}.")
    enough = next((each for each in plan.rates if each.beyond == 0), None)
    if enough is not None and enough.sample_rate_khz > settings.sample_rate_khz:
        text += f" {enough.sample_rate_khz:g} kHz would take in whole every call of the taxa that acoustic survey suits."
    elif enough is not None:
        text += " Every call of the taxa that acoustic survey suits is taken in whole."
    return Advice("sample rate", text)


def _floor(plan):
    floor, settings = plan.highest_floor_khz, plan.settings
    if floor is None:
        return None
    lost = [(each, each.misses.below_band) for each in plan.taxa]
    if _any(lost):
        partly = any(0 < share < 1 for _, share in lost if share)
        rest = "; other calls of the same pass may still trigger" if partly else ""
        text = f"{settings.trigger_floor_khz:g} kHz is too high for {_names(lost)}{rest}. {floor:g} kHz would miss none."
    elif settings.trigger_floor_khz < floor:
        text = f"{settings.trigger_floor_khz:g} kHz misses no call; nor would {floor:g} kHz, with less wind and fewer insects."
    else:
        text = f"{settings.trigger_floor_khz:g} kHz misses no call, and is as high as it can be."
    listed = plan.highest_floor_of_listed_khz
    if listed is not None and listed > floor:
        text += f" For the threatened taxa alone {listed:g} kHz would do."
    above = [(each, each.misses.above_band) for each in plan.taxa]
    if _any(above):
        text += f" The trigger's ceiling of {settings.ceiling_khz:g} kHz is too low for {_names(above)}; open it."
    return Advice("trigger band", text)


def _event(plan):
    settings, longest = plan.settings, plan.longest_event_ms
    if longest is None:
        return None
    short = [(each, each.misses.too_short) for each in plan.taxa]
    event = settings.shortest_event_ms
    if _any(short):
        touched = sum(bool(share and share >= _NEGLIGIBLE) for _, share in short)
        text = f"{event:g} ms costs {touched} of {len(short)} taxa some of their calls: {_names(short)}."
    else:
        text = f"{event:g} ms costs no call that the key describes."
    if settings.surroundings == CONFINED:
        text += f" In small caves and buildings calls are taken to last {CONFINED_SHARE:.0%} of what they do outside."
    cost = _percent(plan.longest_event_cost)
    if event > longest:
        text += f" {longest:g} ms costs {cost} on average over the taxa that acoustic survey suits; take that."
    elif event < longest:
        text += f" {longest:g} ms costs {cost} on average, and keeps out more insects and drops of rain."
    elif event == longest:
        text += (
            f" That is {cost} on average over the taxa that acoustic survey suits: few; longer events would cost more "
            f"than {_percent(EVENT_COST)}, and shorter ones let in more insects."
        )
    return Advice("shortest event", text)


def _going_on(plan):
    interval = plan.longest_interval_s
    needed = plan.gap_s + (interval or 0.0)
    why = f"pauses of up to {plan.gap_s:g} s belong to a pass"
    if interval:
        why += f", and pulses follow each other after up to {1000 * interval:.0f} ms"
    goes_on = plan.settings.goes_on_s
    if goes_on + 1e-9 < needed:
        return Advice(
            "going on",
            f"{goes_on:g} s after a trigger is short: {why}. With {math.ceil(2 * needed) / 2:g} s a pass stays in one "
            "file and its quieter pulses are kept.",
        )
    return Advice("going on", f"{goes_on:g} s after a trigger keeps a pass together with its quieter pulses: {why}.")


def file_bounds_s(settings) -> tuple[int, int | None]:
    """(least, most) whole seconds for the longest file.

    Least: a pass as assumed and the going on after it. Most: the length at which SECOND_BAT_SHARE of the files hold a
    second bat in the busiest hour, passes coming by chance (Poisson): 1 - exp(-rate * (file + pass)); None where no
    passes are assumed.
    """
    least = math.ceil(pass_s(settings) - 1e-9)
    rate = settings.passes_per_night * BUSIEST_HOUR_SHARE / 3600.0
    if rate == 0:
        return least, None
    return least, max(0, round(-math.log1p(-SECOND_BAT_SHARE) / rate - settings.pass_s))


def second_bat_share(settings) -> float:
    """Share of the files of the busiest hour that hold a second bat."""
    rate = settings.passes_per_night * BUSIEST_HOUR_SHARE / 3600.0
    return 1.0 - math.exp(-rate * (settings.longest_file_s + settings.pass_s))


def _file(plan):
    settings = plan.settings
    least, most = file_bounds_s(settings)
    share = second_bat_share(settings)
    text = (
        f"In the busiest hour {_percent(share)} of files of {settings.longest_file_s:g} s would hold a second bat, if "
        f"a night brings {settings.passes_per_night:g} passes."
    )
    if most is not None and most < least:
        text += f" With so many passes no length parts bats; {least} s holds a pass, and overlapping passes are told apart later."
    elif settings.longest_file_s < least:
        text += f" Shorter than a pass and the going on after it: {least} s or more keeps it in one file."
    elif most is not None and settings.longest_file_s > most:
        text += f" {least} to {most} s keep few bats in a file."
    else:
        text += f" That is well chosen{'' if most is None else f': {least} to {most} s keep few bats in a file'}."
    return Advice("longest file", text)


def _card(plan):
    settings = plan.settings
    triggered, continuous = plan.space
    space = continuous if settings.recording == CONTINUOUS else triggered
    if space.bytes_a_night is None:
        return Advice("card", "Nights a card are not known without dates; give `first_night` and the site.")
    if space.nights_a_card is None:
        return None
    needed = len(plan.nights)
    text = f"A card of {settings.card_gb:g} GB holds {_nights(space.nights_a_card)} of {space.recording} recording"
    if not needed:
        return Advice("card", text + ".")
    if space.nights_a_card >= needed:
        return Advice("card", f"{text}: enough for the {_nights(needed)} planned.")
    cards = f"{math.ceil(needed / space.nights_a_card)} cards" if space.nights_a_card else "more than a card a night"
    return Advice("card", f"{text}, and {needed} are planned: {cards}, or other settings (below).")


def _suited(plan):
    little = [each for each in plan.taxa if each.hardly_suited]
    if not little:
        return None
    parts = [f"{each.taxon} ({_distance(each)})" for each in little]
    reach = max((each.highest_khz for each in little if each.highest_khz), default=None)
    top = f", whose calls reach {reach:.0f} kHz" if reach and len(little) == 1 else ""
    return Advice(
        "hardly suited",
        f"Acoustic survey hardly suits {_list(parts)}{top}: even the loudest call to be expected carries less than "
        f"{HARDLY_SUITED_M:g} m. Other means, such as capture by licensed people, are needed; no settings are advised "
        "for the sake of such a bat.",
    )


def _distance(taxon):
    if taxon.distance_m is None or taxon.distance_m[2] == 0.0:
        return "not recorded with these settings"
    return f"about {taxon.distance_m[1]:.0f} m"


def _quiet(plan):
    quiet = [each.taxon for each in plan.taxa if each.quiet and not each.hardly_suited]
    if not quiet:
        return None
    return Advice(
        "quiet callers",
        f"{_list(quiet)}: heard over a part of the distance only. That a quiet bat was not recorded says little.",
    )


def _best(plan):
    best, now = plan.best.settings, plan.settings
    parts = [f"{best.recording} recording at {best.sample_rate_khz:g} kHz"]
    if best.recording == TRIGGERED:
        parts += [
            f"a trigger floor of {best.trigger_floor_khz:g} kHz",
            f"events of {best.shortest_event_ms:g} ms and longer",
        ]
    lost = "a share not known" if plan.best.lost is None else _percent(plan.best.lost)
    needed = max(1, len(plan.nights))
    if plan.best.nights_a_card is None:
        room = ""
    elif plan.best.fits:
        room = f"; the card holds {_nights(plan.best.nights_a_card)}"
    else:
        room = f"; no settings fit {_nights(needed)} on one card, these come closest with {plan.best.nights_a_card}"
    same = all(
        getattr(best, name) == getattr(now, name)
        for name in ("recording", "sample_rate_khz", "trigger_floor_khz", "shortest_event_ms")
    )
    return Advice(
        "least lost",
        f"{'These settings lose least:' if same else 'Within this card least is lost by'} {_list(parts)}, with {lost} "
        f"of calls missed or cut on average over the taxa that acoustic survey suits{room}.",
    )


def _any(shares):
    return any(share is not None and share >= _NEGLIGIBLE for _, share in shares)


def _names(shares):
    """The taxa that lose most, with their shares, and how many more there are."""
    worst = sorted(((each, share) for each, share in shares if share and share >= _NEGLIGIBLE), key=lambda pair: -pair[1])
    named = [f"{each.taxon} ({_percent(share)} of calls)" for each, share in worst[:_MOST_NAMES]]
    more = len(worst) - len(named)
    return _list([*named, f"{more} more"] if more else named)


def _list(parts):
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _percent(share):
    return "< 1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"


def _nights(count):
    return f"{count} night{'s' if count != 1 else ''}"
