"""The plan as a whole."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from classifier.key import parse_key
from classifier.plan import Settings
from classifier.plan.advice import advise
from classifier.plan.callers import callers_of
from classifier.plan.calls import calls_of
from classifier.plan.card import space_of
from classifier.plan.misses import misses_of
from classifier.plan.planning import RATES_KHZ, plan_survey
from classifier.plan.schedule import nights_of

SEASON = {
    "first_night": date(2025, 11, 3),
    "last_night": date(2025, 11, 16),
    "latitude": -33.87,
    "longitude": 151.21,
}


BARE = """\
key "Bare" version 1
taxon Examplia vespera
taxon Examplia grandis
    duration 2 to 4 ms
couplet 1
    1a otherwise => Examplia vespera
"""
SLOW = """\
key "Slow" version 1
taxon Examplia vespera
    interval 100 to 600 ms
passes
    gap 2000 ms
couplet 1
    1a otherwise => Examplia vespera
"""


def lost_with(settings, wanted):
    found = [misses_of(each, settings) for each in wanted]
    return np.mean([each.missed + (each.cut or 0) for each in found])


@pytest.mark.parametrize("card_gb", [8.0, 16.0, 32.0, 64.0, 512.0, 2000.0])
def test_nothing_that_fits_the_card_loses_less_than_the_best(shipped, card_gb):
    """Every rate and both ways to record, with the floor and event that the plan advises, counted over again."""
    key = shipped("south-east-australia")
    plan = plan_survey(key, Settings(card_gb=card_gb, **SEASON))
    good = {each.taxon for each in plan.taxa if not each.hardly_suited}
    wanted = [calls_of(each) for each in callers_of(key) if each.name in good]
    assert lost_with(plan.best.settings, wanted) == pytest.approx(plan.best.lost)
    nights = nights_of(plan.settings)
    for rate in RATES_KHZ:
        for place, recording in enumerate(("triggered", "continuous")):
            tried = replace(plan.best.settings, sample_rate_khz=rate, recording=recording)
            if space_of(tried, nights)[place].nights_a_card >= len(nights):
                assert plan.best.fits
                assert lost_with(tried, wanted) >= plan.best.lost - 0.0006


def test_a_large_card_brings_continuous_recording_which_loses_nothing_to_a_trigger(planned):
    plan = planned("south-east-australia", card_gb=2000.0, **SEASON)
    assert plan.best.settings.recording == "continuous"
    assert plan.best.lost == 0


def test_a_card_that_nothing_fits_says_so(planned):
    plan = planned("south-east-australia", card_gb=2.0, **SEASON)
    assert not plan.best.fits
    sentences = {each.topic: each.sentences for each in advise(plan)}
    assert "no settings fit 14 nights on one card" in sentences["least lost"]
    assert "14 cards" in sentences["card"] and "14 are planned" in sentences["card"]


def test_the_best_settings_advise_themselves(planned):
    """A plan made with the settings that it advises has nothing better to say."""
    best = planned("south-east-australia", **SEASON).best.settings
    values = {name: value for name, value in vars(best).items() if name != "source_level_db"}
    again = planned("south-east-australia", **values)
    assert again.best.settings == best
    assert "These settings lose least" in {each.topic: each.sentences for each in advise(again)}["least lost"]


def test_taxa_of_which_nothing_is_declared_are_not_known():
    plan = plan_survey(parse_key(BARE).merged, Settings())
    bare, timed = plan.taxa
    assert bare.misses.missed is None and bare.distance_m is None and bare.strongest_khz is None
    assert timed.misses.missed == pytest.approx(0.5, abs=0.001) and not timed.misses.complete
    assert plan.highest_floor_khz is None and plan.gap_s == 1.0
    assert "trigger band" not in {each.topic for each in advise(plan)}


def test_the_gap_of_a_pass_is_the_keys_own():
    plan = plan_survey(parse_key(SLOW).merged, Settings())
    assert (plan.gap_s, plan.longest_interval_s) == (2.0, 0.6)
    going_on = {each.topic: each.sentences for each in advise(plan)}["going on"]
    assert "1.5 s after a trigger is short" in going_on and "With 3 s" in going_on


def test_a_source_level_from_the_settings_moves_the_distance(shipped):
    key = shipped("britain-and-ireland")
    loud = plan_survey(key, Settings(source_level_db={"noctule": 135.0}), ["noctule"]).taxa[0]
    usual = plan_survey(key, Settings(), ["noctule"]).taxa[0]
    assert loud.distance_m[1] > 1.4 * usual.distance_m[1]
    assert loud.source_level_source == "given in the settings"


def test_the_same_plan_every_time(shipped):
    key = shipped("new-zealand")
    assert plan_survey(key, Settings()) == plan_survey(key, Settings())


def test_a_tighter_trigger_never_misses_less(planned):
    easy = planned("britain-and-ireland", trigger_floor_khz=10.0, shortest_event_ms=1.0)
    hard = planned("britain-and-ireland", trigger_floor_khz=25.0, shortest_event_ms=4.0)
    for before, after in zip(easy.taxa, hard.taxa, strict=True):
        assert after.misses.missed >= before.misses.missed
