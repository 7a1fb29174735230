"""Spoiled keys by the hundred thousand: only findings, never an exception, never long.

Run: python tests/benchmarks/key_fuzz.py [inputs] [seed]. Prints what it did and the slowest inputs; ends with 1 if a text
raised anything or a text of 100 kB took more than a second of processor time.
"""

import random
import sys
import time
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "key"))
from fuzzing import corpus, slow_shapes, spoiled  # noqa: E402

from classifier.key import compile_key, format_key, parse_key, run_examples  # noqa: E402
from classifier.key.check import check_reading  # noqa: E402


def everything(text):
    """All that `callkey check` and `callkey format` do with a text."""
    reading = parse_key(text)
    if reading.key is not None:
        run_examples(compile_key(reading.key, reading.meanings))
    check_reading(reading)
    format_key(text)
    return reading


def main(inputs=200_000, seed=1):
    faults, slow = 0, []
    for name, text in slow_shapes().items():
        start = time.process_time()
        everything(text)
        slow.append((time.process_time() - start, name))
    slow.sort(reverse=True)
    print("slowest shapes of 100 kB:", ", ".join(f"{name} {seconds:.2f} s" for seconds, name in slow[:8]))
    source, texts = random.Random(seed), corpus()
    sound, longest, begin = 0, (0.0, ""), time.perf_counter()
    for count in range(1, inputs + 1):
        text = spoiled(source, texts)
        start = time.process_time()
        try:
            sound += everything(text).key is not None
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
    return 1 if faults or slow[0][0] > 1 else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
