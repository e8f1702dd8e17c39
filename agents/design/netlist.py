"""The circuit of a design as parts between nodes: what is wired to what.

The nodes are those of the model (:mod:`agents.circuit`): the rail and the ground that both sides share, and
of each side the *collector* of the NPN, the *pnp base*, the *npn base* and the top of the *eye*. A whisker
is a switch between its feeler resistor and the top of the eye.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.text.units import format_code, format_quantity

RAIL = "rail"
GROUND = "ground"


@dataclass(frozen=True)
class Component:
    """One part: its ``name``, its ``sort``, its ``value`` in words, and the node at each of its terminals.

    ``side`` is ``left`` or ``right``, empty for what both sides share. The terminal ``plus`` of a part with a
    polarity is the one that belongs to the higher voltage. ``amount`` is the value [SI], where it is one.
    """

    name: str
    sort: str
    value: str
    terminals: Mapping[str, str]
    side: str = ""
    amount: float = math.nan


def components_of(design: Design) -> list[Component]:
    """Return every part of a design with the nodes at its terminals.

    >>> from agents.design.spec import read_design
    >>> parts = components_of(read_design("poppy"))
    >>> len(parts), parts[2].name, parts[2].value, dict(parts[2].terminals)
    (20, 'latch resistor', '10k', {'one': 'left pnp base', 'other': 'left collector'})
    """
    panel = format_quantity(design.panel.current_per_light, "A/lx")
    storage = format_quantity(design.storage.capacitance, "F")
    across = {"plus": RAIL, "minus": GROUND}
    parts = [Component("panel", "panel", panel, across), Component("storage", "storage", storage, across)]
    for name in SIDES:
        parts += _of_side(design, name)
    return parts


def _of_side(design: Design, name: str) -> list[Component]:
    side = getattr(design, name)
    collector, pnp_base, npn_base, eye = (
        f"{name} {node}" for node in ("collector", "pnp base", "npn base", "eye")
    )

    def resistor(key: str, one: str, other: str) -> Component:
        value = getattr(side, key)
        code = format_code(value, "ohm")
        return Component(f"{key} resistor", "resistor", code, {"one": one, "other": other}, name, value)

    parts = [
        resistor("latch", pnp_base, collector),
        resistor("series", collector, eye),
        Component(
            "coupling capacitor",
            "capacitor",
            format_quantity(side.coupling, "F"),
            {"one": eye, "other": pnp_base},
            name,
            side.coupling,
        ),
        Component("eye", "flashing LED", "", {"anode": eye, "cathode": GROUND}, name),
        Component(
            "PNP",
            "PNP transistor",
            f"gain {side.pnp.gain:g}",
            {"emitter": RAIL, "base": pnp_base, "collector": npn_base},
            name,
        ),
        Component(
            "NPN",
            "NPN transistor",
            f"gain {side.npn.gain:g}",
            {"collector": collector, "base": npn_base, "emitter": GROUND},
            name,
        ),
        Component(
            "motor",
            "motor",
            format_quantity(side.motor.resistance, "ohm"),
            {"plus": RAIL, "minus": collector},
            name,
        ),
    ]
    if side.feeler is not None and side.whisker is not None:
        switch = f"{name} whisker"
        parts += [
            resistor("feeler", RAIL, switch),
            Component("whisker", "switch", "", {"one": switch, "other": eye}, name),
        ]
    return parts
