"""Unsafe definites: groups, caps, missing metrics, ways that meet again, and what passes ask for."""

from planting import HEAD, PASSES, codes_in, found_in, reading_of, walked

RANGES = """\
taxon Examplia a
    characteristic_frequency 18 to 24 kHz
taxon Examplia b
    characteristic_frequency 26 to 30 kHz
taxon Examplia c
"""
KEY = 'key "d" version 1\n' + RANGES
BODY = "couplet 1\n    1a characteristic_frequency < {} => {}\n    1b otherwise => Examplia b\n" + PASSES


def body(boundary="22 kHz ± 1 kHz", end="Examplia a"):
    return BODY.format(boundary, end)


def test_a_boundary_inside_the_ranges_of_a_taxon():
    (found,) = found_in(body(), KEY)
    assert found.code == "K410"
    assert found.message == "lead 1b makes calls of `Examplia a` `definite` as `Examplia b`"
    assert dict(found.witness).keys() == {"characteristic_frequency"}
    # The middle of what is left of the range beyond the zone: 23 to 24 kHz.
    assert dict(found.witness)["characteristic_frequency"] == 23.5
    assert "characteristic_frequency 18 to 24 kHz" in found.help
    way = walked(reading_of(body(), KEY), found.witness)
    assert [(end.label, cap) for end, cap in way.candidates.items()] == [("Examplia b", 0)]


def test_a_zone_that_reaches_over_the_end_of_the_range_is_safe():
    assert found_in(body("23.6 kHz ± 0.5 kHz"), KEY) == []
    # The edge of a zone is decided, and the end of a range belongs to it: one value is left.
    (found,) = found_in(body("23.5 kHz ± 0.5 kHz"), KEY)
    assert found.witness == (("characteristic_frequency", 24.0),)


def test_at_most_makes_a_lead_safe():
    capped = body().replace("otherwise => Examplia b", "otherwise => Examplia b, at most probable")
    assert found_in(capped, KEY) == []


def test_a_cap_further_up_the_way_counts():
    text = (
        "couplet 1\n    1a characteristic_frequency < 22 kHz ± 1 kHz => Examplia a\n    1b otherwise => 2, at most probable\n"
        'couplet 2\n    2a duration > 5 ms => Examplia b\n    2b otherwise => unidentified "short"\n' + PASSES
    )
    assert found_in(text, KEY) == []
    assert codes_in(text.replace(", at most probable", ""), KEY) == ["K410"]


def test_a_group_that_holds_the_taxon_is_safe_and_one_without_it_is_not():
    holding = 'group "pair" Examplia a, Examplia b\n' + body().replace("otherwise => Examplia b", 'otherwise => "pair"')
    other = 'group "pair" Examplia b, Examplia c\n' + body().replace("otherwise => Examplia b", 'otherwise => "pair"')
    assert found_in(holding, KEY) == []
    (found,) = found_in(other, KEY)
    assert found.message == 'lead 1b makes calls of `Examplia a` `definite` as "pair"'


def test_unidentified_and_not_a_bat_are_no_definites():
    for end in ('unidentified "x"', 'not a bat "rain"'):
        assert codes_in(body().replace("otherwise => Examplia b", f"otherwise => {end}"), KEY) == []


def test_without_a_definite_tier_nothing_is_unsafe():
    for passes in ("", "passes\n    probable when support >= 70 %\n    possible otherwise\n"):
        assert found_in(body().replace(PASSES, passes), KEY) == []


def test_a_definite_that_no_pass_of_clear_pulses_can_have():
    never = PASSES.replace("clear >= 5", "clear >= 5 and clear <= 4")
    assert codes_in(body().replace(PASSES, never), KEY) == ["K409"]


def test_a_taxon_that_declares_nothing_is_not_spoken_of():
    head = 'key "d" version 1\ntaxon Examplia a\ntaxon Examplia b\ntaxon Examplia c\n'
    assert found_in(body(), head) == []


def test_metrics_of_which_nothing_is_declared_may_be_anything():
    text = "couplet 1\n    1a characteristic_slope < -5 kHz/ms ± 1 kHz/ms => Examplia c\n    1b otherwise => 2\n" + body().replace(
        "couplet 1", "couplet 2"
    ).replace("1a", "2a").replace("1b", "2b").replace("22 kHz", "25 kHz")
    (found,) = found_in(text, KEY)
    assert found.message == "lead 1a makes calls of `Examplia a` and `Examplia b` `definite` as `Examplia c`"
    assert "declare its characteristic_slope" in found.help
    declared = KEY.replace("24 kHz\n", "24 kHz\n    characteristic_slope -3 to 0 kHz/ms\n").replace(
        "30 kHz\n", "30 kHz\n    characteristic_slope -3 to 0 kHz/ms\n"
    )
    assert found_in(text, declared) == []


def test_ways_that_part_in_a_zone_and_meet_again():
    """In the zone both leads are taken; both end in b, so the pulse is clear for it."""
    text = (
        "couplet 1\n    1a characteristic_frequency < 21 kHz ± 4 kHz => 2\n    1b otherwise => Examplia b\n"
        "couplet 2\n    2a characteristic_frequency < 17 kHz => Examplia c\n    2b otherwise => Examplia b\n" + PASSES
    )
    found = [each for each in found_in(text, KEY) if each.code == "K410"]
    assert [each.message for each in found] == ["lead 2b makes calls of `Examplia a` `definite` as `Examplia b`"]
    # Here nothing of a can come clearly to 1b or 2b alone: its whole range lies in the zone.
    assert 18 <= dict(found[0].witness)["characteristic_frequency"] <= 24


def test_a_missing_metric_keeps_both_ways_open_but_their_ends_may_be_one():
    """slope parts the ways, both end in b, one of them capped and one not: without slope the pulse is clear, and the
    kindest cap counts."""
    text = (
        "couplet 1\n    1a characteristic_slope < -5 kHz/ms => Examplia b, at most probable\n    1b otherwise => 2\n"
        "couplet 2\n    2a characteristic_slope < 1 kHz/ms => Examplia b, at most probable\n    2b otherwise => Examplia b\n"
        + PASSES
    )
    declared = KEY.replace("24 kHz\n", "24 kHz\n    characteristic_slope -3 to 0 kHz/ms\n")
    (found,) = [each for each in found_in(text, declared) if each.code == "K410"]
    # No measured slope of a comes to 2b; a missing one does.
    assert [name for name, _ in found.witness] == ["characteristic_frequency"]
    way = walked(reading_of(text, declared), found.witness)
    assert way.trail == "1a | 1b 2a | 1b 2b"


def test_the_question_whether_a_metric_is_missing():
    text = "couplet 1\n    1a knee_frequency is missing => Examplia b\n    1b otherwise => Examplia a\n" + PASSES
    by_lead = {each.message.split()[1]: each for each in found_in(text, KEY)}
    assert by_lead.keys() == {"1a", "1b"}
    assert "knee_frequency" not in dict(by_lead["1a"].witness)
    assert "knee_frequency" in dict(by_lead["1b"].witness)


def test_a_lead_with_many_victims_is_one_finding_with_the_widest_witness():
    head = (
        'key "d" version 1\n'
        + "".join(f"taxon Examplia t{n}\n    characteristic_frequency {20 + n} to {24 + 2 * n} kHz\n" for n in range(6))
        + "taxon Examplia z\n"
    )
    text = 'couplet 1\n    1a characteristic_frequency > 10 kHz => Examplia z\n    1b otherwise => unidentified "low"\n' + PASSES
    found = [each for each in found_in(text, head) if each.code == "K410"]
    assert len(found) == 1
    assert "and 3 more" in found[0].message
    # t5 has the widest range, 25 to 34 kHz.
    assert "`Examplia t5`" in found[0].message
    assert dict(found[0].witness)["characteristic_frequency"] in (29, 30)
    assert len(found[0].related) == 3


def test_the_gate_keeps_calls_out():
    assert "K410" not in codes_in("gate\n    characteristic_frequency < 23 kHz\n" + body(), KEY)


def test_relations_keep_out_calls_that_cannot_be():
    head = HEAD.replace("taxon Examplia a\n", "taxon Examplia a\n    max_frequency 30 to 40 kHz\n    min_frequency 25 to 29 kHz\n")
    text = "couplet 1\n    1a start_frequency > {} kHz => Examplia b\n    1b otherwise => Examplia a\n" + PASSES
    assert codes_in(text.format(39), head) == ["K410"]
    # Also where max_frequency was not measured: the call has one, and it is not above 40 kHz.
    assert codes_in(text.format(40), head) == []
