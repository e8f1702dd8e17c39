"""Pulses of a walker that is held, told from a few that were stepped.

Of a walker that cannot move, and whose whisker is free or pressed all the while, all that a pulse comes to
follows from the voltage of the storage and the photocurrent at the flash, from how warm the panel is and how
warm the parts are. From pulse to pulse these hardly change. So a side keeps what it has learned: parabolas
along the first two, through pulses about one place that were stepped with a tenth of the usual tolerance, and
tried at another place. They tell all pulses near there; one farther away has the side learn anew.
"""

from typing import Any

import numpy as np

from agents.circuit.panel import LitPanel, lit_panel, panel_temperature
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.pulse_table import (
    CHARGE,
    LENGTH,
    LET_GO,
    LONGEST,
    MOST_STEPS,
    OF_PANEL,
    OUTCOMES,
    PEAK,
    ROTOR,
    TO_BASES,
    TO_ESR,
    TO_EYES,
    TO_LEAK,
)
from agents.circuit.status import SETTLED
from agents.circuit.tyre import lean_fully
from agents.compiled import kernel, kernel_part

# How far from its place a parabola tells pulses: storage [V]; photocurrent, as a share of it, or [A] at the
# least; and temperatures [K], along which they count as even: a panel's beside what its light makes it, and
# that of the parts, a kelvin of which changes a pulse's length by 0.1 to 0.3 %.
RAIL_ROOM = 0.08
CURRENT_SHARE, CURRENT_ROOM = 0.95, 5e-5
PANEL_ROOM, AIR_ROOM = 4.0, 1.0
# By which share length, charge and the voltage at which it lets go may be off where they are tried.
BOUND = 5e-3
# Where a corner is tried, in rooms from the place, and in how many rounds rooms are halved.
TRIED = 0.7, -0.7
NEARER = 3
# Share of a walker's tolerance with which pulses are stepped to learn from.
FINER = 0.1
# Whether a side tells pulses about its place.
UNKNOWN, TELLS, TELLS_NOTHING = range(3)

LEARNED = np.dtype(
    [
        ("rail", np.float64),  # the place about which it was learned: storage [V]
        ("current", np.float64),  # photocurrent [A]
        ("panel", np.float64),  # temperatures of panel and parts [K]
        ("air", np.float64),
        ("rail_room", np.float64),  # how far from it storage [V] and photocurrent [A] may be
        ("current_room", np.float64),
        ("tells", np.int64),
        ("middle", np.float64, (OUTCOMES,)),  # what a pulse comes to there
        # slope and bend of that, along rail and photocurrent, for a whole room
        ("terms", np.float64, (4, OUTCOMES)),
    ],
    align=True,
)


@kernel
def step_held(walker: Any, number: int, lit: LitPanel, touched: bool, state: Any, outcome: Any) -> bool:
    """Step a pulse of side ``number`` of a held walker, and write what it comes to.

    It flashes at the rail in ``state``; ``lit`` is the panel in its light, ``outcome`` (OUTCOMES,).
    Returns whether it comes to an end within ``LONGEST``.
    """
    begin_pulse(walker, number, touched, state)
    lean_fully(state)
    panel, bases, eyes = state["panel_energy"], state["base_energy"], state["eye_energy"]
    leak, esr = state["leak_energy"], state["esr_energy"]
    holds, steps = True, 0
    while holds and state["elapsed"] < LONGEST and steps < MOST_STEPS:
        holds, _ = pulse_step(walker, number, lit, touched, state, LONGEST - state["elapsed"])
        steps += 1
    if holds or state["status"] != SETTLED or state["charge"] <= 0.0:
        return False
    for column in range(OUTCOMES):
        outcome[column] = 0.0
    outcome[LENGTH], outcome[LET_GO], outcome[CHARGE] = state["elapsed"], state["rail"], state["charge"]
    outcome[ROTOR], outcome[PEAK] = state["rotor"], state["peak"]
    outcome[OF_PANEL], outcome[TO_BASES] = state["panel_energy"] - panel, state["base_energy"] - bases
    outcome[TO_EYES], outcome[TO_LEAK] = state["eye_energy"] - eyes, state["leak_energy"] - leak
    outcome[TO_ESR] = state["esr_energy"] - esr
    return True


@kernel
def tell_held(
    walker: Any, number: int, lit: LitPanel, touched: bool, state: Any, known: Any, outcome: Any
) -> bool:
    """Write what a pulse of a held walker comes to; returns whether that is known.

    It flashes at the rail in ``state``. ``known`` is what the side has learned so far with its
    whisker ``touched`` or not, a LEARNED record; where that is about another place it learns anew. Leaves
    ``state`` at the flash.
    """
    rail, current = state["rail"], lit.photocurrent
    warmth = panel_temperature(walker, lit)
    is_near = (
        known["tells"] != UNKNOWN
        and abs(rail - known["rail"]) <= known["rail_room"]
        and abs(current - known["current"]) <= known["current_room"]
        and abs(warmth - _warmth_in(known, current)) <= PANEL_ROOM
        and abs(walker["air"] - known["air"]) <= AIR_ROOM
    )
    if not is_near:
        known["rail"], known["current"], known["panel"], known["air"] = rail, current, warmth, walker["air"]
        _learn(walker, number, touched, state, known, outcome)
    if known["tells"] != TELLS:
        return False
    along = (rail - known["rail"]) / known["rail_room"]
    across = (current - known["current"]) / known["current_room"]
    for column in range(OUTCOMES):
        outcome[column] = _told(known, column, along, across)
    return True


@kernel
def _warmth_in(known: Any, current: float) -> float:
    """How warm a panel is [K] at another photocurrent [A] than that of a place: what lights it warms it."""
    share = current / known["current"] if known["current"] > 0.0 else 1.0
    return float(known["air"] + share * (known["panel"] - known["air"]))


@kernel
def _told(known: Any, column: int, along: float, across: float) -> float:
    """What a pulse comes to so many rooms ``along`` the rail and ``across`` the photocurrent of a place."""
    terms = known["terms"]
    return float(
        known["middle"][column]
        + along * (terms[0, column] + along * terms[1, column])
        + across * (terms[2, column] + across * terms[3, column])
    )


@kernel_part
def _learn(walker: Any, number: int, touched: bool, state: Any, known: Any, outcome: Any) -> None:
    """Step pulses about the place of ``known``, ever nearer to it until what they tell is near enough."""
    kept = state["rail"], state["status"], state["panel_energy"], state["motor_energy"], state["base_energy"]
    lost = state["eye_energy"], state["leak_energy"], state["esr_energy"]
    tolerance = walker["tolerance"]
    walker["tolerance"] = FINER * tolerance
    known["rail_room"] = RAIL_ROOM
    known["current_room"] = max(CURRENT_SHARE * known["current"], CURRENT_ROOM)
    known["tells"] = TELLS_NOTHING
    for _ in range(NEARER):
        if not _fit(walker, number, touched, state, known, outcome):
            break
        if _tried(walker, number, touched, state, known, outcome):
            known["tells"] = TELLS
            break
        known["rail_room"] *= 0.5
        known["current_room"] *= 0.5
    walker["tolerance"] = tolerance
    state["rail"], state["status"], state["panel_energy"], state["motor_energy"], state["base_energy"] = kept
    state["eye_energy"], state["leak_energy"], state["esr_energy"] = lost
    begin_pulse(walker, number, touched, state)
    lean_fully(state)


@kernel
def _step_about(
    walker: Any, number: int, touched: bool, state: Any, known: Any, along: float, across: float, outcome: Any
) -> bool:
    """Step a pulse so many rooms ``along`` the rail and ``across`` the photocurrent from a place."""
    current = max(known["current"] + across * known["current_room"], 0.0)
    state["rail"] = known["rail"] + along * known["rail_room"]
    lit = lit_panel(walker, current, _warmth_in(known, current) - walker["air"])
    return step_held(walker, number, lit, touched, state, outcome)


@kernel_part
def _fit(walker: Any, number: int, touched: bool, state: Any, known: Any, outcome: Any) -> bool:
    """Lay parabolas through pulses about a place; returns whether all have come to an end."""
    terms = known["terms"]
    for place in range(5):
        along, across = 0.0, 0.0
        if place == 1 or place == 2:
            along = 1.0 if place == 1 else -1.0
        elif place > 2:
            across = 1.0 if place == 3 else -1.0
        if not _step_about(walker, number, touched, state, known, along, across, outcome):
            return False
        for column in range(OUTCOMES):
            if place == 0:
                known["middle"][column] = outcome[column]
            else:
                terms[place - 1, column] = outcome[column] - known["middle"][column]
    for column in range(OUTCOMES):
        for row in range(0, 4, 2):
            further, back = terms[row, column], terms[row + 1, column]
            terms[row, column], terms[row + 1, column] = 0.5 * (further - back), 0.5 * (further + back)
    return True


@kernel_part
def _tried(walker: Any, number: int, touched: bool, state: Any, known: Any, outcome: Any) -> bool:
    """Whether a pulse near a corner comes to what is told of it."""
    along, across = TRIED
    if not _step_about(walker, number, touched, state, known, along, across, outcome):
        return False
    off = 0.0
    for column in (LENGTH, LET_GO, CHARGE):
        off = max(off, abs(_told(known, column, along, across) / outcome[column] - 1.0))
    return off <= BOUND
