"""Keys against scikit-learn: pulses a second through a key and through the decision tree that it was
written from.

Run: python tests/benchmarks/key.py [rows]. Both take the same rows in the same process, best of several
runs in turn, so that a busy machine slows both. Also times reading, checking and compiling a large key.
"""

import sys
import time
import tracemalloc
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "key"))
from keymaking import SPANS, key_of_tree, random_calls, random_tree  # noqa: E402

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


def beyond(key, calls, errors, rows):
    """Megabytes that evaluating takes at its peak and gives back."""
    part = [{name: each[:rows] for name, each in columns.items()} for columns in (calls, errors)]
    tracemalloc.start()
    result = evaluate(key, *part)
    left, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(result.pattern) == rows
    return (peak - left) / 1e6


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
    for part in (rows // 4, rows):
        print(f"{'memory':>18}: {beyond(zoned, calls, errors, part):6.1f} MB beyond the result for {part:,} rows")
    return 0 if plain <= predicted and wide <= 4 * predicted else 1


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:2])))
