"""Tables of free pulses: nearer to the equations than pulses that are stepped, and silent where they are not.

The evaluation is checked against numpy's polynomials of Chebyshev, the way within a pulse against scipy's
cubic splines of Hermite; what a table tells against pulses stepped a hundred times finer.
"""

from typing import Any

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from agents.circuit.panel import lit_panel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.pulse_table import (
    CELL,
    CHARGE,
    LENGTH,
    LET_GO,
    MOST_STEPS,
    OF_PANEL,
    OUTCOMES,
    PEAK,
    QUARTER_SPEEDS,
    QUARTER_WAYS,
    ROTOR,
    SPEED,
    WAY,
    PulseTable,
    end_by,
    gone_after,
    look_up,
    time_of_way,
    weigh_outcomes,
    work_out,
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


TRACE = np.zeros((MOST_STEPS + 1, 3))


def stepped(walker: Any, places: np.ndarray[Any, Any], finer: float) -> tuple[Any, Any]:
    """What free pulses of the left side come to, stepped so many times finer, and which of them end."""
    fine = walker.copy()
    fine["tolerance"] /= finer
    outcomes, ended = np.zeros((len(places), OUTCOMES)), np.zeros(len(places), np.bool_)
    work_out_all(fine[0], 0, places, np.zeros(1, STATE)[0], TRACE, outcomes, ended)
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
        low, high = np.array([1.0, -2.0, 300.0]), np.array([3.0, 5.0, 304.0])
        cells["low"], cells["high"], cells["points"], cells["tells"], cells["axis"] = low, high, points, 1, -1
        values = draws.normal(size=(int(np.prod(points)), OUTCOMES))
        at = low + draws.uniform(size=3) * (high - low)
        row = np.full(OUTCOMES, 7.0)
        assert look_up(PulseTable(cells, values), 0, *at.tolist(), row)
        x, y, z = (2.0 * at - low - high) / (high - low)
        expected = np.polynomial.chebyshev.chebval3d(x, y, z, values.reshape(*points, OUTCOMES))
        assert row == pytest.approx(expected, rel=1e-12)


def test_a_place_is_told_by_the_cell_in_which_it_lies() -> None:
    """A whole that is halved at 2 V, its upper half at 3 mA, of which one quarter tells nothing."""
    cells = np.zeros(5, CELL)
    cells["low"], cells["high"], cells["points"] = (1.0, 0.0, 290.0), (3.0, 6e-3, 300.0), 1
    cells["axis"] = -1
    for number, axis, middle, below, above in ((0, 0, 2.0, 1, 2), (2, 1, 3e-3, 3, 4)):
        cells[number]["axis"], cells[number]["middle"] = axis, middle
        cells[number]["below"], cells[number]["above"] = below, above
    cells["first"], cells["tells"] = [0, 0, 0, 1, 0], [0, 1, 0, 1, 0]
    table = PulseTable(cells, np.outer([1.0, 2.0], np.arange(1.0, OUTCOMES + 1.0)))
    for rail, current, row in ((1.0, 5e-3, 1.0), (1.99, 0.0, 1.0), (2.0, 1e-3, 2.0), (3.0, 2.99e-3, 2.0)):
        outcome = np.zeros(OUTCOMES)
        assert look_up(table, 0, rail, current, 295.0, outcome)
        assert outcome.tolist() == (row * np.arange(1.0, OUTCOMES + 1.0)).tolist()
    assert not look_up(table, 0, 2.5, 3e-3, 295.0, np.zeros(OUTCOMES))
    assert not look_up(table, 0, 2.5, 3.5e-3, 295.0, np.zeros(OUTCOMES))
    for place in ((0.99, 1e-3, 295.0), (3.01, 1e-3, 295.0), (1.5, -1e-9, 295.0), (1.5, 1e-3, 300.1)):
        assert not look_up(table, 0, *place, np.zeros(OUTCOMES))


def test_outcomes_are_weighed_as_a_product_of_matrices() -> None:
    draws = np.random.default_rng(5)
    weights, outcomes = draws.normal(size=(4, 7)), draws.normal(size=(7, OUTCOMES))
    sums = np.full((4, OUTCOMES), np.nan)
    weigh_outcomes(weights, outcomes, sums)
    assert sums == pytest.approx(weights @ outcomes, rel=1e-12, abs=1e-14)


@pytest.mark.parametrize("rail", [2.4, 2.8, 2.9])
def test_what_a_pulse_comes_to_is_what_its_steps_come_to(rail: float) -> None:
    """Energies are those of this pulse alone, whatever there was before; its quarters lie on its way."""
    walker = build(design("plain", storage__series_resistance=0.5, both__feeler=33e3))
    state: Any = np.zeros(1, STATE)
    outcome = np.zeros(OUTCOMES)
    names = ("panel", "base", "eye", "leak", "esr")
    for energy in (*names, "motor"):
        state[f"{energy}_energy"] = 1.0
    state["rail"] = rail
    lit = lit_panel(walker[0], 4e-4, 5.0)
    # what the pulse before has left there
    TRACE[:] = 9.0
    assert work_out(walker[0], 0, lit, state[0], TRACE, outcome)
    steps = int(np.argmax(TRACE[:, 0] == outcome[LENGTH]))
    assert 10 < steps < 60
    times, ways, speeds = TRACE[: steps + 1].T
    assert times[0] == ways[0] == speeds[0] == 0.0
    assert np.all(np.diff(times) > 0.0)
    assert np.all(np.diff(ways) >= 0.0)
    by_steps: Any = np.zeros(1, STATE)
    by_steps["rail"] = rail
    begin_pulse(walker[0], 0, False, by_steps[0])
    gone = 0.0
    for _ in range(steps):
        gone += pulse_step(walker[0], 0, lit, False, by_steps[0], 0.5 - by_steps[0]["elapsed"])[1]
    assert (ways[-1], times[-1]) == pytest.approx((gone, by_steps["elapsed"][0]), rel=1e-9)
    row = state[0]
    for column, value in (
        (LENGTH, row["elapsed"]),
        (LET_GO, row["rail"]),
        (CHARGE, row["charge"]),
        (WAY, ways[-1]),
        (ROTOR, row["rotor"]),
        (SPEED, row["speed"]),
        (PEAK, row["peak"]),
        *((OF_PANEL + place, row[f"{name}_energy"] - 1.0) for place, name in enumerate(names)),
    ):
        assert outcome[column] == pytest.approx(float(value), rel=1e-9)
        assert value > 0.0
    lasts = float(outcome[LENGTH])
    assert outcome[LENGTH] == times[-1]
    assert outcome[SPEED] == speeds[-1]
    for quarter in range(3):
        time = 0.25 * (quarter + 1) * lasts
        spline = CubicHermiteSpline(times, ways, speeds)
        assert outcome[QUARTER_WAYS + quarter] == pytest.approx(float(spline(time)), rel=1e-9)
        speed = float(np.interp(time, times, speeds))
        assert outcome[QUARTER_SPEEDS + quarter] == pytest.approx(speed, rel=1e-9)


def test_a_pulse_that_does_not_end_soon_or_does_not_move_or_is_lost_comes_to_nothing() -> None:
    usual, stiff = build(BUILDS["usual"]), build(design("stiff", both__motor__friction=0.01))
    # a slipping tyre under a body that hardly moves takes too many steps
    slips = build(design("slips", body__drag=5.0, both__tyre__grip=0.1))
    for walker, current, status in ((usual, 0.2, 0), (usual, 3e-4, 1), (stiff, 3e-4, 0), (slips, 3e-4, 0)):
        state: Any = np.zeros(1, STATE)
        state["rail"], state["status"] = 2.7, status
        assert not work_out(
            walker[0], 0, lit_panel(walker[0], current, 0.0), state[0], TRACE, np.zeros(OUTCOMES)
        )
        if current == 0.2:
            assert float(state["elapsed"][0]) == pytest.approx(0.5)


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
    for share in (*np.linspace(1e-6, 1.0, 57), *(outcome[QUARTER_WAYS : QUARTER_WAYS + 3] / outcome[WAY])):
        way = float(share * outcome[WAY])
        assert 0.0 <= way - gone_after(outcome, time_of_way(outcome, way))[0] <= 1.0001e-7 * way
    # a way that all but stands still within a quarter, where Newton's method would leave it
    outcome[QUARTER_SPEEDS], outcome[QUARTER_SPEEDS + 1] = 0.0, 0.0
    for share in np.linspace(0.05, 0.95, 19):
        way = float(share * outcome[WAY])
        assert 0.0 <= way - gone_after(outcome, time_of_way(outcome, way))[0] <= 1.0001e-7 * way


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
    """What is told of bases, eyes, leak and ESR is added, and the motor has the rest, as it has by steps."""
    walker = build(design("plain", storage__series_resistance=0.5))
    (row,), _ = stepped(walker, np.array([[2.7, 3e-4, 300.0]]), 1.0)
    state: Any = np.zeros(1, STATE)
    spent = ("motor", "base", "eye", "leak", "esr")
    for number, name in enumerate(("panel", *spent)):
        state[f"{name}_energy"] = 0.1 * number
    state["rail"] = 2.7
    end_by(walker[0], row, state[0])
    energy = {n: float(state[f"{n}_energy"][0]) - 0.1 * k for k, n in enumerate(("panel", *spent))}
    for column, name in enumerate(("panel", "base", "eye", "leak", "esr"), OF_PANEL):
        assert energy[name] == pytest.approx(float(row[column]), rel=1e-6)
    given = 0.5 * float(walker["capacitance"][0]) * (2.7**2 - float(row[LET_GO]) ** 2)
    assert sum(energy[name] for name in spent) == pytest.approx(given + energy["panel"], rel=1e-9)
    by_steps: Any = np.zeros(1, STATE)
    by_steps["rail"] = 2.7
    lit = lit_panel(walker[0], 3e-4, 300.0 - float(walker["air"][0]))
    assert work_out(walker[0], 0, lit, by_steps[0], TRACE, np.zeros(OUTCOMES))
    assert energy["motor"] == pytest.approx(float(by_steps["motor_energy"][0]), rel=1e-6)
    for name, column in (("rail", LET_GO), ("rotor", ROTOR), ("speed", SPEED), ("peak", PEAK)):
        assert state[name][0] == row[column]
    assert state["charge"][0] == row[CHARGE]
    assert state["elapsed"][0] == row[LENGTH]
    # a polynomial may come to a little less than nothing
    row[ROTOR] = row[SPEED] = -1e-9
    end_by(walker[0], row, state[0])
    assert state["rotor"][0] == state["speed"][0] == 0.0


def test_pulses_are_worked_out_one_after_the_other() -> None:
    """Each from its own storage, with its own photocurrent and as warm, whatever became of the one before."""
    walker = build(BUILDS["usual"])
    places = np.array([[2.5, 3e-4, 300.0], [2.7, 0.2, 300.0], [2.7, 6e-4, 320.0]])
    outcomes, ended = stepped(walker, places, 1.0)
    assert ended.tolist() == [True, False, True]
    for number in (0, 2):
        state: Any = np.zeros(1, STATE)
        state["rail"], outcome = places[number, 0], np.zeros(OUTCOMES)
        lit = lit_panel(walker[0], places[number, 1], places[number, 2] - float(walker["air"][0]))
        assert work_out(walker[0], 0, lit, state[0], TRACE, outcome)
        # but for what their energies lose where they are added to others
        assert outcomes[number] == pytest.approx(outcome, rel=1e-9)
