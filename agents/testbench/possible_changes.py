"""What a builder may change about a design, each with the values that it sets and what it costs.

A change is one kind of part, on both sides or, where these differ, on one. Resistors come in the steps of
E12, capacitors in those of E6 (IEC 60063), tape over eyes and covers over the panel in tenths. A resistor in
series with a motor adds to the resistance alone; a motor wound with other wire has another constant too: at
the same copper, n times the turns have n squared times the resistance and n times the torque a current. A
panel of the same cells and n times the area has n times the currents and an n-th of the resistances. Part of
every cell covered takes light away and leaves the cells as they are.

Values are rounded as they are printed, so that what is tried is what is told.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from agents.design.parts import Eye, Panel, Side
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SCOPES, SIDES, expanded, sides_in
from agents.handbook.preferred_values import preferred_values
from agents.testbench.geometry_changes import bends
from agents.text.units import format_code, format_quantity

TAPES = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05)
LEAST_TAPE = 1e-4
COVERED_TENTHS = (1, 2, 3, 4, 5, 6, 7, 8, 9)
CELLS = (0.5, 0.75, 1.25, 1.5, 2.0)

# Ranges of the dials, in SI units.
LATCHES = (1e3, 220e3)
FEELERS = (4.7e3, 220e3)
SERIES = (10e3, 470e3)
STORAGES = (100e-6, 22e-3)

# Ranges within which each part is exchanged, in SI units.
RESISTORS = {"latch": (470.0, 470e3), "feeler": (470.0, 470e3), "series": (3.3e3, 470e3)}
COUPLINGS = (47e-9, 22e-6)
CAPACITORS = (100e-6, 47e-3)
# A resistor in series with a motor takes no more than a third of what the motor gets.
MOTOR_SERIES = (1.0, 100.0)
MOST_ADDED = 0.5
WINDINGS = (3.3, 120.0)
PANEL_FACTORS = (0.1, 68.0)
KNEES = (0.3, 1.0)
GAIN = 400.0
GRIPS = (0.5, 0.7, 0.9, 1.1)
TYRES = (0.8e-3, 1e-3, 1.2e-3, 1.6e-3, 2e-3, 2.5e-3, 3.2e-3)
LEAK = 1e6
ESR = 0.3

# Values of a part that no other change is about, and the distance of a part that is another one altogether.
RARELY = ("friction", "inertia", "saturation_current", "reverse_gain", "slip_speed")
FAR = 3.0

# What kinds of change cost, to rank them by; of two changes the sum. Hand work, cents, coins, and more.
BY_HAND = 0
RESISTOR = 1
SMALL_PART = 2
STORAGE = 5
MOTOR = 10
PANEL = 12


@dataclass(frozen=True)
class Change:
    """One change to a design: SI values by path, and the change in words.

    ``price`` ranks changes by what they cost; ``distance`` those of one price by how far the new value lies
    from the present one, as a logarithm. ``uses`` names what two changes cannot both take, like the last two
    pieces of a drawer.
    """

    values: dict[str, Any]
    text: str
    price: int = BY_HAND
    distance: float = 0.0
    uses: frozenset[str] = frozenset()

    def applied(self, design: Design) -> Design:
        """Return the design with the change made."""
        return design.with_values(self.values)

    @property
    def places(self) -> frozenset[str]:
        """The paths that it sets, one for each side, and what it uses."""
        return self.uses | frozenset(one for path in self.values for one in expanded(path))

    def with_other(self, other: "Change") -> "Change":
        """Return both changes as one; they must not set the same place."""
        return Change(
            {**self.values, **other.values},
            f"{self.text}, and {other.text}" if self.text else other.text,
            self.price + other.price,
            self.distance + other.distance,
            self.uses | other.uses,
        )


def changes(design: Design) -> list[Change]:
    """Return every change worth a try, cheapest first, and the nearest values first among equals in cost."""
    found = [
        *_leads(design),
        *_tapes(design),
        *_covers(design),
        *(Change(values, text, SMALL_PART * parts) for values, text, parts in bends(design)),
        *_resistors(design),
        *_motor_resistors(design),
        *_couplings(design),
        *_matched_parts(design, ("eye", "npn", "pnp"), SMALL_PART),
        *_small_parts(design),
        *_storages(design),
        *_matched_parts(design, ("motor", "tyre"), MOTOR),
        *_motors(design),
        *_panels(design),
        *_usual_parts(design),
    ]
    # equally near ones stay in the order in which they were found
    return sorted(found, key=lambda change: (change.price, round(change.distance, 9)))


def scopes_of(design: Design) -> tuple[str, ...]:
    """The scopes worth a try: where both sides are alike, what is done to one is done to the other."""
    return (BOTH,) if design.left == design.right else SCOPES


def article(name: str) -> str:
    """A part's name with its article."""
    return f"{'an' if name == 'NPN' else 'a'} {name}"


def rounded(value: float, digits: int = 3) -> float:
    """``value`` with so many significant digits, as it is printed."""
    return float(f"{value:.{digits}g}")


def _sides(design: Design, scope: str) -> tuple[Side, ...]:
    return tuple(getattr(design, name) for name in sides_in(scope))


def _where(scope: str) -> str:
    return "on both sides" if scope == BOTH else f"on the {scope} side"


def _distance(value: float, present: Sequence[float | None]) -> float:
    """How far a value lies from the present ones, in ratio, that of the farther side.

    A part that is not there yet is equally far from every value.
    """
    return max((abs(math.log(value / one)) for one in present if one is not None), default=0.0)


def _instead(present: Sequence[float | None], show: Callable[[float], str]) -> str:
    """What the new part takes the place of, in words; empty where there is none yet."""
    if all(one is None for one in present):
        return ""
    shown = dict.fromkeys("none" if one is None else show(one) for one in present)
    return f" in place of {' and '.join(shown)}"


def _by_side(scope: str, key: str, values: dict[str, float]) -> dict[str, Any]:
    """Values by side as paths, as one path where the sides have the same."""
    names = sides_in(scope)
    if scope == BOTH and values[names[0]] == values[names[1]]:
        return {f"{BOTH}.{key}": values[names[0]]}
    return {f"{name}.{key}": values[name] for name in names}


def _leads(design: Design) -> Iterator[Change]:
    backward = [name for name in SIDES if _sides(design, name)[0].motor.turns == "backward"]
    if backward:
        values = {f"{name}.motor.turns": "forward" for name in backward}
        yield Change(values, f"exchange the leads of the {' and '.join(backward)} motor")


def _tapes(design: Design) -> Iterator[Change]:
    for scope in scopes_of(design):
        present = [side.eye.tape for side in _sides(design, scope)]
        eyes = "both eyes" if scope == BOTH else f"the {scope} eye"
        for tape in (1.0, *TAPES):
            if any(one != tape for one in present):
                text = f"tape that lets {tape * 100:.0f} % through over {eyes}"
                if tape == 1.0:
                    text = f"no tape over {eyes}"
                distance = _distance(tape, present)
                yield Change({f"{scope}.eye.tape": tape}, text, BY_HAND, distance)
    if design.left.eye.tape != design.right.eye.tape:
        # unlike tapes may even out unlike eyes, which the same tape over both would undo
        for tape in TAPES:
            values = {f"{name}.eye.tape": rounded(tape * getattr(design, name).eye.tape, 6) for name in SIDES}
            text = f"further tape that lets {tape * 100:.0f} % through over both eyes"
            if min(values.values()) >= LEAST_TAPE:
                yield Change(values, text, BY_HAND, _distance(tape, [1.0]))


def _covers(design: Design) -> Iterator[Change]:
    for tenths in COVERED_TENTHS:
        left = (10 - tenths) / 10.0
        current = rounded(design.panel.current_per_light * left)
        part = "1 tenth" if tenths == 1 else f"{tenths} tenths"
        text = f"cover {part} of every cell of the panel, which leaves {format_quantity(current, 'A/lx')}"
        yield Change({"panel.current_per_light": current}, text, BY_HAND, _distance(left, [1.0]))


def _resistors(design: Design) -> Iterator[Change]:
    for key, bounds in RESISTORS.items():
        for scope in scopes_of(design):
            present = [getattr(side, key) for side in _sides(design, scope)]
            instead = _instead(present, lambda one: format_code(one, "ohm"))
            for value in preferred_values("E12", *bounds):
                if any(one != value for one in present):
                    text = f"a {key} resistor of {format_code(value, 'ohm')}{instead} {_where(scope)}"
                    yield Change({f"{scope}.{key}": value}, text, RESISTOR, _distance(value, present))


def _motor_resistors(design: Design) -> Iterator[Change]:
    for scope in scopes_of(design):
        names = sides_in(scope)
        present = {name: _sides(design, name)[0].motor.resistance for name in names}
        motors = "each motor" if scope == BOTH else f"the {scope} motor"
        for added in preferred_values("E12", *MOTOR_SERIES):
            if added > MOST_ADDED * min(present.values()):
                break
            values = {name: rounded(one + added, 6) for name, one in present.items()}
            sums = " and ".join(dict.fromkeys(format_quantity(one, "ohm") for one in values.values()))
            text = f"a resistor of {format_quantity(added, 'ohm')} in series with {motors}, {sums} together"
            distance = max(_distance(values[name], [present[name]]) for name in names)
            # it heats, so that any other resistor goes before it
            yield Change(_by_side(scope, "motor.resistance", values), text, SMALL_PART, distance)


def _couplings(design: Design) -> Iterator[Change]:
    for scope in scopes_of(design):
        present = [side.coupling for side in _sides(design, scope)]
        instead = _instead(present, lambda one: format_quantity(one, "F"))
        for value in preferred_values("E6", *COUPLINGS):
            if any(one != value for one in present):
                text = f"a coupling capacitor of {format_quantity(value, 'F')}{instead} {_where(scope)}"
                distance = _distance(value, present)
                yield Change({f"{scope}.coupling": value}, text, SMALL_PART, distance)


def _small_parts(design: Design) -> Iterator[Change]:
    usual = Eye()
    for scope in scopes_of(design):
        sides, where = _sides(design, scope), _where(scope)
        for knee in KNEES:
            if all(side.npn.knee_current < knee for side in sides):
                text = f"a larger NPN, whose gain has halved at {format_quantity(knee, 'A')}, {where}"
                distance = _distance(knee, [side.npn.knee_current for side in sides])
                yield Change({f"{scope}.npn.knee_current": knee}, text, SMALL_PART, distance)
        for key, name in (("npn", "NPN"), ("pnp", "PNP")):
            gains = [getattr(side, key).gain for side in sides]
            if all(gain < GAIN for gain in gains):
                text = f"{article(name)} of gain {GAIN:.0f} {where}"
                yield Change({f"{scope}.{key}.gain": GAIN}, text, SMALL_PART, _distance(GAIN, gains))
        values = {}
        for key in ("dark_trigger", "slope", "knee_light", "table", "quiet_current", "lit_voltage"):
            if any(getattr(side.eye, key) != getattr(usual, key) for side in sides):
                values[f"{scope}.eye.{key}"] = getattr(usual, key)
        if values:
            yield Change(values, f"a flashing LED of the usual kind {where}", SMALL_PART, 1.0)
        for radius in TYRES:
            present = [side.tyre.radius for side in sides]
            if any(one != radius for one in present):
                text = f"tyres of {format_quantity(radius, 'm')} radius {where}"
                distance = _distance(radius, present)
                yield Change({f"{scope}.tyre.radius": radius}, text, SMALL_PART, distance)
        for grip in GRIPS:
            present = [side.tyre.grip for side in sides]
            if any(one != grip for one in present):
                text = f"tyres with a friction coefficient of {grip:g} {where}"
                yield Change({f"{scope}.tyre.grip": grip}, text, SMALL_PART, _distance(grip, present))


def _storages(design: Design) -> Iterator[Change]:
    storage = design.storage
    instead = f" in place of {format_quantity(storage.capacitance, 'F')}"
    for value in preferred_values("E6", *CAPACITORS):
        if value != storage.capacitance:
            text = f"a storage capacitor of {format_quantity(value, 'F')}{instead}"
            distance = _distance(value, [storage.capacitance])
            yield Change({"storage.capacitance": value}, text, STORAGE, distance)
    if storage.leak < LEAK:
        text = f"a storage capacitor that leaks no more than {format_quantity(LEAK, 'ohm')} would"
        yield Change({"storage.leak": LEAK}, text, STORAGE, _distance(LEAK, [storage.leak]))
    if storage.series_resistance > 10.0 * ESR:
        text = f"a storage capacitor of {format_quantity(ESR, 'ohm')} series resistance"
        distance = _distance(ESR, [storage.series_resistance])
        yield Change({"storage.series_resistance": ESR}, text, STORAGE, distance)


def _usual_parts(design: Design) -> Iterator[Change]:
    """A part of the usual kind, where what is there is far from it."""
    usual = Side()
    names = {"npn": "NPN", "pnp": "PNP", "motor": "motor", "tyre": "tyre"}
    for key, name in names.items():
        for scope in scopes_of(design):
            present = [getattr(side, key) for side in _sides(design, scope)]
            model = getattr(usual, key)
            values = {
                f"{scope}.{key}.{field}": getattr(model, field)
                for field in type(model).model_fields
                if field != "turns" and any(getattr(one, field) != getattr(model, field) for one in present)
            }
            if len(values) > 1 or any(field in path for path in values for field in RARELY):
                price = MOTOR if key == "motor" else SMALL_PART
                yield Change(values, f"{article(name)} of the usual kind {_where(scope)}", price, FAR)
    panel = Panel()
    values = {
        f"panel.{field}": getattr(panel, field)
        for field in ("saturation_current", "junction_voltage", "series_resistance", "shunt_resistance")
        if getattr(design.panel, field) != getattr(panel, field)
    }
    if values:
        yield Change(values, "a panel of the usual kind of the same current", PANEL, FAR)


def _matched_parts(design: Design, keys: tuple[str, ...], price: int) -> Iterator[Change]:
    """A part like the one on the other side, where the two differ."""
    names = {"eye": "flashing LED", "npn": "NPN", "pnp": "PNP", "motor": "motor", "tyre": "tyre"}
    places = ("ahead", "aside", "height", "outward", "up", "half_angle", "tape", "turns")
    for key in keys:
        for name, other in (("left", "right"), ("right", "left")):
            own, model = (getattr(_sides(design, one)[0], key) for one in (name, other))
            values = {
                f"{name}.{key}.{field}": getattr(model, field)
                for field in type(model).model_fields
                if getattr(model, field) != getattr(own, field) and field not in places
            }
            if values:
                yield Change(values, f"a {name} {names[key]} like the {other} one", price)


def _motors(design: Design) -> Iterator[Change]:
    for scope in scopes_of(design):
        names = sides_in(scope)
        motors = {name: _sides(design, name)[0].motor for name in names}
        for resistance in preferred_values("E12", *WINDINGS):
            if any(motor.resistance == resistance for motor in motors.values()):
                continue
            constants = {
                name: rounded(motor.constant * math.sqrt(resistance / motor.resistance))
                for name, motor in motors.items()
            }
            values = {f"{scope}.motor.resistance": resistance, **_by_side(scope, "motor.constant", constants)}
            shown = " and ".join(dict.fromkeys(format_quantity(one, "V s/rad") for one in constants.values()))
            text = (
                f"a motor of the same size wound to {format_quantity(resistance, 'ohm')}, which has"
                f" {shown}, {_where(scope)}"
            )
            distance = _distance(resistance, [motor.resistance for motor in motors.values()])
            yield Change(values, text, MOTOR, distance)


def _panels(design: Design) -> Iterator[Change]:
    panel = design.panel
    for factor in preferred_values("E6", *PANEL_FACTORS):
        current = rounded(panel.current_per_light * factor, 2)
        area = current / panel.current_per_light
        if factor == 1.0:
            continue
        values = {
            "panel.current_per_light": current,
            "panel.saturation_current": rounded(panel.saturation_current * area),
            "panel.series_resistance": rounded(panel.series_resistance / area),
            "panel.shunt_resistance": rounded(panel.shunt_resistance / area),
        }
        text = (
            f"a panel of the same cells and {area:.2g} times the area,"
            f" {format_quantity(current, 'A/lx')} in place of"
            f" {format_quantity(panel.current_per_light, 'A/lx')}"
        )
        yield Change(values, text, PANEL, _distance(factor, [1.0]))
    for factor in CELLS:
        values = {
            "panel.junction_voltage": rounded(panel.junction_voltage * factor),
            "panel.series_resistance": rounded(panel.series_resistance * factor),
            "panel.shunt_resistance": rounded(panel.shunt_resistance * factor),
        }
        more = "fewer" if factor < 1.0 else "more"
        text = f"a panel with {abs(factor - 1.0) * 100:.0f} % {more} of the same cells in series"
        yield Change(values, text, PANEL, _distance(factor, [1.0]))
