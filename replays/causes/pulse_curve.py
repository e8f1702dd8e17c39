"""The rail and the motor's current during one pulse, stepped as the run stepped it."""

from typing import Any, NamedTuple

import numpy as np

from agents.arrays import FloatArray
from agents.circuit.panel import LitPanel
from agents.circuit.pulse import begin_pulse, pulse_step, pulse_step_length
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED, failure
from agents.compiled import kernel
from replays.format.grains import SECOND

# A pulse that takes more steps than this is followed no further; only one that locks up does.
MOST_STEPS = 4000

# What is told at the end of a step holds for the next one, though both times, and that of firing, are kept in
# whole grains [s].
_ROUNDING = 2.0 / SECOND


class Course(NamedTuple):
    """What happens to a walker in a pulse.

    The whisker is pressed where ``touch_states`` is 1 from ``touch_times`` [s] on. From ``held_times`` [s] on
    the floor passes under the tyre no faster than ``held_speeds`` [m/s], which is what walls and other
    walkers do to it.
    """

    touch_times: FloatArray
    touch_states: FloatArray
    held_times: FloatArray
    held_speeds: FloatArray


@kernel
def follow_pulse(
    walker: Any,
    number: int,
    panel: LitPanel,
    course: Course,
    longest: float,
    state: Any,
    out: FloatArray,
) -> int:
    """Run the pulse of side ``number`` from the rail in ``state``; returns how many rows of ``out`` it fills.

    A row is time since firing [s], rail [V] and mean motor current of the step before it [A].
    ``panel`` is the one in its light. Times are alike up to ``_ROUNDING``. It ends when the latch lets go,
    after ``longest`` [s], or with the last row; the status of ``state`` tells whether it could be followed.
    """
    touch_times, touch_states, held_times, held_speeds = course
    begin_pulse(walker, number, touch_states[0] > 0.0, state)
    side = walker["side"][number]
    time = 0.0
    touch = 0
    held = 0
    out[0, 0] = 0.0
    out[0, 1] = state["rail"]
    out[0, 2] = 0.0
    row = 1
    while row < len(out) and longest - time > _ROUNDING:
        while touch + 1 < len(touch_times) and touch_times[touch + 1] <= time + _ROUNDING:
            touch += 1
        while held + 1 < len(held_times) and held_times[held + 1] <= time + _ROUNDING:
            held += 1
        if len(held_times) > 0 and held_times[held] <= time + _ROUNDING:
            state["speed"] = min(state["speed"], held_speeds[held])
        step = min(pulse_step_length(side, state, walker["step"]), longest - time)
        before = state["charge"]
        holds, _ = pulse_step(walker, number, panel, touch_states[touch] > 0.0, state, step)
        if not holds:
            break
        time += step
        out[row, 0] = time
        out[row, 1] = state["rail"]
        out[row, 2] = (state["charge"] - before) / step
        row += 1
    return row


def pulse_rows(
    walker: Any,
    number: int,
    rail: float,
    panel: LitPanel,
    touches: tuple[FloatArray, FloatArray],
    held: tuple[FloatArray, FloatArray],
    longest: float,
) -> FloatArray:
    """Rows (n, 3) of :func:`follow_pulse` for a pulse that fires at ``rail`` [V], MOST_STEPS at the most.

    Raises :class:`~agents.errors.ModelError` where the model cannot follow it.
    """
    state = np.zeros(1, STATE)
    state["rail"] = rail
    out = np.zeros((MOST_STEPS, 3))
    count = follow_pulse(walker, number, panel, Course(*touches, *held), longest, state[0], out)
    if state["status"][0] != SETTLED:
        known = {"time": out[count - 1, 0], "photocurrent": panel.photocurrent}
        raise failure(int(state["status"][0]), "a pulse", walker, number, float(state["rail"][0]), **known)
    return out[:count]
