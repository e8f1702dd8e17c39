"""What a bench page draws: voltages against light with the ranges that they make, and one cycle of the rail.

Everything is measured as the bench measures it; nothing here decides what a fault is.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray
from agents.circuit.charging import wait, waiting_currents
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED
from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import ModelError
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.testbench.bench_figures import BenchPoint, bench, bench_point
from agents.testbench.faults import BLIND, DIM, LOCKED, fault_title
from agents.testbench.measuring import measured_panel
from replays.causes.pulse_curve import pulse_rows
from replays.words import light_words

DIMMEST = 10.0
"""Where the plot against light begins [lx]."""
BRIGHTEST = 120e3
"""Where it ends [lx]: a little more than the full sun of a summer's noon (from memory)."""

WORKS = "works"
"""What a range of light is called in which no fault was found."""

_LIGHTS = 160
# Edges of a range are found to within this ratio of lights.
_EDGE = 1.005
# Halvings of a bracket of voltages: far below what a line of a plot can show.
_HALVINGS = 30
_STEPS = 80
# In a pulse that is to be drawn, rail and current are known at so many places at the most.
_DRAWN = 400


@dataclass(frozen=True)
class LightRange:
    """A range of lights [lx] in which a design has the same faults.

    ``state`` is dim, blind, locked, works, or ``fires``: it moves, with other faults. ``faults`` by name.
    """

    low: float
    high: float
    state: str
    faults: tuple[str, ...]

    @property
    def words(self) -> str:
        """What the range is called."""
        if self.state != "fires":
            return self.state
        return ", ".join(fault_title(name).partition(" (")[0] for name in self.faults)

    @property
    def where(self) -> str:
        """Where it is, to two figures."""
        return f"from {_rounded(self.low)} to {_rounded(self.high)}"


@dataclass(frozen=True)
class LightCurves:
    """Voltages [V] at ``lights`` [lx], one an entry; nan where there is none.

    ``rests`` is where the panel has charged the storage to when nobody fires: the panel's current is that of
    eyes and leak there.
    """

    lights: FloatArray
    left: FloatArray
    right: FloatArray
    pressed: FloatArray
    open_circuit: FloatArray
    rests: FloatArray
    ranges: tuple[LightRange, ...]

    @property
    def sides_alike(self) -> bool:
        """Whether one line does for both triggers."""
        return bool(np.all(np.abs(self.left - self.right) < 2e-3))


@dataclass(frozen=True)
class Cycle:
    """One cycle in a ``light`` [lx]: charging from the release of the latch to the trigger, and the pulse.

    ``waiting`` is (n, 2) of time [s] and rail [V], ``pulse`` (m, 3) of time [s], rail [V], motor current [A].
    """

    light: float
    side: str
    waiting: FloatArray
    pulse: FloatArray


def _rounded(light: float) -> str:
    return light_words(float(f"{light:.1e}"))


def state_of(faults: tuple[str, ...]) -> str:
    """What a range of light with these faults is, see :class:`LightRange`.

    >>> state_of(()), state_of(("dim", "spin")), state_of(("spin",))
    ('works', 'dim', 'fires')
    """
    return next((name for name in (DIM, BLIND, LOCKED) if name in faults), "fires" if faults else WORKS)


def light_curves(
    design: Design,
    kind: str,
    low: float = DIMMEST,
    high: float = BRIGHTEST,
    air: float = ROOM_TEMPERATURE,
) -> LightCurves:
    """Voltages and ranges of a design from ``low`` to ``high`` [lx] of a ``kind`` of light, in ``air`` [K].

    A range narrower than the distance of two of the lights, 6 % from 10 lx to 120 klx, may be missed.
    Raises :class:`~agents.errors.ModelError` where the model cannot follow it.

    >>> [one.words for one in light_curves(read_design("thistle-spins"), "daylight").ranges]
    ['dim', 'spin', 'blind']
    """
    points = bench(design, [float(light) for light in np.geomspace(low, high, _LIGHTS)], kind, air)
    walker = build(design, air)[0]
    sides = [(point.measured.left, point.measured.right) for point in points]
    pressed = [min(one.trigger_touched or math.nan for one in pair) for pair in sides]
    return LightCurves(
        np.array([point.light for point in points]),
        np.array([left.trigger for left, _ in sides]),
        np.array([right.trigger for _, right in sides]),
        np.array(pressed),
        np.array([point.measured.open_circuit for point in points]),
        np.array([_rest(walker, point) for point in points]),
        tuple(_ranges(design, points, kind)),
    )


def _rest(walker: object, point: BenchPoint) -> float:
    """The rail [V] at which the panel gives just what eyes and leak take; it falls with the rail."""
    panel = measured_panel(walker, point.measured)
    low, high = 0.0, point.measured.open_circuit
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        found = waiting_currents(walker, panel, middle)
        if found.status != SETTLED:
            return math.nan
        if found.panel > found.eyes + found.leak:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _shown(point: BenchPoint) -> tuple[str, ...]:
    """The faults by which ranges are told apart: where nothing fires, that alone."""
    state = state_of(point.faults)
    return (state,) if state in (DIM, BLIND) else point.faults


def _ranges(design: Design, points: list[BenchPoint], kind: str) -> list[LightRange]:
    ranges = []
    start = points[0].light
    for one, other in itertools.pairwise(points):
        if _shown(one) != _shown(other):
            edge = _edge(design, one, other, kind)
            ranges.append(LightRange(start, edge, state_of(one.faults), _shown(one)))
            start = edge
    last = points[-1]
    ranges.append(LightRange(start, last.light, state_of(last.faults), _shown(last)))
    return ranges


def _edge(design: Design, one: BenchPoint, other: BenchPoint, kind: str) -> float:
    """The light [lx] between two points from which the faults are no longer those of the first."""
    low, high = one.light, other.light
    while high / low > _EDGE:
        middle = math.sqrt(low * high)
        if _shown(bench_point(design, middle, kind, one.measured.air)) == _shown(one):
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)


def cycle_of(design: Design, points: list[BenchPoint]) -> Cycle | None:
    """A cycle at the one of ``points`` whose rhythm is nearest to a pulse every 30 s; None if none has one.

    A point has one if a pulse of its first side comes, moves it, and ends.
    """
    best: Cycle | None = None
    distance = math.inf
    for point in points:
        first = point.first
        between = first.between
        if between is None or not first.pulse or not first.let_go or not first.charge:
            continue
        far = abs(math.log(between / 30.0))
        if far < distance:
            try:
                best, distance = _cycle(build(design, point.measured.air)[0], point), far
            except ModelError:
                continue
    return best


def _cycle(walker: object, point: BenchPoint) -> Cycle:
    first, panel = point.first, measured_panel(walker, point.measured)
    number = 0 if first.side == "left" else 1
    free = np.zeros(1), np.zeros(1)
    # somewhat longer than the pulse lasts, so that its own end is met
    rows = pulse_rows(walker, number, first.trigger, panel, free, free, 1.05 * (first.pulse or 0.0) + 1e-3)
    state = np.zeros(1, STATE)[0]
    state["rail"] = first.let_go
    waiting = [(0.0, float(state["rail"]))]
    step = (first.charge or 0.0) / _STEPS
    for number in range(_STEPS):
        wait(walker, panel, state, step)
        waiting.append((step * (number + 1), float(state["rail"])))
    if state["status"] != SETTLED:
        raise ModelError("the charging between two pulses cannot be followed")
    thinned = rows[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), _DRAWN)).astype(int))]
    # the row of the step in which the latch releases: the motor has no current from there on
    pulse = np.vstack([thinned[thinned[:, 0] < first.pulse], [[first.pulse, first.let_go, 0.0]]])
    return Cycle(point.light, first.side, np.array(waiting), pulse)
