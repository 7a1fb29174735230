"""How long checking takes: a key of 200 couplets and 100 taxa, and keys made to be hard.

    python tests/benchmarks/check.py

Prints seconds of one core for parsing, for names and units, for compiling and for proving, best of three runs, and the whole
as a multiple of parsing alone, so that machines can be compared. A key with 200 couplets and 100 taxa may take a second for all
of it; ends with 1 if one takes longer.
"""

import random
import sys
import time
from collections import Counter
from itertools import pairwise

from classifier.key import compile_key, parse_key
from classifier.key.check import check_reading
from classifier.key.parse import parse

RANGES = (("duration", "ms", 1, 30), ("characteristic_slope", "kHz/ms", -8, 1), ("start_frequency", "kHz", 30, 120))


def tree_key(couplets=200, taxa=100, *, seed=1, zones=True, sums=False):
    """A tree of couplets over several metrics; each taxon has ranges around the box that one of its ends has."""
    rng = random.Random(seed)
    ends, lines = [], []
    boxes = {1: {"characteristic_frequency": (10.0, 120.0), **{name: (low, high) for name, _, low, high in RANGES}}}
    units = {"characteristic_frequency": "kHz", **{name: unit for name, unit, _, _ in RANGES}}
    open_numbers, following = [1], 2
    body = []
    while open_numbers:
        number = open_numbers.pop(0)
        box = boxes[number]
        name = max(
            box,
            key=lambda each: (
                (box[each][1] - box[each][0]) * rng.uniform(0.5, 1.5) / (1.0 if each != "characteristic_frequency" else 0.5)
            ),
        )
        low, high = box[name]
        split = round((low + high) / 2, 2)
        zone = f" ± {max(round((high - low) / 40, 2), 0.4)} {units[name]}" if zones else ""
        extra = " and start_frequency - end_frequency > 2 kHz" if sums and number % 5 == 0 else ""
        targets = []
        for side in ((low, split), (split, high)):
            if following <= couplets:
                boxes[following] = {**box, name: side}
                open_numbers.append(following)
                targets.append(str(following))
                following += 1
            else:
                taxon = f"Examplia {chr(97 + len(ends) % taxa // 10 % 26)}species{len(ends) % taxa}"
                ends.append((taxon, {**box, name: side}))
                targets.append(taxon)
        body += [
            f"couplet {number}",
            f"    {number}a {name} < {split} {units[name]}{zone}{extra} => {targets[0]}",
            f"    {number}b otherwise => {targets[1]}",
        ]
    declared = {}
    for taxon, box in ends:
        declared.setdefault(taxon, box)
    for taxon, box in declared.items():
        lines.append(f"taxon {taxon}")
        for name, (low, high) in box.items():
            room = (high - low) / 20
            lines.append(f"    {name} {low + room:.3f} to {high - room:.3f} {units[name]}")
    passes = ["passes", "    definite when support >= 90 % and clear >= 5", "    possible otherwise"]
    return "\n".join(['key "tree" version 1', "gate", "    snr >= 12 dB", *lines, *body, *passes, ""])


def chain_key(couplets=200, taxa=100):
    """One couplet after the other, each with a condition of two parts, so that every `no` is a choice."""
    lines = ['key "chain" version 1']
    for place in range(taxa):
        lines += [
            f"taxon Examplia s{place}",
            f"    characteristic_frequency {10 + place} to {11 + place} kHz",
            f"    duration {1 + place % 9} to {3 + place % 9} ms",
        ]
    for number in range(1, couplets + 1):
        place = number % taxa
        onward = str(number + 1) if number < couplets else 'unidentified "none"'
        lines += [
            f"couplet {number}",
            f"    {number}a characteristic_frequency from {10 + place} to {11 + place} kHz ± 0.2 kHz and duration > "
            f"{number % 9 + 0.5} ms => Examplia s{place}",
            f"    {number}b otherwise => {onward}",
        ]
    return "\n".join([*lines, "passes", "    definite when support >= 90 % and clear >= 5", ""])


def ladder_key(couplets=60):
    """Every lead of a couplet goes to the next: as many ways as there are subsets."""
    names = ("duration", "characteristic_slope", "start_frequency", "snr", "level", "flat_share")
    units = ("ms", "kHz/ms", "kHz", "dB", "dB", "%")
    lines = ['key "ladder" version 1', "taxon Examplia a", "    duration 1 to 9 ms", "taxon Examplia b"]
    for number in range(1, couplets + 1):
        name, unit = names[number % 6], units[number % 6]
        onward = number + 1
        ends = (str(onward), str(onward)) if number < couplets else ("Examplia a", "Examplia b")
        lines += [
            f"couplet {number}",
            f"    {number}a {name} < {number % 17 + 3} {unit} ± 1 {unit} => {ends[0]}",
            f"    {number}b otherwise => {ends[1]}",
        ]
    return "\n".join([*lines, "passes", "    definite when support >= 90 % and clear >= 5", ""])


def tangled_key(parts=24, couplets=12):
    """Conditions with many `or` of `and`, all of which must fail at once: hard for any prover."""
    rng = random.Random(3)
    names = (
        ("duration", "ms"),
        ("characteristic_slope", "kHz/ms"),
        ("start_frequency", "kHz"),
        ("snr", "dB"),
        ("level", "dB"),
        ("flat_share", "%"),
        ("coherence", "%"),
        ("tail", "kHz"),
    )
    lines = ['key "tangled" version 1', "taxon Examplia a", "    duration 1 to 9 ms", "taxon Examplia b"]
    for number in range(1, couplets + 1):
        pieces = []
        for _ in range(parts):
            (one, unit), (other, another) = rng.sample(names, 2)
            pieces.append(f"({one} > {rng.randint(1, 30)} {unit} and {other} < {rng.randint(1, 30)} {another})")
        onward = str(number + 1) if number < couplets else "Examplia a"
        lines += [
            f"couplet {number}",
            f"    {number}a " + "\n        or ".join(pieces) + " => Examplia b",
            f"    {number}b not (" + "\n        or ".join(pieces[::-1]) + f") => {onward}",
        ]
    return "\n".join([*lines, "passes", "    definite when support >= 90 % and clear >= 5", ""])


CASES = {
    "tree, 200 couplets, 100 taxa": lambda: tree_key(),
    "the same without zones": lambda: tree_key(zones=False),
    "the same with sums": lambda: tree_key(sums=True),
    "chain, 200 couplets, 100 taxa": chain_key,
    "ladder, 60 couplets": ladder_key,
    "tangled, 12 couplets": tangled_key,
    "tree, 2000 couplets, 1000 taxa": lambda: tree_key(2000, 1000),
}


def main():
    everything(tree_key(5, 3, sums=True))  # imports and the parser's tables
    print(f"{'key':34} {'lines':>6} {'parse':>7} {'names':>7} {'compile':>7} {'prove':>7} {'whole':>7} {'/ parse':>8}  findings")
    slow = 0.0
    for name, make in CASES.items():
        text = make()
        runs = [everything(text) for _ in range(3)]
        times = [min(run[0][part] for run in runs) for part in range(4)]
        counts = Counter(each.code for each in runs[0][1])
        if "200 couplets" in name or name.startswith("the same"):
            slow = max(slow, sum(times))
        columns = " ".join(f"{seconds:6.2f}s" for seconds in (*times, sum(times)))
        print(
            f"{name:34} {text.count(chr(10)):6} {columns} {sum(times) / times[0]:8.1f}  "
            + (", ".join(f"{code} {count}" for code, count in sorted(counts.items())) or "none")
        )
    print(f"slowest key of 200 couplets and 100 taxa: {slow:.2f} s; it may take 1 s")
    return 1 if slow > 1 else 0


def everything(text):
    """Seconds for parsing, names and units, compiling and proving, each apart, of one core; and all findings."""
    times = [time.process_time()]
    parse(text, "key")
    times.append(time.process_time())
    reading = parse_key(text)
    times.append(time.process_time())
    compile_key(reading.key, reading.meanings)
    times.append(time.process_time())
    found = check_reading(reading)
    times.append(time.process_time())
    parsed, read, compiled, proven = (later - earlier for earlier, later in pairwise(times))
    # parse_key parses again; check_reading compiles again.
    return (parsed, max(0.0, read - parsed), compiled, max(0.0, proven - compiled)), [*reading.diagnostics, *found]


if __name__ == "__main__":
    sys.exit(main())
