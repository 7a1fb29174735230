"""Tables through a key: against decision trees, against the plain walk, and in the cases that need care."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keymaking import SPANS, key_of_tree, random_calls, random_tree
from keystrategies import calls, sound_keys

from classifier.errors import ParameterError
from classifier.key import compile_key, evaluate, parse_key, walk


def compiled(text):
    reading = parse_key(text)
    assert reading.key is not None, reading.diagnostics
    return compile_key(reading.key, reading.meanings)


# Source of the oracle: sklearn.tree.DecisionTreeClassifier (scikit-learn), apply and predict on the same rows.
@pytest.mark.parametrize("leaves", [2, 17, 60])
def test_a_key_written_from_a_decision_tree_says_the_same_on_100_000_rows(leaves, rng):
    tree = random_tree(rng, leaves=leaves)
    key = compiled(key_of_tree(tree))
    table = random_calls(100_000, rng)
    # Some rows stand exactly on a boundary, where <= and < part company.
    for node in np.flatnonzero(tree.tree_.children_left >= 0)[:20]:
        name = list(SPANS)[tree.tree_.feature[node]]
        table[name][rng.integers(0, 100_000, 50)] = np.float32(tree.tree_.threshold[node])
    stacked = np.column_stack([table[name] for name in SPANS]).astype(np.float32)
    verdicts = evaluate(key, table)
    assert verdicts.candidates.sum(axis=1).tolist() == [1] * 100_000
    labels = np.array([end.label for end in key.ends])[verdicts.candidates.argmax(axis=1)]
    leaf = tree.apply(stacked)
    assert (labels == np.array([f"Leaf n{each}" for each in range(leaf.max() + 1)])[leaf]).all()
    classes = tree.classes_[tree.tree_.value[:, 0].argmax(axis=1)]
    assert (classes[[int(label.split("n")[1]) for label in labels]] == tree.predict(stacked)).all()
    # sklearn's own decision_path lists the same splits as the trail.
    paths = tree.decision_path(stacked[:200])
    for row in range(200):
        splits = [str(node + 1) for node in paths[row].indices if tree.tree_.children_left[node] >= 0]
        assert [step[:-1] for step in verdicts.trail[row].split()] == splits


def table_of(rows):
    """Columns from calls; a metric that one call lacks and another has is missing in the first."""
    names = sorted({name for row in rows for name in row})
    values = {name: np.array([_number(row.get(name, (None, None))[0]) for row in rows]) for name in names}
    errors = {name: np.array([_number(row.get(name, (None, None))[1]) for row in rows]) for name in names}
    return values, errors


def _number(value):
    return np.nan if value is None else value


@given(sound_keys(), st.lists(calls(), min_size=1, max_size=25), st.sampled_from([1, 7, 100]))
@settings(max_examples=250, deadline=None)
def test_tables_and_the_plain_walk_agree(text, rows, block_rows):
    key = compiled(text)
    values, errors = table_of(rows)
    verdicts = evaluate(key, values, errors, block_rows=block_rows)
    if not values:
        assert len(verdicts) == 0
        return
    candidates, caps = verdicts.candidates, verdicts.cap
    for place, row in enumerate(rows):
        way = walk(key, {name: row.get(name, (None, None)) for name in values})
        gate = int(verdicts.gated_by[place])
        assert (key.gate_names[gate] if gate >= 0 else None) == way.gated_by
        assert bool(verdicts.usable[place]) == (way.gated_by is None)
        got = {key.ends[end]: int(caps[place, end]) for end in np.flatnonzero(candidates[place])}
        assert got == dict(way.candidates)
        assert verdicts.trail[place] == way.trail
        assert verdicts.parted_by[place] == way.parted_by
        assert verdicts.reason[place] == way.reason
        assert verdicts.clearance[place] == way.clearance or (math.isnan(verdicts.clearance[place]) and math.isnan(way.clearance))


@given(sound_keys(), st.lists(calls(), min_size=2, max_size=20), st.randoms())
@settings(max_examples=40, deadline=None)
def test_the_order_of_pulses_does_not_matter(text, rows, random):
    key = compiled(text)
    values, errors = table_of(rows)
    if not values:
        return
    order = list(range(len(rows)))
    random.shuffle(order)
    one = evaluate(key, values, errors)
    other = evaluate(
        key, {name: each[order] for name, each in values.items()}, {name: each[order] for name, each in errors.items()}
    )
    assert (one.trail[order] == other.trail).all()
    assert (one.candidates[order] == other.candidates).all()


DIAMOND = """\
key "diamond" version 1
taxon A a
taxon B b
couplet 1
    1a duration < 5 ms ± 1 ms => 2
    1b duration >= 5 ms ± 1 ms => 3, at most possible
couplet 2
    2a otherwise => 4, at most probable
couplet 3
    3a otherwise => 4
couplet 4
    4a snr < 20 dB ± 2 dB => A a
    4b otherwise => B b
"""


def test_a_couplet_reached_by_two_ways_is_gone_through_once_and_keeps_the_kinder_cap():
    key = compiled(DIAMOND)
    verdicts = evaluate(key, {"duration": np.array([5.0, 2.0, 9.0, 5.0]), "snr": np.array([20.0, 20.0, 9.0, 30.0])})
    a, b = key.end("A a"), key.end("B b")
    assert verdicts.trail.tolist() == ["1a 2a 4a | 1a 2a 4b", "1a 2a 4a | 1a 2a 4b", "1b 3a 4a", "1a 2a 4b"]
    assert verdicts.cap[:, [a, b]].tolist() == [[1, 1], [1, 1], [2, 0], [0, 1]]
    assert verdicts.parted_by.tolist() == [4, 4, 0, 0]


def test_a_call_that_no_lead_takes_is_unidentified_and_says_so():
    key = compiled('key "k" version 1\ntaxon A a\ncouplet 7\n7a duration < 5 ms ± 1 ms => A a\n')
    verdicts = evaluate(key, {"duration": np.array([9.0, 5.0, np.nan])})
    assert verdicts.trail.tolist() == ["7-", "7a", "7a"]
    assert verdicts.reason.tolist() == ["no lead of couplet 7 applies", "", ""]
    assert [key.ends[end].label for end in verdicts.candidates.argmax(axis=1)] == ["unidentified", "A a", "A a"]


def test_edges_of_a_zone_are_sure_and_its_inside_is_not():
    key = compiled(
        'key "k" version 1\ntaxon A a\ntaxon B b\ncouplet 1\n1a duration < 0.3 ms ± 0.1 ms => A a\n1b otherwise => B b\n'
    )
    # 0.3 - 0.1 in binary is not 0.2, but the key means 0.2.
    verdicts = evaluate(key, {"duration": np.array([0.2, np.nextafter(0.2, 1), 0.3, np.nextafter(0.4, 0), 0.4])})
    assert verdicts.trail.tolist() == ["1a", "1a | 1b", "1a | 1b", "1a | 1b", "1b"]
    assert verdicts.clearance == pytest.approx([1, 1, 0, 1, 1])


def test_standard_errors_widen_zones_by_the_keys_own_number():
    text = (
        'key "k" version 1\nstandard errors {}\ntaxon A a\ntaxon B b\n'
        "couplet 1\n1a duration < 5 ms ± 1 ms => A a\n1b otherwise => B b\n"
    )
    values, errors = {"duration": np.full(4, 3.0)}, {"duration": np.array([0.0, 0.5, 0.51, np.nan])}
    assert evaluate(compiled(text.format(2)), values, errors).trail.tolist() == ["1a", "1a", "1a | 1b", "1a"]
    assert evaluate(compiled(text.format(0)), values, errors).trail.tolist() == ["1a"] * 4


def test_errors_are_carried_through_arithmetic():
    key = compiled(
        'key "k" version 1\ntaxon A a\ntaxon B b\ncouplet 1\n'
        "1a start_frequency - end_frequency < 10 kHz => A a\n1b otherwise => B b\n"
    )
    values = {"start_frequency": np.array([39.0, 39.0]), "end_frequency": np.array([30.0, 30.0])}
    # 2 * hypot(0.3, 0.4) = 1.0 reaches the boundary exactly; a little more does not leave it.
    errors = {"start_frequency": np.array([0.3, 0.31]), "end_frequency": np.array([0.4, 0.4])}
    assert evaluate(key, values, errors).trail.tolist() == ["1a", "1a | 1b"]


def test_missing_is_unsure_but_known_to_be_missing_is_not():
    key = compiled('key "k" version 1\ntaxon A a\ntaxon B b\ncouplet 1\n1a knee_frequency is missing => A a\n1b otherwise => B b\n')
    verdicts = evaluate(key, {"knee_frequency": np.array([np.nan, 30.0])})
    assert verdicts.trail.tolist() == ["1a", "1b"]
    assert np.isnan(verdicts.clearance).all()
    # a metric that is not named, or has no column, is missing
    assert evaluate(key, {"duration": np.array([5.0])}).trail.tolist() == ["1a"]


def test_the_gate_takes_out_only_what_is_surely_unfit():
    key = compiled('key "k" version 1\ntaxon A a\ngate\nsnr >= 12 dB ± 1 dB\nduration >= 2 ms\ncouplet 1\n1a otherwise => A a\n')
    verdicts = evaluate(key, {"snr": np.array([5.0, 12.0, np.nan, 20.0]), "duration": np.array([1.0, 3.0, 3.0, 1.0])})
    assert verdicts.gated_by.tolist() == [0, -1, -1, 1]
    assert key.gate_names == ("snr >= 12 dB ± 1 dB", "duration >= 2 ms")
    assert verdicts.trail.tolist() == ["", "1a", "1a", ""]
    assert not verdicts.candidates[0].any()


def test_units_of_one_kind_are_converted_exactly():
    key = compiled(
        'key "k" version 1\ntaxon A a\ntaxon B b\ncouplet 1\n1a onset < 100 ms and interval > 0.2 s => A a\n1b otherwise => B b\n'
    )
    verdicts = evaluate(key, {"onset": np.array([np.nextafter(0.1, 0), 0.1, 0.05]), "interval": np.array([201.0, 201.0, 200.0])})
    assert verdicts.trail.tolist() == ["1a", "1b", "1b"]


def test_empty_tables_keep_types_and_shapes():
    key = compiled(DIAMOND)
    verdicts = evaluate(key, {"duration": np.array([])})
    assert verdicts.candidates.shape == (0, len(key.ends))
    assert verdicts.candidates.dtype == bool
    assert verdicts.trail.tolist() == []


def test_columns_of_different_lengths_are_refused():
    with pytest.raises(ParameterError, match="different lengths"):
        evaluate(compiled(DIAMOND), {"duration": np.zeros(3), "snr": np.zeros(4)})


def test_whole_blocks_of_odd_numbers_do_no_harm(rng):
    key = compiled(DIAMOND)
    odd = np.array([np.nan, np.inf, -np.inf, 1e308, -1e308, 0.0, 5.0])
    values = {"duration": np.repeat(odd, 7), "snr": np.tile(odd, 7)}
    errors = {"duration": np.tile(odd, 7), "snr": np.repeat(odd, 7)}
    with np.errstate(all="raise"):
        verdicts = evaluate(key, values, errors)
    for place in range(49):
        way = walk(key, {name: (values[name][place], errors[name][place]) for name in values})
        assert verdicts.trail[place] == way.trail
