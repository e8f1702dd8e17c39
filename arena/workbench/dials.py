"""The dials of the workbench: a design's main values, each with the steps in which its part is sold or bent.

Resistors snap to E12, the storage to E6 (IEC 60063), lengths to whole millimetres, angles to five degrees,
and tape to tenths of transmission.
"""

import math
from bisect import bisect_left, bisect_right
from contextlib import suppress
from dataclasses import dataclass

from agents.design.rewriting import said_at
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, expanded
from agents.handbook.preferred_values import preferred_values
from agents.testbench.possible_changes import FEELERS, LATCHES, SERIES, STORAGES
from agents.text.readers import QuantityError
from agents.text.shapes import shape_at
from agents.text.units import format_code, format_quantity
from agents.text.yaml_text import layout_of, plain_of

# Two values nearer than this, in ratio, are the same stop.
_SAME = 1e-9


@dataclass(frozen=True)
class Dial:
    """One value: ``path`` below a side, or of the whole design where not ``two_sided``; ``stops`` in SI."""

    label: str
    path: str
    two_sided: bool
    stops: tuple[float, ...]
    form: str
    about: str

    def values(self, design: Design) -> tuple[float | None, ...]:
        """The value of left and right, or the one that both share; None for a part that is left out."""
        return tuple(design.value_at(path) for path in expanded(self.path_in(BOTH)))

    def value(self, design: Design, scope: str) -> float | None:
        """The value that a turn starts from: of the left side where both are meant."""
        values = self.values(design)
        return values[1] if self.two_sided and scope == "right" else values[0]

    def path_in(self, scope: str) -> str:
        """The path of the design that a turn sets."""
        return f"{scope}.{self.path}" if self.two_sided else self.path

    def words(self, value: float | None) -> str:
        """A value as one says it."""
        if value is None:
            return "none"
        if self.form == "ohm":
            return format_code(value, "ohm")
        if self.form == "spacing":
            return f"{2e3 * value:.4g} mm"
        if self.form == "%":
            return f"{100.0 * value:.3g} %"
        return format_quantity(value, self.form)

    def shown(self, design: Design) -> str:
        """The value in words; of both sides where they differ."""
        return " / ".join(dict.fromkeys(self.words(value) for value in self.values(design)))

    def place(self, value: float) -> float:
        """Where on the rail a value stands, 0 to 1; stops are evenly spaced."""
        stops = self.stops
        if value <= stops[0]:
            return 0.0
        if value >= stops[-1]:
            return 1.0
        after = bisect_right(stops, value)
        low, high = stops[after - 1], stops[after]
        return (after - 1 + (value - low) / (high - low)) / (len(stops) - 1)

    def at(self, place: float) -> float:
        """The stop nearest to a place on the rail."""
        return self.stops[round(min(max(place, 0.0), 1.0) * (len(self.stops) - 1))]

    def turned(self, value: float, steps: int) -> float:
        """The stop so many ``steps`` up or down; from between two stops, the first step goes to the next."""
        if steps > 0:
            here = bisect_right(self.stops, value + _SAME * abs(value)) - 1
        else:
            here = bisect_left(self.stops, value - _SAME * abs(value))
        return self.stops[min(max(here + steps, 0), len(self.stops) - 1)]


def sketch(text: str, spec: Design) -> Design:
    """``spec`` with its dials as ``text`` sets them, though the whole that it describes may be impossible."""
    plain = plain_of(layout_of(text).root)
    values = {}
    for dial in DIALS:
        for path in expanded(dial.path_in(BOTH)):
            place = tuple(path.split("."))
            shape = shape_at(Design, place)
            written = next((one for one in said_at(plain, place) if isinstance(one, str)), None)
            if written is None or shape is None or shape.reader is None or spec.value_at(path) is None:
                continue
            with suppress(QuantityError):
                values[path] = shape.reader.read(written)
    return spec.with_values(values)


def _spaced(least: int, most: int, step: int, factor: float) -> tuple[float, ...]:
    # divided, for 30 / 1000 is the very float that 30 mm reads as, and 30 * 0.001 need not be
    return tuple(value / factor for value in range(least, most + 1, step))


DIALS = (
    Dial("eye spacing", "eye.aside", True, _spaced(5, 80, 1, 1000.0), "spacing", "distance of the eyes"),
    Dial(
        "eye aim",
        "eye.outward",
        True,
        tuple(math.radians(degrees) for degrees in range(0, 91, 5)),
        "rad",
        "outward from straight ahead",
    ),
    Dial("tape", "eye.tape", True, (0.01, 0.02, 0.05, *_spaced(1, 10, 1, 10.0)), "%", "light let through"),
    Dial("storage", "storage.capacitance", False, preferred_values("E6", *STORAGES), "F", "E6 values"),
    Dial("latch", "latch", True, preferred_values("E12", *LATCHES), "ohm", "E12 values"),
    Dial("series", "series", True, preferred_values("E12", *SERIES), "ohm", "E12 values"),
    Dial("feeler", "feeler", True, preferred_values("E12", *FEELERS), "ohm", "E12 values"),
    Dial("whisker", "whisker.length", True, _spaced(10, 150, 5, 1000.0), "m", "free length of the wire"),
)
