"""From a design to the flat record that the kernels take."""

import math
from typing import Any

import numpy as np

from agents.arrays import RecordArray
from agents.circuit.ignition import ignition_voltage
from agents.circuit.records import WALKER
from agents.design.parts import Body, Panel, Side, Transistor
from agents.design.spec import Design
from agents.handbook.formulae import lobe_exponent, thermal_voltage
from agents.handbook.light_kinds import KINDS, efficacy, panel_weights
from agents.handbook.temperature import (
    GAPS,
    MAGNETS,
    ROOM_TEMPERATURE,
    SILICON_GAP,
    copper_growth,
    flux_left,
    gain_growth,
    saturation_growth,
)

GRAVITY = 9.80665  # standard gravity [m/s2], CGPM 1901
ROUND_BODY = 0.026  # radius of a body of which nothing is said [m]

# Error that a step of a pulse may have, as a share of what rail, coupling capacitor and speeds go through.
TOLERANCE = 3e-3


def build(design: Design, air: float = ROOM_TEMPERATURE) -> RecordArray:
    """Return ``design`` as an array of one WALKER record, in ``air`` of a temperature [K]."""
    records = np.zeros(1, WALKER)
    fill(records[0], design, air)
    return records


def fill(walker: Any, design: Design, air: float = ROOM_TEMPERATURE) -> None:
    """Write ``design`` into one WALKER record, in ``air`` of a temperature [K].

    Transistors, windings and magnets are as warm as the air; the panel's light warms it above that.
    """
    storage, body = design.storage, design.body
    walker["air"] = air
    _fill_panel(walker, design.panel)
    walker["capacitance"] = storage.capacitance
    walker["leak"] = storage.leak
    walker["esr"] = storage.series_resistance
    walker["start_rail"] = storage.start
    walker["thermal"] = thermal_voltage(air)
    _fill_body(walker, body)
    weight = body.mass * GRAVITY
    walker["skid"] = 0.5 * (design.left.tyre.grip + design.right.tyre.grip) * weight
    # what does not roll slides either way
    walker["tow"] = walker["skid"]
    for number, side in enumerate((design.left, design.right)):
        outward = 1.0 if number == 0 else -1.0
        _fill_side(walker["side"][number], side, outward, body.tyre_load * weight)
        _fill_circuit(walker["side"][number], side, air)
        walker["tow"] += walker["side"][number]["idle_roll"] - walker["side"][number]["tyre_grip"]
    walker["tow"] = max(walker["tow"], 0.0)
    walker["tolerance"] = TOLERANCE


def _fill_panel(walker: Any, panel: Panel) -> None:
    walker["photo_per_lux"] = panel.current_per_light
    walker["light_exponent"] = panel.light_exponent
    walker["measured_light"] = panel.measured_light
    walker["response"] = panel_weights(panel.response)
    walker["warming"] = [1.0 / (efficacy(kind) * panel.heat_loss) for kind in KINDS]
    walker["panel_saturation"] = panel.saturation_current
    walker["panel_thermal"] = panel.junction_voltage
    walker["panel_gap"], walker["panel_gap_change"] = GAPS.get(panel.response, SILICON_GAP)
    walker["panel_series"] = panel.series_resistance
    walker["panel_shunt"] = panel.shunt_resistance
    walker["panel_ahead"] = panel.ahead
    walker["panel_height"] = panel.height
    walker["panel_length"] = panel.length
    walker["panel_width"] = panel.width


def _fill_body(walker: Any, body: Body) -> None:
    corners = body.outline or ((body.ahead, 0.0),)
    area, middle, _, spread = outline_moments(corners)
    if area < 0.0:
        corners = corners[::-1]
    rounding = 0.0 if body.outline else (body.radius or ROUND_BODY)
    walker["track"] = body.track
    walker["body_ahead"] = middle
    walker["body_reach"] = max(math.hypot(x - middle, y) for x, y in corners) + rounding
    walker["body_radius"] = rounding
    walker["body_height"] = body.height
    walker["shade_radius"] = math.sqrt(abs(area) / math.pi) + rounding
    walker["core_count"] = len(corners)
    for number, corner in enumerate(corners):
        walker["core"][number] = corner
    inertia = body.pivot_inertia
    if inertia is None:
        # the mass spread evenly, about the middle of the axle, and carried over to either tyre in the mean
        inertia = body.mass * (0.5 * rounding**2 + spread + 0.25 * body.track**2)
    walker["pivot_mass"] = inertia / body.track**2
    walker["drag"] = body.drag
    walker["rim_friction"] = body.rim_friction


def outline_moments(corners: tuple[tuple[float, float], ...]) -> tuple[float, float, float, float]:
    """Return signed area [m2], centroid (x, y) [m] and polar second moment over the area [m2] of a polygon.

    The area is positive where the corners run counter-clockwise; the second moment is about the origin, and
    over the area it is the mean square distance. A single corner is a point. By Green's theorem, edge by
    edge.

    >>> bar = ((0.06, 0.01), (-0.06, 0.01), (-0.06, -0.01), (0.06, -0.01))
    >>> area, x, y, second = outline_moments(bar)
    >>> print(f"{area:.4f} {abs(x) + abs(y):.1f} {second:.3e}")
    0.0024 0.0 1.233e-03
    """
    if len(corners) == 1:
        ((x, y),) = corners
        return 0.0, x, y, x * x + y * y
    area = first_x = first_y = second = 0.0
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        cross = ax * by - bx * ay
        area += cross / 2.0
        first_x += cross * (ax + bx) / 6.0
        first_y += cross * (ay + by) / 6.0
        second += cross * (ax * ax + ax * bx + bx * bx + ay * ay + ay * by + by * by) / 12.0
    return area, first_x / area, first_y / area, second / area


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
    record["rotor_inertia"] = motor.inertia
    record["motor_friction"] = motor.friction
    record["turns"] = 1.0 if motor.turns == "forward" else -1.0
    record["tyre_radius"] = tyre.radius
    record["tyre_grip"] = tyre.grip * load
    record["slip_speed"] = tyre.slip_speed
    record["idle_roll"] = min(motor.friction / record["tyre_radius"], record["tyre_grip"])
    if side.whisker is not None:
        whisker = side.whisker
        record["whisker"] = 1
        record["root_ahead"] = whisker.ahead
        record["root_aside"] = outward * whisker.aside
        record["tip_ahead"] = whisker.ahead + whisker.length * math.cos(whisker.outward)
        record["tip_aside"] = outward * (whisker.aside + whisker.length * math.sin(whisker.outward))
        record["whisker_height"] = whisker.height
        record["bend_to_close"] = whisker.closing_bend


def _fill_circuit(record: Any, side: Side, air: float) -> None:
    """Write resistors, transistors and winding of one side in ``air`` of a temperature [K]."""
    record["series"] = side.series
    record["coupling"] = side.coupling
    record["latch"] = side.latch
    record["feeler"] = math.inf if side.feeler is None else side.feeler
    _fill_transistor(record["npn"], side.npn, air)
    _fill_transistor(record["pnp"], side.pnp, air)
    record["motor_resistance"] = side.motor.resistance * copper_growth(air)
    record["magnet_loss"] = MAGNETS[side.motor.magnet]
    record["motor_constant"] = side.motor.constant * flux_left(side.motor.magnet, air)
    for number, touched in enumerate((False, True)):
        record["ignition"][number] = ignition_voltage(touched, record, float(thermal_voltage(air)))


def _fill_transistor(record: Any, transistor: Transistor, air: float) -> None:
    record["gain"] = transistor.gain * gain_growth(air)
    record["knee"] = transistor.knee_current
    record["saturation_current"] = transistor.saturation_current * saturation_growth(air)
    record["reverse_gain"] = transistor.reverse_gain * gain_growth(air)
    record["low_knee"] = transistor.low_knee_current
    record["early"] = 1.0 / transistor.early_voltage
