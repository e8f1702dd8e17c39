"""Whose pulses are looked up: tables for the walkers of a world, as far as its light and its air go."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray, RecordArray
from agents.circuit.eye import trigger_voltage
from agents.circuit.panel import HOTTEST, lit_panel, open_circuit_voltage, photocurrent_in
from agents.circuit.pulse_table import CELL, OUTCOMES, PulseTable
from agents.circuit.table_making import TableSpan, pulse_table
from agents.handbook.light_kinds import KINDS, kind_index
from arena.scene.flat_arena import FlatArena
from arena.scene.sky import Sky

# A table pays where so many walkers are alike, with so much time between them [s]: making one takes as long
# as some 150 pulses that are stepped, of which a walker has one in twenty to thirty seconds; and it takes as
# much room as a few walkers do.
LEAST_ALIKE, LEAST_TIME = 4, 10_000.0
# Light is looked up at so many places along and across a floor, and so high above it [m].
PLACES = 12
HEIGHT = 0.03
# What a table spans is rounded up, so that it serves other floors too: voltages [V], temperatures [K], and
# light to so many steps an octave, from this on [lx].
VOLTAGE_GRAIN, TEMPERATURE_GRAIN, LIGHT_GRAINS, LEAST_LIGHT = 0.05, 5.0, 2.0, 1.0
# Standard deviations of a trigger's jitter that a table spans, and by how much a side that is still held back
# by its last pulse may be late [V].
DEVIATIONS, LATE = 5.0, 0.1

_CLEAR, _OVERCAST = kind_index("sun"), kind_index("overcast")

Pair = tuple[PulseTable | None, PulseTable | None]


def worth_looking_up(alike: int | IntArray, seconds: float) -> BoolArray:
    """Whether free pulses are looked up of a walker that runs so long [s] with so many ``alike`` in all.

    It goes by what is asked for alone, so that a run comes to the same however it is cut up.

    >>> bool(worth_looking_up(30, 600.0)), bool(worth_looking_up(1, 600.0))
    (True, False)
    """
    count = np.asarray(alike)
    return np.asarray((count >= LEAST_ALIKE) & (count * seconds >= LEAST_TIME))


def whole_records(walkers: RecordArray) -> RecordArray:
    """The WALKER records (N,), each as so many bytes."""
    return np.ascontiguousarray(walkers).view(np.dtype((np.void, walkers.dtype.itemsize)))


def alike_among(walkers: RecordArray) -> IntArray:
    """How many of the ``walkers``, (N,) WALKER records, are as each of them is; itself counts too."""
    _, which, counts = np.unique(whole_records(walkers), return_inverse=True, return_counts=True)
    return np.asarray(counts[which], np.int64)


@dataclass
class KnownTables:
    """Tables of pulses, by those whom they serve; all that are ever asked for are kept."""

    lights: dict[tuple[int, int], FloatArray] = field(default_factory=dict)
    pairs: dict[tuple[bytes, bytes], Pair] = field(default_factory=dict)

    def of(self, digest: bytes, walker: RecordArray, arena: FlatArena, sky: Sky | None) -> Pair:
        """The tables of both sides of a WALKER record (1,) with this ``digest``, on this floor and sky."""
        floor = id(arena), id(sky)
        lights = self.lights.get(floor)
        if lights is None:
            lights = self.lights[floor] = brightest(arena, sky)
        key = digest, lights.tobytes()
        if key not in self.pairs:
            spans = [span_of(walker, number, lights) for number in range(2)]
            left, right = (
                None if span is None else pulse_table(walker, number, span)
                for number, span in enumerate(spans)
            )
            self.pairs[key] = left, right
        return self.pairs[key]


def brightest(arena: FlatArena, sky: Sky | None) -> FloatArray:
    """Light [lx] of each kind, (KINDS,), that a walker meets at the most, if nothing stands in its way.

    At so many places of the floor, and facing every lamp; near a lamp that stands on the floor there is more.
    Rounded up, so that one table serves many floors.
    """
    low, high = arena.floor.min(axis=0), arena.floor.max(axis=0)
    along = low + (np.arange(PLACES)[:, None] + 0.5) / PLACES * (high - low)
    x, y = along[:, 0], along[:, 1, None]
    by_kind = np.zeros((len(KINDS), PLACES, PLACES))
    sources = arena.sources[:, None, None]
    squares = (x - sources["x"]) ** 2 + (y - sources["y"]) ** 2 + (sources["z"] - HEIGHT) ** 2
    lit = sources["intensity"] / np.maximum(squares, HEIGHT**2)
    for number, source in enumerate(arena.sources):
        if source["is_sun"] == 0:
            by_kind[source["kind"]] += lit[number]
        else:
            light = source["intensity"]
            by_kind[source["kind"]] += max(light, 0.0 if sky is None else float(sky.steps["sun"].max()))
    lights = by_kind.max(axis=(1, 2)) + arena.ambient
    if sky is not None:
        lights[_CLEAR] += sky.steps["clear_sky"].max()
        lights[_OVERCAST] += sky.steps["overcast_sky"].max()
    return np.array([_rounded_up(light) for light in lights.tolist()])


def _rounded_up(light: float) -> float:
    if light <= 0.0:
        return 0.0
    return float(2.0 ** (math.ceil(LIGHT_GRAINS * math.log2(max(light, LEAST_LIGHT))) / LIGHT_GRAINS))


def span_of(walker: RecordArray, number: int, lights: FloatArray) -> TableSpan | None:
    """What the table of a side spans in light of each kind up to ``lights`` [lx]; None for nothing."""
    one = walker[0]
    side = one["side"][number]
    current = photocurrent_in(one, math.fsum((lights * one["response"]).tolist()))
    if not 0.0 < current < math.inf:
        return None
    warmth = TEMPERATURE_GRAIN * math.ceil(math.fsum((lights * one["warming"]).tolist()) / TEMPERATURE_GRAIN)
    air = float(one["air"])
    warmest = max(min(air + warmth, HOTTEST), air + TEMPERATURE_GRAIN)
    cold = lit_panel(one, current, 0.0)
    most, _ = open_circuit_voltage(current, cold.saturation, cold.thermal, one["panel_shunt"])
    ends = [float(trigger_voltage(light, False, side)) for light in (0.0, math.fsum(lights.tolist()))]
    strays = DEVIATIONS * float(side["jitter"])
    low = VOLTAGE_GRAIN * math.floor((min(ends) - strays) / VOLTAGE_GRAIN)
    high = VOLTAGE_GRAIN * math.ceil(min(max(ends) + strays + LATE, most) / VOLTAGE_GRAIN)
    if not low < high:
        return None
    return TableSpan((low, 0.0, air), (high, current, warmest))


def joined_tables(tables: Sequence[PulseTable]) -> tuple[PulseTable, list[int]]:
    """All these tables in one, and the first cell of each."""
    firsts = []
    cells, values = [np.zeros(0, CELL)], [np.zeros((0, OUTCOMES))]
    number, row = 0, 0
    for table in tables:
        moved = table.cells.copy()
        moved["first"] += row
        moved["below"] += number
        moved["above"] += number
        firsts.append(number)
        cells.append(moved)
        values.append(table.values)
        number, row = number + len(moved), row + len(table.values)
    return PulseTable(np.concatenate(cells), np.concatenate(values)), firsts
