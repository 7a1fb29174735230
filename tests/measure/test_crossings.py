"""Two bats at once whose calls cross: each keeps its course."""

import numpy as np
import pytest

from classifier.measure import measure_blocks
from classifier.measure.crossings import uncrossed
from classifier.measure.tracks import Tracks
from classifier.metrics import METRICS

RATE = 256_000.0
NODE = 48
COLUMN = {name: metric.column for name, metric in METRICS.items()}


def _tracks(*courses):
    """Tracks of one region, each (first node, frequencies in Hz, level over the floor in dB at each point)."""
    count = [len(frequency) for _, frequency, _ in courses]
    rise = np.concatenate([10 ** (np.broadcast_to(level, len(frequency)) / 10) for _, frequency, level in courses])
    return Tracks(
        region=np.zeros(len(courses), int),
        first=np.concatenate([[0], np.cumsum(count)]),
        time=np.concatenate([(begin + np.arange(len(frequency))) * float(NODE) for begin, frequency, _ in courses]),
        frequency_hz=np.concatenate([np.asarray(frequency, float) for _, frequency, _ in courses]),
        rise=rise,
        power=rise.copy(),
        share=np.ones(len(courses)),
    )


def _uncrossed(tracks, follows=None):
    follows = np.full(len(tracks), -1) if follows is None else np.array(follows)
    out = uncrossed(tracks, follows, node=NODE, sample_rate_hz=RATE)
    return [
        (out.time[first:end] / NODE, out.frequency_hz[first:end]) for first, end in zip(out.first[:-1], out.first[1:], strict=True)
    ]


def _falling(count, begin_hz, hz_a_step):
    return begin_hz - hz_a_step * np.arange(count)


def test_a_track_that_went_over_to_a_flat_call_at_a_crossing_is_put_right():
    # the sweep reaches 40 kHz at node 30; from there on each track is the other sound
    sweep = _falling(60, 70e3, 1e3)
    swapped = (0, np.concatenate([sweep[:30], np.full(40, 40e3)]), 30.0)
    other = (-10, np.concatenate([np.full(40, 40e3), sweep[30:]]), 30.0)
    found = _uncrossed(_tracks(other, swapped))
    assert len(found) == 2
    for time, frequency in found:
        flat = abs(frequency[0] - 40e3) < 1.0
        exact = np.full(len(time), 40e3) if flat else 70e3 - 1e3 * time
        # where they were one for a moment a point may be the other's
        beside = np.abs(time - 30) > 2
        assert len(time) > 50
        assert frequency[beside] == pytest.approx(exact[beside], abs=1.0)


def test_a_flat_call_is_given_its_end_back_where_the_sweep_that_took_it_ends():
    sweep = _falling(30, 70e3, 1e3)
    chimera = (0, np.concatenate([sweep, np.full(40, 40e3)]), 30.0)
    begun = (-20, np.full(46, 40e3), 30.0)
    found = sorted(_uncrossed(_tracks(begun, chimera)), key=lambda each: each[1][0])
    assert [len(time) > 20 for time, _ in found] == [True, True]
    (flat_time, flat), (_, steep) = found
    assert np.ptp(flat) == 0.0 and flat_time[-1] - flat_time[0] == 89
    assert steep.min() > 40e3


def test_what_nobody_crosses_stays_as_it_is():
    knee = (0, np.concatenate([_falling(30, 70e3, 1e3), _falling(40, 40e3, 30.0)]), 30.0)
    beyond = (20, np.full(30, 90e3), 20.0)
    for tracks in (_tracks(knee), _tracks(knee, beyond)):
        found = _uncrossed(tracks)
        assert np.concatenate([frequency for _, frequency in found]).tolist() == tracks.frequency_hz.tolist()


def test_an_echo_that_goes_on_where_its_call_sweeps_away_is_no_crossing():
    """A constant frequency call with its sweep; its echo, hidden until then, goes on at the constant frequency."""
    call = np.concatenate([np.full(60, 80e3), _falling(16, 79e3, 1e3)])
    echo = np.concatenate([np.full(14, 80e3), _falling(16, 79e3, 1e3)])
    tracks = _tracks((0, call, 30.0), (61, echo, 20.0))
    found = sorted(len(time) for time, _ in _uncrossed(tracks))
    assert found == [len(echo), len(call)]


def test_pieces_that_follow_are_one_track_and_share_no_moment():
    early, late = (0, _falling(20, 60e3, 500.0), 30.0), (18, _falling(20, 51e3, 500.0), 30.0)
    ((time, frequency),) = _uncrossed(_tracks(early, late), [1, -1])
    assert np.diff(time).tolist() == [1.0] * 37
    assert frequency == pytest.approx(60e3 - 500.0 * time, abs=1.0)


def test_tracks_come_in_order_of_region_and_time():
    sweep = _falling(60, 70e3, 1e3)
    tracks = _tracks(
        (-10, np.concatenate([np.full(40, 40e3), sweep[30:]]), 30.0),
        (0, np.concatenate([sweep[:30], np.full(40, 40e3)]), 30.0),
        (25, np.full(30, 80e3), 30.0),
    )
    begins = [time[0] for time, _ in _uncrossed(tracks)]
    assert begins == sorted(begins)


def _call(samples, begin_s, frequency_hz, length_s, amplitude):
    time = np.arange(round(length_s * RATE)) / RATE
    wave = amplitude * np.sin(np.pi * time / length_s) ** 0.5 * np.cos(2 * np.pi * np.cumsum(frequency_hz(time)) / RATE)
    at = round(begin_s * RATE)
    samples[at : at + len(time)] += wave


@pytest.mark.parametrize("crosses_s", [0.006, 0.010, 0.014])
def test_a_sweep_across_a_flat_call_is_measured_as_two_whole_calls(crosses_s):
    """A horseshoe bat's long tone and another bat's sweep through it: both keep their ends and durations."""
    samples = 1e-4 * np.random.default_rng(2).standard_normal(round(0.3 * RATE))
    # the sweep of 5 ms is at 45 kHz after 2.2 ms of it
    _call(samples, 0.1, lambda time: 45e3 + 0 * time, 0.02, 0.03)
    _call(samples, 0.1 + crosses_s - 0.0022, lambda time: 60e3 - 6.818e6 * time, 0.005, 0.06)
    found = measure_blocks([samples[:, None].astype(np.float32)], sample_rate_hz=RATE).sort(COLUMN["duration"])
    assert len(found) == 2
    steep, flat = found.to_dicts()
    assert flat[COLUMN["duration"]] == pytest.approx(20.0, abs=0.4)
    assert flat[COLUMN["end_frequency"]] == pytest.approx(45.0, abs=0.3)
    assert steep[COLUMN["duration"]] == pytest.approx(5.0, abs=0.3)
    assert steep[COLUMN["start_frequency"]] - steep[COLUMN["end_frequency"]] == pytest.approx(34.0, abs=1.5)
