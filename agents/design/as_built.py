"""From a design to the flat record that the kernels take."""

import math
from typing import Any

import numpy as np

from agents.arrays import RecordArray
from agents.circuit.records import WALKER
from agents.design.parts import Body, Side, Transistor
from agents.design.spec import Design
from agents.handbook.formulae import lobe_exponent, thermal_voltage
from agents.handbook.light_kinds import panel_weights

GRAVITY = 9.80665  # standard gravity [m/s2], CGPM 1901
ROOM_TEMPERATURE = 298.15  # [K]
ROUND_BODY = 0.026  # radius of a body of which nothing is said [m]

# The longest step of a pulse [s]; shorter where a pulse empties the storage faster.
LONGEST_STEP = 4e-3


def build(design: Design) -> RecordArray:
    """Return ``design`` as an array of one WALKER record."""
    records = np.zeros(1, WALKER)
    fill(records[0], design)
    return records


def fill(walker: Any, design: Design) -> None:
    """Write ``design`` into one WALKER record."""
    panel, storage, body = design.panel, design.storage, design.body
    walker["photo_per_lux"] = panel.current_per_light
    walker["light_exponent"] = panel.light_exponent
    walker["measured_light"] = panel.measured_light
    walker["response"] = panel_weights(panel.response)
    walker["panel_saturation"] = panel.saturation_current
    walker["panel_thermal"] = panel.junction_voltage
    walker["panel_series"] = panel.series_resistance
    walker["panel_shunt"] = panel.shunt_resistance
    walker["panel_ahead"] = panel.ahead
    walker["panel_height"] = panel.height
    walker["panel_length"] = panel.length
    walker["panel_width"] = panel.width
    walker["capacitance"] = storage.capacitance
    walker["leak"] = storage.leak
    walker["esr"] = storage.series_resistance
    walker["start_rail"] = storage.start
    walker["thermal"] = thermal_voltage(ROOM_TEMPERATURE)
    _fill_body(walker, body)
    weight = body.mass * GRAVITY
    walker["skid"] = 0.5 * (design.left.tyre.grip + design.right.tyre.grip) * weight
    for number, side in enumerate((design.left, design.right)):
        outward = 1.0 if number == 0 else -1.0
        _fill_side(walker["side"][number], side, outward, body.tyre_load * weight)
    walker["step"] = min(0.1 / design.discharge_rate, LONGEST_STEP)


def _fill_body(walker: Any, body: Body) -> None:
    corners = body.outline or ((body.ahead, 0.0),)
    if _area(corners) < 0.0:
        corners = corners[::-1]
    rounding = 0.0 if body.outline else (body.radius or ROUND_BODY)
    west, east = min(x for x, _ in corners), max(x for x, _ in corners)
    middle = 0.5 * (west + east)
    walker["track"] = body.track
    walker["body_ahead"] = middle
    walker["body_reach"] = max(math.hypot(x - middle, y) for x, y in corners) + rounding
    walker["body_radius"] = rounding
    walker["body_height"] = body.height
    walker["shade_radius"] = math.sqrt(_area(corners) / math.pi) + rounding
    walker["core_count"] = len(corners)
    for number, corner in enumerate(corners):
        walker["core"][number] = corner
    inertia = body.pivot_inertia
    if inertia is None:
        # a disc of the body's area about its own middle, carried over to the standing tyre
        disc = 0.5 * body.mass * float(walker["shade_radius"]) ** 2
        inertia = disc + body.mass * (0.25 * body.track**2 + middle**2)
    walker["pivot_mass"] = inertia / body.track**2
    walker["drag"] = body.drag


def _area(corners: tuple[tuple[float, float], ...]) -> float:
    """Area of a polygon by the shoelace formula, positive if its corners run counter-clockwise."""
    twice = 0.0
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        twice += ax * by - bx * ay
    return 0.5 * twice


def _fill_side(record: Any, side: Side, outward: float, load: float) -> None:
    """Write one side; ``outward`` is 1 on the left and -1 on the right, ``load`` [N] rests on its tyre."""
    eye, motor, tyre = side.eye, side.motor, side.tyre
    record["dark_trigger"] = eye.dark_trigger
    record["slope"] = eye.slope
    record["knee_light"] = eye.knee_light
    record["tape"] = eye.tape
    record["table_count"] = len(eye.table)
    for number, row in enumerate(eye.table):
        record["table_light"][number] = math.log10(1.0 + row.light)
        record["table_volts"][number] = row.trigger
    if eye.table:
        record["dark_trigger"] = eye.table[0].trigger
    record["quiet_current"] = eye.quiet_current
    record["lit_voltage"] = eye.lit_voltage
    record["flash_resistance"] = eye.flash_resistance
    record["jitter"] = eye.jitter
    record["eye_ahead"] = eye.ahead
    record["eye_aside"] = outward * eye.aside
    record["eye_height"] = eye.height
    record["aim_x"] = math.cos(eye.up) * math.cos(eye.outward)
    record["aim_y"] = outward * math.cos(eye.up) * math.sin(eye.outward)
    record["aim_z"] = math.sin(eye.up)
    record["lobe"] = lobe_exponent(eye.half_angle)
    record["series"] = side.series
    record["coupling"] = side.coupling
    record["latch"] = side.latch
    record["feeler"] = math.inf if side.feeler is None else side.feeler
    _fill_transistor(record["npn"], side.npn)
    _fill_transistor(record["pnp"], side.pnp)
    record["motor_resistance"] = motor.resistance
    record["motor_constant"] = motor.constant
    record["rotor_inertia"] = motor.inertia
    record["motor_friction"] = motor.friction
    record["turns"] = 1.0 if motor.turns == "forward" else -1.0
    record["tyre_radius"] = tyre.radius
    record["tyre_grip"] = tyre.grip * load
    record["slip_speed"] = tyre.slip_speed
    if side.whisker is not None:
        whisker = side.whisker
        record["whisker"] = 1
        record["root_ahead"] = whisker.ahead
        record["root_aside"] = outward * whisker.aside
        record["tip_ahead"] = whisker.ahead + whisker.length * math.cos(whisker.outward)
        record["tip_aside"] = outward * (whisker.aside + whisker.length * math.sin(whisker.outward))
        record["whisker_height"] = whisker.height
        record["bend_to_close"] = whisker.closing_bend


def _fill_transistor(record: Any, transistor: Transistor) -> None:
    record["gain"] = transistor.gain
    record["knee"] = transistor.knee_current
    record["saturation_current"] = transistor.saturation_current
    record["reverse_gain"] = transistor.reverse_gain
