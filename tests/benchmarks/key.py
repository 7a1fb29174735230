"""Keys against scikit-learn: pulses a second through a key and through the decision tree that it was
written from.

Run: python tests/benchmarks/key.py [rows]. Both take the same rows in the same process, best of several
runs in turn, so that a busy machine slows both. Also times reading, checking and compiling a large key.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "key"))
from keymaking import SPANS, key_of_tree, large_key, random_calls, random_tree  # noqa: E402

from classifier.key import compile_key, evaluate, parse_key  # noqa: E402


def best(functions, rounds=7):
    """Shortest seconds of each function, taken in turn."""
    shortest = [np.inf] * len(functions)
    for _ in range(rounds):
        for place, function in enumerate(functions):
            start = time.perf_counter()
            function()
            shortest[place] = min(shortest[place], time.perf_counter() - start)
    return shortest


def main(rows=1_000_000):
    rng = np.random.default_rng(1)
    tree = random_tree(rng, leaves=60)
    calls = random_calls(rows, rng)
    table = np.column_stack([calls[name] for name in SPANS]).astype(np.float32)
    errors = {name: np.full(rows, 0.002 * (high - low)) for name, (low, high) in SPANS.items()}
    sharp, zoned = (compile_key(parse_key(key_of_tree(tree, zone=zone)).key) for zone in (None, 0.002))
    predicted, plain, wide = best(
        [lambda: tree.predict(table), lambda: evaluate(sharp, calls), lambda: evaluate(zoned, calls, errors)]
    )
    unsure = (evaluate(zoned, calls, errors).candidates.sum(axis=1) > 1).mean()
    for name, seconds in (("tree.predict", predicted), ("two-valued key", plain), ("zones and errors", wide)):
        speed = rows / seconds / 1e6
        print(f"{name:>18}: {speed:6.2f} million rows a second, {predicted / seconds:5.2f} of the tree")
    print(f"{'ambiguous':>18}: {unsure:.1%} of the rows with zones and errors")
    text = large_key()

    def read():
        return parse_key(text)

    reading = read()
    assert reading.key is not None, reading.diagnostics[:3]
    seconds_read, seconds_compiled = best([read, lambda: compile_key(reading.key, reading.meanings)], 3)
    print(
        f"200 couplets, 100 taxa, {len(text):,} characters: read and checked in {seconds_read:.3f} s, "
        f"compiled in {seconds_compiled:.3f} s"
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
