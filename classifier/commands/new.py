"""``callkey new``: a key to start from, with every part of a key in it once and a word on each."""

import os
from pathlib import Path
from typing import Annotated

import typer

from classifier.commands import show
from classifier.errors import InputError

EXAMPLE = "callkey new mill-lane.key"

STARTER = """\
# A key to start from. Its bats, its place and its numbers are invented: put your own in their place, a statement at a
# time, and run `callkey check` after each. Everything behind a # is for people; the program does not read it.
#
# Cautions. A label is evidence of a bat, not proof that it was there, and no label is not proof that none was. Threatened
# species and whatever touches a roost need the review of a qualified person; local codes and licences apply. Handling
# bats is for licensed, vaccinated people; entering roosts disturbs them. Try every boundary on calls of known bats of
# your own region before you rest on it.

key "{name}" version 1

# Where a number comes from. The short name stands in brackets behind the numbers that were taken from there.
# [chosen]: set for this key. [memory]: recalled and not looked up.
source Author2012 "Author, A. (2012). Title. Journal 1:1-10, Table 4."

# ---------------------------------------------------------------------------------------------------------- the bats
# A block for each bat: the range of its calls in each metric (`callkey metrics` lists them), and what a reviewer should
# know. `callkey check` proves with these ranges that no bat is labelled definite as another.
taxon Examplia grandis "great example bat"
    characteristic_frequency 17 to 23 kHz  [Author2012 Table 4]
    duration 8 to 20 ms                    [Author2012 Table 4]

taxon Examplia vespera "evening example bat"
    characteristic_frequency 42 to 49 kHz  [Author2012 Table 4]
    duration 4 to 10 ms                    [Author2012 Table 4]
    similar Examplia matutina
    status "vulnerable (an invented list)"
    tells "most energy near 45 kHz"

taxon Examplia matutina "morning example bat"
    characteristic_frequency 48 to 56 kHz  [Author2012 Table 4]
    duration 3 to 8 ms                     [Author2012 Table 4]
    similar Examplia vespera

# Bats that calls cannot always part. A group's name stands in quotation marks.
group "evening and morning bats" Examplia vespera, Examplia matutina

# A boundary with a name. Within ± of it the key does not decide: the call goes both ways.
let twins_split = 48.5 kHz ± 1.5 kHz  [chosen]

# ----------------------------------------------------------------------------------------------------------- the gate
# Pulses that are too faint or too short to be judged have no vote.
gate
    snr >= 10 dB      [chosen]
    duration >= 1 ms  [chosen]

# ------------------------------------------------------------------------------------------------------------ the key
# A call enters at couplet 1 and tries the leads in order. Yes: it goes where the arrow says. No: the next lead. Unsure
# (inside the ± of a boundary): both.
couplet 1 "how low is the flattest part of the call?"
    1a characteristic_frequency < 14 kHz ± 1 kHz => not a bat "lower than any bat of this key: a bird or an insect"
    1b characteristic_frequency < 32 kHz ± 3 kHz => Examplia grandis
    1c characteristic_frequency < 60 kHz ± 2 kHz => 2
    1d otherwise                                 => unidentified "higher than any bat of this key"

# `at most probable`: a label reached by this lead is never given as definite.
couplet 2 "which of the twins?"
    2a characteristic_frequency < twins_split => Examplia vespera
    2b otherwise                              => Examplia matutina, at most probable  [chosen]

# ---------------------------------------------------------------------------------------------------------- the passes
# From pulses to a pass, one bat going by. support: the label's share of the votes. clear: pulses that say it alone.
passes
    gap 1 s                                       [chosen]
    at least 3 pulses                             [chosen]
    definite when support >= 90 % and clear >= 5  [chosen]
    probable when support >= 70 % and clear >= 3  [chosen]
    possible otherwise

# --------------------------------------------------------------------------------------------------- worked examples
# Calls from your sources with the label that they must get. `callkey check` puts each of them through the key.
example "great example bat, mean" characteristic_frequency 20 kHz, duration 12 ms
    => Examplia grandis  [Author2012 Table 4]

example "evening or morning" characteristic_frequency 48.5 kHz, duration 6 ms
    => among Examplia vespera, Examplia matutina  [chosen]
"""


def new(
    key: Annotated[Path, typer.Argument(metavar="KEY", help="The key file to write; its name ends in .key.")],
) -> None:
    """Write a key to start from: small, whole and with a word on each of its parts.

    Its bats and numbers are invented. It passes `callkey check` as it is; replace it by your own a statement at a
    time, and check after each. A file that is there already is never written over.
    """
    from classifier.survey.storage import write_atomically

    if key.suffix != ".key":
        raise InputError(f"{key}: a key's file name ends in .key; write `callkey new {key}.key`")
    if os.path.lexists(key):
        raise InputError(f"{key}: is there already and was left as it is; give the new key another name")
    if not key.parent.is_dir():
        raise InputError(f"{key}: there is no folder {key.parent}; make it first, or write the key elsewhere")
    write_atomically(key, STARTER.replace("{name}", _title(key.stem)).encode("utf-8"))
    print(f"{key}: a key to start from; open it in any text editor")
    show.say(f"next: callkey check {key}")


def _title(stem: str) -> str:
    """What the key calls itself: the file's name in words."""
    plain = "".join(each if each.isprintable() and each not in '-_"' else " " for each in stem)
    words = " ".join(plain.split())
    return words[:1].upper() + words[1:] or "New key"
