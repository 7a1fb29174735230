"""Who is to be heard: the taxa of a key with what their declared ranges say about planning."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from classifier.errors import InputError
from classifier.key.messages import did_you_mean
from classifier.key.syntax import Key, Taxon
from classifier.key.units import unit
from classifier.metrics import METRICS

#: What a taxon's note says of its source level, and words that call it quiet.
_LEVEL = re.compile(r"source level (\d+(?:\.\d+)?) to (\d+(?:\.\d+)?) dB at 10 cm")
_QUIET = re.compile(r"\b(quiet|whispers?|whispering|low-intensity)\b", re.IGNORECASE)
_LISTED = re.compile(r"\b(vulnerable|endangered|critical|critically|declining|threatened)\b", re.IGNORECASE)
_NOT_LISTED = re.compile(r"\bnot (listed as )?threatened\b", re.IGNORECASE)


@dataclass(frozen=True)
class SourceLevel:
    """How loud a taxon calls, dB SPL (peak-equivalent) at 10 cm on the axis of its beam."""

    low_db: float
    middle_db: float
    high_db: float
    source: str
    assumed: bool


#: Loudest calls of aerial-feeding bats in the field: 120 to 140 dB (SurlykkeKalko2008, recalled), 128 dB for the common
#: pipistrelle (HolderiedvonHelversen2003), 133 dB for Eptesicus bottae (Holderied2005). What a bat gives as a rule is
#: taken to lie 10 dB below its loudest (chosen).
LOUD = SourceLevel(110.0, 120.0, 130.0, "default: SurlykkeKalko2008, HolderiedvonHelversen2003; chosen", True)
#: Means of quiet bats 96 and 101 dB, maxima 105 and 110 dB (Brinklov2009); Myotis septentrionalis 102 dB
#: (MillerTreat1993).
QUIET = SourceLevel(90.0, 100.0, 110.0, "default for quiet callers: Brinklov2009, MillerTreat1993; chosen", True)
#: Spread about a level given in the settings (chosen).
_GIVEN_SPREAD_DB = 5.0


@dataclass(frozen=True)
class Caller:
    """A taxon as planning sees it: declared ranges by metric in kHz and ms, loudness, listing."""

    name: str
    common_name: str
    ranges: Mapping[str, tuple[float, float]]
    level: SourceLevel
    quiet: bool
    listed: bool


def callers_of(key: Key, *, only=(), source_levels: Mapping[str, float] | None = None) -> tuple[Caller, ...]:
    """The taxa of a key, in its order.

    Parameters
    ----------
    only : names of taxa (scientific or common) or of groups, in any letter case; all taxa if empty
    source_levels : dB SPL at 10 cm by a taxon's name, which go before the key's notes and the defaults

    Raises
    ------
    InputError : a name that the key does not know, a key without taxa, or a range of frequencies down to 0 or less
    """
    if not key.taxa:
        raise InputError("the key declares no taxon, so there is nothing to plan for; add taxon blocks with ranges")
    levels = {}
    for name, level in (source_levels or {}).items():
        levels.update(dict.fromkeys(_taxa_called(key, name, "source_level_db"), float(level)))
    wanted = {taxon for name in only for taxon in _taxa_called(key, name, "--taxon")}
    return tuple(_caller(taxon, levels.get(taxon.name)) for taxon in key.taxa.values() if not only or taxon.name in wanted)


def _taxa_called(key, name, where):
    """Names of the taxa that a name means."""
    known = {}
    for taxon in key.taxa.values():
        for called in (taxon.name, *taxon.common_names):
            known.setdefault(called.lower(), []).append(taxon.name)
    for group in key.groups.values():
        known.setdefault(group.name.lower(), [member.name for member in group.members])
    found = known.get(" ".join(name.lower().split()))
    if found is None:
        names = [*key.taxa, *(each for taxon in key.taxa.values() for each in taxon.common_names), *key.groups]
        hint = did_you_mean(name, names) or f"it knows {len(key.taxa)} taxa, from {next(iter(key.taxa))} on"
        raise InputError(f"{where}: the key knows no taxon or group `{name}`; {hint}")
    return found


def _caller(taxon: Taxon, level_db):
    ranges = {}
    for entry in taxon.ranges:
        own = unit(METRICS[entry.metric].unit).factor
        factors = unit(entry.low.unit or entry.high.unit or "").factor / own, unit(entry.high.unit or "").factor / own
        ranges[entry.metric] = (
            float(entry.low.value) * float(factors[0]),
            float(entry.high.value) * float(factors[1]),
        )
        if entry.metric.endswith("_frequency") and not ranges[entry.metric][0] > 0:
            raise InputError(
                f"{entry.span.file}:{entry.span.line}: {taxon.name} declares a {entry.metric} from "
                f"{entry.low.value} on, and a frequency is greater than 0; mend the range"
            )
    words = " ".join(taxon.remarks("note") + taxon.remarks("tells"))
    quiet = _QUIET.search(words) is not None
    return Caller(
        taxon.name,
        taxon.common_names[0] if taxon.common_names else "",
        ranges,
        _level(taxon, level_db, quiet),
        quiet,
        any(_LISTED.search(_NOT_LISTED.sub("", text)) for text in taxon.status),
    )


def _level(taxon, level_db, quiet):
    if level_db is not None:
        spread = _GIVEN_SPREAD_DB
        return SourceLevel(level_db - spread, level_db, level_db + spread, "given in the settings", False)
    for entry in taxon.entries:
        match = _LEVEL.search(getattr(entry, "text", ""))
        if match:
            low, high = sorted(map(float, match.groups()))
            cited = "; ".join(f"{each.source} {each.place}".strip() for each in entry.citations)
            return SourceLevel(low, (low + high) / 2, high, f"the key: {cited or 'no source'}", False)
    return QUIET if quiet else LOUD
