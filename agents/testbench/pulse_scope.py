"""One pulse as an oscilloscope would show it, and where its charge and its energy go."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray
from agents.circuit.panel import LitPanel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED
from agents.compiled import kernel
from agents.design.as_built import build
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.errors import OptionError
from agents.handbook.light_kinds import SUN
from agents.testbench.measuring import bench_failure, measure_record, measured_panel, measurement_of

# Steps that are kept of a pulse; one that holds on is shown for as long as these last.
MOST_ROWS = 4000
# The longest step of them [s].
LONGEST_ROW = 4e-3
# What is written of every step.
TIME, RAIL, MOTOR, BASES, ROTOR = range(5)


@dataclass(frozen=True)
class PulseScope:
    """A pulse of ``side`` in ``light`` [lx], with its whisker ``pressed`` or not.

    ``times`` [s] since the flash, ``rail`` [V], ``motor`` and ``bases`` [A] the currents of the motor and
    into both bases, ``wheel`` [rad/s], each (n,). ``charge`` [C] and ``energy`` [J] tell, by name, where
    what left the storage went; the panel's share is negative, for it gives. Their sums are what the storage
    lost, those of the charges to within 1 %.
    """

    side: str
    light: float
    pressed: bool
    times: FloatArray
    rail: FloatArray
    motor: FloatArray
    bases: FloatArray
    wheel: FloatArray
    charge: dict[str, float]
    energy: dict[str, float]

    @property
    def motion_share(self) -> float:
        """The share of what left storage and panel that became motion of the wheel, 0 to 1."""
        spent = sum(one for one in self.energy.values() if one > 0.0)
        return self.energy["motion"] / spent if spent > 0.0 else 0.0


@kernel
def _scope(
    walker: Any, number: int, panel: LitPanel, touched: bool, state: Any, rows: Any, totals: Any
) -> int:
    """Run a pulse from the rail in ``state``; returns how many of ``rows`` (n, 5) it fills.

    ``totals`` takes charges [C] of bases, eyes, leak and panel, and energies [J] of winding and of motion.
    """
    begin_pulse(walker, number, touched, state)
    side = walker["side"][number]
    time = 0.0
    rows[0, TIME] = 0.0
    rows[0, RAIL] = state["rail"]
    row = 1
    holds = True
    while holds and row < len(rows):
        stored, charge, rotor = state["rail"], state["charge"], state["rotor"]
        spent = state["base_energy"]
        eyes = state["eye_energy"]
        leak = state["leak_energy"]
        gained = state["panel_energy"]
        holds, _ = pulse_step(walker, number, panel, touched, state, LONGEST_ROW)
        step = state["elapsed"] - time
        if step == 0.0:
            break
        time = state["elapsed"]
        mean = 0.5 * (stored + state["rail"])
        motor = (state["charge"] - charge) / step
        bases = (state["base_energy"] - spent) / mean
        totals[0] += bases
        totals[1] += (state["eye_energy"] - eyes) / mean
        totals[2] += (state["leak_energy"] - leak) / mean
        totals[3] += (state["panel_energy"] - gained) / mean
        totals[4] += motor * motor * side["motor_resistance"] * step
        totals[5] += motor * side["motor_constant"] * 0.5 * (rotor + state["rotor"]) * step
        rows[row, TIME] = time
        rows[row, RAIL] = state["rail"]
        rows[row, MOTOR] = motor
        rows[row, BASES] = bases / step
        rows[row, ROTOR] = state["rotor"]
        row += 1
    return row


def pulse_scope(
    design: Design, light: float, kind: str = SUN, side: str = "", pressed: bool = False
) -> PulseScope | None:
    """Return a pulse of ``design`` in ``light`` [lx] of a ``kind``; None where that side does not fire there.

    ``side`` is left or right, the one that fires first if left out. Raises
    :class:`~agents.errors.OptionError` for a side, a light or a kind that cannot be, and
    :class:`~agents.errors.ModelError` where the model cannot follow it.

    >>> scope = pulse_scope(read_design("poppy"), 3e3)
    >>> f"{scope.times[-1]:.3f} s from {scope.rail[0]:.2f} V to {scope.rail[-1]:.2f} V"
    '0.110 s from 3.31 V to 0.82 V'
    >>> f"{100 * scope.motion_share:.0f} % became motion"
    '26 % became motion'
    """
    if side not in ("", *SIDES):
        raise OptionError(f"a side {side!r}; expected left or right")
    walker = build(design)[0]
    measured = measurement_of(measure_record(walker, light, kind), kind)
    chosen = getattr(measured, side) if side else measured.first
    point = chosen.pressed if pressed else chosen
    if point is None or not point.reaches or not chosen.ignites:
        return None
    state = np.zeros(1, STATE)[0]
    state["rail"] = point.trigger
    rows, totals = np.zeros((MOST_ROWS, 5)), np.zeros(6)
    number = SIDES.index(chosen.side)
    count = _scope(walker, number, measured_panel(walker, measured), pressed, state, rows, totals)
    if state["status"] != SETTLED:
        raise bench_failure(
            int(state["status"]), "the design", walker, number, state, light, measured.photocurrent
        )
    rows = rows[:count]
    motor = float(state["motor_energy"])
    winding, motion = float(totals[4]), float(totals[5])
    charge = {
        "motor": float(state["charge"]),
        "bases": float(totals[0]),
        "eyes": float(totals[1]),
        "leak": float(totals[2]),
        "panel": -float(totals[3]),
    }
    energy = {
        "motion": motion,
        "winding": winding,
        "NPN": max(motor - winding - motion, 0.0),
        "bases": float(state["base_energy"]),
        "eyes": float(state["eye_energy"]),
        "leak": float(state["leak_energy"]),
        "storage's own resistance": float(state["esr_energy"]),
        "panel": -float(state["panel_energy"]),
    }
    return PulseScope(
        chosen.side,
        light,
        pressed,
        rows[:, TIME],
        rows[:, RAIL],
        rows[:, MOTOR],
        rows[:, BASES],
        rows[:, ROTOR],
        charge,
        energy,
    )
