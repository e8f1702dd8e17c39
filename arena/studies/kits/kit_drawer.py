"""What a drawer of parts means for a class of kits: tolerances, measured eyes, how many kits it lasts for."""

from collections.abc import Sequence
from dataclasses import dataclass

from agents.design.spec import Design, Tolerance
from agents.design.values_by_path import expanded
from agents.drawer.contents import Drawer
from agents.drawer.stock import PLACES, Choice, Place, choices
from arena.studies.kits.eye_picking import MeasuredEye

# A value of a design is that of a part in the drawer if it differs by no more than this share.
ALIKE = 0.005


@dataclass(frozen=True)
class Shortage:
    """A part of which a drawer has too few: pieces ``needed`` for all kits, and how many are ``there``."""

    place: Place
    needed: int
    there: int

    def as_dict(self) -> dict[str, str | int]:
        """Return it for JSON."""
        return {"part": self.place.path, "needed": self.needed, "there": self.there}


def design_with_drawer(design: Design, drawer: Drawer) -> Design:
    """Return the design with the tolerances that the drawer says of the very parts that it takes.

    What the drawer does not hold, or says nothing of, keeps the tolerance of the design.
    """
    spread = dict(design.spread)
    for place in PLACES:
        choice = _choice_of(design, drawer, place)
        for path, share in () if choice is None else choice.spread.items():
            for one in expanded(path):
                spread.pop(one, None)
            spread[path] = Tolerance(uniform=f"{100.0 * share:g} %")
    return design.with_spread(spread)


def eyes_in(drawer: Drawer) -> list[MeasuredEye]:
    """Return every eye of a drawer that was measured, by the name of its bag and its number there."""
    return [
        MeasuredEye(f"{bag.name or f'bag {number}'} {piece}", reading)
        for number, bag in enumerate(drawer.eyes, 1)
        for piece, reading in enumerate(bag.readings, 1)
    ]


def shortages(design: Design, drawer: Drawer, kits: int) -> list[Shortage]:
    """Return the parts of which a drawer has too few for so many kits, the scarcest first.

    Only lists that the drawer has are looked at: one without motors says nothing of motors.
    """
    needed: dict[tuple[str, float], tuple[Place, int]] = {}
    for place in PLACES:
        value = _value(design, place)
        if getattr(drawer, place.section) and value is not None:
            first, count = needed.get((place.section, value), (place, 0))
            needed[place.section, value] = first, count + place.pieces * kits
    found = []
    for (section, value), (place, count) in needed.items():
        there = sum(item.pieces for item in getattr(drawer, section) if _is_alike(item.nominal, value))
        if there < count:
            found.append(Shortage(place, count, there))
    return sorted(found, key=lambda one: one.there / one.needed)


def _choice_of(design: Design, drawer: Drawer, place: Place) -> Choice | None:
    value = _value(design, place)
    found = [] if value is None else choices(drawer, place)
    return next((one for one in found if _is_alike(float(one.sort[1]), value or 0.0)), None)


def _value(design: Design, place: Place) -> float | None:
    """The value that a place of a design has on both sides; None where they differ or it is no value."""
    if place.section not in ("resistors", "capacitors"):
        return None
    values: Sequence[float | None] = [design.value_at(path) for path in expanded(place.path)]
    return values[0] if len(set(values)) == 1 else None


def _is_alike(one: float, other: float) -> bool:
    return abs(one - other) <= ALIKE * other
