"""The whole two-sided circuit as node equations, for scipy's stiff integrators: the yardstick of a pulse.

Beside :mod:`tests.helpers.reference_circuit`, which has the firing side alone, the side that waits stands
here with all of its nodes: its coupling capacitor, its transistors, its motor at rest and its eye. Every node
of both sides obeys

    C_n du/dt = sum of the currents into it,     C_c d(u_eye - u_base)/dt = I_c

and the storage, the panel, the rotor, the tyre and the body are as in the program's docstrings, with dry
friction that is there at once. Transistors are those of reference_circuit: H. K. Gummel and H. C. Poon,
Bell System Technical Journal 49 (1970). C_n [F] is what wires and junctions have; a pulse that holds does not
depend on it, nor on the integrator's tolerance, which ``tests/agents/circuit/test_pulse_reference.py`` shows.

An eye draws its quiet current all the while, and while its top stands above the lit voltage what its lit path
takes on top of that. Before the flash that path is closed; the waiting side's stays so.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from agents.design.as_built import build
from agents.design.parts import Side
from agents.design.spec import Design
from agents.handbook.light_kinds import efficacy
from tests.helpers.reference_circuit import (
    ROOM_THERMAL_VOLTAGE,
    panel_current_explicit,
    transistor_currents,
    with_warm_panel,
)

NODE_CAPACITANCE = 1e-9  # [F]
RELATIVE_TOLERANCE = 1e-6
# The collector counts as free above this [V], however little the back-EMF leaves, as latch.py has it.
LEAST_FREE_LEVEL = 0.15
# Dry friction has three quarters of its value at these speeds of rotor [rad/s] and floor [m/s]; an integrator
# never gets past a jump.
SOFT_ROTOR = 0.05
SOFT_SPEED = 1e-5

# Resistance [ohm] of a flash that takes nothing; how long an LED flashes [s] (common practice, no source).
NEVER_LIT, FLASH = 1e9, 0.02

# Places in the state: storage, line, four nodes a side, rotor, speed, charge and way.
STORED, LINE, COLLECTOR, BASE, LOW, TOP = range(6)
ROTOR, SPEED, CHARGE, WAY = 10, 11, 12, 13


@dataclass(frozen=True)
class WholePulse:
    """What one pulse of the whole circuit came to.

    ``length`` [s] until the latch lets go, which is when its collector has come half the way up to the level
    at which the motor would let it float; 0 where the flash did not turn it on. ``let_go`` [V] the storage's
    voltage then, ``charge`` [C] through the motor until then, ``way`` [m] of floor under the driven tyre
    until it has coasted to rest. ``rotor`` [rad/s], ``speed`` [m/s] and ``state`` are those at let-go.
    """

    length: float
    let_go: float
    charge: float
    way: float
    ignites: bool
    locked: bool
    rotor: float
    speed: float
    state: Any

    @property
    def numbers(self) -> tuple[float, float, float, float]:
        """Length, let-go, charge and way."""
        return self.length, self.let_go, self.charge, self.way


class WholeCircuit:
    """Both sides of ``design`` on one storage, in light; side ``number`` fires.

    ``light`` [lx] of the sun on the panel, which warms it; ``photocurrent`` [A] in its stead leaves it at 25
    degC. ``touched`` tells whether the firing side's whisker is pressed.
    """

    def __init__(
        self,
        design: Design,
        light: float = 0.0,
        touched: bool = False,
        number: int = 0,
        photocurrent: float | None = None,
        node: float = NODE_CAPACITANCE,
        tolerance: float = RELATIVE_TOLERANCE,
        thermal: float = ROOM_THERMAL_VOLTAGE,
    ) -> None:
        self.design, self.node, self.tolerance, self.thermal = design, node, tolerance, thermal
        sides = (design.left, design.right)
        self.side, self.other = sides[number], sides[1 - number]
        self.touched = touched and self.side.feeler is not None
        self.photocurrent = design.panel.current_per_light * light if photocurrent is None else photocurrent
        warmth = light / (efficacy("sun") * design.panel.heat_loss)
        self.panel = with_warm_panel(design, 25.0 + warmth)
        self.pivot_mass = float(build(design)[0]["pivot_mass"])
        self.grip = self.side.tyre.grip * design.body.tyre_load * design.body.mass * 9.80665
        self.pairs = tuple(self._inverse(side.coupling) for side in (self.side, self.other))

    def _inverse(self, coupling: float) -> tuple[float, float]:
        """Inverse of the capacitance matrix of the two nodes that a coupling capacitor joins."""
        own = self.node + coupling
        determinant = self.node * (self.node + 2.0 * coupling)
        return own / determinant, coupling / determinant

    def trigger(self, on_voltage: float) -> float:
        """Rail [V] at which the firing side's eye stands at ``on_voltage`` [V], with nothing else moving."""
        return on_voltage + self.side.eye.quiet_current * self.feed

    @property
    def feed(self) -> float:
        """Resistance [ohm] from the rail to the top of the eye that fires."""
        feed = self.side.series + self.side.motor.resistance
        if self.touched and self.side.feeler is not None:
            return feed * self.side.feeler / (feed + self.side.feeler)
        return feed

    def start(self, rail: float) -> Any:
        """Both sides waiting with their eyes fed and the PNPs' bases at the level of the collectors."""
        state = np.zeros(14)
        state[STORED] = state[LINE] = rail
        for place, side, feed in (
            (COLLECTOR, self.side, self.feed),
            (6, self.other, self.other.series + self.other.motor.resistance),
        ):
            quiet = side.eye.quiet_current * min(rail / side.eye.dark_trigger, 1.0)
            state[place] = state[place + 1] = rail - quiet * side.motor.resistance
            state[place + 3] = rail - quiet * feed
        return state

    def rates(self, _: float, state: Any) -> Any:
        """Right-hand side of all node equations."""
        y = state.tolist()
        stored, line = y[STORED], y[LINE]
        rates = np.zeros(14)
        winding, drawn = self._side_rates(self.side, line, y[2:6], y[ROTOR], True, rates[2:6])
        _, drawn_other = self._side_rates(self.other, line, y[6:10], 0.0, False, rates[6:10])
        drawn += drawn_other
        panel = float(panel_current_explicit(self.panel, self.photocurrent, line))
        storage = self.design.storage
        leak = stored / storage.leak
        esr = storage.series_resistance
        if esr > 0.0:
            given = (stored - line) / esr
            rates[STORED] = -(given + leak) / storage.capacitance
            rates[LINE] = (given + panel - drawn) / self.node
        else:
            rates[STORED] = rates[LINE] = (panel - drawn - leak) / storage.capacitance
        rates[ROTOR], rates[SPEED] = self.rolling(y[ROTOR], y[SPEED], winding)
        rates[CHARGE] = winding
        rates[WAY] = y[SPEED]
        return rates

    def _side_rates(
        self, side: Side, line: float, nodes: Any, rotor: float, fires: bool, rates: Any
    ) -> tuple[float, float]:
        """Write the rates of a side's nodes; returns currents [A] of its motor and in all from the line."""
        collector, base, low, top = nodes
        eye = side.eye
        npn_collector, npn_base = transistor_currents(side.npn, low, low - collector, self.thermal)
        pnp_collector, pnp_base = transistor_currents(side.pnp, line - base, low - base, self.thermal)
        winding = (line - collector - side.motor.constant * rotor) / side.motor.resistance
        latch = (base - collector) / side.latch
        feed = (collector - top) / side.series
        touch = (line - top) / side.feeler if fires and self.touched and side.feeler is not None else 0.0
        eaten = eye.quiet_current * min(max(top, 0.0) / eye.dark_trigger, 1.0)
        if fires and top > eye.lit_voltage:
            eaten += (top - eye.lit_voltage) / eye.flash_resistance
        into_base = pnp_base - latch
        into_top = feed + touch - eaten
        direct, crossed = self.pairs[0 if fires else 1]
        rates[0] = (winding + latch - feed - npn_collector) / self.node
        rates[1] = direct * into_base + crossed * into_top
        rates[2] = (pnp_collector - npn_base) / self.node
        rates[3] = direct * into_top + crossed * into_base
        return winding, winding + pnp_collector + pnp_base + touch

    def rolling(self, rotor: float, speed: float, winding: float) -> tuple[float, float]:
        """Accelerations of rotor [rad/s2] and body [m/s2]."""
        tyre, motor = self.side.tyre, self.side.motor
        force = self.grip * math.tanh((tyre.radius * rotor - speed) / tyre.slip_speed)
        friction = motor.friction * math.tanh(rotor / SOFT_ROTOR)
        drag = self.design.body.drag * math.tanh(speed / SOFT_SPEED)
        turning = (motor.constant * winding - friction - tyre.radius * force) / motor.inertia
        return turning, (force - drag) / self.pivot_mass

    def slopes(self, time: float, state: Any) -> Any:
        """Jacobian of the rates by differences; nothing depends on charge and way.

        scipy's own differences grow without end along such columns.
        """
        here = self.rates(time, state)
        slopes = np.zeros((14, 14))
        for place in range(CHARGE):
            beside = state.copy()
            step = 1e-3 if place == ROTOR else 1e-6
            beside[place] += step
            slopes[:, place] = (self.rates(time, beside) - here) / step
        return slopes

    def above_half(self, _: float, state: Any) -> float:
        """How far [V] the collector stands above half of the level at which the motor would let it float."""
        esr = self.design.storage.series_resistance
        back = self.side.motor.constant * state[ROTOR]
        winding = (state[LINE] - state[COLLECTOR] - back) / self.side.motor.resistance
        free = state[LINE] + esr * winding - back
        return float(state[COLLECTOR] - max(0.5 * free, LEAST_FREE_LEVEL))

    def integrate(self, state: Any, span: float, event: Any = None, **options: Any) -> Any:
        """Go on from ``state`` for ``span`` [s] or until ``event``."""
        absolute = np.full(14, 1e-9)
        absolute[ROTOR] = 1e-5
        absolute[CHARGE] = absolute[WAY] = 1e-10
        solution = solve_ivp(
            self.rates,
            (0.0, span),
            state,
            method="BDF",
            rtol=self.tolerance,
            atol=absolute * self.tolerance / RELATIVE_TOLERANCE,
            jac=self.slopes,
            events=event,
            **options,
        )
        assert solution.success, solution.message
        return solution

    def takes(self, rail: float) -> tuple[bool, float, Any]:
        """Whether a flash at ``rail`` [V] brings the collector half-way down, when [s], and the state."""
        flash = self.side.eye.flash_resistance * self.side.coupling
        # what the flash has not turned on while it lasts it never does
        span = 10.0 * flash + 1e-4
        first = self.integrate(self.start(rail), span, crossing(self.above_half, -1.0))
        return first.status == 1, float(first.t[-1]), first.y[:, -1]

    def pulse(self, rail: float, longest: float = 20.0) -> WholePulse:
        """Let the side flash at ``rail`` [V] and follow it, for ``longest`` [s], until the wheel stands."""
        ignites, begun, state = self.takes(rail)
        if not ignites:
            return WholePulse(0.0, rail, 0.0, 0.0, False, False, 0.0, 0.0, state)
        up = crossing(self.above_half, 1.0)
        second = self.integrate(state, longest, up)
        state = second.y[:, -1]
        length = begun + float(second.t[-1])
        locked = second.status == 0
        way = float(state[WAY]) if locked else self.coasted(state)
        return WholePulse(
            length,
            float(state[STORED]),
            float(state[CHARGE]),
            way,
            True,
            locked,
            float(state[ROTOR]),
            float(state[SPEED]),
            state,
        )

    def faded(self, pulse: WholePulse, current: float = 1e-3) -> WholePulse:
        """Follow a pulse beyond half-way until the motor takes less than ``current`` [A].

        A latch that held lets go within microseconds. One that only amplifies what the coupling capacitor
        still gives fades with that.
        """

        def drawn(_: float, state: Any) -> float:
            back = self.side.motor.constant * state[ROTOR]
            winding = (state[LINE] - state[COLLECTOR] - back) / self.side.motor.resistance
            return float(winding) - current

        end = self.integrate(pulse.state, 1.0, crossing(drawn, -1.0))
        state = end.y[:, -1]
        return replace(
            pulse,
            length=pulse.length + float(end.t[-1]),
            let_go=float(state[STORED]),
            charge=float(state[CHARGE]),
            way=self.coasted(state),
            rotor=float(state[ROTOR]),
            speed=float(state[SPEED]),
            state=state,
        )

    def coasted(self, state: Any) -> float:
        """Floor [m] that has passed when the wheel, its motor open from ``state`` on, has come to rest."""
        if state[SPEED] <= 3.0 * SOFT_SPEED and state[ROTOR] <= 3.0 * SOFT_ROTOR:
            return float(state[WAY])

        def rates(_: float, moving: Any) -> list[float]:
            turning, pushing = self.rolling(float(moving[0]), float(moving[1]), 0.0)
            return [turning, pushing, float(moving[1])]

        # the rotor of a body that does not move yet may still set it going
        rests = crossing(
            lambda _, moving: max(float(moving[1]) / SOFT_SPEED, float(moving[0]) / SOFT_ROTOR) - 3.0, -1.0
        )
        begin = [float(state[ROTOR]), float(state[SPEED]), float(state[WAY])]
        absolute = [1e-5, 1e-9, 1e-10]
        solution = solve_ivp(
            rates, (0.0, 60.0), begin, method="LSODA", rtol=self.tolerance, atol=absolute, events=rests
        )
        assert solution.status == 1, solution.message
        return float(solution.y[2, -1])


def rhythm(design: Design, light: float, on_voltage: float, flashes: int = 3) -> tuple[list[float], float]:
    """Times [s] between flashes of a walker that stands, and the way [m] of its tyre in the last of them.

    Both eyes see the same and flash at ``on_voltage`` [V], for ``FLASH`` at the most; between flashes none is
    lit. What a latch goes on drawing when it has let go counts, which :meth:`WholeCircuit.pulse` leaves out.
    """
    lit = WholeCircuit(design, light)
    dark = WholeCircuit(design.with_values({"both.eye.flash_resistance": NEVER_LIT}), light)

    def above_lit(_: float, state: Any) -> float:
        return float(state[TOP] - design.left.eye.lit_voltage)

    def is_due(_: float, state: Any) -> float:
        return float(max(state[TOP], state[TOP + 4]) - on_voltage)

    state = lit.start(lit.trigger(on_voltage))
    between, way = [], 0.0
    for _ in range(flashes):
        begun = float(state[WAY])
        flash = lit.integrate(state, FLASH, crossing(above_lit, -1.0))
        rest = dark.integrate(flash.y[:, -1], 300.0, crossing(is_due, 1.0))
        assert rest.status == 1
        state = rest.y[:, -1]
        between.append(float(flash.t[-1] + rest.t[-1]))
        way = float(state[WAY]) - begun
        if state[TOP + 4] > state[TOP]:
            # the side that is due is the first of those that are stepped
            state[2:10] = np.roll(state[2:10], 4)
    return between, way


def crossing(function: Any, direction: float) -> Any:
    """Make ``function`` an event that ends the integration where it passes nought in ``direction``."""

    def event(time: float, state: Any) -> float:
        return float(function(time, state))

    event.terminal = True  # type: ignore[attr-defined]
    event.direction = direction  # type: ignore[attr-defined]
    return event
