"""Free pulses looked up: what a pulse comes to, as a function of three figures known at its flash.

A pulse begins in one way only: the coupling capacitor at its waiting voltage, rotor and body at rest. While
its whisker is free and its light stays as it is, all that it comes to follows from the voltage of the storage
and the photocurrent at the flash, and from how warm the panel is. That function is smooth but for a few
kinks, so that some dozens of pulses tell all others.

A table is a tree of cells, halved where the function bends. A cell holds the coefficients of a product of
Chebyshev polynomials along the three axes, fitted to pulses that were stepped (:mod:`agents.circuit.pulse`)
at the zeros of the next polynomial (L. N. Trefethen, Approximation Theory and Approximation Practice, 2013),
and tried at other places (:mod:`agents.circuit.table_making`). Where a pulse does not come to an end before
long, or a cell is too far off, the table tells nothing, and pulses are stepped.
"""

from typing import Any, NamedTuple

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.circuit.panel import lit_panel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.status import SETTLED
from agents.compiled import kernel

# The axes: storage [V] and photocurrent [A] at the flash, temperature of the panel [K].
RAIL, CURRENT, PANEL = range(3)
AXES = 3

CELL = np.dtype(
    [
        ("low", np.float64, (AXES,)),
        ("high", np.float64, (AXES,)),
        ("points", np.int64, (AXES,)),  # along each axis
        ("first", np.int64),  # row of the first coefficients
        ("tells", np.int64),  # 1 where it does
        # where it is halved: along which axis, else -1, at which place, and the two halves' numbers
        ("axis", np.int64),
        ("middle", np.float64),
        ("below", np.int64),
        ("above", np.int64),
    ],
    align=True,
)


class PulseTable(NamedTuple):
    """CELL records, of which the first is the whole, and coefficients (rows, OUTCOMES) of all that tell."""

    cells: RecordArray
    values: FloatArray


# What a pulse comes to: how long it holds [s], storage when it lets go [V], charge through the motor [C], way
# of the tyre [m], rotor [rad/s] and speed [m/s] then, greatest current of the motor [A]; energies [J] of the
# panel, to bases, eyes, leak and ESR; and way and speed after each quarter of its time but the last.
(LENGTH, LET_GO, CHARGE, WAY, ROTOR, SPEED, PEAK, OF_PANEL, TO_BASES, TO_EYES, TO_LEAK, TO_ESR) = range(12)
QUARTER_WAYS, QUARTER_SPEEDS = 12, 15
OUTCOMES = 18

# A pulse that lasts longer than this [s] is not for a table; it may have this many steps.
LONGEST = 0.5
MOST_STEPS = 600
# By which share of itself a way may be short of another, and rounds in which that is found at the most.
SHORT = 1e-7
ROUNDS = 40


@kernel
def work_out(walker: Any, number: int, lit: Any, state: Any, trace: FloatArray, outcome: Any) -> bool:
    """Step a free pulse of side ``number`` from the rail in ``state``, and write what it comes to.

    ``lit`` is the panel in its light; ``trace`` (MOST_STEPS + 1, 3) is room to work in. Returns whether the
    pulse has come to an end within ``LONGEST``.
    """
    begin_pulse(walker, number, False, state)
    energies = state["panel_energy"], state["base_energy"], state["eye_energy"]
    lost = state["leak_energy"], state["esr_energy"]
    trace[0, 0], trace[0, 1], trace[0, 2] = 0.0, 0.0, 0.0
    holds = True
    count = 0
    while holds and state["elapsed"] < LONGEST and count < MOST_STEPS:
        holds, passed = pulse_step(walker, number, lit, False, state, LONGEST - state["elapsed"])
        count += 1
        trace[count, 0], trace[count, 2] = state["elapsed"], state["speed"]
        trace[count, 1] = trace[count - 1, 1] + passed
    way = trace[count, 1]
    if holds or state["status"] != SETTLED or way <= 0.0:
        return False
    outcome[LENGTH], outcome[LET_GO], outcome[CHARGE] = state["elapsed"], state["rail"], state["charge"]
    outcome[WAY], outcome[ROTOR], outcome[SPEED] = way, state["rotor"], state["speed"]
    outcome[PEAK] = state["peak"]
    outcome[OF_PANEL] = state["panel_energy"] - energies[0]
    outcome[TO_BASES] = state["base_energy"] - energies[1]
    outcome[TO_EYES] = state["eye_energy"] - energies[2]
    outcome[TO_LEAK] = state["leak_energy"] - lost[0]
    outcome[TO_ESR] = state["esr_energy"] - lost[1]
    step = 1
    for quarter in range(3):
        time = 0.25 * (quarter + 1) * state["elapsed"]
        while trace[step, 0] < time:
            step += 1
        lasts = trace[step, 0] - trace[step - 1, 0]
        share = (time - trace[step - 1, 0]) / lasts
        leaves, arrives = trace[step - 1, 2], trace[step, 2]
        outcome[QUARTER_WAYS + quarter] = _along(
            share, trace[step - 1, 1], trace[step, 1], lasts * leaves, lasts * arrives
        )
        outcome[QUARTER_SPEEDS + quarter] = leaves + share * (arrives - leaves)
    return True


@kernel
def work_out_all(
    walker: Any,
    number: int,
    places: FloatArray,
    state: Any,
    trace: FloatArray,
    outcomes: FloatArray,
    ended: Any,
) -> None:
    """Step a free pulse of side ``number`` at each of ``places`` (N, AXES), and write what they come to.

    ``walker`` is a WALKER record and ``state`` a STATE record to work in, ``trace`` as for :func:`work_out`;
    ``outcomes`` (N, OUTCOMES), and ``ended`` (N,) whether each pulse has come to an end.
    """
    for place in range(len(places)):
        lit = lit_panel(walker, places[place, CURRENT], places[place, PANEL] - walker["air"])
        state["status"] = SETTLED
        state["rail"] = places[place, RAIL]
        ended[place] = work_out(walker, number, lit, state, trace, outcomes[place])


@kernel
def weigh_outcomes(weights: FloatArray, outcomes: FloatArray, sums: FloatArray) -> None:
    """Write into ``sums`` (M, OUTCOMES) the outcomes (N, OUTCOMES) times ``weights`` (M, N), added up.

    In one order, which a library's product of matrices leaves to the processor.
    """
    for row in range(len(weights)):
        for column in range(OUTCOMES):
            total = 0.0
            for place in range(len(outcomes)):
                total += weights[row, place] * outcomes[place, column]
            sums[row, column] = total


@kernel
def look_up(table: PulseTable, root: int, rail: float, current: float, panel: float, outcome: Any) -> bool:
    """Write what a pulse comes to, by that of the tables whose whole is cell ``root``; returns if it tells.

    The three are its place along the axes.
    """
    cells, values = table.cells, table.values
    place = rail, current, panel
    for axis in range(AXES):
        if not cells[root]["low"][axis] <= place[axis] <= cells[root]["high"][axis]:
            return False
    number = root
    while cells[number]["axis"] >= 0:
        further = cells[number]
        number = further["below"] if place[further["axis"]] < further["middle"] else further["above"]
    cell = cells[number]
    if cell["tells"] == 0:
        return False
    low, high, points = cell["low"], cell["high"], cell["points"]
    x = (2.0 * rail - low[RAIL] - high[RAIL]) / (high[RAIL] - low[RAIL])
    y = (2.0 * current - low[CURRENT] - high[CURRENT]) / (high[CURRENT] - low[CURRENT])
    z = (2.0 * panel - low[PANEL] - high[PANEL]) / (high[PANEL] - low[PANEL])
    for column in range(OUTCOMES):
        outcome[column] = 0.0
    row = cell["first"]
    of_x, next_x = 1.0, x
    for _ in range(points[RAIL]):
        of_y, next_y = of_x, of_x * y
        for _ in range(points[CURRENT]):
            of_z, next_z = of_y, of_y * z
            for _ in range(points[PANEL]):
                for column in range(OUTCOMES):
                    outcome[column] += of_z * values[row, column]
                row += 1
                of_z, next_z = next_z, 2.0 * z * next_z - of_z
            of_y, next_y = next_y, 2.0 * y * next_y - of_y
        of_x, next_x = next_x, 2.0 * x * next_x - of_x
    return True


@kernel
def _along(share: float, begun: float, ended: float, leaves: float, arrives: float) -> float:
    """A way that ``share`` of a time has gone, by a cubic with its rates of that time at both ends."""
    rest = 1.0 - share
    bent = rest * (leaves - (ended - begun)) - share * (arrives - (ended - begun))
    return begun + share * (ended - begun + rest * bent)


class Quarter(NamedTuple):
    """A quarter of a pulse: its number, length [s], way at both ends and both speeds times the length [m]."""

    number: int
    lasts: float
    begun: float
    ended: float
    leaves: float
    arrives: float


@kernel
def quarter_of(outcome: Any, number: int) -> Quarter:
    """One of the quarters, from 0 on, of a pulse of which is told what it comes to."""
    lasts = 0.25 * outcome[LENGTH]
    begun, leaves = 0.0, 0.0
    if number > 0:
        begun, leaves = outcome[QUARTER_WAYS + number - 1], outcome[QUARTER_SPEEDS + number - 1]
    ended, arrives = outcome[WAY], outcome[SPEED]
    if number < 3:
        ended, arrives = outcome[QUARTER_WAYS + number], outcome[QUARTER_SPEEDS + number]
    return Quarter(number, lasts, begun, ended, lasts * leaves, lasts * arrives)


@kernel
def _steepness(share: float, begun: float, ended: float, leaves: float, arrives: float) -> float:
    """The rate of that way, of the same time."""
    rest = 1.0 - share
    steep = leaves * rest * (rest - 2.0 * share) + arrives * share * (share - 2.0 * rest)
    return steep + 6.0 * share * rest * (ended - begun)


@kernel
def gone_after(outcome: Any, elapsed: float) -> tuple[float, float]:
    """Way of the tyre [m] and its speed [m/s] ``elapsed`` [s] after the flash, by what a pulse comes to."""
    share = 4.0 * elapsed / outcome[LENGTH]
    one = quarter_of(outcome, min(int(share), 3))
    share -= one.number
    way = _along(share, one.begun, one.ended, one.leaves, one.arrives)
    return way, _steepness(share, one.begun, one.ended, one.leaves, one.arrives) / one.lasts


@kernel
def time_of_way(outcome: Any, way: float) -> float:
    """When [s after the flash] the tyre has gone ``way`` [m], or a ``SHORT`` share less, but no more.

    By Newton's method in the quarter in which that is, halved where it leaves what is left of it.
    """
    number = 0
    for quarter in range(3):
        if way > outcome[QUARTER_WAYS + quarter]:
            number = quarter + 1
    one = quarter_of(outcome, number)
    goal = way * (1.0 - 0.5 * SHORT)
    least, most = 0.0, 1.0
    share = min(max((goal - one.begun) / (one.ended - one.begun), 0.0), 1.0)
    for _ in range(ROUNDS):
        off = _along(share, one.begun, one.ended, one.leaves, one.arrives) - goal
        if abs(off) <= 0.5 * SHORT * way:
            break
        if off > 0.0:
            most = share
        else:
            least = share
        steep = _steepness(share, one.begun, one.ended, one.leaves, one.arrives)
        share = share - off / steep if steep > 0.0 else least
        if not least < share < most:
            share = 0.5 * (least + most)
    if _along(share, one.begun, one.ended, one.leaves, one.arrives) > way:
        share = least
    return (number + share) * one.lasts


@kernel
def end_by(walker: Any, outcome: Any, state: Any) -> None:
    """Bring ``state`` from a flash to where the pulse lets go, by what it comes to.

    What is left of the energies goes to the motor, so that they add up.
    """
    begun, end = state["rail"], outcome[LET_GO]
    panel, bases, eyes = outcome[OF_PANEL], outcome[TO_BASES], outcome[TO_EYES]
    leak, esr = outcome[TO_LEAK], outcome[TO_ESR]
    given = 0.5 * walker["capacitance"] * (begun * begun - end * end)
    state["panel_energy"] += panel
    state["base_energy"] += bases
    state["eye_energy"] += eyes
    state["leak_energy"] += leak
    state["esr_energy"] += esr
    state["motor_energy"] += given + panel - bases - eyes - leak - esr
    state["rail"] = end
    state["rotor"] = max(outcome[ROTOR], 0.0)
    state["speed"] = max(outcome[SPEED], 0.0)
    state["peak"] = outcome[PEAK]
    state["charge"] = outcome[CHARGE]
    state["elapsed"] = outcome[LENGTH]
