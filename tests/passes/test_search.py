"""The search on its own."""

import numpy as np
from test_track import NUMBER, pulse

from classifier.passes.search import find_tracks


def search(pulses):
    """Members of each track, and the echoes."""
    pulses = np.array(sorted(pulses, key=lambda each: each["time"]))
    labels = find_tracks(pulses, np.array([0, len(pulses)]), NUMBER, 1.0)
    return pulses, [np.flatnonzero(labels == each) for each in range(1, labels.max() + 1)], np.flatnonzero(labels == 0)


def test_two_bats_far_apart_in_frequency():
    pulses, tracks, echoes = search([pulse(k * 0.1) for k in range(10)] + [pulse(0.03 + k * 0.13, khz=25.0) for k in range(8)])
    assert sorted(map(len, tracks)) == [8, 10]
    assert all(len(np.unique(pulses["value"][track, 0])) == 1 for track in tracks)
    assert len(echoes) == 0


def test_every_pulse_is_in_one_track_or_an_echo():
    pulses = [pulse(k * 0.037, khz=30.0 + 5 * (k * 7 % 5)) for k in range(60)]
    pulses[20]["echo"] = 30.0
    _, tracks, echoes = search(pulses)
    assert sorted(np.concatenate([*tracks, echoes]).tolist()) == list(range(60))
    assert echoes.tolist() == [20]


def test_a_track_ends_after_its_own_silence():
    _, tracks, _ = search(
        [pulse(k * 0.1) for k in range(6)]
        + [pulse(2.0 + k * 0.1) for k in range(6)]
        + [pulse(0.05 + k * 0.11, khz=25.0) for k in range(24)]
    )
    assert sorted(map(len, tracks)) == [6, 6, 24]


def test_room_grows_with_the_bats():
    # Thirty callers at once, each a twentieth above the one below: more tracks than the search has room for at first.
    pulses = [pulse(0.005 * place + k * 0.2, khz=20.0 * 1.05**place) for place in range(30) for k in range(6)]
    _, tracks, echoes = search(pulses)
    assert sorted(np.concatenate([*tracks, echoes]).tolist()) == list(range(180))
