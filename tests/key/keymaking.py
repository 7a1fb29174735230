"""Keys for tests and benchmarks: written from scikit-learn decision trees, or large ones of a regular build."""

from decimal import Decimal

import numpy as np
from sklearn.tree import DecisionTreeClassifier

from classifier.metrics import METRICS

#: Metrics with the span in which random calls are drawn.
SPANS = {
    "characteristic_frequency": (10.0, 120.0),
    "duration": (1.0, 40.0),
    "characteristic_slope": (-10.0, 2.0),
    "start_frequency": (20.0, 150.0),
    "end_frequency": (10.0, 100.0),
    "tail": (-6.0, 6.0),
    "peak_frequency": (10.0, 120.0),
    "flat_share": (0.0, 100.0),
}


def number(value):
    """A float as a key writes it, digit for digit."""
    return format(Decimal(repr(float(value))), "f")


def random_calls(rows, rng, names=tuple(SPANS)):
    """Values by metric name; each is a float32 exactly, since trees compare in single precision."""
    return {name: rng.uniform(*SPANS[name], rows).astype(np.float32).astype(float) for name in names}


def random_tree(rng, *, leaves, rows=4000, names=tuple(SPANS)):
    """A tree grown on calls whose class is their place in a random order of regions."""
    calls = random_calls(rows, rng, names)
    table = np.column_stack([calls[name] for name in names])
    centres = rng.uniform(size=(leaves, len(names)))
    low = np.array([SPANS[name][0] for name in names])
    width = np.array([SPANS[name][1] - SPANS[name][0] for name in names])
    scaled = (table - low) / width
    classes = np.argmin(((scaled[:, None, :] - centres[None]) ** 2).sum(axis=2), axis=1)
    tree = DecisionTreeClassifier(max_leaf_nodes=leaves, random_state=int(rng.integers(2**31)))
    return tree.fit(table.astype(np.float32), classes)


def key_of_tree(tree, names=tuple(SPANS), *, zone=None):
    """The key that says what a tree says: a couplet for each split, a taxon `Leaf nNUMBER` for each leaf.

    ``zone`` (a share of each metric's span) gives every boundary an overlap zone.
    """
    inner = tree.tree_
    leaves = [node for node in range(inner.node_count) if inner.children_left[node] < 0]
    lines = ['key "tree" version 1', ""]
    lines += [f"taxon Leaf n{leaf}" for leaf in leaves]

    def target(node):
        return f"Leaf n{node}" if inner.children_left[node] < 0 else str(node + 1)

    for node in range(inner.node_count):
        if inner.children_left[node] < 0:
            continue
        name = names[inner.feature[node]]
        unit = METRICS[name].unit
        boundary = f"{number(inner.threshold[node])} {unit}"
        if zone is not None:
            width = zone * (SPANS[name][1] - SPANS[name][0])
            boundary += f" ± {number(round(width, 6))} {unit}"
        left, right = inner.children_left[node], inner.children_right[node]
        lines += [
            f"couplet {node + 1}",
            f"    {node + 1}a {name} <= {boundary} => {target(left)}",
            f"    {node + 1}b otherwise => {target(right)}",
        ]
    return "\n".join(lines) + "\n"


def large_key(couplets=200, taxa=100):
    """A key of a regular build: a chain of couplets, taxa with three ranges each."""
    lines = ['key "large" version 1', 'source A1 "Author (2000)."', "standard errors 2"]
    for taxon in range(taxa):
        lines += [
            f'taxon Genus species{_letters(taxon)} "bat number {taxon}"',
            f"    characteristic_frequency {20 + taxon} to {25 + taxon} kHz [A1 p. {taxon}]",
            f"    duration {1 + taxon / 50:.2f} to {9 + taxon / 50:.2f} ms [A1]",
            "    characteristic_slope -3 to 0.5 kHz/ms [chosen]",
        ]
    lines += ["gate", "    snr >= 12 dB", "    duration >= 1 ms"]
    for couplet in range(1, couplets + 1):
        onward = f"{couplet + 1}" if couplet < couplets else 'unidentified "higher than all"'
        boundary = 15 + couplet / 2
        lines += [
            f'couplet {couplet} "lower than {boundary} kHz?"',
            f"    {couplet}a characteristic_frequency < {boundary} kHz ± 0.5 kHz and duration >= 2 ms ± 0.5 ms"
            f" => Genus species{_letters(couplet % taxa)}",
            f"    {couplet}b characteristic_slope < -3 kHz/ms => Genus species{_letters((couplet + 1) % taxa)},"
            " at most probable [A1]",
            f"    {couplet}c otherwise => {onward}",
        ]
    return "\n".join(lines) + "\n"


def _letters(number):
    return chr(97 + number // 26) + chr(97 + number % 26)
