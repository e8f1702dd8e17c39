"""What a builder may change about a design, from the cheapest to the dearest.

A change is one kind of part, on both sides or on one. Resistors come in the steps of E12, capacitors in
those of E6 (IEC 60063), tape in tenths of transmission, in place of what is there or over it, wires in
whole lengths and angles. A motor is exchanged for one of the same size wound with other wire: at the same
copper, n times the turns have n² times the resistance and n times the torque a current. A panel is
exchanged for one with more or less current, or with more or fewer cells.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from agents.design.parts import Motor, Side
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SCOPES, SIDES, sides_in
from agents.design.whisker import Whisker
from agents.handbook.preferred_values import preferred_values
from agents.text.units import format_code, format_quantity

TAPES = (0.5, 0.4, 0.3, 0.2, 0.1)
LEAST_TAPE = 1e-4
WINDINGS = (0.5, 0.7, 1.4, 2.0, 2.8, 4.0)
CELLS = (0.75, 1.25, 1.5)

# Ranges within which each part is exchanged, in SI units.
LATCHES = (1e3, 220e3)
FEELERS = (4.7e3, 220e3)
SERIES = (10e3, 470e3)
COUPLINGS = (47e-9, 10e-6)
STORAGES = (100e-6, 22e-3)
PANEL_FACTORS = (0.1, 10.0)


@dataclass(frozen=True)
class Change:
    """One change to a design: SI values by path, and the change in words."""

    values: dict[str, Any]
    text: str

    def applied(self, design: Design) -> Design:
        """Return the design with the change made."""
        return design.with_values(self.values)


def changes(design: Design) -> Iterator[Change]:
    """Yield every change worth a try, cheapest first, and the nearest values first among equals in cost."""
    yield from _leads(design)
    yield from _tapes(design)
    yield from _bends(design)
    yield from _resistors(design)
    yield from _couplings(design)
    yield from _matched_parts(design, ("eye", "npn", "pnp"))
    yield from _storages(design)
    yield from _matched_parts(design, ("motor", "tyre"))
    yield from _motors(design)
    yield from _panels(design)


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


def _nearest_first(found: list[tuple[float, Change]]) -> Iterator[Change]:
    # equally near ones stay in the order in which they were found
    for _, change in sorted(found, key=lambda pair: round(pair[0], 9)):
        yield change


def _leads(design: Design) -> Iterator[Change]:
    backward = [name for name in SIDES if _sides(design, name)[0].motor.turns == "backward"]
    if backward:
        values = {f"{name}.motor.turns": "forward" for name in backward}
        yield Change(values, f"exchange the leads of the {' and '.join(backward)} motor")


def _tapes(design: Design) -> Iterator[Change]:
    found = []
    for scope in SCOPES:
        present = [side.eye.tape for side in _sides(design, scope)]
        for tape in (1.0, *TAPES):
            if all(one == tape for one in present):
                continue
            eyes = "both eyes" if scope == BOTH else f"the {scope} eye"
            text = f"tape that lets {tape * 100:.0f} % through over {eyes}"
            if tape == 1.0:
                text = f"no tape over {eyes}"
            found.append((_distance(tape, present), Change({f"{scope}.eye.tape": tape}, text)))
    if design.left.eye.tape != design.right.eye.tape:
        # unlike tapes may even out unlike eyes, which the same tape over both would undo
        for tape in TAPES:
            values = {f"{name}.eye.tape": tape * getattr(design, name).eye.tape for name in SIDES}
            text = f"further tape that lets {tape * 100:.0f} % through over both eyes"
            if min(values.values()) >= LEAST_TAPE:
                found.append((_distance(tape, [1.0]), Change(values, text)))
    return _nearest_first(found)


def _bends(design: Design) -> Iterator[Change]:
    for scope in SCOPES:
        sides = _sides(design, scope)
        for aside in (0.015, 0.02, 0.025, 0.03, 0.035, 0.04, 0.05, 0.06, 0.08, 0.1):
            if aside > min(side.eye.aside for side in sides):
                text = f"bend the eyes out to {aside * 1e3:.0f} mm from the middle {_where(scope)}"
                yield Change({f"{scope}.eye.aside": aside}, text)
    for scope in SCOPES:
        sides = _sides(design, scope)
        present = [side.whisker for side in sides if side.whisker is not None]
        if len(present) < len(sides):
            values: dict[str, Any] = {f"{scope}.whisker": Whisker()}
            yield Change(values, f"a whisker {_where(scope)}")
            if any(side.feeler is None for side in sides):
                values = {**values, f"{scope}.feeler": 33e3}
                yield Change(values, f"a whisker and a feeler resistor of 33k {_where(scope)}")
            continue
        for length in (0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.12):
            if length > max(whisker.length for whisker in present):
                text = f"whiskers of {length * 1e3:.0f} mm {_where(scope)}"
                yield Change({f"{scope}.whisker.length": length}, text)
        for degrees in (35, 45, 25, 55, 15, 65):
            outward = math.radians(degrees)
            if any(abs(whisker.outward - outward) > 0.01 for whisker in present):
                text = f"bend the whiskers to {degrees} deg outward {_where(scope)}"
                yield Change({f"{scope}.whisker.outward": outward}, text)


def _resistors(design: Design) -> Iterator[Change]:
    found = []
    for key, (least, most) in (("latch", LATCHES), ("feeler", FEELERS), ("series", SERIES)):
        for scope in SCOPES:
            present = [getattr(side, key) for side in _sides(design, scope)]
            instead = _instead(present, lambda one: format_code(one, "ohm"))
            for value in preferred_values("E12", least, most):
                if any(one != value for one in present):
                    text = f"a {key} resistor of {format_code(value, 'ohm')}{instead} {_where(scope)}"
                    found.append((_distance(value, present), Change({f"{scope}.{key}": value}, text)))
    return _nearest_first(found)


def _couplings(design: Design) -> Iterator[Change]:
    found = []
    for scope in SCOPES:
        present = [side.coupling for side in _sides(design, scope)]
        instead = _instead(present, lambda one: format_quantity(one, "F"))
        for value in preferred_values("E6", *COUPLINGS):
            if any(one != value for one in present):
                text = f"a coupling capacitor of {format_quantity(value, 'F')}{instead} {_where(scope)}"
                found.append((_distance(value, present), Change({f"{scope}.coupling": value}, text)))
    return _nearest_first(found)


def _storages(design: Design) -> Iterator[Change]:
    present = design.storage.capacitance
    found = []
    for value in preferred_values("E6", *STORAGES):
        if value != present:
            instead = f" in place of {format_quantity(present, 'F')}"
            text = f"a storage capacitor of {format_quantity(value, 'F')}{instead}"
            found.append((_distance(value, [present]), Change({"storage.capacitance": value}, text)))
    return _nearest_first(found)


def _matched_parts(design: Design, keys: tuple[str, ...]) -> Iterator[Change]:
    """A part like the one on the other side, where the two differ."""
    names = {"eye": "flashing LED", "npn": "NPN", "pnp": "PNP", "motor": "motor", "tyre": "tyre"}
    for key in keys:
        if getattr(design.left, key) != getattr(design.right, key):
            for name, other in (("left", "right"), ("right", "left")):
                part = getattr(_sides(design, other)[0], key)
                yield Change({f"{name}.{key}": part}, f"a {name} {names[key]} like the {other} one")


def _rewound(motor: Motor, turns: float) -> Motor:
    return motor.model_copy(
        update={"resistance": motor.resistance * turns**2, "constant": motor.constant * turns}
    )


def _motors(design: Design) -> Iterator[Change]:
    found = []
    for scope in SCOPES:
        names = sides_in(scope)
        for turns in WINDINGS:
            values = {f"{name}.motor": _rewound(_sides(design, name)[0].motor, turns) for name in names}
            resistances = " and ".join(
                dict.fromkeys(format_quantity(motor.resistance, "ohm", 2) for motor in values.values())
            )
            text = f"a motor of the same size wound to {resistances} {_where(scope)}"
            found.append((_distance(turns, [1.0]), Change(values, text)))
    return _nearest_first(found)


def _panels(design: Design) -> Iterator[Change]:
    panel = design.panel
    found = []
    for factor in preferred_values("E6", *PANEL_FACTORS):
        current = panel.current_per_light * factor
        if factor != 1.0 and 1e-10 <= current <= 1e-4:
            instead = f" in place of {format_quantity(panel.current_per_light, 'A/lx', 2)}"
            text = f"a panel of {format_quantity(current, 'A/lx', 2)}{instead}"
            found.append((_distance(factor, [1.0]), Change({"panel.current_per_light": current}, text)))
    for factor in CELLS:
        voltage = panel.junction_voltage * factor
        if 0.02 <= voltage <= 2.0:
            more = "fewer" if factor < 1.0 else "more"
            text = f"a panel with {abs(factor - 1.0) * 100:.0f} % {more} cells in series"
            found.append((_distance(factor, [1.0]), Change({"panel.junction_voltage": voltage}, text)))
    return _nearest_first(found)
