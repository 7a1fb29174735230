"""The search on its own."""

from test_track import MODEL, pulse

from classifier.passes.search import find_tracks


def test_two_bats_far_apart_in_frequency():
    pulses = [pulse(0, k * 0.1) for k in range(10)] + [pulse(0, 0.03 + k * 0.13, khz=25.0) for k in range(8)]
    pulses.sort(key=lambda each: each.time)
    for index, each in enumerate(pulses):
        each.index = index
    tracks, echoes = find_tracks(pulses, MODEL, gap_s=1.0)
    by_pitch = [{round(pulses[index].value[0]) for index in track} for track in tracks]
    assert sorted(map(len, tracks)) == [8, 10]
    assert all(len(each) == 1 for each in by_pitch)
    assert echoes == []


def test_every_pulse_is_in_one_track_or_an_echo():
    pulses = [pulse(k, k * 0.037, khz=30.0 + 5 * (k * 7 % 5)) for k in range(60)]
    pulses[20].echo = 30.0
    tracks, echoes = find_tracks(pulses, MODEL, gap_s=1.0)
    assert sorted([index for track in tracks for index in track] + echoes) == list(range(60))
    assert echoes == [20]


def test_a_track_ends_after_its_own_silence():
    pulses = [pulse(0, k * 0.1) for k in range(6)] + [pulse(0, 2.0 + k * 0.1) for k in range(6)]
    pulses += [pulse(0, 0.05 + k * 0.11, khz=25.0) for k in range(24)]
    pulses.sort(key=lambda each: each.time)
    for index, each in enumerate(pulses):
        each.index = index
    tracks, _ = find_tracks(pulses, MODEL, gap_s=1.0)
    assert sorted(map(len, tracks)) == [6, 6, 24]
