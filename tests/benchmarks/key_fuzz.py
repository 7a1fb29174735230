"""Spoiled keys by the hundred thousand: only findings, never an exception, never long.

Run: python tests/benchmarks/key_fuzz.py [inputs] [seed]. Three of four inputs are sound keys after a few random changes, the
fourth is made of the language's words or of any characters; before them come shapes of 100 kB that are made to be slow. Prints
what it did and the slowest inputs; ends with 1 if a text raised anything or took more than a second of processor time.
"""

import random
import sys
import time
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "key"))
from fuzzing import corpus, scrambled, slow_shapes, spoiled  # noqa: E402
from keymaking import large_key  # noqa: E402

from classifier.key import format_key, parse_key, render  # noqa: E402
from classifier.key.check import check_reading  # noqa: E402


def checked(text):
    """All that `callkey check` does with a text."""
    reading = parse_key(text)
    for each in (*reading.diagnostics, *check_reading(reading)):
        render(each, reading.texts)
    return reading


def seconds(function, text):
    """Processor time, the shorter of two runs, since another process may hold the caches."""
    times = []
    for _ in range(2):
        start = time.process_time()
        function(text)
        times.append(time.process_time() - start)
    return min(times)


def main(inputs=200_000, seed=1):
    checked(large_key(3, 3))  # imports and the parser's tables
    faults, worst = 0, 0.0
    for what, function in (("check", checked), ("format", format_key)):
        slow = sorted(((seconds(function, text), name) for name, text in slow_shapes().items()), reverse=True)
        worst = max(worst, slow[0][0])
        print(f"{what}, slowest shapes of 100 kB:", ", ".join(f"{name} {each:.2f} s" for each, name in slow[:6]), flush=True)
    source, texts = random.Random(seed), corpus()
    sound, longest, begin = 0, (0.0, ""), time.perf_counter()
    for count in range(1, inputs + 1):
        text = scrambled(source) if count % 4 == 0 else spoiled(source, texts)
        start = time.process_time()
        try:
            reading = checked(text)
            sound += reading.key is not None
            format_key(text)
        except Exception:
            faults += 1
            print(f"--- input {count} of seed {seed}: {text!r}")
            traceback.print_exc()
            if faults >= 5:
                break
        longest = max(longest, (time.process_time() - start, text[:60]))
        if count % 20_000 == 0:
            print(f"{count} inputs, {sound} sound keys, {time.perf_counter() - begin:.0f} s", flush=True)
    print(f"{count} inputs, {sound} sound, {faults} exceptions, longest {longest[0]:.2f} s ({longest[1]!r})")
    return 1 if faults or max(worst, longest[0]) > 1 else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
