"""Status codes: what a kernel tells where it could not do what it was asked to.

Kernels cannot raise. Every iteration with a bounded number of rounds reports, beside its result, one of the
bits below where the rounds did not do. Who calls it joins the bits of all that it called with ``|`` and
passes them on; what works on a STATE record leaves them in its field ``status``, where they stay. Whoever
called the kernels from Python makes an error of them by :func:`failure`.
"""

import math
from typing import Any

from agents.errors import ConvergenceError, ModelError
from agents.text.units import format_quantity

SETTLED = 0
PANEL_UNSETTLED = 1  # the panel's current
OPEN_CIRCUIT_UNSETTLED = 2  # the voltage at which it gives none
DRIVE_UNSETTLED = 4  # the strongest drive of the PNP
LATCH_UNSETTLED = 8  # the level at which the latch rests
CHARGE_UNFINISHED = 16  # the time to the trigger
WAIT_UNFINISHED = 32  # the rail after a wait
COAST_UNENDED = 64  # the wheel on the bench
NO_NUMBER = 128  # a state that is no number

_PANEL = "panel.saturation_current, panel.junction_voltage, panel.series_resistance"
_LATCH = "{side}.latch, {side}.npn, {side}.pnp, {side}.coupling, {side}.motor.resistance"

# What each bit says, and which values to look at; the first bit that is set has led to the others.
_WORDS = {
    PANEL_UNSETTLED: ("the panel's current was not found", f"{_PANEL}, storage.start"),
    OPEN_CIRCUIT_UNSETTLED: (
        "the panel's open-circuit voltage was not found",
        "panel.saturation_current, panel.junction_voltage, panel.shunt_resistance",
    ),
    DRIVE_UNSETTLED: ("the strongest drive of the {side} latch was not found", _LATCH),
    LATCH_UNSETTLED: ("it was not found whether the {side} latch holds", _LATCH),
    CHARGE_UNFINISHED: (
        "the time until it fires was not found",
        f"storage.capacitance, storage.leak, {_PANEL}",
    ),
    WAIT_UNFINISHED: (
        "its charging took more steps than are allowed",
        f"storage.capacitance, storage.leak, storage.start, {_PANEL}",
    ),
    COAST_UNENDED: (
        "the {side} wheel did not come to rest",
        "{side}.motor.friction, {side}.motor.inertia, {side}.tyre, body.mass, body.drag",
    ),
    NO_NUMBER: (
        "its circuit came to a state that is no number",
        f"{_PANEL}, storage.capacitance, storage.start",
    ),
}

SIDES = ("left", "right")


def failure(status: int, who: str, walker: Any, number: int, rail: float, **known: float) -> ModelError:
    """The error that tells of ``status``, which is not SETTLED: who, when, at which values, what to do.

    ``who`` names the walker, ``walker`` is its WALKER record, ``number`` the side at work (0 left, 1 right),
    ``rail`` [V]. What else is ``known`` may be ``time`` [s], ``photocurrent`` [A], ``left_light``,
    ``right_light`` and ``panel_light`` [lx].
    """
    kinds = [bit for bit in _WORDS if status & bit] or [NO_NUMBER]
    side = SIDES[number]
    what = "; ".join(_WORDS[bit][0].format(side=side) for bit in kinds)
    when = f" at {format_quantity(known['time'], 's', 6)}" if "time" in known else ""
    look_at = _WORDS[kinds[0]][1].format(side=side)
    text = (
        f"the model lost a walker: {who}{when}: {what} ({_values(walker, number, rail, known)}). "
        f"Look at {look_at}: bring them nearer to those of a shipped design"
    )
    return ModelError(text) if kinds == [NO_NUMBER] else ConvergenceError(text)


def _values(walker: Any, number: int, rail: float, known: dict[str, float]) -> str:
    side = walker["side"][number]
    told = [("rail", rail, "V")]
    if "photocurrent" in known:
        told.append(("photocurrent", known["photocurrent"], "A"))
    for key, name in (
        ("left_light", "light at the left eye"),
        ("right_light", "light at the right eye"),
        ("panel_light", "light at the panel"),
    ):
        if key in known:
            told.append((name, known[key], "lx"))
    told += [
        (f"{SIDES[number]} latch", float(side["latch"]), "ohm"),
        (f"{SIDES[number]} motor", float(side["motor_resistance"]), "ohm"),
        ("storage", float(walker["capacitance"]), "F"),
        ("panel's series resistance", float(walker["panel_series"]), "ohm"),
    ]
    return ", ".join(f"{name} {_text(value, unit)}" for name, value, unit in told)


def _text(value: float, unit: str) -> str:
    return format_quantity(value, unit) if math.isfinite(value) else f"{value} {unit}"
