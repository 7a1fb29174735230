"""The drawing: its layout and slices as values, and files that are drawn whole."""

import numpy as np
import pytest
from planting import reading_of

from classifier.key import compile_key, walk
from classifier.key.check.picture import draw_key, figure_of
from classifier.key.check.slices import slice_of, slices
from classifier.key.check.tree import layout

HEAD = (
    'key "Drawn" version 2\n'
    "taxon Examplia a\n    characteristic_frequency 12 to 18 kHz\n    duration 8 to 20 ms\n"
    "taxon Examplia b\n    characteristic_frequency 22 to 30 kHz\n    duration 2 to 9 ms\n    characteristic_slope -4 to 0 kHz/ms\n"
)
BODY = (
    'couplet 1 "how low?"\n    1a characteristic_frequency < 20 kHz ± 1 kHz => 2\n    1b characteristic_slope < -3 kHz/ms => 3\n'
    "    1c otherwise => Examplia b\n"
    "couplet 2\n    2a duration > 5 ms ± 1 ms => Examplia a\n    2b otherwise => 3\n"
    'couplet 3\n    3a coherence < 30 % => not a bat "rain"\n    3b otherwise => unidentified "steep or short"\n'
)


@pytest.fixture
def compiled():
    reading = reading_of(BODY, HEAD)
    return compile_key(reading.key, reading.meanings)


def test_the_tree_is_laid_out_without_crossings(compiled):
    tree = layout(compiled)
    assert [(fork.number, fork.depth, fork.question) for fork in tree.forks] == [(1, 0, "how low?"), (2, 1, ""), (3, 2, "")]
    ends = {branch.label: (branch.end, branch.kind) for branch in tree.branches}
    assert ends["2a"] == ("Examplia a", "taxon")
    assert ends["3b"] == ("unidentified", "unidentified")
    # Couplet 3 is laid out below couplet 2; the other lead to it only says so.
    assert ends["1b"] == ("to 3", "elsewhere")
    leaves = sorted(branch.row for branch in tree.branches if branch.kind != "couplet")
    assert leaves == list(range(tree.rows))
    order = [branch.label for branch in sorted(tree.branches, key=lambda each: each.row) if branch.kind != "couplet"]
    assert order == ["2a", "3a", "3b", "1b", "1c"]
    for fork in tree.forks:
        assert fork.rows[0] <= fork.row <= fork.rows[1]


def test_a_slice_says_what_walk_says(compiled):
    view = slice_of(compiled, "characteristic_frequency", "duration")
    held = dict.fromkeys(compiled.metrics) | {name: value for name, value, beside in view.held if beside is None}
    rng = np.random.default_rng(7)
    for row, column in zip(rng.integers(0, len(view.ups), 40), rng.integers(0, len(view.acrosses), 40), strict=True):
        call = held | {"characteristic_frequency": view.acrosses[column], "duration": view.ups[row]}
        labels = sorted(end.label for end in walk(compiled, call).candidates)
        assert sorted(view.outcomes[view.region[row, column]]) == labels


def test_slices_hold_the_declared_ranges(compiled):
    views = slices(compiled)
    assert [(view.across, view.up) for view in views][:1] == [("characteristic_frequency", "duration")]
    boxes = {box.taxon: box for box in views[0].boxes}
    assert boxes["Examplia a"].across == (12.0, 18.0)
    assert boxes["Examplia b"].up == (2.0, 9.0)
    assert views[0].acrosses[0] <= 12
    assert views[0].acrosses[-1] >= 30


@pytest.mark.parametrize(("ending", "start"), [("pdf", b"%PDF"), ("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_files(compiled, tmp_path, ending, start):
    paths = [tmp_path / f"{n}.{ending}" for n in (1, 2)]
    for path in paths:
        draw_key(compiled, path)
    assert paths[0].read_bytes().startswith(start)
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_every_label_and_lead_is_written_out(compiled):
    texts = {text.get_text() for axes in figure_of(compiled).axes for text in axes.texts}
    for piece in ("1a  characteristic_frequency < 20 kHz ± 1 kHz", "2b  otherwise", "Examplia b"):
        assert piece in texts, piece


def test_a_key_without_taxa_or_with_one_lead_is_drawn_too(tmp_path):
    reading = reading_of('couplet 1\n    1a otherwise => unidentified "x"\n', 'key "small" version 1\n')
    draw_key(compile_key(reading.key), tmp_path / "small.png")
    assert (tmp_path / "small.png").stat().st_size > 1000


def test_nothing_overlaps_the_names_of_leads(compiled):
    """No two texts of the tree lie on each other."""
    figure = figure_of(compiled)
    renderer = figure.canvas.get_renderer()
    boxes = [text.get_window_extent(renderer) for text in figure.axes[0].texts]
    clashes = [
        (i, j) for i in range(len(boxes)) for j in range(i) if boxes[i].shrunk(0.98, 0.7).overlaps(boxes[j].shrunk(0.98, 0.7))
    ]
    assert clashes == []


def test_a_drawing_that_fails_leaves_the_one_before(compiled, tmp_path, monkeypatch):
    path = tmp_path / "key.png"
    path.write_bytes(b"before")
    monkeypatch.setattr("os.replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(OSError, match="No space"):
        draw_key(compiled, path)
    assert path.read_bytes() == b"before"
    assert [each.name for each in tmp_path.iterdir()] == ["key.png"]


def test_every_taxon_that_has_ranges_stands_in_the_list_and_every_region_has_its_number(compiled):
    figure = figure_of(compiled)
    texts = [text.get_text() for axes in figure.axes for text in axes.texts] + [text.get_text() for text in figure.texts]
    for taxon in compiled.key.taxa:
        assert any(taxon in text for text in texts), taxon


def test_regions_differ_also_without_colour(compiled):
    """Two regions of one slice never share tint and hatching; in grey (Rec. 709 luminance) hatching or lightness still
    parts those that share a hatching."""
    from matplotlib.colors import to_rgb

    from classifier.key.check import picture

    pairs = [(to_rgb(tint), hatch) for tint in picture._TINTS for hatch in picture._HATCHES]
    assert len(set(pairs)) == len(pairs)
    lightness = sorted(
        sum(part * each for part, each in zip((0.2126, 0.7152, 0.0722), to_rgb(tint), strict=True)) for tint in picture._TINTS
    )
    assert lightness[0] > 0.8  # black text and lines stay legible on each of them (contrast above 15 to 1)
