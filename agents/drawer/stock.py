"""Which values each place of a design may take from a drawer, which pieces those are, and what they cost.

A *place* is what a builder fills with one sort of part, on both sides alike where there are two: the latch
resistors, the storage capacitor, the motors. A *choice* is one sort of part for a place. Of several pieces
that were measured, the two that are most alike are taken for the two sides.
"""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from typing import Any

from agents.design.parts import Side
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SIDES, expanded
from agents.drawer.contents import Drawer, DrawerCapacitor, DrawerResistor, Stocked
from agents.text.readers import with_article
from agents.text.shapes import title_at
from agents.text.table_cells import table_line
from agents.text.units import format_code, format_quantity

# Capacitors up to this one [F] couple an eye, and from it on they store.
LEAST_STORAGE = 100e-6


@dataclass(frozen=True)
class Place:
    """What is filled with one sort of part: its ``path`` in a design, and the ``section`` of a drawer."""

    path: str
    section: str

    @property
    def pieces(self) -> int:
        """How many pieces a walker takes there."""
        return len(expanded(self.path))

    @property
    def title(self) -> str:
        """The place in words."""
        first, _, rest = self.path.partition(".")
        return title_at(Side, rest) if first == BOTH else title_at(Design, self.path)


PLACES = (
    Place("both.latch", "resistors"),
    Place("both.series", "resistors"),
    Place("both.feeler", "resistors"),
    Place("both.coupling", "capacitors"),
    Place("storage.capacitance", "capacitors"),
    Place("both.eye.tape", "tapes"),
    Place("both.eye", "eyes"),
    Place("both.npn", "npns"),
    Place("both.pnp", "pnps"),
    Place("both.motor", "motors"),
    Place("both.tyre", "tyres"),
    Place("panel", "panels"),
)


@dataclass(frozen=True, eq=False)
class Choice:
    """One sort of part for a place, with the pieces of it that are taken.

    ``values`` are SI values by path of the design, measured ones where a meter read them. ``labels`` names
    the pieces, the left one first. ``sort`` tells one sort of the drawer from another; ``spread`` is the
    tolerance of pieces that were not measured, as a share, by the path of the value. ``rated`` [V] is what a
    capacitor bears.
    """

    place: Place
    sort: tuple[str, Any]
    labels: tuple[str, ...]
    values: Mapping[str, Any]
    available: int
    price: Decimal | None
    spread: Mapping[str, float] = field(default_factory=dict)
    rated: float = math.inf

    @property
    def name(self) -> str:
        """What lists call it."""
        return self.labels[0].partition(" (")[0] if self.labels else "none"


def closest_two(readings: Sequence[float]) -> tuple[int, int]:
    """Return the positions of the two of at least two ``readings`` that differ least, in their order.

    Of pairs that are equally alike the one with the smaller readings.

    >>> closest_two([2.24, 2.17, 2.21, 2.29])
    (0, 2)
    """
    order = sorted(range(len(readings)), key=lambda position: (readings[position], position))
    gaps = [readings[high] - readings[low] for low, high in pairwise(order)]
    least = min(range(len(gaps)), key=lambda number: (gaps[number], number))
    first, second = sorted((order[least], order[least + 1]))
    return first, second


def choices(drawer: Drawer, place: Place) -> list[Choice]:
    """Return every sort of the drawer that suffices to fill ``place``, in the drawer's order."""
    if place.section in ("resistors", "capacitors"):
        return list(_of_one_value(drawer, place))
    return [
        choice
        for number, item in enumerate(getattr(drawer, place.section))
        if item.pieces >= place.pieces and (choice := _of_fields(place, number, item)) is not None
    ]


def _of_one_value(drawer: Drawer, place: Place) -> Iterator[Choice]:
    """Resistors or capacitors: entries of one nominal value lie together."""
    by_value: dict[float, list[DrawerResistor | DrawerCapacitor]] = {}
    for item in getattr(drawer, place.section):
        if item.pieces > 0 and _suits(place, item.nominal):
            by_value.setdefault(item.nominal, []).append(item)
    unit = "ohm" if place.section == "resistors" else "F"
    for nominal, items in by_value.items():
        available = sum(item.pieces for item in items)
        if available < place.pieces:
            continue
        item = items[0]
        readings = [reading for one in items for reading in one.readings]
        paths = expanded(place.path)
        text = format_code(nominal, unit) if unit == "ohm" else format_quantity(nominal, unit)
        if len(readings) >= len(paths):
            taken = closest_two(readings) if len(paths) == 2 else (_nearest_to(readings, nominal),)
            values: dict[str, Any] = {path: readings[one] for path, one in zip(paths, taken, strict=True)}
            labels = tuple(f"{text} ({format_quantity(readings[one], unit)})" for one in taken)
            spread: dict[str, float] = {}
        else:
            values = dict.fromkeys(paths, nominal)
            labels = (text,) * len(paths)
            share = max((one.share_off for one in items if one.share_off is not None), default=None)
            spread = {} if share is None else {place.path: share}
        rated = math.inf
        if isinstance(item, DrawerCapacitor) and place.path.startswith("storage."):
            rated = min(getattr(one, "rated", None) or math.inf for one in items)
            for key in ("leak", "series_resistance"):
                if (given := getattr(item, key)) is not None:
                    values[f"storage.{key}"] = given
        sort = (place.section, nominal)
        yield Choice(place, sort, labels, values, available, _dearest(items), spread, rated)


def _suits(place: Place, nominal: float) -> bool:
    if place.section == "resistors":
        return True
    return nominal >= LEAST_STORAGE if place.path.startswith("storage.") else nominal <= LEAST_STORAGE


def _nearest_to(readings: Sequence[float], nominal: float) -> int:
    return min(range(len(readings)), key=lambda number: (abs(readings[number] - nominal), number))


def _dearest(items: Iterable[Stocked]) -> Decimal | None:
    return max((item.price.amount for item in items if item.price is not None), default=None)


def _of_fields(place: Place, number: int, item: Stocked) -> Choice | None:
    """Parts that take the fields of a design's part; None where too few of them are there."""
    first, _, rest = place.path.partition(".")
    given = item.values()
    if place.section == "tapes":
        values = dict.fromkeys(expanded(place.path), given["transmission"])
        name = item.name or f"tape of {100 * given['transmission']:g} %"
        labels: tuple[str, ...] = (name,) * place.pieces
    else:
        values = {f"{path}.{key}": value for path in expanded(place.path) for key, value in given.items()}
        name = item.name or f"{with_article(place.title)} {number + 1}"
        labels = (name,) * place.pieces
        readings = item.readings
        if first == BOTH and len(readings) >= 2:
            taken = closest_two(readings)
            key = type(item).measured_field
            values |= {f"{side}.{rest}.{key}": readings[one] for side, one in zip(SIDES, taken, strict=True)}
            labels = tuple(f"{name} (piece {one + 1})" for one in taken)
    price = None if item.price is None else item.price.amount
    return Choice(place, (place.section, number), labels, values, item.pieces, price)


def lasts_for(chosen: Iterable[Choice]) -> bool:
    """Tell whether the drawer holds enough pieces of every sort for all that is chosen from it."""
    needed: Counter[tuple[str, Any]] = Counter()
    available: dict[tuple[str, Any], int] = {}
    for choice in chosen:
        needed[choice.sort] += choice.place.pieces
        available[choice.sort] = choice.available
    return all(count <= available[sort] for sort, count in needed.items())


def lacking(drawer: Drawer, place: Place) -> str:
    """Return in words why a drawer cannot fill a place."""
    items = [
        item
        for item in getattr(drawer, place.section)
        if not isinstance(item, DrawerResistor | DrawerCapacitor) or _suits(place, item.nominal)
    ]
    wanted = f"{place.title}: {place.pieces} of one sort are needed"
    if not items:
        return f"{wanted}, and the drawer lists none under {place.section}"
    most = max(item.pieces for item in items)
    return f"{wanted}, and of none are more than {most} there"


@dataclass(frozen=True)
class PartRow:
    """One line of a parts list; ``price`` of one piece is None where the drawer says none."""

    place: str
    part: str
    pieces: int
    price: Decimal | None

    @property
    def cost(self) -> Decimal | None:
        """What all its pieces cost."""
        return None if self.price is None else self.price * self.pieces


def parts_list(chosen: Iterable[Choice]) -> list[PartRow]:
    """Return a line for every choice, in the order of :data:`PLACES`."""
    order = {place.path: number for number, place in enumerate(PLACES)}
    ordered = sorted(chosen, key=lambda choice: order[choice.place.path])
    return [
        PartRow(
            choice.place.title, ", ".join(dict.fromkeys(choice.labels)), choice.place.pieces, choice.price
        )
        for choice in ordered
    ]


def total_cost(rows: Iterable[PartRow]) -> Decimal:
    """Return what all that has a price costs together."""
    return sum((row.cost for row in rows if row.cost is not None), Decimal(0))


def parts_csv(rows: Sequence[PartRow], currency: str) -> str:
    """Return a parts list as CSV; a text that a spreadsheet would take for a formula has a ' before it."""
    unit = f"_{currency}" if currency else ""
    lines = [table_line(["place", "part", "pieces", f"price{unit}", f"cost{unit}"])]
    for row in rows:
        money = ["" if one is None else str(one) for one in (row.price, row.cost)]
        lines.append(table_line([row.place, row.part, row.pieces, *money]))
    lines.append(table_line(["total", "", sum(row.pieces for row in rows), "", str(total_cost(rows))]))
    return "".join(lines)
