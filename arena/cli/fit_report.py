"""What readings tell of a build, for people and for JSON."""

from collections.abc import Sequence
from typing import Any

from rich.text import Text

from agents.design.parts import Side
from agents.design.spec import Design, part_reader
from agents.design.values_by_path import BOTH, SCOPES
from agents.fitting.fit import Fit, Misfit, PartEstimate
from agents.fitting.next_reading import NextReading
from agents.fitting.readings import Reading, column_title
from agents.text.quantities import Quantity
from agents.text.shapes import title_at
from agents.text.units import format_quantity
from arena.cli.printed_tables import Column, print_table, the_console
from arena.cli.terminal import printable

_UNITS = {"trigger": "V", "let_go": "V", "between": "s", "turn": "rad", "stall": "A"}


def part_title(path: str) -> str:
    """Return a part in words, with its side where it is of one."""
    first, _, rest = path.partition(".")
    if first not in SCOPES:
        return title_at(Design, path)
    return title_at(Side, rest) if first == BOTH else f"{first} {title_at(Side, rest)}"


def _text(path: str, value: float, digits: int = 3) -> str:
    reader = part_reader(path)
    return (
        format_quantity(value, reader.unit, digits) if isinstance(reader, Quantity) else f"{value:.{digits}g}"
    )


def _shown(reading: Reading, value: float) -> str:
    return format_quantity(value, _UNITS[reading.key], 3)


def reading_words(reading: Reading) -> str:
    """Return in words what was read and under which conditions."""
    where = (
        f"at {format_quantity(reading.stall_voltage, 'V')}"
        if reading.key == "stall"
        else f"in {format_quantity(reading.light, 'lx')}"
    )
    side = f"{reading.side} " if reading.side else ""
    pressed = " with the whisker pressed" if reading.pressed else ""
    return f"{side}{column_title(reading.key)} {where}{pressed}"


def print_fit(found: Fit, coming: Sequence[NextReading]) -> None:
    """Print what was learnt, what is left open, which readings are slips, and what to read next."""
    console = the_console()
    slips = [one for one in found.misfits if one.is_slip]
    used = len(found.misfits) - len(slips)
    console.print(
        Text.assemble(
            (printable(found.design.name), "bold"),
            f", from {used} reading{'' if used == 1 else 's'}; {_how_well(found)}",
        )
    )
    if found.learnt:
        columns: list[Column] = [
            ("design", [_text(part.path, part.before) for part in found.learnt]),
            ("this build", [_text(part.path, found.fitted_values[part.path]) for part in found.learnt]),
            ("95 % sure between", [_interval(part) for part in found.learnt]),
        ]
        print_table(console, ("part", [part_title(part.path) for part in found.learnt]), columns)
    rest = [part_title(part.path) for part in found.parts if not part.is_learnt]
    if rest:
        console.print(f"of these the readings tell nothing: {', '.join(rest)}")
    for one, other in found.tied:
        console.print(f"told only together: {part_title(one)} and {part_title(other)}")
    for slip in slips:
        console.print(Text.assemble(("likely a slip", "bold"), f", line {slip.reading.line}: {_slip(slip)}"))
    for worst in sorted((one for one in found.misfits if not one.is_slip), key=lambda one: -abs(one.errors))[
        :1
    ]:
        read, fits = (_shown(worst.reading, value) for value in (worst.reading.value, worst.fitted))
        console.print(
            f"furthest off, line {worst.reading.line}: {reading_words(worst.reading)}; "
            f"{read} was read, {fits} fits, {abs(worst.errors):.1f} standard errors"
        )
    for number, advice in enumerate(coming):
        console.print(
            f"{'measure next' if number == 0 else 'and then'}: {reading_words(advice.reading)}, "
            f"about {_shown(advice.reading, advice.reading.value)}; narrows the {part_title(advice.path)} "
            f"by {100.0 * (1.0 - advice.then / advice.now):.0f} %"
        )


def _how_well(found: Fit) -> str:
    if not found.suits:
        return "they do not fit this design"
    return "they fit it within the errors of meter, clock and protractor"


def _interval(part: PartEstimate) -> str:
    return f"{_text(part.path, part.low)} and {_text(part.path, part.high)}"


def _slip(slip: Misfit) -> str:
    hint = f" ({slip.hint}?)" if slip.hint else ""
    fits = f", where {_shown(slip.reading, slip.fitted)} fits" if slip.fitted < 1e3 else ""
    read = _shown(slip.reading, slip.reading.value)
    return f"{reading_words(slip.reading)} {read}{fits}{hint}; it was left out"


def fit_dict(found: Fit, coming: Sequence[NextReading]) -> dict[str, Any]:
    """Return a fit for JSON, values in SI by path."""
    return {
        "design": found.design.name,
        "suits": found.suits,
        "chance": found.chance,
        "values": dict(found.fitted_values),
        "parts": [
            {
                "path": part.path,
                "before": part.before,
                "value": part.value,
                "low": part.low,
                "high": part.high,
                "narrowed_to": part.narrowed,
                "learnt": part.is_learnt,
            }
            for part in found.parts
        ],
        "tied": [list(pair) for pair in found.tied],
        "readings": [
            {
                "line": one.reading.line,
                "reading": one.reading.key,
                "value": one.reading.value,
                "fitted": one.fitted,
                "standard_errors": one.errors,
                "slip": one.is_slip,
                "hint": one.hint,
            }
            for one in found.misfits
        ],
        "next": [
            {"reading": reading_words(one.reading), "expected": one.reading.value, "path": one.path}
            for one in coming
        ],
    }
