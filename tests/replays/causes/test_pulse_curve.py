"""A pulse that is followed anew goes as the run's, and what is told of its course matters."""

import numpy as np
import pytest

from agents.circuit.panel import LitPanel
from replays.causes.pulse_curve import LONGEST_ROW, pulse_rows
from tests.helpers.worlds import World, bench, box, design

ONE = design("fennel", both__eye__jitter=0.0, storage__start=2.0)
FREE = (np.zeros(1), np.zeros(1))
NEVER_HELD = (np.zeros(0), np.zeros(0))


@pytest.fixture(scope="module")
def fired() -> World:
    """A walker alone in even light that has fired once and come to rest."""
    world = World(bench(box(1.0, 1.0), ambient=5000.0), [ONE], [(0.5, 0.5, 0.0)], until=60.0)
    while not len(world.pulses):
        world.run(float(world.crowd.tree[1]) + 0.1)
    return world


def followed(world: World, longest: float = 1.0, **course: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """The rows of its first pulse."""
    pulse, body = world.pulses[0], world.bodies[0]
    panel = LitPanel(body["photocurrent"], body["panel_saturation"], body["panel_thermal"])
    courses = {"touches": FREE, "held": NEVER_HELD} | course
    rail = float(pulse["trigger_V"])
    return pulse_rows(world.walkers[0], int(pulse["side"]), rail, panel, longest=longest, **courses)


def test_a_pulse_in_the_open_is_that_of_the_run(fired: World) -> None:
    rows, pulse = followed(fired), fired.pulses[0]
    times, current = rows[:, 0], rows[:, 2]
    assert times[0] == 0.0
    assert np.all(np.diff(times) > 0.0)
    assert np.all(np.diff(times) < 1.001 * LONGEST_ROW)
    # its last row lies before the step in which the latch lets go
    lasts = float(pulse["let_go_s"] - pulse["start_s"])
    assert lasts - LONGEST_ROW < times[-1] <= lasts * 1.01
    assert rows[-1, 1] == pytest.approx(float(pulse["let_go_V"]), abs=0.02)
    assert np.sum(current[1:] * np.diff(times)) == pytest.approx(float(pulse["charge_C"]), rel=0.02)
    # C dV leaves the storage; the panel gives 40 nA/lx for as long at the most
    left = 2200e-6 * (rows[0, 1] - rows[-1, 1])
    assert np.sum(current[1:] * np.diff(times)) <= left + 40e-9 * 5000.0 * lasts


def test_it_ends_when_it_is_asked_to(fired: World) -> None:
    whole, part = followed(fired), followed(fired, longest=0.02)
    assert part[-1, 0] == pytest.approx(0.02, abs=1e-6)
    assert part[:-1] == pytest.approx(whole[: len(part) - 1], rel=1e-6, abs=1e-9)


def test_a_wheel_that_is_held_takes_more_current(fired: World) -> None:
    """No voltage of its turning is against the rail, and 28 ohm are all that is left."""
    free = followed(fired)
    held = followed(fired, longest=float(free[-1, 0]), held=(np.array([0.01]), np.zeros(1)))
    until = np.searchsorted(free[:, 0], 0.01)
    assert held[:until] == pytest.approx(free[:until], rel=1e-6, abs=1e-9)
    assert held[-1, 2] > 1.2 * np.interp(held[-1, 0], free[:, 0], free[:, 2])
    assert np.all(held[1:, 2] < held[:-1, 1] / 28.0)
    assert held[-1, 1] < np.interp(held[-1, 0], free[:, 0], free[:, 1])


def test_a_whisker_that_is_pressed_later_tells_from_then_on(fired: World) -> None:
    times = np.array([0.0, 0.03])
    free, late = followed(fired), followed(fired, touches=(times, np.array([0.0, 1.0])))
    before = int(np.searchsorted(free[:, 0], 0.03))
    assert late[: before - 1] == pytest.approx(free[: before - 1], rel=1e-6, abs=1e-9)
    pressed = followed(fired, touches=(np.zeros(1), np.ones(1)))
    ends = [float(rows[-1, 0]) for rows in (free, late, pressed)]
    assert len({round(end, 5) for end in ends}) == 3
