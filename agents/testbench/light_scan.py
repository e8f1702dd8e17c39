"""What one walker does by light: points of the bench, each light measured once."""

import math
from functools import cached_property

from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import OptionError
from agents.testbench.bench_figures import BenchPoint, bench_record
from agents.testbench.measuring import BRIGHTEST

DIMMEST_SCAN = 10.0  # [lx]
BRIGHTEST_SCAN = 100e3  # [lx]
SCANS_PER_DECADE = 4
# Where a scale of ratios begins for a range that holds darkness [lx].
DARK = 1e-3


class LightScan:
    """What one walker does by light, each light measured once."""

    def __init__(self, design: Design, kind: str) -> None:
        self.walker = build(design)[0]
        self.kind = kind
        self._known: dict[float, BenchPoint] = {}

    def point(self, light: float) -> BenchPoint:
        if light not in self._known:
            self._known[light] = bench_record(self.walker, light, self.kind)
        return self._known[light]

    def has(self, name: str, light: float) -> bool:
        return name in self.point(light).faults

    @cached_property
    def firing(self) -> list[BenchPoint]:
        """The points at which an eye flashes, out of lights from the dimmest to the brightest."""
        points = map(self.point, scan_lights((DIMMEST_SCAN, BRIGHTEST_SCAN)))
        return [point for point in points if point.measured.fires]

    def excused(self, light: float, sometimes: bool) -> set[str]:
        """Faults that a change may leave at a light, or bring where nothing fires: what it has elsewhere too.

        That is what it has wherever it fires, or with ``sometimes`` what it has at some lights.
        """
        point = self.point(light)
        own = set(point.faults)
        if point.measured.fires or not self.firing:
            return own
        found = [set(other.faults) for other in self.firing]
        return own | (set.union(*found) if sometimes else set.intersection(*found))

    def compared(self, light: float) -> list[BenchPoint]:
        """The points whose pulses bound what a change may do to a pulse at a light."""
        point = self.point(light)
        return [point] if point.measured.fires else [point, *self.firing]

    def mismatch(self, light: float) -> float:
        """Distance of the two triggers [V] in even light."""
        measured = self.point(light).measured
        return abs(measured.left.trigger - measured.right.trigger)


def scan_lights(lights: tuple[float, float]) -> list[float]:
    """Return lights [lx] from the first to the last of a range, evenly spaced on a logarithmic scale.

    Darkness, which has no place on that scale, stands before 1 mlx.
    """
    start, end = lights
    if not 0.0 <= start <= end <= BRIGHTEST:
        raise OptionError(f"lights from {start} lx to {end} lx; expected a range within 0 lx to 1 Mlx")
    decades = math.log10(max(end, DARK) / max(start, DARK))
    return spaced(start, end, max(math.ceil(decades * SCANS_PER_DECADE), 1))


def spaced(start: float, end: float, count: int) -> list[float]:
    """Lights [lx] from ``start`` to ``end`` in ``count`` even ratios."""
    if start == end:
        return [start]
    lowest = max(start, DARK)
    inner = [lowest * (end / lowest) ** (step / count) for step in range(1, count)]
    return [start, *inner, end]
