"""The transport of both windows: its own clock against times worked out by hand."""

import pytest

from replays.window.playback import SPEEDS, Transport


def test_time_goes_by_at_the_speed_and_stops_at_the_end() -> None:
    transport = Transport(300.0, 50.0)
    transport.advance(1.0)
    assert (transport.playing, transport.time_s) == (False, 0.0), "it waits until it is played"
    transport.play()
    transport.advance(2.5)
    assert transport.time_s == pytest.approx(125.0)
    transport.advance(60.0)
    assert (transport.playing, transport.time_s) == (False, 300.0)
    transport.play()
    assert (transport.playing, transport.time_s) == (True, 0.0), "from the start again"


def test_a_run_that_is_under_way_is_played_as_far_as_it_goes_and_then_on() -> None:
    transport = Transport(100.0, 10.0)
    transport.set_length(100.0, 30.0)
    transport.play()
    transport.advance(5.0)
    assert (transport.playing, transport.time_s) == (True, 30.0), "there will be more"
    transport.set_length(100.0, 60.0)
    transport.advance(2.0)
    assert transport.time_s == pytest.approx(50.0)
    transport.actions["end"]()
    assert transport.time_s == 60.0
    transport.play()
    transport.play()
    assert transport.time_s == 0.0, "what there is is played from its start"
    transport.set_length(100.0)
    transport.actions["end"]()
    assert transport.time_s == 100.0


def test_seeking_stays_within_the_run_and_steps_are_a_hundredth() -> None:
    transport = Transport(200.0, 1.0)
    for action, time_s in (
        ("on", 2.0),
        ("on", 4.0),
        ("back", 2.0),
        ("start", 0.0),
        ("back", 0.0),
        ("end", 200.0),
    ):
        transport.actions[action]()
        assert transport.time_s == pytest.approx(time_s)
    transport.actions["on"]()
    assert transport.time_s == 200.0
    transport.go_to(-5.0)
    assert transport.time_s == 0.0


def test_speeds_end_at_the_slowest_and_the_fastest() -> None:
    transport = Transport(200.0, 20.0)
    assert transport.speed == 20.0
    for action, last in (("faster", SPEEDS[-1]), ("slower", SPEEDS[0])):
        for _ in SPEEDS:
            transport.actions[action]()
        assert transport.speed == last
