"""Tables of free pulses: nearer to the equations than pulses that are stepped, and silent where they are not.

The evaluation is checked against numpy's polynomials of Chebyshev, the way within a pulse against scipy's
cubic splines of Hermite; what a table tells against pulses stepped a hundred times finer.
"""

from typing import Any

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from agents.circuit.eye import trigger_voltage
from agents.circuit.panel import lit_panel, photocurrent_in
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.pulse_table import (
    CELL,
    CHARGE,
    LENGTH,
    LET_GO,
    MOST_STEPS,
    OF_PANEL,
    OUTCOMES,
    QUARTER_SPEEDS,
    QUARTER_WAYS,
    SHORT,
    SPEED,
    TO_BASES,
    WAY,
    PulseTable,
    end_by,
    gone_after,
    look_up,
    time_of_way,
    work_out_all,
)
from agents.circuit.records import STATE
from agents.circuit.table_making import DEPTH, TableSpan, pulse_table
from agents.design.as_built import build
from tests.helpers.worlds import design

SPAN = TableSpan((2.2, 0.0, 293.15), (3.4, 8e-4, 313.15))
BUILDS = {
    "usual": design("plain"),
    "latch 4k7, motor 40 ohm": design("firm", both__latch=4.7e3, both__motor__resistance=40.0),
    "1000 uF behind 1 ohm": design("small", storage__capacitance=1e-3, storage__series_resistance=1.0),
}


def stepped(walker: Any, places: np.ndarray[Any, Any], finer: float) -> tuple[Any, Any]:
    """What free pulses of the left side come to, stepped so many times finer, and which of them end."""
    fine = walker.copy()
    fine["tolerance"] /= finer
    outcomes, ended = np.zeros((len(places), OUTCOMES)), np.zeros(len(places), np.bool_)
    work_out_all(fine, 0, places, np.zeros(1, STATE), np.zeros((MOST_STEPS, 3)), outcomes, ended)
    return outcomes, ended


def told(table: PulseTable, places: np.ndarray[Any, Any]) -> tuple[Any, Any]:
    """What a table tells of pulses, and whether it does."""
    outcomes = np.zeros((len(places), OUTCOMES))
    tells = [
        bool(look_up(table, 0, *place, row)) for place, row in zip(places.tolist(), outcomes, strict=True)
    ]
    return outcomes, np.array(tells)


def drawn_places(count: int, span: TableSpan = SPAN) -> np.ndarray[Any, Any]:
    """Places anywhere in a span."""
    low, high = np.array(span.low), np.array(span.high)
    return low + np.random.default_rng(11).uniform(size=(count, 3)) * (high - low)


@pytest.mark.parametrize("name", BUILDS)
def test_what_a_table_tells_is_nearer_to_the_equations_than_a_pulse_that_is_stepped(name: str) -> None:
    walker = build(BUILDS[name])
    places = drawn_places(60)
    exact, ended = stepped(walker, places, 100.0)
    outcomes, tells = told(pulse_table(walker, 0, SPAN), places)
    assert ended.all()
    assert tells.all()
    columns = [LENGTH, LET_GO, CHARGE, WAY, SPEED]
    exact = exact[:, columns]
    off = np.abs(outcomes[:, columns] / exact - 1.0)
    assert off.max() < 0.006
    assert np.mean(off) < np.mean(np.abs(stepped(walker, places, 1.0)[0][:, columns] / exact - 1.0))


def test_a_table_tells_nothing_of_what_it_does_not_span() -> None:
    table = pulse_table(build(BUILDS["usual"]), 0, SPAN)
    middle = [2.8, 4e-4, 303.0]
    assert told(table, np.array([middle]))[1].all()
    for axis in range(3):
        for beyond in (SPAN.low[axis] - 1e-6, SPAN.high[axis] + 1e-6):
            place = list(middle)
            place[axis] = beyond
            assert not told(table, np.array([place]))[1].any()


def test_a_latch_that_the_panel_keeps_on_is_left_to_steps() -> None:
    """Above some light a pulse does not end; cells that hold such are halved, and at last tell nothing."""
    walker = build(design("stuck", both__latch=3.3e3))
    span = TableSpan((2.2, 0.0, 293.15), (3.0, 0.016, 298.15))
    table = pulse_table(walker, 0, span)
    places = drawn_places(200, span)
    _, ended = stepped(walker, places, 1.0)
    _, tells = told(table, places)
    assert 0 < np.count_nonzero(~ended) < 20
    assert not np.any(tells & ~ended)
    assert np.count_nonzero(tells) > 0.4 * np.count_nonzero(ended)
    assert len(table.cells) <= 2 ** (DEPTH + 1) - 1


def test_sides_that_differ_in_where_they_look_share_a_table_and_other_latches_do_not() -> None:
    walker = build(BUILDS["usual"])
    assert pulse_table(walker, 0, SPAN) is pulse_table(walker, 1, SPAN)
    other = build(design("lopsided", right__latch=22e3))
    assert pulse_table(other, 0, SPAN) is not pulse_table(other, 1, SPAN)


def test_cells_are_evaluated_as_the_library_does() -> None:
    draws = np.random.default_rng(3)
    for points in ((5, 3, 2), (1, 1, 1), (4, 1, 3)):
        cells = np.zeros(1, CELL)
        low, high = np.array([1.0, -2.0, 300.0]), np.array([3.0, 5.0, 301.0])
        cells["low"], cells["high"], cells["points"], cells["tells"], cells["axis"] = low, high, points, 1, -1
        values = draws.normal(size=(int(np.prod(points)), OUTCOMES))
        at = low + draws.uniform(size=3) * (high - low)
        row = np.zeros(OUTCOMES)
        assert look_up(PulseTable(cells, values), 0, *at.tolist(), row)
        x, y, z = (2.0 * at - low - high) / (high - low)
        expected = np.polynomial.chebyshev.chebval3d(x, y, z, values.reshape(*points, OUTCOMES))
        assert row == pytest.approx(expected, rel=1e-12)


def test_the_way_within_a_pulse_and_the_moment_of_a_way() -> None:
    walker = build(BUILDS["usual"])
    (outcome,), _ = stepped(walker, np.array([[2.9, 3e-4, 300.0]]), 1.0)
    lasts = outcome[LENGTH]
    quarters = lasts * np.arange(5) / 4
    ways = [0.0, *outcome[QUARTER_WAYS : QUARTER_WAYS + 3], outcome[WAY]]
    speeds = [0.0, *outcome[QUARTER_SPEEDS : QUARTER_SPEEDS + 3], outcome[SPEED]]
    spline = CubicHermiteSpline(quarters, ways, speeds)
    for time in np.linspace(0.0, lasts, 41).tolist():
        way, speed = gone_after(outcome, time)
        assert way == pytest.approx(float(spline(time)), rel=1e-9, abs=1e-15)
        assert speed == pytest.approx(float(spline(time, 1)), rel=1e-9, abs=1e-12)
    for way in np.linspace(1e-6, 1.0, 57) * outcome[WAY]:
        moment = time_of_way(outcome, way)
        assert 0.0 <= way - gone_after(outcome, moment)[0] <= 2.0 * SHORT * way


def test_the_way_within_a_pulse_is_the_way_of_a_stepped_one() -> None:
    """To a twentieth of a millimetre, which it is off while the motor gains speed."""
    walker = build(BUILDS["usual"])
    (outcome,), _ = stepped(walker, np.array([[2.9, 3e-4, 300.0]]), 30.0)

    state: Any = np.zeros(1, STATE)
    state[0]["rail"] = 2.9
    begin_pulse(walker[0], 0, False, state[0])
    lit = lit_panel(walker[0], 3e-4, 300.0 - float(walker["air"][0]))
    gone = 0.0
    for _ in range(1000):
        holds, passed = pulse_step(walker[0], 0, lit, False, state[0], 2e-3)
        gone += passed
        if not holds:
            break
        assert gone_after(outcome, float(state[0]["elapsed"]))[0] == pytest.approx(gone, abs=5e-5)
    assert gone == pytest.approx(outcome[WAY], rel=0.01)


def test_energies_of_a_pulse_that_was_looked_up_add_up() -> None:
    walker = build(BUILDS["usual"])
    table = pulse_table(walker, 0, SPAN)
    current = float(photocurrent_in(walker[0], 1e3))
    rail = float(trigger_voltage(1e3, False, walker[0]["side"][0]))
    row = np.zeros(OUTCOMES)
    assert look_up(table, 0, rail, current, 300.0, row)
    state: Any = np.zeros(1, STATE)
    state["rail"] = rail
    end_by(walker[0], row, state[0])
    given = 0.5 * float(walker["capacitance"][0]) * (rail**2 - float(state["rail"][0]) ** 2)
    spent = sum(float(state[f"{name}_energy"][0]) for name in ("motor", "base", "eye", "leak", "esr"))
    assert spent == pytest.approx(given + float(state["panel_energy"][0]), rel=1e-12)
    # and the motor's share, which is what is left, is what steps give it
    (stepped_row,), _ = stepped(walker, np.array([[rail, current, 300.0]]), 100.0)
    left = given + stepped_row[OF_PANEL] - stepped_row[TO_BASES]
    assert float(state["motor_energy"][0]) == pytest.approx(left, rel=0.05)
    assert state["elapsed"][0] == row[LENGTH]
