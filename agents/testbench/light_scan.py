"""What one walker does by light, each light measured once, and the ranges of light in which it does."""

import math
from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from agents.arrays import FloatArray
from agents.circuit.records import STATE
from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import OptionError
from agents.handbook.light_kinds import kind_index
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.testbench.bench_figures import BenchPoint, bench_record
from agents.testbench.faults import FAULTS
from agents.testbench.measuring import BRIGHTEST, MEASURED
from agents.testbench.screening import SILENT
from agents.testbench.weighing import (
    MISMATCH,
    MOST_BASE_SHARE,
    MOST_LET_GO,
    UNFOLLOWED,
    twins_among,
    weigh,
)

DIMMEST_SCAN = 10.0  # [lx]
BRIGHTEST_SCAN = 100e3  # [lx]
SCANS_PER_DECADE = 4
# Where a scale of ratios begins for a range that holds darkness [lx].
DARK = 1e-3
# Edges of a range of lights are found to within this ratio.
EDGE = 1.01

Range = tuple[float, float]


class LightScan:
    """What one walker does by light, each light measured once."""

    def __init__(self, design: Design, kind: str, air: float = ROOM_TEMPERATURE) -> None:
        built = build(design, air)
        self.air = air
        self.walker = built[0]
        self._twins = bool(twins_among(built)[0])
        self.kind = kind
        self._kind = kind_index(kind)
        self._bits: dict[float, int] = {}
        self._figures: dict[float, FloatArray] = {}
        self._state, self._measured = np.zeros(1, STATE)[0], np.zeros(1, MEASURED)[0]

    def point(self, light: float) -> BenchPoint:
        """The whole measurement at a light [lx]."""
        return bench_record(self.walker, light, self.kind)

    def bits(self, light: float) -> int:
        """The fault bits at a light [lx]; raises ModelError where the model cannot follow it."""
        if light not in self._bits:
            figures = np.zeros(3)
            bits = int(
                weigh(self.walker, light, self._kind, self._twins, self._state, self._measured, figures)
            )
            if bits & UNFOLLOWED:
                # which raises, and says why
                self.point(light)
            self._bits[light], self._figures[light] = bits, figures
        return self._bits[light]

    def having(self, bit: int) -> Callable[[float], bool]:
        """Whether it has a fault, by its bit, at a light [lx]."""
        return lambda light: bool(self.bits(light) & bit)

    def fires(self, light: float) -> bool:
        """Whether an eye flashes at a light [lx]."""
        return not self.bits(light) & SILENT

    @cached_property
    def firing(self) -> list[float]:
        """Lights at which an eye flashes [lx], out of those from the dimmest to the brightest."""
        return [light for light in scan_lights((DIMMEST_SCAN, BRIGHTEST_SCAN)) if self.fires(light)]

    def excused(self, light: float, sometimes: bool) -> int:
        """Bits of faults that a change may leave at a light, or bring where nothing fires.

        That is what the walker has wherever it fires, or with ``sometimes`` what it has at some lights.
        """
        own = self.bits(light)
        if self.fires(light) or not self.firing:
            return own
        found = [self.bits(other) for other in self.firing]
        if sometimes:
            return own | int(np.bitwise_or.reduce(found))
        return own | int(np.bitwise_and.reduce(found))

    def limits(self, light: float) -> Any:
        """Let-go voltage [V], base share and mismatch [V] that bound what a change may make of a pulse."""
        self.bits(light)
        own = self._figures[light]
        if self.fires(light):
            return own
        worst = np.maximum.reduce([own, *(self._figures[other] for other in self.firing)])
        # without a pulse there is a mismatch all the same
        worst[MISMATCH] = own[MISMATCH]
        return worst


def poor_limits(scan: LightScan, lights: Sequence[float]) -> FloatArray:
    """Limits (lights, 3) above which a changed walker's pulse is poor, see :mod:`agents.testbench.weighing`.

    Never below those of the walker itself, which has to be no better than it was.
    """
    return np.maximum([scan.limits(light) for light in lights], [MOST_LET_GO, MOST_BASE_SHARE, 0.0])


def scan_lights(lights: Range, per_decade: int = SCANS_PER_DECADE) -> list[float]:
    """Return lights [lx] from the first to the last of a range, evenly spaced on a logarithmic scale.

    Darkness, which has no place on that scale, stands before 1 mlx.
    """
    start, end = lights
    if not 0.0 <= start <= end <= BRIGHTEST:
        expected = "the dimmer one first" if start > end else "a range within 0 lx to 1 Mlx"
        raise OptionError(f"lights from {start} lx to {end} lx; expected {expected}")
    decades = math.log10(max(end, DARK) / max(start, DARK))
    return spaced(start, end, max(math.ceil(decades * per_decade), 1))


def spaced(start: float, end: float, count: int) -> list[float]:
    """Lights [lx] from ``start`` to ``end`` in ``count`` even ratios."""
    if start == end:
        return [start]
    lowest = max(start, DARK)
    inner = [lowest * (end / lowest) ** (step / count) for step in range(1, count)]
    return [start, *inner, end]


def ranges_where(has: Callable[[float], bool], lights: Sequence[float]) -> tuple[list[Range], list[float]]:
    """Ranges out of ascending ``lights`` [lx] where ``has`` holds, both ends with it, and the lights beside.

    Ends between two of the lights are found to within a ratio of EDGE.
    """
    ranges = []
    beside: list[float] = []
    start: float | None = None
    for position, light in enumerate(lights):
        held = has(light)
        if held and start is None:
            start = light
            if position > 0:
                start, other = _edge(has, light, lights[position - 1])
                beside.append(other)
        if not held and start is not None:
            end, other = _edge(has, lights[position - 1], light)
            ranges.append((start, end))
            beside.append(other)
            start = None
    if start is not None:
        ranges.append((start, lights[-1]))
    return ranges, beside


def _edge(has: Callable[[float], bool], inside: float, outside: float) -> tuple[float, float]:
    """Narrow an edge between two lights down to its ratio; returns its inner and its outer end."""
    while abs(math.log(max(inside, DARK) / max(outside, DARK))) > math.log(EDGE):
        middle = math.sqrt(max(inside, DARK) * max(outside, DARK))
        if has(middle):
            inside = middle
        else:
            outside = middle
    return inside, outside


def telling_lights(scan: LightScan, lights: Range, per_decade: int = SCANS_PER_DECADE) -> list[float]:
    """Lights [lx] of a range that tell of a walker: evenly spaced, and both sides of where a fault sets in.

    First come the ends of the range in which it fires, where its triggers are lowest and highest.
    """
    told = scan_lights(lights, per_decade)
    for asked in (SILENT, (1 << len(FAULTS)) - 1):
        seen = asked & int(np.bitwise_or.reduce([scan.bits(light) for light in told]))
        bits = [1 << place for place in range(len(FAULTS)) if seen >> place & 1]
        ends = [end for bit in bits for end in ends_where(scan.having(bit), told)]
        told = sorted({*told, *ends})
    return told


def ends_where(has: Callable[[float], bool], lights: Sequence[float]) -> Iterator[float]:
    """Yield the lights [lx] on both sides of where ``has`` comes or goes between two of ``lights``."""
    for one, other in pairwise(lights):
        if has(one) != has(other):
            yield from _edge(has, one, other) if has(one) else _edge(has, other, one)
