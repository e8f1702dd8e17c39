"""A bench sheet in words, for a terminal and for a page alike."""

import math
from collections.abc import Sequence

from agents.handbook.temperature import NAUGHT_CELSIUS
from agents.testbench.bench_figures import BenchPoint
from agents.testbench.faults import fault_title
from agents.testbench.measuring import PulsePoint
from agents.testbench.working_air import Range, air_words
from agents.text.units import format_quantity
from replays.words import NOTHING, light_words, time_words

Column = tuple[str, Sequence[str]]
"""A heading, which may have several lines, and the cells below it."""

FAULTS_HEADING = "faults"


def fixed(value: float | None, digits: int, unit: str, factor: float = 1.0) -> str:
    """A value with a fixed number of digits after the point, so that a column lines up."""
    return NOTHING if value is None else f"{factor * value:.{digits}f} {unit}"


def time_or_nothing(value: float | None) -> str:
    """A time [s] in words."""
    return NOTHING if value is None else time_words(value)


def bench_columns(points: Sequence[BenchPoint]) -> list[Column]:
    """What a design does at each light, a column a figure; the last one names the faults."""
    rows = [point.as_dict() for point in points]
    return [
        ("trigger", [fixed(row["trigger_V"], 2, "V") for row in rows]),
        ("whisker\npressed", [fixed(row["trigger_touched_V"], 2, "V") for row in rows]),
        ("time between\npulses", [time_or_nothing(point.measured.first.between) for point in points]),
        ("pulse", [fixed(row["pulse_s"], 0, "ms", 1e3) for row in rows]),
        ("latch\nreleases at", [fixed(row["let_go_V"], 2, "V") for row in rows]),
        ("turn\na pulse", [fixed(row["turn_deg"], 0, "deg") for row in rows]),
        ("turn,\npressed", [_turn_pressed(point.first.pressed) for point in points]),
        ("step", [fixed(row["advance_m"], 0, "mm", 1e3) for row in rows]),
        ("heads beside\na lamp", [point.heading or NOTHING for point in points]),
        (FAULTS_HEADING, [", ".join(map(fault_title, point.faults)) or "none" for point in points]),
    ]


def _turn_pressed(pressed: PulsePoint | None) -> str:
    """The turn by a pulse with the whisker pressed; of a small one the tenths as well."""
    if pressed is None or pressed.turn is None:
        return NOTHING
    degrees = math.degrees(pressed.turn)
    return fixed(degrees, 1 if abs(degrees) < 9.95 else 0, "deg")


def air_sentences(points: Sequence[BenchPoint], found: Sequence[Range | None], between: Range) -> list[str]:
    """For which air a sheet is, how warm the panel gets, and in which air it has no fault at each light.

    ``found`` are what :func:`~agents.testbench.working_air.working_air` found at each point ``between`` two
    temperatures [K].
    """
    air = format_quantity(points[0].measured.air, "K")
    warm = sorted(point.measured.panel_temperature for point in points)
    panel = " to ".join(dict.fromkeys(degrees_celsius(one) for one in (warm[0], warm[-1])))
    lights = zip(points, found, strict=True)
    ranges = "; ".join(f"{light_words(one.light)} {air_words(there, between)}" for one, there in lights)
    whole = f"{degrees_celsius(between[0])} to {degrees_celsius(between[1])}"
    return [
        f"in air of {air}, in which this light brings the panel to {panel}",
        f"without a fault in air of (looked for from {whole}): {ranges}",
    ]


def degrees_celsius(temperature: float) -> str:
    """A temperature [K] in whole degrees.

    >>> degrees_celsius(298.4)
    '25 degC'
    """
    return f"{temperature - NAUGHT_CELSIUS:.0f} degC"


def light_cells(points: Sequence[BenchPoint]) -> list[str]:
    """The light of each point."""
    return [format_quantity(point.light, "lx") for point in points]


def sides_differ(points: Sequence[BenchPoint]) -> bool:
    """Whether left and right do not do the same."""
    return any(row["left"] != row["right"] for row in (point.as_dict() for point in points))
