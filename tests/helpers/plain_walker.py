"""One walker written straight down: scipy's integrator with events, shapely for shadows and contacts.

This is the script that somebody would write who wants to see one walker go, and the benchmark's yardstick. It
follows the equations that stand in the docstrings of agents.circuit.charging, agents.circuit.latch and
agents.circuit.pulse, and shares no kernel with them. It knows upright walls, point lamps and a round body,
and leaves out what only a crowd needs, whiskers bent past an obstacle's end, and what dragging along a wall
takes from the speed.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from agents.design.as_built import GRAVITY, ROUND_BODY
from agents.design.parts import Side
from agents.design.spec import Design
from agents.handbook.formulae import lobe_exponent
from agents.handbook.light_kinds import KINDS, efficacy, panel_weights
from arena.scene.flat_arena import FlatArena
from tests.helpers.reference_circuit import (
    ROOM_THERMAL_VOLTAGE,
    panel_current_explicit,
    with_warm_panel,
)

# How far a body goes between two looks at the walls [m].
STRIDE = 1.5e-3
# Speed [m/s] below which a coasting walker counts as at rest.
REST_SPEED = 1e-3
# Dry friction has its full value above these speeds of floor [m/s] and rotor [rad/s], and none at rest: an
# integrator would never get past a jump.
SOFT_SPEED = 3e-4
SOFT_ROTOR = 0.5

State = Any


@dataclass(frozen=True)
class PlainPulse:
    """One pulse: times [s], rail [V] at trigger and let-go, and the pose in which the walker came to rest."""

    side: int
    start: float
    let_go_time: float
    rest: float
    trigger: float
    let_go: float
    x: float
    y: float
    heading: float


@dataclass(frozen=True)
class Latch:
    """A settled latch: currents [A] of motor, bases and coupling capacitor."""

    motor: float
    bases: float
    coupling: float


class PlainWalker:
    """A walker of ``design`` on its own, from ``pose`` (x, y [m], heading [rad]) on."""

    def __init__(
        self, arena: FlatArena, design: Design, pose: tuple[float, float, float], seed: int = 0
    ) -> None:
        if len(arena.shades) or np.any(arena.sources["radius"] > 0.0) or design.body.outline is not None:
            raise ValueError("this script knows walls, point lamps and round bodies only")
        self.arena, self.design = arena, design
        self.x, self.y, self.heading = pose
        self.draws = np.random.default_rng(seed)
        self.lines = shapely.linestrings(
            [[(wall["ax"], wall["ay"]), (wall["bx"], wall["by"])] for wall in arena.walls]
        )
        self.sides = (design.left, design.right)
        self.rail = design.storage.start
        self.time = 0.0
        self.photocurrent = 0.0
        self.warm_design = design
        body = design.body
        self.radius = body.radius or ROUND_BODY
        inertia = body.pivot_inertia
        if inertia is None:
            disc = 0.5 * body.mass * self.radius**2
            inertia = disc + body.mass * (0.25 * body.track**2 + body.ahead**2)
        self.pivot_mass = inertia / body.track**2

    def run(self, until: float) -> list[PlainPulse]:
        """Let the walker go until ``until`` [s]; returns its pulses, but not one that the end cuts off."""
        pulses: list[PlainPulse] = []
        hold = 0.0
        while True:
            goals, touches = self._take_stock()
            self._charge(min(hold, until))
            self._charge(until, min(goals))
            if self.time >= until:
                return pulses
            number = 0 if goals[0] <= goals[1] else 1
            start, trigger = self.time, self.rail
            rotor, speed = self._pulse(number, touches[number], until)
            let_go_time, let_go = self.time, self.rail
            if self.time >= until:
                return pulses
            self._coast(number, rotor, speed)
            hold = let_go_time + self._recovery(self.sides[number])
            pulses.append(
                PlainPulse(
                    number, start, let_go_time, self.time, trigger, let_go, self.x, self.y, self.heading
                )
            )

    def _at(self, ahead: float, aside: float) -> tuple[float, float]:
        """Where a place of the walker's own frame is on the floor."""
        cosine, sine = math.cos(self.heading), math.sin(self.heading)
        return self.x + cosine * ahead - sine * aside, self.y + sine * ahead + cosine * aside

    # light and touch, taken where it stands

    def _light(
        self, place: tuple[float, float, float], look: tuple[float, float, float], power: float
    ) -> Any:
        """Direct light [lx] of every lamp at a place that looks along a unit vector."""
        return np.array([self._light_of(source, place, look, power) for source in self.arena.sources])

    def _light_of(self, source: Any, place: Any, look: Any, power: float) -> float:
        way = np.array([source["x"], source["y"], source["z"]]) - place
        distance = float(np.linalg.norm(way))
        facing = float(way @ look) / distance
        if facing <= 0.0:
            return 0.0
        ray = shapely.LineString([place[:2], (source["x"], source["y"])])
        for index in np.flatnonzero(shapely.intersects(self.lines, ray)):
            meeting = ray.intersection(self.lines[index])
            share = shapely.Point(place[:2]).distance(meeting) / ray.length
            if place[2] + share * way[2] < self.arena.walls[index]["height"]:
                return 0.0
        light = float(source["intensity"]) * facing**power / distance**2
        if source["beam"] > 0.0:
            aim = np.array([source["aim_x"], source["aim_y"], source["aim_z"]])
            light *= max(-float(way @ aim) / distance, 0.0) ** float(source["beam"])
        return light

    def _take_stock(self) -> tuple[tuple[float, float], tuple[bool, bool]]:
        """Take light and touch; returns the rail at which each side fires, and whether it is touched."""
        panel = self.design.panel
        weights = np.array(panel_weights(panel.response))
        kinds = self.arena.sources["kind"]
        total = float(weights @ self.arena.ambient)
        efficacies = np.array([efficacy(kind) for kind in KINDS])
        heat = float(np.sum(self.arena.ambient / efficacies))
        for ahead in (0.25, -0.25):
            for aside in (0.25, -0.25):
                x, y = self._at(panel.ahead + ahead * panel.length, aside * panel.width)
                light = self._light((x, y, panel.height), (0.0, 0.0, 1.0), 1.0)
                total += 0.25 * float(weights[kinds] @ light)
                heat += 0.25 * float(np.sum(light / efficacies[kinds]))
        self.photocurrent = panel.current_per_light * total
        # 25 degC of air, and what the light adds
        self.warm_design = with_warm_panel(self.design, 25.0 + heat / panel.heat_loss)
        touches = (self._is_touched(0), self._is_touched(1))
        return (self._trigger(0, touches[0]), self._trigger(1, touches[1])), touches

    def _trigger(self, number: int, touched: bool) -> float:
        eye = self.sides[number].eye
        outward = 1.0 if number == 0 else -1.0
        x, y = self._at(eye.ahead, outward * eye.aside)
        bearing = self.heading + outward * eye.outward
        level = math.cos(eye.up)
        look = (level * math.cos(bearing), level * math.sin(bearing), math.sin(eye.up))
        power = lobe_exponent(eye.half_angle)
        light = float(np.sum(self._light((x, y, eye.height), look, power)))
        light += float(np.sum(self.arena.ambient)) * 2.0 / (power + 1.0)
        flash = eye.dark_trigger + eye.slope * math.log10(1.0 + eye.tape * light / eye.knee_light)
        quiet = eye.quiet_current * self._feed(self.sides[number], touched)
        return flash + quiet + eye.jitter * float(self.draws.standard_normal())

    def _is_touched(self, number: int) -> bool:
        whisker = self.sides[number].whisker
        if whisker is None:
            return False
        outward = 1.0 if number == 0 else -1.0
        along = outward * whisker.outward
        root = (whisker.ahead, outward * whisker.aside)
        tip = (root[0] + whisker.length * math.cos(along), root[1] + whisker.length * math.sin(along))
        wire = shapely.LineString([self._at(*root), self._at(*tip)])
        end = shapely.Point(self._at(*tip))
        hit = shapely.intersects(self.lines, wire) & (self.arena.walls["height"] > whisker.height)
        return bool(np.any(hit & (shapely.distance(self.lines, end) >= whisker.closing_bend)))

    @staticmethod
    def _feed(side: Side, touched: bool) -> float:
        feed = side.series + side.motor.resistance
        if touched and side.feeler is not None:
            feed = 1.0 / (1.0 / feed + 1.0 / side.feeler)
        return feed

    def _recovery(self, side: Side) -> float:
        return max(3.0 * self._feed(side, False) * side.coupling, 0.02)

    # the circuit

    def _others(self, rail: float) -> float:
        """Current [A] out of the storage other than the pulse's: eyes less panel."""
        draw = sum(
            side.eye.quiet_current * min(max(rail, 0.0) / side.eye.dark_trigger, 1.0) for side in self.sides
        )
        return draw - float(panel_current_explicit(self.warm_design, self.photocurrent, rail))

    def _charge(self, until: float, goal: float = math.inf) -> None:
        """Let the storage charge until the rail reaches ``goal`` [V], or until ``until`` [s]."""
        if until <= self.time or self.rail >= goal:
            return
        storage = self.design.storage

        def rate(_: float, state: State) -> list[float]:
            return [-(self._others(state[0]) + state[0] / storage.leak) / storage.capacitance]

        def fires(_: float, state: State) -> float:
            return float(state[0]) - goal

        fires.terminal = True  # type: ignore[attr-defined]
        events = fires if goal < math.inf else None
        solution = solve_ivp(
            rate, (self.time, until), [self.rail], method="LSODA", rtol=1e-6, atol=1e-8, events=events
        )
        self.time, self.rail = float(solution.t[-1]), float(solution.y[0, -1])

    def _latch(self, side: Side, touched: bool, rail: float, back: float, across: float) -> Latch | None:
        """Where the latch settles, or None where it has let go.

        ``back`` [V] is the motor's EMF and ``across`` [V] the coupling capacitor's voltage. See
        agents.circuit.latch for the equations; they are solved here for y = ln(f / I_S) of the PNP, from the
        greatest y down.
        """
        npn, pnp, eye, thermal = side.npn, side.pnp, side.eye, ROOM_THERMAL_VOLTAGE
        feeler = 1.0 / side.feeler if touched and side.feeler is not None else 0.0
        share = 1.0 / (npn.reverse_gain + 1.0)

        def settle(y: float) -> tuple[float, float, Latch]:
            """How far the NPN's level lies over the collector's, the latter, and the currents."""
            forward = pnp.saturation_current * math.exp(y)
            top = rail - thermal * y - across
            eye_current = (top - rail) * feeler
            if top > eye.lit_voltage:
                eye_current += (top - eye.lit_voltage) / eye.flash_resistance
            elif top > 0.0:
                eye_current += eye.quiet_current * top / eye.dark_trigger
            # what hangs on the load and on the NPN's voltages changes little, so three rounds do
            load, level, low = max(rail - back, 0.0) / side.motor.resistance, 0.0, 0.7
            for _ in range(3):
                carried = load / (1.0 + (max(level, 0.0) - low) / npn.early_voltage)
                demand = carried + carried * carried / npn.knee_current
                low = thermal * math.log(max(demand, 1e-6) / npn.saturation_current)
                lost = math.sqrt(demand * npn.low_knee_current)
                spare = share * demand - lost / npn.gain
                room = math.exp(-rail / thermal) / (npn.saturation_current * (1.0 / npn.gain + share))
                fed_back = forward * room
                early = 1.0 + (rail - low - thermal * y) / pnp.early_voltage
                linear = 1.0 + fed_back * (early + 1.0 / pnp.reverse_gain)
                free = forward * max(1.0 - room * spare * (1.0 + 1.0 / (early * pnp.reverse_gain)), 0.0)
                given = 2.0 * free / (linear + math.sqrt(linear * linear + 4.0 * free / pnp.knee_current))
                given *= early
                base = (forward + math.sqrt(forward * pnp.low_knee_current)) / pnp.gain
                base += fed_back * (given + spare) / pnp.reverse_gain
                # the coupling capacitor's current also goes through the series resistor to the collector
                open_level = rail - thermal * y - side.latch * (base - eye_current - top / side.series)
                level = open_level / (1.0 + side.latch / side.series)
                coupling = eye_current + (top - level) / side.series
                motor = max(rail - level - back, 0.0) / side.motor.resistance
                load = max(motor + base - coupling, 1e-9)
            carried = load / (1.0 + (max(level, 0.0) - low) / npn.early_voltage)
            demand = carried + carried * carried / npn.knee_current
            cover = (npn.gain * given - lost) / demand
            currents = Latch(motor, base + given, coupling)
            if cover <= 1.0:
                return math.inf, level, currents
            ratio = npn.gain / npn.reverse_gain + cover * (1.0 + 1.0 / npn.reverse_gain)
            return thermal * math.log(ratio / (cover - 1.0)) - level, level, currents

        kick = max(rail - across - eye.lit_voltage, 0.0) / eye.flash_resistance
        strongest = max(rail, thermal) / side.latch + kick
        y = math.log(strongest * pnp.gain / pnp.saturation_current)
        # near letting go that is about ten millivolts at the latch resistor
        step = 0.05
        free_level = max(0.5 * (rail - back), 0.15)
        while True:
            excess, level, _ = settle(y)
            if level > free_level:
                return None
            if excess <= 0.0:
                break
            y -= step

        def bounded(y: float) -> float:
            return min(settle(y)[0], 1.0)

        return settle(brentq(bounded, y, y + step, xtol=1e-10))[2]

    def _pulse(self, number: int, touched: bool, until: float) -> tuple[float, float]:
        """Let a side fire; returns speed of rotor [rad/s] and floor [m/s] when its latch lets go."""
        side, storage = self.sides[number], self.design.storage
        motor = side.motor
        across = side.eye.quiet_current * self._feed(side, touched)
        esr = storage.series_resistance

        def latch_at(state: State) -> tuple[Latch | None, float]:
            stored, across, rotor = (float(value) for value in state[:3])
            # through a series resistance, rail and currents depend on one another
            rail = stored
            found = self._latch(side, touched, rail, motor.constant * max(rotor, 0.0), across)
            for _ in range(4 if esr > 0.0 and found is not None else 0):
                if found is not None:
                    rail = stored - esr * (found.motor + found.bases + self._others(rail))
                    found = self._latch(side, touched, rail, motor.constant * max(rotor, 0.0), across)
            return found, rail

        def rates(_: float, state: State) -> list[float]:
            found, rail = latch_at(state)
            latch = found or Latch(0.0, 0.0, 0.0)
            drawn = latch.motor + latch.bases + self._others(rail) + state[0] / storage.leak
            rotor_rate, speed_rate = self._rolling(side, state[2], state[3], motor.constant * latch.motor)
            return [
                -drawn / storage.capacitance,
                latch.coupling / side.coupling,
                rotor_rate,
                speed_rate,
                state[3],
            ]

        def lets_go(_: float, state: State) -> float:
            return -1.0 if latch_at(state)[0] is None else 1.0

        lets_go.terminal = True  # type: ignore[attr-defined]
        solution = solve_ivp(
            rates,
            (self.time, until),
            [self.rail, across, 0.0, 0.0, 0.0],
            method="LSODA",
            rtol=1e-4,
            atol=[1e-6, 1e-6, 1e-2, 1e-6, 1e-7],
            max_step=5e-3,
            events=lets_go,
        )
        self.time = float(solution.t[-1])
        self.rail, _, rotor, speed, way = (float(value) for value in solution.y[:, -1])
        self._move(number, way)
        return rotor, speed

    def _rolling(self, side: Side, rotor: float, speed: float, torque: float) -> tuple[float, float]:
        """Accelerations of rotor [rad/s2] and floor [m/s2]; friction by itself moves nothing."""
        tyre, body = side.tyre, self.design.body
        grip = tyre.grip * body.tyre_load * body.mass * GRAVITY
        force = grip * math.tanh((tyre.radius * rotor - speed) / tyre.slip_speed)
        drive = torque - tyre.radius * force - side.motor.friction * math.tanh(rotor / SOFT_ROTOR)
        push = force - body.drag * math.tanh(speed / SOFT_SPEED)
        return drive / side.motor.inertia, push / self.pivot_mass

    def _coast(self, number: int, rotor: float, speed: float) -> None:
        """Let the wheel run out."""
        side = self.sides[number]

        def rates(_: float, state: State) -> list[float]:
            return [*self._rolling(side, state[0], state[1], 0.0), state[1]]

        def rests(_: float, state: State) -> float:
            return float(state[1]) - REST_SPEED

        rests.terminal = True  # type: ignore[attr-defined]
        solution = solve_ivp(
            rates, (0.0, 10.0), [rotor, speed, 0.0], method="LSODA", rtol=1e-5, atol=1e-7, events=rests
        )
        self._charge(self.time + float(solution.t[-1]))
        self._move(number, float(solution.y[2, -1]))

    def _move(self, number: int, way: float) -> None:
        """Roll the tyre of one side by ``way`` [m] about the other, and leave every wall that is met."""
        outward = 0.5 * self.design.body.track * (1.0 if number == 0 else -1.0)
        sign = 1.0 if self.sides[number].motor.turns == "forward" else -1.0
        strides = max(math.ceil(way / STRIDE), 1)
        for _ in range(strides):
            pivot_x, pivot_y = self._at(0.0, -outward)
            self.heading -= sign * way / strides / (2.0 * outward)
            self.x = pivot_x - math.sin(self.heading) * outward
            self.y = pivot_y + math.cos(self.heading) * outward
            for _ in range(20):
                if not self._leave_walls():
                    break

    def _leave_walls(self) -> bool:
        """Move out of each wall by the shortest way; returns whether one was met."""
        met = False
        middle = shapely.Point(self._at(self.design.body.ahead, 0.0))
        for index in np.flatnonzero(shapely.distance(self.lines, middle) < self.radius):
            nearest, middle = self._nearest(index)
            apart = middle.distance(nearest)
            if 0.0 < apart < self.radius:
                met = True
                share = (self.radius - apart + 1e-6) / apart
                self.x += share * (middle.x - nearest.x)
                self.y += share * (middle.y - nearest.y)
        return met

    def _nearest(self, index: int) -> tuple[shapely.Point, shapely.Point]:
        middle = shapely.Point(self._at(self.design.body.ahead, 0.0))
        line = self.lines[index]
        return line.interpolate(line.project(middle)), middle
