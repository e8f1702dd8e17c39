"""What was picked out of a drawer, for people on the terminal and as the text of a design."""

from pathlib import Path

from rich.text import Text

from agents.design.changing import design_text
from agents.design.rewriting import rewrite_design
from agents.design.spec import Design
from agents.drawer.contents import Drawer
from agents.testbench.faults import fault_title
from agents.testbench.picking import Picked
from agents.text.marked_yaml import read_text
from agents.text.units import format_quantity
from arena.cli.printed_tables import NOTHING, Column, print_table, the_console
from arena.cli.terminal import printable
from replays.words import time_words


def picked_text(source: Path, found: Picked, name: str) -> str:
    """Return the text of the picked design, called ``name``: its file with these values, remarks and all.

    A bench table of an eye that gives way to another eye cannot be taken out of a text; then every value is
    written anew, without remarks.
    """
    if () in found.values.values():
        return design_text(found.design.with_values({"name": name}))
    return rewrite_design(read_text(source, str(source)), {**found.own_values, "name": name})


def print_picked(design: Design, drawer: Drawer, found: Picked) -> None:
    """Print which part goes where, what is missing, what the walker does with them, and what they cost."""
    console = the_console()
    tried = f"{found.tried} {'choice' if found.tried == 1 else 'choices'} tried"
    console.print(
        Text.assemble((printable(design.name), "bold"), f" out of {printable(drawer.name)}, {tried}")
    )
    rows = found.parts
    columns: list[Column] = [
        ("part", [row.part for row in rows]),
        ("pieces", [str(row.pieces) for row in rows]),
    ]
    if drawer.currency:
        costs = [NOTHING if row.cost is None else str(row.cost) for row in rows]
        columns.append((f"cost\n{drawer.currency}", costs))
    print_table(console, ("place", [row.place for row in rows]), columns, words="part")
    if drawer.currency:
        unpriced = sum(row.price is None for row in rows)
        which = "part that has" if unpriced == 1 else "parts that have"
        rest = f", without {unpriced} {which} no price" if unpriced else ""
        console.print(f"all together: {found.cost} {drawer.currency}{rest}")
    for words in found.missing:
        console.print(f"missing: {printable(words)}; the design's own value stays")
    points = found.points
    columns = [
        ("trigger", [f"{point.first.trigger:.2f} V" for point in points]),
        ("time between\npulses", [_time(point.first.between) for point in points]),
        ("turn\na pulse", [_turn(point.first.turn) for point in points]),
        ("faults", [", ".join(map(fault_title, point.faults)) or "none" for point in points]),
    ]
    lights = [format_quantity(point.light, "lx") for point in points]
    print_table(console, ("light", lights), columns, words="faults")
    if not found.is_healthy:
        console.print(
            "no choice out of this drawer is without a fault at all of these lights; "
            "photodrome bench tells the cause of each"
        )


def _time(value: float | None) -> str:
    return NOTHING if value is None else time_words(value)


def _turn(value: float | None) -> str:
    return NOTHING if value is None else format_quantity(value, "rad", 2)
