"""The behaviour table: what builders of such walkers see, each row for one walker on the bench.

Every figure here is `common practice, no source`: no measurement of it has been published.
"""

import pytest

from agents.design.spec import Design, read_design
from agents.testbench.bench_figures import BenchPoint, bench, bench_point
from agents.testbench.faults import BLIND, LOCKED, LOPSIDED, SPIN, TWITCH
from agents.testbench.measuring import SidePoint

# Motors by resistance alone, otherwise as in the default: a usual one and a hungry one.
HUNGRY = 8.0


def design(**values: object) -> Design:
    """The default design with SI values by path, dots written as two underscores."""
    paths = {key.replace("__", "."): value for key, value in values.items()}
    return Design(name="test").with_values(paths)


def first(point: BenchPoint) -> SidePoint:
    return point.measured.first


def turn_of(point: BenchPoint) -> float:
    turn = point.as_dict()["turn_deg"]
    assert turn is not None
    return float(turn)


def interval(light: float) -> float:
    """Time [s] from one pulse of the default design to the next."""
    side = first(bench_point(design(), light))
    assert side.charge is not None
    assert side.pulse is not None
    return side.charge + side.pulse


def test_trigger_at_room_light() -> None:
    """2.5 V to 3 V, to a tenth of a volt, over 100 lx to 1000 lx (common practice, no source)."""
    for light in (100.0, 200.0, 500.0, 1000.0):
        assert 2.5 <= round(first(bench_point(design(), light)).trigger, 1) <= 3.0


@pytest.mark.parametrize(
    "name", ["poppy", "sunflower", "lentil", "mustard", "broad-bean", "cress", "primrose"]
)
def test_a_pulse_ends_at_seven_tenths_of_a_volt(name: str) -> None:
    """It lets go at about 0.7 V and at most 1 V (common practice, no source)."""
    for point in bench(read_design(name), (1e3, 3e3, 10e3, 20e3)):
        for side in point.measured.sides:
            assert side.let_go is not None
            assert 0.65 < side.let_go < 1.0


def test_rhythm_in_window_light() -> None:
    """A pulse every 20 s to 30 s somewhere in window light, 3 klx to 10 klx (common practice, no source)."""
    assert interval(3e3) > 30.0
    assert interval(10e3) < 20.0
    assert any(20.0 < interval(light) < 30.0 for light in (5e3, 6e3, 7e3))


def test_storage_decides_how_far_a_pulse_turns() -> None:
    """1000 uF to 2200 uF still steers; far larger spins on the spot (common practice, no source)."""
    turns = {}
    for storage in (1000e-6, 2200e-6, 4700e-6, 10e-3):
        point = bench_point(design(storage__capacitance=storage), 3e3)
        turns[storage] = turn_of(point)
        assert (SPIN in point.faults) == (storage > 3e-3)
    assert 5.0 < turns[1000e-6] < turns[2200e-6] < 90.0
    assert turns[4700e-6] > 180.0
    assert turns[10e-3] > 360.0


def test_a_latch_resistor_too_large_for_a_hungry_motor_twitches() -> None:
    """It never empties the storage; a smaller one cures it (common practice, no source)."""
    bad = bench_point(design(both__motor__resistance=HUNGRY, both__latch=82e3), 3e3)
    assert TWITCH in bad.faults
    left = first(bad)
    assert left.let_go is not None
    assert left.let_go > 0.9 * left.trigger
    good = bench_point(design(both__motor__resistance=HUNGRY, both__latch=4.7e3), 3e3)
    assert good.faults == ()
    # the usual motor asks for less, and the same resistor carries it
    assert TWITCH not in bench_point(design(both__latch=82e3), 3e3).faults


@pytest.mark.parametrize("resistance", [6.0, 8.0, 10.0])
@pytest.mark.parametrize("light", [1e3, 3e3, 10e3])
def test_two_kilohms_do_for_hungry_motors(resistance: float, light: float) -> None:
    """2 kΩ or less holds hungry motors on (common practice, no source)."""
    side = first(bench_point(design(both__motor__resistance=resistance, both__latch=2e3), light))
    assert side.let_go is not None
    assert side.let_go < 1.0


def test_a_latch_resistor_too_small_works_and_wastes_charge() -> None:
    """It walks, with more charge in the bases and less of a turn (common practice, no source)."""
    small, usual = (bench_point(design(both__latch=latch), 3e3) for latch in (1e3, 10e3))
    assert small.faults == ()
    wasted, normal = first(small).base_share, first(usual).base_share
    assert wasted is not None
    assert normal is not None
    assert wasted > 2.0 * normal
    assert turn_of(small) < 0.6 * turn_of(usual)


def test_a_big_panel_locks_a_frugal_motor_up() -> None:
    """In bright light it stays on for ever, once the panel gives what the running motor takes.

    The usual panel does not, nor the big one in dull light (common practice, no source).
    """
    frugal = {"both__motor__resistance": 60.0, "both__motor__friction": 5e-6, "both__motor__constant": 4e-3}
    # on a winter's day, in which the usual panel is not too hot to fire
    frugal["panel__heat_loss"] = 100.0
    big = design(**frugal, panel__current_per_light=400e-9)
    locked = bench_point(big, 30e3)
    side = first(locked)
    assert LOCKED in locked.faults
    assert side.locked
    assert side.pulse is None
    assert side.held_motor is not None
    assert 0.0 < side.held_motor < locked.measured.photocurrent
    for point in (bench_point(big, 3e3), bench_point(design(**frugal), 30e3)):
        assert LOCKED not in point.faults
        assert first(point).let_go is not None


def test_a_small_stalled_motor_of_low_resistance_drains_a_locked_walker() -> None:
    """It takes more than the panel gives, down to the latch's end (common practice, no source)."""
    frugal = design(
        both__motor__resistance=60.0,
        both__motor__friction=5e-6,
        both__motor__constant=4e-3,
        panel__current_per_light=400e-9,
    )
    assert LOCKED in bench_point(frugal, 30e3).faults
    # too weak to turn the walker, so there is no back-EMF to save current
    stalled = frugal.with_values(
        {"both.motor.resistance": 12.0, "both.motor.constant": 0.1e-3, "both.latch": 4.7e3}
    )
    point = bench_point(stalled, 30e3)
    assert first(point).turn == pytest.approx(0.0, abs=1e-3)
    assert first(point).let_go is not None
    assert LOCKED not in point.faults


@pytest.mark.parametrize("light", [70e3, 85e3, 100e3])
def test_very_bright_light_blinds_and_tape_cures(light: float) -> None:
    """The eye never triggers; a sleeve or tape over both eyes cures it (common practice, no source)."""
    bare = bench_point(design(), light)
    assert BLIND in bare.faults
    assert not bare.measured.fires
    taped = bench_point(design(both__eye__tape=0.2), light)
    assert BLIND not in taped.faults
    assert taped.measured.fires


@pytest.mark.parametrize("feeler", [33e3, 39e3, 47e3])
def test_a_touch_lowers_the_trigger_by_a_tenth_of_a_volt(feeler: float) -> None:
    """33 kΩ to 47 kΩ, slightly below the series resistor: about 0.1 V (common practice, no source)."""
    for light in (300.0, 3e3, 20e3):
        side = first(bench_point(design(both__feeler=feeler), light))
        assert side.trigger_touched is not None
        assert side.trigger - side.trigger_touched == pytest.approx(0.1, abs=0.015)


def test_the_touched_side_wins_against_a_brighter_eye() -> None:
    """It turns away even where its own eye is somewhat brighter (common practice, no source)."""
    side = first(bench_point(design(), 3e3))
    assert side.touch_outweighs is not None
    assert 1.2 < side.touch_outweighs < 2.0


@pytest.mark.parametrize(("side", "other"), [("left", "right"), ("right", "left")])
def test_unlike_eyes_walk_with_a_bias(side: str, other: str) -> None:
    """The side of the lower trigger, or with tape on its eye, fires first (common practice, no source)."""
    lower = bench_point(Design(name="test").with_values({f"{side}.eye.dark_trigger": 2.1}), 3e3)
    taped = bench_point(Design(name="test").with_values({f"{side}.eye.tape": 0.5}), 3e3)
    for point in (lower, taped):
        assert first(point).side == side
        # a bias, but not one that a lamp on the other side could not turn round
        assert LOPSIDED not in point.faults
