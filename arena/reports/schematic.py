"""The schematic of one side with panel and storage, in symbols of IEC 60617, values filled in.

The symbols and lines are drawn by a general library; where everything stands is decided here. What was
drawn is handed out too, as terminals and wires with their places, so that it can be held against the
netlist.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from agents.design.netlist import Component, components_of
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from arena.reports.paper import hex_of

if TYPE_CHECKING:
    from schemdraw import Drawing

Place = tuple[float, float]

# Heights of the rail and of the ground, and places along them, in the units of the library.
_TOP, _BOTTOM = 9.0, 0.0
_PANEL, _STORAGE, _EYE, _BASE, _PNP, _NPN = 0.0, 2.6, 6.0, 9.0, 11.2, 15.0
_COUPLING, _LATCH, _SERIES, _DRIVE = 5.6, 4.3, 2.9, 1.5


@dataclass(frozen=True)
class DrawnPart:
    """A part on the sheet: its name, the label beside it, and where each of its terminals lies."""

    name: str
    label: str
    terminals: Mapping[str, Place]


@dataclass(frozen=True)
class Schematic:
    """The drawing as SVG, and what is on it: parts, and wires as pairs of places.

    Wires that cross are joined only where one of them ends; there is a dot then.
    """

    svg: bytes
    parts: tuple[DrawnPart, ...]
    wires: tuple[tuple[Place, Place], ...]
    dots: tuple[Place, ...]


class _Sheet:
    """Places parts and wires, and writes down where they came to lie."""

    def __init__(self, drawing: "Drawing") -> None:
        self.drawing = drawing
        self.parts: list[DrawnPart] = []
        self.wires: list[tuple[Place, Place]] = []
        self.dots: list[Place] = []

    def part(self, element: Any, name: str, label: str, terminals: Mapping[str, str]) -> None:
        """Add an element; ``terminals`` gives the library's name of each terminal's anchor."""
        placed = self.drawing.add(element)
        places = {terminal: _rounded(placed.absanchors[anchor]) for terminal, anchor in terminals.items()}
        self.parts.append(DrawnPart(name, label, places))

    def wire(self, *places: Place) -> None:
        from schemdraw import elements as symbols

        for start, end in pairwise(places):
            if start != end:
                self.drawing.add(symbols.Line().at(start).to(end))
                self.wires.append((start, end))

    def dot(self, *places: Place) -> None:
        from schemdraw import elements as symbols

        for place in places:
            self.drawing.add(symbols.Dot(radius=0.075).at(place))
            self.dots.append(place)

    def terminal(self, name: str, which: str) -> Place:
        return next(part for part in self.parts if part.name == name).terminals[which]


def _rounded(place: Any) -> Place:
    return round(float(place[0]), 6), round(float(place[1]), 6)


def side_schematic(design: Design) -> Schematic:
    """Draw panel, storage and one side; a value in which the sides differ is told of both."""
    import schemdraw

    # some of its elements have no types
    symbols: Any = schemdraw.elements
    components = components_of(design)
    labels = _labels(components)
    has_feeler = any(one.name == "whisker" for one in components)
    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(unit=2.0, fontsize=11, lw=1.4, color=hex_of("ink"), font="DejaVu Sans", margin=1.1)
    sheet = _Sheet(drawing)
    two = {"one": "start", "other": "end"}
    sheet.part(
        symbols.Solar().at((_PANEL, _BOTTOM)).to((_PANEL, _TOP)).label(labels["panel"], loc="top"),
        "panel",
        labels["panel"],
        {"minus": "start", "plus": "end"},
    )
    sheet.part(
        symbols.Capacitor(polar=True)
        .at((_STORAGE, _TOP))
        .to((_STORAGE, _BOTTOM))
        .label(labels["storage"], loc="top"),
        "storage",
        labels["storage"],
        {"plus": "start", "minus": "end"},
    )
    if has_feeler:
        _feeler(sheet, labels, symbols, two)
    sheet.part(
        symbols.LED().at((_EYE, _SERIES)).to((_EYE, _BOTTOM)).label(labels["eye"], loc="top"),
        "eye",
        labels["eye"],
        {"anode": "start", "cathode": "end"},
    )
    sheet.wire((_EYE, _COUPLING), (_EYE, _SERIES))
    sheet.part(
        symbols.Capacitor()
        .at((_EYE, _COUPLING))
        .to((_BASE, _COUPLING))
        .label(labels["coupling capacitor"], loc="top"),
        "coupling capacitor",
        labels["coupling capacitor"],
        two,
    )
    sheet.part(
        symbols.BjtPnp(circle=True).at((_PNP, 7.6)).anchor("emitter").label(labels["PNP"], loc="right"),
        "PNP",
        labels["PNP"],
        {"emitter": "emitter", "base": "base", "collector": "collector"},
    )
    sheet.part(
        symbols.BjtNpn(circle=True)
        .at((_NPN, _DRIVE + 0.7))
        .anchor("collector")
        .label(labels["NPN"], loc="right"),
        "NPN",
        labels["NPN"],
        {"collector": "collector", "base": "base", "emitter": "emitter"},
    )
    sheet.part(
        symbols.Source()
        .at((_NPN, _LATCH))
        .to((_NPN, _TOP))
        .label("M", loc="center", fontsize=13, halign="center", valign="center")
        .label(labels["motor"], loc="bottom"),
        "motor",
        labels["motor"],
        {"plus": "end", "minus": "start"},
    )
    for name, start, height in (("latch resistor", _BASE, _LATCH), ("series resistor", _EYE, _SERIES)):
        resistor = symbols.ResistorIEC().at((start, height)).to((_NPN, height))
        flipped = two if name == "latch resistor" else {"other": "start", "one": "end"}
        sheet.part(resistor.label(labels[name], loc="top"), name, labels[name], flipped)
    _wires(sheet, has_feeler)
    return Schematic(drawing.get_imagedata("svg"), tuple(sheet.parts), tuple(sheet.wires), tuple(sheet.dots))


def _feeler(sheet: _Sheet, labels: Mapping[str, str], symbols: Any, two: Mapping[str, str]) -> None:
    """The feeler resistor and its whisker, from the rail down to the top of the eye."""
    middle = _COUPLING + 1.4
    sheet.part(
        symbols.ResistorIEC().at((_EYE, _TOP)).to((_EYE, middle)).label(labels["feeler resistor"], loc="top"),
        "feeler resistor",
        labels["feeler resistor"],
        two,
    )
    sheet.part(
        symbols.Switch().at((_EYE, middle)).to((_EYE, _COUPLING)).label(labels["whisker"], loc="top"),
        "whisker",
        labels["whisker"],
        two,
    )


def _wires(sheet: _Sheet, has_feeler: bool) -> None:
    base, drive = sheet.terminal("PNP", "base"), sheet.terminal("PNP", "collector")
    emitter = sheet.terminal("PNP", "emitter")
    npn_base, earth = sheet.terminal("NPN", "base"), sheet.terminal("NPN", "emitter")
    collector = sheet.terminal("NPN", "collector")
    on_rail = [_PANEL, _STORAGE, *([_EYE] if has_feeler else []), _PNP, _NPN]
    on_ground = [_PANEL, _STORAGE, _EYE, _NPN]
    for height, places in ((_TOP, on_rail), (_BOTTOM, on_ground)):
        sheet.wire(*[(place, height) for place in places])
        sheet.dot(*[(place, height) for place in places[1:-1]])
    sheet.wire(emitter, (_PNP, _TOP))
    # the node of the PNP's base: coupling capacitor, latch resistor, base
    sheet.wire((_BASE, base[1]), (_BASE, _COUPLING), (_BASE, _LATCH))
    sheet.wire((_BASE, base[1]), base)
    sheet.dot((_BASE, _COUPLING))
    # PNP's collector down to the NPN's base, across latch and series resistor
    sheet.wire(drive, (drive[0], npn_base[1]), npn_base)
    # the collector of the NPN: motor, latch and series resistor
    sheet.wire((_NPN, _LATCH), (_NPN, _SERIES), collector)
    sheet.dot((_NPN, _LATCH), (_NPN, _SERIES))
    sheet.wire(earth, (_NPN, _BOTTOM))
    sheet.dot((_EYE, _SERIES))
    if has_feeler:
        sheet.dot((_EYE, _COUPLING))


def _labels(components: Sequence[Component]) -> dict[str, str]:
    """What stands beside each part: what it is, and its value, of both sides where they differ."""
    labels = {}
    for name in dict.fromkeys(one.name for one in components):
        values = {one.side: one.value for one in components if one.name == name}
        shown = list(dict.fromkeys(values.values()))
        if len(shown) == 1:
            value = shown[0]
        else:
            value = "\n".join(f"{side} {values.get(side, 'none')}" for side in SIDES)
        labels[name] = f"{_SHORT.get(name, name)}\n{value}".strip()
    return labels


_SHORT = {
    "latch resistor": "latch",
    "series resistor": "series",
    "feeler resistor": "feeler",
    "coupling capacitor": "coupling",
}
