"""The cause of each fault in one sentence, with the figures at the light where it is looked at."""

import math
from collections.abc import Callable
from typing import Any

from agents.circuit.eye import feed_resistance, on_voltage, trigger_voltage
from agents.circuit.steering import lead
from agents.design.values_by_path import SIDES
from agents.testbench.faults import (
    BLIND,
    DEAF_FEELERS,
    DIM,
    DULL,
    HANGS,
    HEARD,
    LAME,
    LOCKED,
    LOPSIDED,
    NARROW_EYES,
    REVERSED,
    SPIN,
    SPIN_TURN,
    STRAIGHT,
    STRAYS,
    TWITCH,
    bearings_won,
    chance_heard,
    turn_ratio,
    twitches,
    whisker_lead,
)
from agents.testbench.measuring import (
    LAMP_ELEVATION,
    LAMP_SHARE,
    MIRRORED,
    Measurement,
    PulsePoint,
    SidePoint,
    is_touchable,
    measure_record,
)
from agents.text.units import format_code, format_quantity

# A drop in the series resistor [V] that is told beside a trigger; healthy ones are about 0.2 V.
NOTABLE_DROP = 0.5
# Collector voltage [V] of an NPN that holds a motor, in round figures.
PULLED_DOWN = 0.1


def fault_cause(name: str, walker: Any, measured: Measurement) -> str:
    """Say why a WALKER record has the fault ``name`` at the light of a measurement.

    The measurement must show that fault, see :func:`agents.testbench.faults.faults_of`.
    """
    sentences = {
        DIM: _dim,
        BLIND: _blind,
        TWITCH: _twitch,
        LOCKED: _locked,
        SPIN: _spin,
        LAME: _lame,
        HANGS: _hangs,
        LOPSIDED: _lopsided,
        DULL: _dull,
        STRAYS: _strays,
        NARROW_EYES: _narrow_eyes,
        DEAF_FEELERS: _deaf_feelers,
        REVERSED: _reversed,
    }
    return sentences[name](walker, measured)


def _volts(value: float) -> str:
    return format_quantity(value, "V")


def _amperes(value: float) -> str:
    return format_quantity(value, "A")


def _degrees(angle: float) -> str:
    return f"{math.degrees(abs(angle)):.0f} deg"


def _fine_degrees(angle: float) -> str:
    return f"{math.degrees(abs(angle)):.2g} deg"


def _light(measured: Measurement) -> str:
    return format_quantity(measured.light, "lx")


def _dim(walker: Any, measured: Measurement) -> str:
    drawn = measured.eyes + measured.leak
    trigger = measured.first.trigger
    if measured.photocurrent < drawn:
        return (
            f"at {_light(measured)} the panel gives {_amperes(measured.photocurrent)}, and at the trigger of"
            f" {_volts(trigger)} eyes and leak take {_amperes(drawn)}{_drop(walker, measured)}"
        )
    return (
        f"at {_light(measured)} the panel gives {_volts(measured.open_circuit)} open-circuit, and the"
        f" trigger is {_volts(trigger)} with {_amperes(drawn)} for eyes and leak{_drop(walker, measured)}"
    )


def _drop(walker: Any, measured: Measurement) -> str:
    """Where a good part of the trigger is what the standby current drops in the series resistor: how much."""
    side = walker["side"][SIDES.index(measured.first.side)]
    current = float(side["quiet_current"])
    drop = current * float(feed_resistance(False, side))
    if drop < NOTABLE_DROP:
        return ""
    return (
        f"; {_volts(drop)} of that trigger is what the {measured.first.side} eye's standby current of"
        f" {_amperes(current)} drops in its series resistor of {format_code(float(side['series']), 'ohm')}"
    )


def _blind(walker: Any, measured: Measurement) -> str:
    first = measured.first
    side = walker["side"][SIDES.index(first.side)]
    return (
        f"at {_light(measured)} the trigger has risen from {_volts(float(trigger_voltage(0.0, False, side)))}"
        f" in the dark to {_volts(first.trigger)}, and the panel gives {_volts(measured.open_circuit)}"
        f" open-circuit{_drop(walker, measured)}"
    )


def _falling_gain(base: float, transistor: Any) -> float:
    """Collector current [A] on a ``base`` current [A], out of saturation and before the Early effect."""
    half = 0.5 * math.sqrt(float(transistor["low_knee"]))
    ideal = (math.sqrt(float(transistor["gain"]) * base + half * half) - half) ** 2
    return 2.0 * ideal / (1.0 + math.sqrt(1.0 + 4.0 * ideal / float(transistor["knee"])))


def _carried(rail: float, thermal: float, side: Any) -> float:
    """Motor current [A] that the latch can carry at ``rail`` [V], once the flash's kick has gone by.

    For a sentence, not for the pulse: out of saturation, with the PNP's junction by a few rounds.
    """
    junction = 0.65
    for _ in range(3):
        base = max(rail - junction - PULLED_DOWN, 1e-3) / float(side["latch"])
        forward = float(side["pnp"]["gain"]) * base
        junction = float(thermal) * math.log(forward / float(side["pnp"]["saturation_current"]))
    return _falling_gain(_falling_gain(base, side["pnp"]), side["npn"])


def _weak_flash(measured: Measurement, point: SidePoint, side: Any) -> str:
    return (
        f"the {point.side} eye flashes at {_volts(float(on_voltage(measured.light, side)))} and is lit at"
        f" {_volts(float(side['lit_voltage']))}: the step between is too small to turn on the PNP against"
        f" the latch resistor of {format_code(float(side['latch']), 'ohm')}"
    )


def _twitch(walker: Any, measured: Measurement) -> str:
    point = next(side for side in measured.sides if twitches(side))
    side = walker["side"][SIDES.index(point.side)]
    latch = format_code(float(side["latch"]), "ohm")
    if not point.ignites:
        return _weak_flash(measured, point, side)
    rail = point.let_go if point.let_go is not None else point.trigger
    carried = _carried(rail, walker["thermal"], side)
    asked = (rail - PULLED_DOWN) / float(side["motor_resistance"])
    return (
        f"the {point.side} latch releases at {_volts(rail)}, {format_quantity(point.pulse or 0.0, 's', 2)}"
        f" after firing at {_volts(point.trigger)}: through {latch} it can carry about {_amperes(carried)},"
        f" and the standing motor asks for {_amperes(asked)}"
    )


def _locked(walker: Any, measured: Measurement) -> str:
    point = next(side for side in measured.sides if side.locked)
    return (
        f"at {_light(measured)} the panel gives {_amperes(measured.photocurrent)}, and the running"
        f" {point.side} motor takes {_amperes(point.held_motor or 0.0)}: the latch holds at"
        f" {_volts(point.held_rail or 0.0)}, never releases"
    )


def _strongest(measured: Measurement) -> SidePoint:
    return max(measured.sides, key=lambda side: abs(side.turn or 0.0))


def _spin(walker: Any, measured: Measurement) -> str:
    point = _strongest(measured)
    return (
        f"a {point.side} pulse turns it by {_degrees(point.turn or 0.0)}, more than {_degrees(SPIN_TURN)}:"
        f" {format_quantity(float(walker['capacitance']), 'F')} run from {_volts(point.trigger)} down to"
        f" {_volts(point.let_go or 0.0)} in {format_quantity(point.pulse or 0.0, 's')}"
    )


def _lame(walker: Any, measured: Measurement) -> str:
    point = min(
        (side for side in measured.sides if side.path is not None),
        key=lambda side: side.path if side.path is not None else math.inf,
    )
    side = walker["side"][SIDES.index(point.side)]
    if not point.ignites:
        return f"{_weak_flash(measured, point, side)}, so its motor gets no current and nothing moves"
    grip, drag = float(side["tyre_grip"]), float(walker["drag"])
    if grip <= 1.05 * drag:
        return (
            f"the {point.side} tyre grips the floor with {format_quantity(grip, 'N', 2)} at the most, and"
            f" rolling takes {format_quantity(drag, 'N', 2)}: the tyre is the limit, and no motor will help"
        )
    pull = float(side["motor_constant"]) * (point.peak or 0.0) - float(side["motor_friction"])
    force = max(pull, 0.0) / float(side["tyre_radius"])
    drag = float(walker["drag"])
    lasted = format_quantity(point.pulse or 0.0, "s", 2)
    path = point.path or 0.0
    moved = f"moves it by {format_quantity(path, 'm', 2)}" if path >= _NO_MOVE else "does not move it"
    pushes = f"its motor pushes with {format_quantity(force, 'N', 2)} at most and rolling takes"
    # a motor that would push well enough has no time to
    short = ", so that the pulse is too short rather than the motor too weak" if force > 2.0 * drag else ""
    return f"a {point.side} pulse of {lasted} {moved}; {pushes} {format_quantity(drag, 'N', 2)}{short}"


def _rate(pulse: PulsePoint) -> float:
    """Turn in a time [rad/s]; 0 where there is no pulse."""
    return abs(pulse.turn or 0.0) / (pulse.between or math.inf)


def _hangs(walker: Any, measured: Measurement) -> str:
    felt = [(side, side.pressed) for side in measured.sides if side.pressed is not None and side.turn]
    point, pressed = min(felt, key=lambda pair: _rate(pair[1]) / _rate(pair[0]))
    side = walker["side"][SIDES.index(point.side)]
    feeler, latch = (format_code(float(side[name]), "ohm") for name in ("feeler", "latch"))
    return (
        f"with its whisker pressed a {point.side} pulse turns it by {_fine_degrees(pressed.turn or 0.0)},"
        f" free by {_fine_degrees(point.turn or 0.0)}: the feeler resistor of {feeler} pulls the PNP's base"
        f" up through the coupling capacitor, and the latch, through {latch}, releases at"
        f" {_volts(pressed.let_go or 0.0)}, {format_quantity(pressed.pulse or 0.0, 's', 2)} after firing at"
        f" {_volts(pressed.trigger)}"
    )


def _dull(walker: Any, measured: Measurement) -> str:
    jitter = math.hypot(*(float(side["jitter"]) for side in walker["side"]))
    told = (
        f"a lamp on one side parts the two triggers by {_volts(measured.hold)} at the most, and from pulse to"
        f" pulse they jitter by {_volts(jitter)}, too little to decide which fires"
    )
    least, most = measured.light * (1.0 - LAMP_SHARE), measured.light
    rises = [float(on_voltage(most, side) - on_voltage(least, side)) for side in walker["side"]]
    if min(rises) < 2.0 * jitter:
        number = rises.index(min(rises))
        whose = f"the {SIDES[number]} eye"
        # a table tells it, where there is one
        what = f"the table of {whose}" if walker["side"][number]["table_count"] else f"the trigger of {whose}"
        ends = " to ".join(format_quantity(light, "lx") for light in (least, most))
        told += f"; from {ends} {what} rises by {_volts(rises[number])}"
    return told


def _strays(walker: Any, measured: Measurement) -> str:
    lamp = LAMP_SHARE * measured.light
    even = measured.light - lamp
    ahead = float(lead(walker, lamp, even, LAMP_ELEVATION, 0.0))
    early, late = ("left", "right") if ahead < 0.0 else ("right", "left")
    part = _blamed(walker, _EYE_PARTS, lambda one: float(lead(one, lamp, even, LAMP_ELEVATION, 0.0)))
    eyes = (
        f"with a lamp straight ahead the {early} eye fires its side {_volts(abs(ahead))} before the {late}"
        f" one would{f', for the two differ in {part}' if part else ''}"
    )
    if measured.balance is None or measured.beside is None:
        return (
            f"{eyes}; wherever the lamp stands it parts the two by {_volts(measured.hold)} at the most, so"
            " the walker circles"
        )
    aside = "right" if measured.beside > 0.0 else "left"
    heads = f"it heads {_degrees(measured.beside)} to the {aside} of a lamp"
    skew = measured.beside - measured.balance
    reasons = []
    # what takes it to that side, not what brings it back
    if measured.balance * measured.beside > 0.0 and abs(measured.balance) > math.radians(1.0):
        reasons.append(eyes)
    if skew * measured.beside > 0.0 and abs(skew) > math.radians(1.0):
        reasons.append(_turns(walker, measured))
    return f"{heads}, more than {_degrees(STRAIGHT)}: {'; '.join(reasons)}"


# Parts of a side on which its trigger hangs, and on which its pulse does, with the fields of the SIDE record.
_EYE_PARTS = {
    "trigger voltage": ("dark_trigger", "slope", "knee_light", "table_count", "table_light", "table_volts"),
    "tape": ("tape",),
    "aim": ("aim_x", "aim_y", "aim_z", "lobe"),
    "standby current and series resistor": ("quiet_current", "series", "motor_resistance"),
}
_PULSE_PARTS = {
    "motors": ("motor_resistance", "motor_constant", "rotor_inertia", "motor_friction"),
    "latch resistors": ("latch",),
    "transistors": ("npn", "pnp"),
    "tyres": ("tyre_radius", "tyre_grip", "slip_speed"),
    "coupling capacitors": ("coupling",),
    "triggers": tuple(
        field for fields in _EYE_PARTS.values() for field in fields if field != "motor_resistance"
    ),
}
# A part is to blame where no more than this share of a difference is left once both sides have the same.
# A way [m] that nobody sees.
_NO_MOVE = 1e-6
_LEFT_OVER = 0.25


def _blamed(walker: Any, parts: dict[str, tuple[str, ...]], difference: Callable[[Any], float]) -> str:
    """Which part makes the sides differ, in words; empty where no single one does.

    ``difference`` measures it. Each part in turn is made alike on both sides, with that of the right one.
    """
    whole = abs(difference(walker))
    for part, fields in parts.items():
        alike = walker.copy()
        for field in fields:
            sign = -1.0 if field in MIRRORED else 1.0
            value = alike["side"][1][field]
            alike["side"][0][field] = sign * value if sign < 0.0 else value
        if abs(difference(alike)) <= _LEFT_OVER * whole:
            return part
    return ""


def _turns(walker: Any, measured: Measurement) -> str:
    """What a pulse of either side turns it by, the stronger one first, and which part makes them differ."""
    strong, weak = sorted(measured.sides, key=lambda side: -abs(side.turn or 0.0))

    def difference(one: Any) -> float:
        pulses = measure_record(one, measured.light, measured.kind)["side"]["free"]
        return float(abs(pulses[0]["turn"]) - abs(pulses[1]["turn"]))

    part = _blamed(walker, _PULSE_PARTS, difference)
    return (
        f"a {strong.side} pulse turns it by {_degrees(strong.turn or 0.0)} and a {weak.side} one by"
        f" {_degrees(weak.turn or 0.0)}{f', for the {part} of the two sides differ' if part else ''}"
    )


def _lopsided(walker: Any, measured: Measurement) -> str:
    left, right = bearings_won(walker, measured.light)
    if (left == 0) != (right == 0):
        winner, loser = (measured.left, measured.right) if right == 0 else (measured.right, measured.left)
        lead = loser.trigger - winner.trigger
        return (
            f"the {winner.side} side triggers at {_volts(winner.trigger)} and the {loser.side} one at"
            f" {_volts(loser.trigger)}: no bearing of a lamp of {_light(measured)} makes up for the"
            f" {_volts(lead)} between them, so the {loser.side} side never fires first"
        )
    ratio = turn_ratio(measured) or 0.0
    turns = _turns(walker, measured)
    return f"{turns}; that is {ratio:.3g} times apart" if ratio < math.inf else turns


def _narrow_eyes(walker: Any, measured: Measurement) -> str:
    aside = min(abs(float(side["eye_aside"])) for side in walker["side"])
    return (
        f"an eye stands {format_quantity(aside, 'm')} from the middle and the wheel"
        f" {format_quantity(0.5 * float(walker['track']), 'm')}, so a wheel meets an obstacle whose shadow"
        " the eye has missed"
    )


def _deaf_feelers(walker: Any, measured: Measurement) -> str:
    for number, name in enumerate(SIDES):
        side = walker["side"][number]
        if not is_touchable(side):
            missing = "feeler resistor" if side["whisker"] else "whisker"
            return f"the {name} side has no {missing}"
        lead = whisker_lead(walker, number)
        if lead <= 0.0:
            return (
                f"the {name} whisker closes {format_quantity(-lead, 'm', 2)} behind the body's edge, so the"
                " body always meets a wall first"
            )
    number = min((0, 1), key=lambda one: chance_heard(walker, one, measured.light))
    chance = chance_heard(walker, number, measured.light)
    own, other = measured.sides[number], measured.sides[1 - number]
    lead = other.trigger - (own.trigger_touched or own.trigger)
    jitter = math.hypot(*(float(side["jitter"]) for side in walker["side"]))
    return (
        f"pressing its whisker puts the {own.side} trigger {_volts(abs(lead))}"
        f" {'below' if lead > 0.0 else 'above'} the {other.side} one; with a jitter of {_volts(jitter)}"
        f" between the two it fires first in {100.0 * chance:.0f} % of the pulses, less than"
        f" {100.0 * HEARD:.0f} %"
    )


def _reversed(walker: Any, measured: Measurement) -> str:
    names = [name for name, side in zip(SIDES, walker["side"], strict=True) if side["turns"] < 0.0]
    motors = "both motors are" if len(names) == 2 else f"the {names[0]} motor is"
    return f"{motors} wired to turn backward"
