"""The building sheet: schematic, parts with what is printed on them, the order of building, a template.

Pin-outs differ from type to type, so the sheet says what to look up and never where a pin is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from agents.design.netlist import Component, components_of
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.drawer.part_codes import figure_code, ring_colours
from agents.text.units import format_quantity
from arena.reports.body_template import BodyTemplate, body_template
from arena.reports.expected_readings import COPIES, BuildReadings, SideReadings, build_readings
from arena.reports.html_page import rendered
from arena.reports.plot_sheet import Drawing, data_url
from arena.reports.schematic import Schematic, side_schematic
from replays.words import light_words

# Pixels of CSS that make a millimetre: by its standard, 96 make an inch.
_PIXELS = 96.0 / 25.4
_CHECKS = {
    "panel": "plus and minus with a meter, in light",
    "storage": "its stripe is minus; rated above the panel’s open circuit",
    "eye": "flashes by itself on 3 V; the longer lead is plus as a rule: check",
    "PNP": "look up which lead is emitter, base, collector",
    "NPN": "look up which lead is emitter, base, collector",
    "motor": "winding with a meter, shaft free; which way it turns",
    "whisker": "open when free, closed when bent",
}


@dataclass(frozen=True)
class BuildStep:
    """A step of building: a ``title``, ``what`` to do, and the ``readings`` to expect, a line each."""

    title: str
    what: str
    readings: tuple[str, ...] = ()


def building_page(design: Design, light: float, kind: str) -> str:
    """Return the page of a design, with the readings to expect in ``light`` [lx] of a ``kind``.

    Raises :class:`~agents.errors.OptionError` for a light or a kind that cannot be, and
    :class:`~agents.errors.ModelError` where the model cannot follow the design.
    """
    readings = build_readings(design, light, kind)
    schematic, template = side_schematic(design), body_template(design)
    names, columns = part_rows(components_of(design))
    up = {f"{math.degrees(getattr(design, side).eye.up):.0f}°" for side in SIDES}
    return rendered(
        "sheet.html",
        name=design.name,
        about=design.about,
        kind_words=f"readings in {light_words(light)} of {kind}",
        schematic=_drawing(schematic),
        part_names=names,
        part_columns=columns,
        readings_note=(
            f"{light_words(light)} of {kind} on eyes and panel; {_range_words(design)}. "
            "Time the pulses without a meter on the rail."
        ),
        steps=build_steps(design, readings),
        frame=_true_size(template),
        frame_words=(
            "in true size" if template.scale == 1.0 else f"{1.0 / template.scale:.0f} times smaller than life"
        ),
        up_words=" and ".join(sorted(up)),
    )


def _range_words(design: Design) -> str:
    if not design.spreads:
        return "the design gives no tolerances, so no ranges"
    return f"in brackets nine of ten builds, by {COPIES} copies"


def part_rows(components: Sequence[Component]) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Return the rows of the table of parts, and its columns: pieces, value, marking, what to check."""
    names, counts, values, marks, checks = [], [], [], [], []
    for name in dict.fromkeys(one.name for one in components):
        by_value: dict[str, list[Component]] = {}
        for one in components:
            if one.name == name:
                by_value.setdefault(one.value, []).append(one)
        for value, pieces in by_value.items():
            sides = f", {pieces[0].side}" if len(by_value) > 1 else ""
            names.append(f"{name}{sides}")
            counts.append(str(len(pieces)))
            values.append(value or "–")
            marks.append(_marking(pieces[0]))
            checks.append(_CHECKS.get(name, "with a meter, out of the circuit"))
    return names, [("pieces", counts), ("value", values), ("marked", marks), ("check", checks)]


def _marking(component: Component) -> str:
    """What may be printed on a part."""
    if component.sort == "resistor":
        return ring_colours(component.amount) or "–"
    if component.sort == "capacitor":
        return figure_code(component.amount, "F") or component.value
    return "–"


def build_steps(design: Design, readings: BuildReadings) -> list[BuildStep]:
    """Return the order of building: panel, storage, one half, its whisker and motor, the other half, both."""
    left, right = readings.sides
    peak = readings.open_circuit
    steps = [
        BuildStep(
            "Panel",
            "Flat in the light, with the meter alone on it, first for voltage, then for current.",
            (f"open circuit: {peak.words}", f"short circuit: {readings.short_circuit.words}"),
        ),
        BuildStep(
            "Storage",
            "Plus to the rail, minus to ground. Let it charge, then discharge it through 100 ohm, never "
            "by a screwdriver.",
            (f"rises towards {format_quantity(peak.drawn, 'V')}",),
        ),
        BuildStep(
            "Left half",
            "On the breadboard: both transistors, latch, series, coupling, eye and motor. Wait for the first "
            "flash, and watch the rail.",
            _half(left),
        ),
    ]
    if left.pressed is not None:
        steps.append(
            BuildStep(
                "Left whisker",
                "Feeler resistor and whisker from the rail to the top of the eye. Hold it closed.",
                (f"fires at {left.pressed.words}",),
            )
        )
    steps.append(
        BuildStep(
            "Left motor",
            "It must push its side ahead; if it pulls back, exchange its two wires. The motors sit mirrored, "
            "so one of them is wired the other way round.",
            (f"a pulse turns the walker by {left.turn.words}",),
        )
    )
    pressed = () if right.pressed is None else (f"with its whisker pressed at {right.pressed.words}",)
    steps.append(
        BuildStep(
            "Right half",
            "The same again on the same rail, with the eye of the left half unplugged meanwhile.",
            (*_half(right), *pressed),
        )
    )
    steps.append(
        BuildStep(
            "Both",
            "Compare the two triggers in the same light. Further apart: exchange an eye, or put a little "
            "tape on the one that fires later.",
            (f"apart: {format_quantity(readings.apart.drawn, 'V')}{_at_most(readings)}",),
        )
    )
    steps.append(
        BuildStep(
            "Free-form",
            "Solder over the template: storage and panel, then one half, measured again, then the other. "
            "Bend a loop into each whisker’s end.",
            ("all readings as before",),
        )
    )
    return steps


def _half(side: SideReadings) -> tuple[str, ...]:
    if not math.isfinite(side.trigger.drawn) or not math.isfinite(side.between.drawn):
        return ("it does not pulse in this light; choose another with --light",)
    return (
        f"fires at {side.trigger.words}",
        f"latch releases at {side.let_go.words}",
        f"every {side.between.words} a pulse",
    )


def _at_most(readings: BuildReadings) -> str:
    high = readings.apart.high
    return f" (up to {format_quantity(high, 'V')})" if math.isfinite(high) else ""


def _drawing(schematic: Schematic) -> Drawing:
    words = "Schematic of one side: " + "; ".join(part.label.replace("\n", " ") for part in schematic.parts)
    return Drawing(data_url(schematic.svg, "image/svg+xml"), words, 900, 520)


def _true_size(template: BodyTemplate) -> dict[str, object]:
    return {
        "source": data_url(template.svg.encode(), "image/svg+xml"),
        "words": "Template of the walker from above with outline, axle, tyres, panel, eyes and whiskers",
        "width": f"{template.width:.2f}",
        "height": f"{template.height:.2f}",
        "across": round(template.width * _PIXELS),
        "down": round(template.height * _PIXELS),
    }
