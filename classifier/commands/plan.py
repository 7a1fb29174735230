"""``callkey plan``: what a recorder's settings would miss, how far calls carry, what fits on the card."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from classifier.commands import options, show
from classifier.errors import InputError, ParameterError
from classifier.plan import SETTINGS

EXAMPLE = "callkey plan keys/britain-and-ireland.key --sample-rate-khz 256 --trigger-floor-khz 15"

_CAUTIONS = (
    "A plan is an estimate: shares are of calls spread evenly over the ranges that the key declares, which is "
    "not how often "
    "bats give them, and distances hold on the axis of the bat's beam in still air. From the side calls are "
    "fainter by 10 "
    "dB and more.",
    "That nothing is recorded does not prove that no bat is there, least of all a quiet one.",
    "Threatened species and roosts need a qualified person; local codes say how many nights and which season, "
    "and licences "
    "apply. Entering caves, buildings and other roosts disturbs the bats.",
)


def _option(name, *, parser=None):
    """An option for a setting, told in the setting's own words."""
    about = SETTINGS[name].metadata
    default = SETTINGS[name].default
    kind = "DATE" if name.endswith("_night") and default is None else about["unit"].upper() or "VALUE"
    kind = {"°C": "CELSIUS", "%": "PERCENT"}.get(kind, kind)
    text = about["meaning"][0].upper() + about["meaning"][1:]
    given = "" if default is None else f"; {default:g}" if isinstance(default, int | float) else f"; {default}"
    return typer.Option(f"--{name.replace('_', '-')}", metavar=kind, help=f"{text}{given}.", parser=parser, show_default=False)


def _date(text):
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError as error:
        raise typer.BadParameter(f"`{text}` is no date; write it as in 2025-11-03") from error


def plan(
    key: Annotated[Path, typer.Argument(metavar="KEY", help="A key file: its taxa and their declared ranges.")],
    taxon: Annotated[
        list[str] | None,
        typer.Option("--taxon", metavar="NAME", help="Only this taxon or group of the key; may be given more than once."),
    ] = None,
    settings: Annotated[
        Path | None,
        typer.Option("--settings", metavar="FILE", help="Settings in a TOML file; options given beside it go first."),
    ] = None,
    figure: Annotated[
        Path | None,
        typer.Option("-o", "--figure", metavar="FILE", help="Draw distances and taxa into this file (.pdf, .svg or .png)."),
    ] = None,
    json: options.Json = False,
    sample_rate_khz: Annotated[float | None, _option("sample_rate_khz")] = None,
    trigger_floor_khz: Annotated[float | None, _option("trigger_floor_khz")] = None,
    trigger_ceiling_khz: Annotated[float | None, _option("trigger_ceiling_khz")] = None,
    shortest_event_ms: Annotated[float | None, _option("shortest_event_ms")] = None,
    level_threshold_db: Annotated[float | None, _option("level_threshold_db")] = None,
    noise_db: Annotated[float | None, _option("noise_db")] = None,
    full_scale_db: Annotated[float | None, _option("full_scale_db")] = None,
    goes_on_s: Annotated[float | None, _option("goes_on_s")] = None,
    longest_file_s: Annotated[float | None, _option("longest_file_s")] = None,
    bits: Annotated[int | None, _option("bits")] = None,
    channels: Annotated[int | None, _option("channels")] = None,
    recording: Annotated[str | None, _option("recording")] = None,
    card_gb: Annotated[float | None, _option("card_gb")] = None,
    starts: Annotated[str | None, _option("starts")] = None,
    ends: Annotated[str | None, _option("ends")] = None,
    latitude: Annotated[float | None, _option("latitude")] = None,
    longitude: Annotated[float | None, _option("longitude")] = None,
    timezone: options.Timezone = None,
    first_night: Annotated[str | None, _option("first_night", parser=_date)] = None,
    last_night: Annotated[str | None, _option("last_night", parser=_date)] = None,
    passes_per_night: Annotated[float | None, _option("passes_per_night")] = None,
    pass_s: Annotated[float | None, _option("pass_s")] = None,
    noise_files_per_night: Annotated[float | None, _option("noise_files_per_night")] = None,
    surroundings: Annotated[str | None, _option("surroundings")] = None,
    temperature_c: Annotated[float | None, _option("temperature_c")] = None,
    humidity_percent: Annotated[float | None, _option("humidity_percent")] = None,
    pressure_kpa: Annotated[float | None, _option("pressure_kpa")] = None,
) -> None:
    """Plan a survey: what share of each taxon's calls a recorder's settings would miss, and why; from how far it
    is heard; how many files, bytes and nights a card holds; and which settings would lose least.

    Shares come from the ranges that the key declares, distances from source level, spreading, absorption by the
    air (ISO 9613-1) and the recorder's noise and threshold. docs/planning.md tells formulas, sources and limits.
    """
    given = {name: value for name, value in locals().items() if name in SETTINGS and value is not None}
    from classifier.commands.chain import sound_key
    from classifier.plan import Settings, read_settings
    from classifier.plan.advice import advise
    from classifier.plan.planning import plan_survey

    reading = sound_key(key)
    in_file = read_settings(settings) if settings is not None else {}
    try:
        chosen = Settings(**(in_file | given))
    except ParameterError as error:
        from_file = any(f"`{name}`" in str(error) for name in in_file if name not in given)
        raise InputError(f"{settings}: {error}" if from_file else str(error)) from error
    made = plan_survey(reading.key, chosen, taxon or ())
    advice = advise(made)
    if figure is not None:
        from classifier.plan.figure import draw_plan

        draw_plan(made, figure)
    if json:
        show.as_json({**show.plain(made), "advice": advice, "cautions": [*made.beyond_the_standard, *_CAUTIONS]})
    else:
        show_plan(made, advice)
    if figure is not None:
        show.say(f"drawn: {figure}")


def show_plan(made, advice) -> None:
    """The plan as tables on stdout: settings, taxa, distances, card, sample rates, advice."""
    out = show.console()
    show.heading(f"{made.key}, version {made.key_version}: {len(made.taxa)} tax{'a' if len(made.taxa) != 1 else 'on'}", to=out)
    show.facts(_settings_in_words(made), to=out)
    show.heading("What these settings miss, and how far each taxon is heard", to=out)
    show.table(
        ["taxon", "kHz>", "missed>", "heard to, m>", "why~"],
        [
            (
                show.text(f"{each.taxon} *" if each.listed else each.taxon),
                _range(each.strongest_khz),
                _missed(each.misses),
                _heard(each),
                _why(each, made.settings),
            )
            for each in made.taxa
        ],
        to=out,
    )
    show.paragraph(_taxa_legend(made), to=out, style="dim")
    _show_distances(made, out)
    _show_card(made, out)
    _show_rates(made, out)
    show.heading("Advice", to=out)
    show.facts([(each.topic, each.sentences) for each in advice], to=out)
    show.cautions([*_CAUTIONS[:1], *made.beyond_the_standard, *_CAUTIONS[1:]], to=out)


def _settings_in_words(made):
    settings = made.settings
    trigger = (
        f"{settings.trigger_floor_khz:g} to {settings.ceiling_khz:g} kHz, {settings.shortest_event_ms:g} ms and "
        "longer, "
        f"{settings.level_threshold_db:g} dB over noise of {settings.noise_db:g} dB; goes on {settings.goes_on_s:g} s"
    )
    channels = f"{settings.channels} channel{'s' if settings.channels != 1 else ''}"
    pairs = [
        (
            "recorder",
            f"{settings.sample_rate_khz:g} kHz, {settings.bits} bits, {channels}, {settings.recording}, files to "
            f"{settings.longest_file_s:g} s",
        ),
        ("trigger", trigger if settings.recording == "triggered" else "none: recording is continuous"),
        (
            "air",
            f"{settings.temperature_c:g} °C, {settings.humidity_percent:g} % humidity, {settings.pressure_kpa:g} kPa",
        ),
    ]
    if made.nights:
        first, last = made.nights[0], made.nights[-1]
        count = len(made.nights)
        which = f"{count} nights, {first.night} to {last.night}; the first" if count > 1 else first.night
        # Without a zone or a site clock times are those of wherever the recorder stands.
        zone = "" if settings.timezone is None and settings.longitude is None else f" ({_offset(first.starts)})"
        pairs.append(("nights", f"{which} {first.starts:%H:%M} to {first.ends:%H:%M}{zone}"))
    return pairs


def _offset(moment):
    text = f"{moment:%z}"
    return f"UTC{text[:3]}:{text[3:5]}"


def _range(span):
    if span is None:
        return None
    return f"{span[0]:.3g}" if span[0] == span[1] else f"{span[0]:.3g}–{span[1]:.3g}"


def _missed(misses):
    if misses.missed is None:
        return "not known"
    return f"{'' if misses.complete or misses.missed == 1 else 'at least '}{_share(misses.missed)}"


def _share(share):
    return "< 1 %" if 0 < share < 0.01 else show.percent(100 * share)


def _heard(taxon):
    if taxon.distance_m is None:
        return "not known"
    low, middle, high = taxon.distance_m
    return "not recorded" if high == 0 else f"{middle:.0f} ({low:.0f}–{high:.0f})"


def _why(taxon, settings):
    """The reasons in short words, the costliest first, and what else there is to know."""
    from classifier.plan.misses import ABOVE_BAND, ABOVE_NYQUIST, BELOW_BAND, TOO_SHORT

    words = {
        ABOVE_NYQUIST: f"over {settings.nyquist_khz:g} kHz",
        BELOW_BAND: "under the floor",
        ABOVE_BAND: "over the ceiling",
        TOO_SHORT: "too short",
    }
    reasons = taxon.misses.reasons
    parts = [words[why] if len(reasons) == 1 else f"{words[why]} {_share(share)}" for why, share in reasons.items()]
    if taxon.misses.cut:
        parts.append(f"top cut off {_share(taxon.misses.cut)}")
    parts += ["quiet"] if taxon.quiet else []
    parts += ["hardly suited"] if taxon.hardly_suited else []
    return ", ".join(parts) or " "


def _taxa_legend(made):
    missed = "lie above half the sample rate" if made.settings.recording == "continuous" else "would not trigger by themselves"
    parts = [
        "kHz: where calls are strongest.",
        f"Missed: share of calls that {missed}, calls spread evenly over what the key declares.",
        "Heard: the middle call, on the axis of its beam, and (from, to) as it may be less or more loud.",
    ]
    if any(each.listed for each in made.taxa):
        parts.append("* listed as threatened, or near it, in the key.")
    return " ".join(parts)


def _show_distances(made, out):
    from classifier.plan.callers import LOUD, QUIET

    show.heading("How far a call carries, m", to=out)
    weathers = {}
    for row in made.distances:
        weathers.setdefault((row["temperature_c"], row["humidity_percent"]), []).append(row)
    show.table(
        ["kHz>", *(f"{celsius:g} °C, {humidity:g} %>" for celsius, humidity in weathers)],
        [
            (f"{rows[0]['frequency_khz']:g}", *(f"{row['loud_m']:.0f} ({row['quiet_m']:.0f})" for row in rows))
            for rows in zip(*weathers.values(), strict=True)
        ],
        to=out,
    )
    show.paragraph(
        f"A loud caller, {LOUD.middle_db:g} dB at 10 cm, and in brackets a quiet one, {QUIET.middle_db:g} dB, down to "
        f"{made.least_level_db:.0f} dB at the microphone; the first column is the air as planned.",
        to=out,
        style="dim",
    )


def _show_card(made, out):
    settings = made.settings
    show.heading(f"Card of {settings.card_gb:g} GB", to=out)
    show.table(
        ["", "a file>", "files a night>", "a night>", "nights a card>"],
        [
            (
                space.recording,
                f"to {space.file_bytes / 1e6:.1f} MB",
                space.files_a_night,
                None if space.bytes_a_night is None else f"{space.bytes_a_night / 1e9:.1f} GB",
                space.nights_a_card,
            )
            for space in made.space
        ],
        to=out,
    )
    night = "Figures are of the longest night." if made.nights else "Continuous: not known without dates and a site."
    show.paragraph(
        f"Triggered: {settings.passes_per_night:g} passes of {settings.pass_s:g} s and "
        f"{settings.noise_files_per_night:g} files "
        f"of noise a night, both assumed. {night}",
        to=out,
        style="dim",
    )


def _show_rates(made, out):
    show.heading("Sample rates beside each other", to=out)
    show.table(
        ["kHz>", "records to>", "missed>", "above half>", "nights triggered>", "continuous>"],
        [
            (
                f"{rate.sample_rate_khz:g}",
                f"{rate.records_to_khz:g} kHz",
                None if rate.missed is None else _share(rate.missed),
                None if rate.beyond is None else _share(rate.beyond),
                rate.nights_a_card_triggered,
                rate.nights_a_card_continuous,
            )
            for rate in made.rates
        ],
        to=out,
    )
    show.paragraph(
        "Mean shares of calls over the taxa that acoustic survey suits. Missed: for any reason; above half: "
        "partly or wholly "
        "above half the sample rate. Nights: on one card.",
        to=out,
        style="dim",
    )
