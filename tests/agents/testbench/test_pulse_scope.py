"""One pulse as a scope shows it: its sums against the storage, its figures against the bench."""

import numpy as np
import pytest

from agents.design.spec import read_design
from agents.errors import OptionError
from agents.testbench.bench_figures import bench_point
from agents.testbench.pulse_scope import pulse_scope


@pytest.mark.parametrize("name", ["poppy", "thistle-spins", "cress"])
@pytest.mark.parametrize("pressed", [False, True])
def test_what_left_the_storage_went_somewhere(name: str, pressed: bool) -> None:
    """Energy is kept (first law), and so is charge, which is reckoned at mean voltages."""
    design = read_design(name)
    scope = pulse_scope(design, 3e3, pressed=pressed)
    assert scope is not None
    first, last = float(scope.rail[0]), float(scope.rail[-1])
    capacitance = design.storage.capacitance
    stored = 0.5 * capacitance * (first**2 - last**2)
    assert sum(scope.energy.values()) == pytest.approx(stored, rel=1e-9)
    assert sum(scope.charge.values()) == pytest.approx(capacitance * (first - last), rel=0.01)
    assert all(one >= 0.0 for what, one in scope.energy.items() if what != "panel")
    assert 0.05 < scope.motion_share < 0.5


def test_figures_are_those_of_the_bench() -> None:
    scope = pulse_scope(read_design("poppy"), 3e3, side="left")
    side = bench_point(read_design("poppy"), 3e3).measured.left
    assert scope is not None
    assert scope.rail[0] == pytest.approx(side.trigger)
    assert scope.times[-1] == pytest.approx(side.pulse, abs=5e-3)
    assert scope.rail[-1] == pytest.approx(side.let_go, abs=0.02)
    assert float(np.max(scope.motor)) == pytest.approx(side.peak, rel=0.05)
    # the winding drops what the wheel's own voltage leaves, less the little of the open transistor
    middle = len(scope.times) // 2
    motor = read_design("poppy").left.motor
    # a row's current is the mean of the step that ends there, and so are rail and wheel taken
    wheel, rail = (float(one[middle - 1 : middle + 1].mean()) for one in (scope.wheel, scope.rail))
    left = rail - motor.constant * wheel - motor.resistance * float(scope.motor[middle])
    assert 0.0 < left < 0.15


def test_motion_is_what_moved_the_walker() -> None:
    """The share called motion is the work of the torque K I at the wheel; at rest it is friction."""
    design = read_design("poppy")
    scope = pulse_scope(design, 3e3)
    assert scope is not None
    torque = design.left.motor.constant * scope.motor[1:]
    speeds = 0.5 * (scope.wheel[1:] + scope.wheel[:-1])
    work = float(np.sum(torque * speeds * np.diff(scope.times)))
    assert scope.energy["motion"] == pytest.approx(work, rel=1e-9)


def test_where_nothing_fires_there_is_nothing_to_show() -> None:
    assert pulse_scope(read_design("poppy"), 5.0) is None
    with pytest.raises(OptionError, match="expected left or right"):
        pulse_scope(read_design("poppy"), 3e3, side="up")
