"""Sets of cells against the plain engine: a value lies in the cells of yes exactly if `walk` judges it so."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st
from planting import HEAD

from classifier.key import parse_key
from classifier.key.check.axes import Axes
from classifier.key.check.kinds import BENT, OPAQUE, PLAIN, RATIO, SUM, nature_of, resolution
from classifier.key.vocabulary import PULSE
from classifier.key.walk import judge


def comparison_of(text):
    reading = parse_key(HEAD + f"couplet 1\n    1a {text} => Examplia a\n    1b otherwise => Examplia b\n", "k")
    (lead, _) = reading.merged.couplets[1].leads
    return reading.meanings[id(lead.condition)]


WRITTEN = st.builds(
    lambda form, sense, boundary, zone: f"{form} {sense} {boundary} kHz/ms" + (f" ± {zone} kHz/ms" if zone else ""),
    st.sampled_from(
        (
            "characteristic_slope",
            "-characteristic_slope",
            "2 * characteristic_slope",
            "-0.5 * characteristic_slope + 1 kHz/ms",
            "abs(characteristic_slope)",
            "abs(characteristic_slope - 2 kHz/ms)",
            "abs(3 kHz/ms - 2 * characteristic_slope)",
        )
    ),
    st.sampled_from(("<", "<=", ">", ">=")),
    st.integers(-4, 6),
    st.sampled_from((0, 0, 1, 2)),
)


@settings(deadline=None)
@given(WRITTEN, st.integers(-80, 80))
def test_cells_of_one_metric(text, quarters):
    comparison = comparison_of(text)
    axes = Axes()
    axes.take(comparison)
    axes.close()
    side = axes.side(comparison)
    value = quarters / 4
    assert [axis.names for axis in axes.all] == [("characteristic_slope",)]
    cell = side.axis.cell_of(value)
    found = next(truth for truth, mask in (("yes", side.yes), ("no", side.no), ("unsure", side.unsure)) if cell & mask)
    assert found == judge(comparison, {"characteristic_slope": (value, None)}, 2.0)[0]
    assert side.unsure & side.axis.missing
    assert (side.yes | side.no | side.unsure) == side.axis.every | side.axis.missing
    assert not side.yes & side.no


def test_forms_that_differ_by_a_factor_share_an_axis():
    axes = Axes()
    one = comparison_of("start_frequency - end_frequency > 10 kHz")
    other = comparison_of("2 * end_frequency - 2 * start_frequency > -10 kHz")
    for each in (one, other):
        axes.take(each)
    axes.close()
    assert len(axes.all) == 1
    assert axes.all[0].cuts[1:-1] == [5, 10]
    # The first rises where the second falls: above 10 the one is yes and the other no.
    assert axes.side(one).yes & axes.side(other).no == axes.side(one).yes


@given(st.lists(st.integers(0, 6), min_size=1), st.integers(0, 2**13 - 1))
def test_runs_are_the_stretches_of_the_cells(cuts, mask):
    axes = Axes()
    for cut in cuts:
        axes.cut("snr", Fraction(cut))
    axes.close()
    axis = axes.named("snr")
    mask &= axis.measured
    points = [value / 4 for value in range(-4, 32)]
    inside = {value for value in points if axis.cell_of(value) & mask}
    by_runs = {
        value
        for value in points
        for low, low_open, high, high_open in axis.runs(mask)
        if (low < value or (low == value and not low_open)) and (value < high or (high == value and not high_open))
    }
    assert inside == by_runs


def test_whole_numbers_have_no_cells_between():
    axes = Axes()
    axes.take(comparison_of("strongest_harmonic >= 2"))
    axes.close()
    (axis,) = axes.all
    # Cuts 1, 2, 3: nothing whole lies between them.
    assert [run[:1] + run[2:3] for run in axis.runs(axis.measured)] == [(1.0, 1.0), (2.0, 2.0), (3.0, 3.0)]


def test_kinds_of_quantities():
    texts = {
        "characteristic_slope > 1 kHz/ms": PLAIN,
        "start_frequency + end_frequency > 1 kHz": SUM,
        "bandwidth / duration > 1 kHz/ms": RATIO,
        "abs(tail) + bandwidth > 1 kHz": BENT,
        "duration * bandwidth > 1 kHz*ms": OPAQUE,
        "bandwidth / tail > 1": OPAQUE,
        "abs(tail * duration) > 1 kHz*ms": OPAQUE,
        "bandwidth / duration + mean_slope > 1 kHz/ms": OPAQUE,
    }
    for text, kind in texts.items():
        axes = Axes()
        axes.take(comparison_of(text))
        assert axes.all[0].kind == kind, text


def test_resolution_of_a_sum_adds_up_by_squares():
    form = comparison_of("start_frequency - 2 * end_frequency > 1 kHz").form
    # Registry: start 0.3 kHz, end 0.2 kHz; hence the root of 0.3² + (2 · 0.2)².
    assert abs(resolution(form) - 0.5) < 1e-12
    assert nature_of(form, PULSE).low == 1 - 2 * 500
