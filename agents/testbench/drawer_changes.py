"""What a builder may change about a design with what lies in a drawer, and by hand."""

import math
from collections.abc import Callable, Iterator
from typing import Any

from agents.design.spec import Design
from agents.design.values_by_path import expanded, of_both
from agents.drawer.contents import Drawer
from agents.drawer.stock import PLACES, Choice, choices
from agents.testbench.possible_changes import (
    BY_HAND,
    MOTOR,
    PANEL,
    RESISTOR,
    SMALL_PART,
    STORAGE,
    Change,
    changes,
)

_PRICES = {
    "resistors": RESISTOR,
    "capacitors": SMALL_PART,
    "tapes": BY_HAND,
    "eyes": SMALL_PART,
    "npns": SMALL_PART,
    "pnps": SMALL_PART,
    "motors": MOTOR,
    "panels": PANEL,
    "tyres": SMALL_PART,
}
# Values that hands change: leads exchanged, the panel covered, wires bent.
_BY_HAND = ("motor.turns", "eye.aside", "eye.outward", "whisker.outward", "whisker.length")
# Values that differ by less than this in the logarithm are alike.
_ALIKE = 1e-6


def changes_from(drawer: Drawer) -> Callable[[Design], list[Change]]:
    """Return what takes the place of :func:`agents.testbench.possible_changes.changes` for a drawer.

    It gives every change for which nothing need be bought, the cheapest first: done by hand, or with pieces
    of the drawer, of which no more are taken than there are.
    """

    def possible(design: Design) -> list[Change]:
        found = [change for change in changes(design) if _is_by_hand(change)]
        found += list(_out_of(drawer, design))
        return sorted(found, key=lambda change: (change.price, round(change.distance, 9)))

    return possible


def _is_by_hand(change: Change) -> bool:
    for path, value in change.values.items():
        rest = path.partition(".")[2]
        is_cover = path == "panel.current_per_light" and change.price == BY_HAND
        is_bare = rest == "eye.tape" and value == 1.0
        if not (rest in _BY_HAND or is_cover or is_bare):
            return False
    return True


def _out_of(drawer: Drawer, design: Design) -> Iterator[Change]:
    for place in PLACES:
        for choice in choices(drawer, place):
            values = {
                path: value
                for path, value in choice.values.items()
                if not _is_so(value, design.value_at(path))
            }
            if values:
                price = STORAGE if place.path.startswith("storage.") else _PRICES[place.section]
                text = f"{' and '.join(dict.fromkeys(choice.labels))} out of the drawer as {place.title}"
                yield Change(_shortly(choice, values), text, price, _distance(design, values), _uses(choice))


def _is_so(value: Any, present: Any) -> bool:
    if isinstance(value, float) and isinstance(present, float) and value > 0.0 and present > 0.0:
        return abs(math.log(value / present)) < _ALIKE
    return bool(value == present)


def _distance(design: Design, values: dict[str, Any]) -> float:
    ratios = [
        abs(math.log(value / present))
        for path, value in values.items()
        if isinstance(value, float)
        and isinstance(present := design.value_at(path), float)
        and value > 0.0
        and present > 0.0
    ]
    return max(ratios, default=0.0)


def _shortly(choice: Choice, values: dict[str, Any]) -> dict[str, Any]:
    """The values under ``both`` where both sides get the same one."""
    said: dict[str, Any] = {}
    for path, value in values.items():
        both = of_both(path)
        alike = all(choice.values.get(one) == value for one in expanded(both))
        said[both if alike else path] = value
    return said


def _uses(choice: Choice) -> frozenset[str]:
    """What two changes cannot both take: a sort of which there are not enough pieces for two places."""
    is_short = choice.available < 2 * choice.place.pieces
    return frozenset({f"drawer {choice.sort[0]} {choice.sort[1]}"}) if is_short else frozenset()
