"""What a design does against light, from 10 lx to 120 klx, as one table: the whole picture of the bench."""

import math
from collections.abc import Sequence

import numpy as np

from agents.design.as_built import build
from agents.design.spec import Design
from agents.testbench.bench_figures import BenchPoint, bench_record
from agents.testbench.measuring import PulsePoint
from agents.text.table_cells import table_line
from arena.reports.bench_curves import BRIGHTEST, DIMMEST, state_of

STEPS = 41
"""Lights of the table: ten to the decade."""

_SIDE_COLUMNS = (
    "trigger_V",
    "eye_V",
    "time_between_s",
    "pulse_s",
    "releases_at_V",
    "turn_deg",
    "step_mm",
    "pressed_trigger_V",
    "pressed_turn_deg",
    "pressed_step_mm",
)


def table_points(design: Design, kind: str) -> list[BenchPoint]:
    """Measure a design at :data:`STEPS` lights of a ``kind``, ascending in even ratios."""
    walker = build(design)[0]
    lights = np.geomspace(DIMMEST, BRIGHTEST, STEPS)
    return [bench_record(walker, float(light), kind) for light in lights]


def eye_voltage(design: Design, side: str, trigger: float) -> float:
    """The voltage at the eye [V] when a meter on the rail reads ``trigger`` [V].

    Its standby current comes through motor and series resistor and drops the difference there.
    """
    one = getattr(design, side)
    return trigger - one.eye.quiet_current * (one.series + one.motor.resistance)


def light_table(design: Design, points: Sequence[BenchPoint]) -> list[list[str]]:
    """Return the rows of the table, headings first; empty cells where there is nothing to tell."""
    sides = ["left", "right"] if design.left != design.right else ["left"]
    prefix = "{side}_" if len(sides) == 2 else ""
    heads = [prefix.format(side=side) + column for side in sides for column in _SIDE_COLUMNS]
    rows = [["light_lx", "state", "open_circuit_V", *heads, "faults"]]
    for point in points:
        row = [f"{point.light:.4g}", state_of(point.faults), f"{point.measured.open_circuit:.4f}"]
        for side in sides:
            free = getattr(point.measured, side)
            row += [_cell(free.trigger, 4), _cell(eye_voltage(design, side, free.trigger), 4)]
            row += [_cell(free.between, 3), _cell(free.pulse, 5), _cell(free.let_go, 4)]
            row += _motion(free)
            row += (
                ["", "", ""]
                if free.pressed is None
                else [_cell(free.pressed.trigger, 4), *_motion(free.pressed)]
            )
        rows.append([*row, ";".join(point.faults)])
    return rows


def _motion(pulse: PulsePoint) -> list[str]:
    turn = None if pulse.turn is None else math.degrees(pulse.turn)
    return [_cell(turn, 2), _cell(None if pulse.advance is None else 1e3 * pulse.advance, 2)]


def _cell(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}f}"


def table_csv(rows: Sequence[Sequence[str]]) -> str:
    """Return the rows as CSV."""
    return "".join(map(table_line, rows))
