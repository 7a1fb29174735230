"""The figure of a plan: what stands in it, and where it is written."""

import os

import pytest

from classifier.errors import InputError
from classifier.plan.figure import draw_plan, figure_of


def test_every_taxon_and_several_weathers_stand_in_it(planned):
    plan = planned("south-east-australia")
    far, who = figure_of(plan).axes
    assert [label.get_text().rstrip(" *") for label in who.get_yticklabels()] == [each.taxon for each in plan.taxa]
    loud = [line for line in far.lines if not line.get_label().startswith("_")]
    assert len(loud) >= 4
    # Told apart without colour: no two weathers share their dashes.
    assert len({str(line._dash_pattern) for line in loud}) == len(loud)
    texts = [text.get_text() for text in who.texts]
    assert len(texts) == len(plan.taxa) and any(text.startswith("6 m (4") for text in texts)


def test_lines_hold_the_distances_of_the_table(planned):
    plan = planned("new-zealand")
    line = figure_of(plan).axes[0].lines[0]
    row = next(each for each in plan.distances if each["frequency_khz"] == 40.0)
    import numpy as np

    assert np.interp(40.0, line.get_xdata(), line.get_ydata()) == pytest.approx(row["loud_m"], rel=0.002)


@pytest.mark.parametrize("ending", ["svg", "pdf", "png"])
def test_the_same_plan_gives_the_same_file_and_leaves_nothing_beside_it(planned, tmp_path, ending):
    plan = planned("new-zealand")
    for name in ("a", "b"):
        draw_plan(plan, tmp_path / f"{name}.{ending}")
    assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()
    assert sorted(os.listdir(tmp_path)) == [f"a.{ending}", f"b.{ending}"]


def test_places_that_cannot_be(planned, tmp_path):
    plan = planned("new-zealand")
    with pytest.raises(InputError, match="a figure ends in .pdf, .svg or .png"):
        draw_plan(plan, tmp_path / "a.jpg")
    with pytest.raises(InputError, match="there is no folder .*; make it or name another"):
        draw_plan(plan, tmp_path / "none" / "a.png")
    (tmp_path / "taken.png").mkdir()
    with pytest.raises(InputError, match="taken.png: cannot be written"):
        draw_plan(plan, tmp_path / "taken.png")
    assert os.listdir(tmp_path) == ["taken.png"]
