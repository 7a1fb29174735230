"""Which recordings follow on."""

import polars as pl
import pytest

from classifier.errors import ParameterError
from classifier.passes.across_files import places
from classifier.passes.settings import PassSettings


def runs(files, starts, *, seconds=15.0, gap_s=1.0, **rest):
    paths = [f"site/{number}.wav" for number in range(len(starts))]
    found = places(files(paths, seconds=seconds, starts=starts, **rest), gap_s=gap_s, settings=PassSettings())
    return [found[path] for path in paths]


@pytest.mark.parametrize(("second", "joined"), [(14, True), (15, True), (16, True), (17, False), (13, False)])
def test_whole_second_stamps_may_be_a_second_off(files, second, joined):
    # Stamps cut to whole seconds: two true starts 15.0 to 15.9 s apart may read 15 or 16 s apart.
    a, b = runs(files, ["2026-06-03T22:00:00+01:00", f"2026-06-03T22:00:{second}+01:00"])
    assert (a.run == b.run) is joined
    if joined:
        assert b.offset_s == 15.0
        assert a.era != b.era


def test_fine_clock_places_to_the_millisecond(files):
    a, b, c = runs(files, ["2026-06-03T22:00:00.250+01:00", "2026-06-03T22:00:15.450+01:00", "2026-06-03T22:00:31.950+01:00"])
    assert a.run == b.run
    assert a.era == b.era
    assert b.offset_s == pytest.approx(15.2)
    # 1.5 s are missing before the third: longer than the gap, no pass can run over them.
    assert c.run != b.run


def test_offsets_of_time_zones_are_honoured(files):
    a, b = runs(files, ["2026-06-03T22:00:00+01:00", "2026-06-03T23:00:15+02:00"])
    assert a.run == b.run


def test_other_recorders_sites_and_unknown_clocks_do_not_follow_on(files):
    starts = ["2026-06-03T22:00:00+01:00", "2026-06-03T22:00:15+01:00"]
    both = files(["a/1.wav", "b/2.wav"], starts=starts)
    settings = PassSettings()

    def joined(table):
        found = places(table, gap_s=1.0, settings=settings)
        return found["a/1.wav"].run == found["b/2.wav"].run

    assert joined(both)
    assert not joined(both.with_columns(pl.Series("recorder", ["one", "two"])))
    assert not joined(both.with_columns(pl.Series("site", ["here", "there"])))
    assert not joined(both.with_columns(pl.lit(None, pl.String).alias("starts_at")))
    # An unknown recorder is told by its folder.
    assert not joined(both.with_columns(pl.lit(None, pl.String).alias("recorder")))


def test_a_path_named_twice_is_refused(files):
    with pytest.raises(ParameterError, match="names a path twice"):
        places(files(["a.wav", "a.wav"]), gap_s=1.0, settings=PassSettings())
