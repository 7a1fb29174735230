"""What practitioners know about settings, held against the plan's own computation on shipped keys.

Each fact is common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest

from classifier.plan import Settings
from classifier.plan.absorption import absorption_db_per_m
from classifier.plan.advice import advise, file_bounds_s
from classifier.plan.callers import callers_of
from classifier.plan.calls import calls_of
from classifier.plan.planning import plan_survey

EAST = "south-east-australia"


def said(plan, topic):
    """What the advice says on a topic; '' where it says nothing."""
    return next((each.sentences for each in advise(plan) if each.topic == topic), "")


def by_name(plan):
    return {each.taxon: each for each in plan.taxa}


@pytest.mark.parametrize(("rate", "highest"), [(192, 96), (320, 160)])
def test_a_rate_records_up_to_half_of_it(planned, rate, highest):
    plan = planned(EAST, sample_rate_khz=float(rate))
    assert plan.settings.nyquist_khz == highest
    assert f"{rate} kHz records up to {highest} kHz" in said(plan, "sample rate")
    assert {each.sample_rate_khz: each.records_to_khz for each in plan.rates}[rate] == highest


def test_the_lowest_caller_reaches_down_to_about_10_khz(planned):
    taxa = sorted(planned(EAST).taxa, key=lambda each: each.strongest_khz)
    assert taxa[0].taxon == "Austronomus australis"
    assert taxa[0].strongest_khz[0] == pytest.approx(10, abs=0.5)


def test_a_floor_of_11_khz_costs_the_lowest_caller_a_part_and_no_other_anything(planned):
    plan = planned(EAST, trigger_floor_khz=11.0)
    lost = {each.taxon: each.misses.below_band for each in plan.taxa if each.misses.below_band}
    assert lost == {"Austronomus australis": pytest.approx(0.2, abs=0.01)}
    assert "11 kHz is too high for Austronomus australis (20 % of calls)" in said(plan, "trigger band")


def test_for_the_lowest_threatened_caller_17_khz_would_do(planned):
    plan = planned(EAST, trigger_floor_khz=17.0)
    assert plan.highest_floor_of_listed_khz == 17
    assert all(each.misses.below_band == 0 for each in plan.taxa if each.listed)
    assert by_name(plan)["Austronomus australis"].misses.below_band == 1
    assert "For the threatened taxa alone 17 kHz would do." in said(plan, "trigger band")


def test_the_highest_caller_reaches_about_170_khz_and_mostly_less_than_160(planned, shipped):
    taxa = [each for each in planned(EAST).taxa if each.highest_khz is not None]
    highest = max(taxa, key=lambda each: each.highest_khz)
    assert highest.taxon == "Phoniscus papuensis"
    assert highest.highest_khz == pytest.approx(170, abs=2)
    (caller,) = callers_of(shipped(EAST), only=["golden-tipped bat"])
    assert np.mean(calls_of(caller).highest_khz < 160) == pytest.approx(0.8, abs=0.01)


@pytest.mark.parametrize("weather", [(5.0, 90.0), (12.0, 80.0), (20.0, 60.0), (28.0, 30.0)])
def test_the_highest_caller_carries_about_5_m_so_that_acoustic_survey_hardly_suits_it(planned, weather):
    plan = planned(EAST, temperature_c=weather[0], humidity_percent=weather[1])
    golden = by_name(plan)["Phoniscus papuensis"]
    assert golden.distance_m[0] < 5 < golden.distance_m[2]
    assert golden.distance_m[1] == pytest.approx(6, abs=1.5)
    assert [each.taxon for each in plan.taxa if each.hardly_suited] == ["Phoniscus papuensis"]
    assert "Acoustic survey hardly suits Phoniscus papuensis" in said(plan, "hardly suited")


def test_as_a_loud_caller_the_highest_would_carry_11_m(shipped):
    """The key's note that it is quiet decides about it (docs/planning.md)."""
    settings = Settings(source_level_db={"golden-tipped bat": 120})
    (golden,) = plan_survey(shipped(EAST), settings, ["golden-tipped bat"]).taxa
    assert golden.distance_m[1] == pytest.approx(11.4, abs=0.1)


def test_what_hardly_suits_is_said_of_the_bat_and_not_of_the_recorder(planned):
    """A noisy recorder brings the lesser horseshoe bat under 10 m, which is no reason to look for it by other means."""
    noisy = by_name(planned("britain-and-ireland", noise_db=50.0))["Rhinolophus hipposideros"]
    assert noisy.distance_m[2] < 10 and not noisy.hardly_suited


def test_256_khz_is_enough_for_every_other_bat_of_the_south_east(planned):
    plan = planned(EAST, sample_rate_khz=256.0)
    assert {each.taxon for each in plan.taxa if each.misses.cut} == {"Phoniscus papuensis"}
    assert plan.best.settings.sample_rate_khz == 256


@pytest.mark.parametrize("key", [EAST, f"{EAST}-coast-and-tableland", f"{EAST}-inland-plains"])
def test_a_shortest_event_of_3_ms_costs_few_calls(planned, key):
    """Whether it drops most insects the key cannot say: it describes bats (docs/planning.md)."""
    plan = planned(key, shortest_event_ms=3.0)
    short = [each.misses.too_short for each in plan.taxa if not each.hardly_suited]
    if key == EAST:
        assert (len(short), sum(share == 0 for share in short), round(np.mean(short), 2)) == (32, 21, 0.05)
    assert np.median(short) <= 0.05 and np.mean(short) <= 0.10 and max(short) <= 0.2
    assert plan.longest_event_ms == 3
    assert "few; longer events would cost more" in said(plan, "shortest event")
    longer = planned(key, shortest_event_ms=5.0)
    assert "3 ms costs" in said(longer, "shortest event") and "take that" in said(longer, "shortest event")


def test_in_britain_3_ms_costs_more_and_2_ms_is_advised(planned):
    """Long-eared and Myotis bats call shorter than the bats of the south-east (docs/planning.md)."""
    plan = planned("britain-and-ireland", shortest_event_ms=3.0)
    assert np.mean([each.misses.too_short for each in plan.taxa]) == pytest.approx(0.18, abs=0.005)
    assert plan.longest_event_ms == 2
    assert "2 ms costs 5 % on average" in said(plan, "shortest event")


@pytest.mark.parametrize("key", [EAST, "britain-and-ireland"])
def test_in_small_caves_and_buildings_2_or_even_1_ms(planned, key):
    plan = planned(key, surroundings="confined", shortest_event_ms=3.0)
    assert plan.longest_event_ms in (1, 2)
    assert f"{plan.longest_event_ms:g} ms costs" in said(plan, "shortest event")
    assert "small caves and buildings" in said(plan, "shortest event")


def test_going_on_for_1_5_s_keeps_the_quieter_pulses(planned):
    for key in (EAST, "britain-and-ireland", "new-zealand"):
        assert "keeps a pass together with its quieter pulses" in said(planned(key, goes_on_s=1.5), "going on")
        short = said(planned(key, goes_on_s=0.5), "going on")
        assert "is short" in short and ("With 1.5 s" in short or "With 1 s" in short)


def quieter_pulses_kept(goes_on_s):
    """Share of the pulses under the trigger's level, and 10 dB over the noise or more, that a recording still holds.

    400 bats fly past at 6 m/s and 3 to 15 m, calling at 40 kHz; the beam's aim wavers by 6 dB (chosen). The trigger
    wants 12 dB over the noise.
    """
    rng = np.random.default_rng(1)
    absorbed = absorption_db_per_m(40e3)
    quiet = kept = 0
    for _ in range(400):
        interval_s = rng.uniform(0.08, 0.2)
        time = np.arange(-12.0, 12.0, interval_s)
        metres = np.hypot(rng.uniform(3, 15), 6.0 * time)
        memory, aim = np.exp(-interval_s / 0.4), [rng.normal()]
        for step in rng.normal(size=len(time) - 1):
            aim.append(memory * aim[-1] + np.sqrt(1 - memory**2) * step)
        level = 114 - 20 * np.log10(metres / 0.1) - absorbed * (metres - 0.1) + 6 * np.array(aim)
        runs_until = -np.inf
        for moment, heard in zip(time, level, strict=True):
            if heard >= 47:
                runs_until = moment + goes_on_s
            elif heard >= 45:
                quiet += 1
                kept += moment <= runs_until
    return kept / quiet


def test_going_on_for_1_5_s_keeps_them_in_a_simulation_too():
    """A third with 0.15 s, four fifths with 1.5 s, and no more with longer: the rest come before the trigger."""
    short, usual, long = (quieter_pulses_kept(seconds) for seconds in (0.15, 1.5, 5.0))
    assert short < 0.35
    assert usual == pytest.approx(0.79, abs=0.02)
    assert long - usual < 0.03


def test_files_of_6_to_15_s_keep_few_bats_in_a_file(planned):
    assert file_bounds_s(Settings()) == (6, 15)
    for seconds in (6.0, 10.0, 15.0):
        assert "That is well chosen: 6 to 15 s" in said(planned(EAST, longest_file_s=seconds), "longest file")
    assert "6 to 15 s keep few bats in a file" in said(planned(EAST, longest_file_s=60.0), "longest file")
    assert "Shorter than a pass" in said(planned(EAST, longest_file_s=3.0), "longest file")


def test_on_a_busy_night_no_length_parts_bats(planned):
    assert "no length parts bats" in said(planned(EAST, passes_per_night=200.0), "longest file")
    assert "well chosen" in said(planned(EAST, passes_per_night=190.0, longest_file_s=6.0), "longest file")


def test_the_share_of_second_bats_is_that_of_passes_by_chance():
    """A night of passes drawn evenly over its busiest hour: how many windows of a file's length meet another pass."""
    from classifier.plan.advice import BUSIEST_HOUR_SHARE, second_bat_share

    settings = Settings(passes_per_night=400, longest_file_s=10, pass_s=4)
    rng = np.random.default_rng(5)
    met = []
    for _ in range(400):
        count = rng.poisson(400 * BUSIEST_HOUR_SHARE)
        others = rng.uniform(0, 3600, count)
        window = rng.uniform(100, 3400, 200)[:, None]
        met.append(((others > window - 4) & (others < window + 10)).any(1).mean())
    assert np.mean(met) == pytest.approx(second_bat_share(settings), abs=0.01)
    assert second_bat_share(replace(settings, passes_per_night=0)) == 0


def test_192_khz_loses_the_lesser_horseshoe_bat(planned):
    plan = planned("britain-and-ireland", sample_rate_khz=192.0)
    lesser = by_name(plan)["Rhinolophus hipposideros"]
    assert lesser.misses.above_nyquist == 1
    assert lesser.distance_m == (0, 0, 0)
    sentences = said(plan, "sample rate")
    assert "Calls that lie above that altogether: Rhinolophus hipposideros (100 % of calls)" in sentences
