"""The rule that a walker be built of the parts of a drawer only, of which it holds enough for one walker."""

from collections.abc import Sequence
from typing import Any

from agents.design.spec import Design
from agents.design.values_by_path import expanded
from agents.drawer.contents import Drawer, DrawerCapacitor, DrawerResistor, Stocked
from agents.drawer.stock import LEAST_STORAGE, PLACES, Place
from agents.text.units import format_code, format_quantity
from arena.races.rules import Rule

# A value of a design is that of a part in the drawer if it differs by no more than this share.
ALIKE = 0.005


def drawer_rule(drawer: Drawer) -> Rule:
    """Return the rule that every part be one of the ``drawer``.

    Only lists that the drawer has are looked at: one without motors says nothing of motors. A part must have
    the values that the drawer says, or one that a meter read of a piece; in what the drawer leaves out it is
    free. Every walker may take from the whole drawer.

    >>> from agents import read_design
    >>> from agents.drawer.contents import read_drawer
    >>> drawer_rule(read_drawer("potting-shed"))(read_design("poppy"))
    []
    """

    def rule(design: Design) -> Sequence[str]:
        found = []
        # pieces that are taken, by the entries of the drawer that they may come from
        taken: dict[tuple[str, tuple[int, ...]], list[str]] = {}
        for place in PLACES:
            items = _for(place, getattr(drawer, place.section))
            for path in _paths(design, place) if items else ():
                part = design.value_at(expanded(path)[0])
                if part is None or (place.section == "tapes" and part == 1.0):
                    continue
                every = enumerate(getattr(drawer, place.section))
                fitting = tuple(number for number, item in every if _is_of(item, place, part))
                if fitting:
                    taken.setdefault((place.section, fitting), []).extend(expanded(path))
                else:
                    found.append(_lacks(path, place, part, items, drawer.name))
        for (section, fitting), paths in taken.items():
            there = sum(getattr(drawer, section)[number].pieces for number in fitting)
            if there < len(paths):
                needed = f"{len(paths)} of one sort" if len(paths) > 1 else "one"
                found.append(f"{', '.join(paths)}: {needed}, and the drawer {drawer.name} holds {there}")
        return found

    return rule


def _for(place: Place, items: Sequence[Stocked]) -> list[Stocked]:
    """The entries of a list that are for this place: large capacitors store, small ones couple."""
    if place.section != "capacitors":
        return list(items)
    stores = place.path.startswith("storage.")
    capacitors = [one for one in items if isinstance(one, DrawerCapacitor)]
    return [
        one
        for one in capacitors
        if (one.nominal >= LEAST_STORAGE if stores else one.nominal <= LEAST_STORAGE)
    ]


def _paths(design: Design, place: Place) -> Sequence[str]:
    """Where to look: once for both sides that are alike, else side by side."""
    sides = expanded(place.path)
    if len({repr(design.value_at(path)) for path in sides}) == 1:
        return (sides[0] if len(sides) == 1 else place.path,)
    return sides


def _is_of(item: Stocked, place: Place, part: Any) -> bool:
    """Whether a part of a design is one of an entry of the drawer."""
    if isinstance(item, DrawerResistor | DrawerCapacitor):
        return any(_is_alike(one, part) for one in (item.nominal, *item.readings))
    given = item.values()
    if place.section == "tapes":
        return _is_alike(given["transmission"], part)
    measured = item.measured_field
    if item.readings:
        given[measured] = getattr(item, measured)
    return all(
        _is_alike(value, getattr(part, key))
        or (key == measured and any(_is_alike(one, getattr(part, key)) for one in item.readings))
        for key, value in given.items()
    )


def _is_alike(one: Any, other: Any) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= ALIKE * abs(one)
    return bool(one == other)


def _lacks(path: str, place: Place, part: Any, items: Sequence[Stocked], drawer: str) -> str:
    """In words that no entry of the drawer is this part, and which there are."""
    if place.section in ("resistors", "capacitors"):
        unit = "ohm" if place.section == "resistors" else "F"
        show = format_code if unit == "ohm" else format_quantity
        sorts = sorted({one.nominal for one in items if isinstance(one, DrawerResistor | DrawerCapacitor)})
        there = ", ".join(show(one, unit) for one in sorts)
        return f"{path}: {show(part, unit)} is not in the drawer {drawer}, which has {there}"
    if place.section == "tapes":
        there = ", ".join(f"{100 * one.values()['transmission']:g} %" for one in items)
        return f"{path}: {100 * part:g} % is not in the drawer {drawer}, which has {there}"
    # of entries that are all another part, the nearest is the one that differs in the fewest values
    nearest = min(items, key=lambda one: len(_differing(one, part)))
    told = ", ".join(f"{key} {_shown(nearest, key, getattr(part, key))}" for key in _differing(nearest, part))
    name = nearest.name or f"{place.section}[{items.index(nearest)}]"
    has = ", ".join(f"{key} {_shown(nearest, key, given)}" for key, given in _given(nearest, part).items())
    return f"{path}: {told} is not in the drawer {drawer}; its {name} have {has}"


def _differing(item: Stocked, part: Any) -> list[str]:
    return [key for key, value in item.values().items() if not _is_alike(value, getattr(part, key))]


def _given(item: Stocked, part: Any) -> dict[str, Any]:
    return {key: item.values()[key] for key in _differing(item, part)}


def _shown(item: Stocked, key: str, value: Any) -> str:
    """A value of a part's field as its file would say it."""
    for reader in type(item).model_fields[key].metadata:
        if hasattr(reader, "show") and value is not None:
            return str(reader.show(value))
    return str(value)
