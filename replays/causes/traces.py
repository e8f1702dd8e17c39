"""The circuit behind a replay: rail and triggers of a walker, worked out anew from the file alone.

A replay holds the text of every design, the parts that each copy drew, the light at both eyes and at the
panel, every touch, and the seed. That is all that the circuit's equations take, so that what happened between
the pulses need not be stored.

What the panel gives depends on the kinds of light that fall on it, of which a replay holds the sum alone. The
lamps' kinds tell how much of it is whose where all lamps are of one kind; otherwise one factor a wait is
chosen such that the rail comes from where it was let go to where it fired in the time that this took.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from agents.arrays import BoolArray, FloatArray, RecordArray
from agents.circuit.air import set_air
from agents.circuit.charging import wait
from agents.circuit.eye import on_voltage, recovery_time, trigger_voltage
from agents.circuit.ignition import ignites
from agents.circuit.panel import LitPanel, lit_panel, photocurrent_in
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED, failure
from agents.design.as_built import build
from agents.design.spec import Design, parse_design
from agents.errors import ReplayError, SpecError
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.noise import TRIGGER, normal_pair
from replays.causes.light_by_kind import Weights, arena_by_hour, weighed, weights_of
from replays.causes.pulse_curve import MOST_STEPS, pulse_rows
from replays.format.tables import CUT_OFF, LEFT_WHISKER, RIGHT_WHISKER, TOUCHED_BODY, Replay
from replays.scoring.turns import turns_of_walker

# Samples of the rail in a wait, shared out over the pieces between changes of light.
_SAMPLES = 32
# A rail that comes out this near to the trigger needs no factor [V].
_NEAR = 2e-3
_LEAST_FACTOR, _MOST_FACTOR = 0.02, 50.0
# Of a walker with a hundred pulses, whose curves were drawn, a trace takes about 0.4 MB.
_MOST_TRACES = 256


class Circuits:
    """Walkers of a replay as circuits, each rebuilt when it is asked for; those asked for last are kept."""

    def __init__(self, replay: Replay) -> None:
        self.replay = replay
        self._designs: dict[int, Design] = {}
        self._traces: dict[int, Trace] = {}

    def design(self, number: int) -> Design:
        """Design ``number`` of the replay. Raises ReplayError where it cannot be read."""
        if number not in self._designs:
            entry = self.replay.header["designs"][number]
            try:
                self._designs[number] = parse_design(entry["yaml"], entry["name"])
            except SpecError as error:
                raise ReplayError(
                    f"the design {entry['name']} in this replay cannot be read, so its circuit is not known"
                ) from error
        return self._designs[number]

    def drawn(self, number: int) -> Any:
        """The WALKER record of design ``number`` as drawn, without tolerance."""
        return build(self.design(number), self._air)[0]

    def record(self, walker: int) -> Any:
        """The WALKER record of ``walker`` as built. Raises ReplayError where its design cannot be read."""
        design = self.design(int(self.replay.walkers["design"][walker]))
        names = self.replay.header["built_names"]
        drawn = zip(names, self.replay.built[walker].tolist(), strict=True)
        try:
            built = design.with_values({name: value for name, value in drawn if not math.isnan(value)})
        except (KeyError, AttributeError) as error:
            raise ReplayError(
                f"{design.name} has no part {error}; the file is damaged, run it again"
            ) from error
        return build(built, self._air)[0]

    @property
    def _air(self) -> float:
        return float(self.replay.arena.get("air_K", ROOM_TEMPERATURE))

    def trace(self, walker: int) -> "Trace":
        """The trace of ``walker``. Raises ReplayError where its design cannot be read."""
        found = self._traces.pop(walker, None) or Trace(self.replay, walker, self.record(walker))
        # the last in the row is the one that was asked for last
        self._traces[walker] = found
        if len(self._traces) > _MOST_TRACES:
            del self._traces[next(iter(self._traces))]
        return found


@dataclass(frozen=True)
class Wait:
    """One wait: from letting go, or the start of the run, to the next pulse or the end of the run.

    ``times`` [s] and ``rail`` [V] are samples. From each of ``changes`` [s] on the ``triggers`` (n, 2) [V] of
    left and right hold, inf for a side that cannot fire, the eyes have ``lights`` (n, 2) [lx], and the
    whiskers are ``pressed`` (n, 2).
    """

    times: FloatArray
    rail: FloatArray
    changes: FloatArray
    triggers: FloatArray
    lights: FloatArray
    pressed: BoolArray


@dataclass(frozen=True)
class PulseCurve:
    """One pulse: ``times`` [s] of the run, ``rail`` [V], motor ``current`` [A]."""

    times: FloatArray
    rail: FloatArray
    current: FloatArray


class Trace:
    """One walker of a replay; pulses count from 0, and wait n is the one before pulse n."""

    def __init__(self, replay: Replay, walker: int, record: Any) -> None:
        self.record = record
        self.walker = walker
        self.seconds = replay.seconds
        self.pulses: RecordArray = replay.pulses[replay.pulses["walker"] == walker]
        first, last = np.searchsorted(replay.lights["walker"], [walker, walker + 1])
        self.lights: RecordArray = replay.lights[first:last]
        mine = replay.touches[replay.touches["walker"] == walker]
        self._switches = [mine[mine["part"] == part] for part in (LEFT_WHISKER, RIGHT_WHISKER)]
        first, last = np.searchsorted(replay.poses["walker"], [walker, walker + 1])
        self._poses: RecordArray = replay.poses[first:last]
        self._seed = int(replay.header["seed"])
        designs = replay.walkers["design"]
        self._copy = walker - int(np.argmax(designs == designs[walker]))
        self._arena, self._day = replay.arena, replay.day
        self._weights = weights_of(replay.arena, record, "response")
        self._warming = weights_of(replay.arena, record, "warming")
        self._waits: dict[int, Wait] = {}
        self._curves: dict[int, PulseCurve] = {}

    @cached_property
    def waits(self) -> int:
        """How many waits there are: one more than pulses, unless the run's end cut off the last pulse."""
        cut = len(self.pulses) > 0 and self.pulses[-1]["ended"] == CUT_OFF
        return len(self.pulses) + (0 if cut else 1)

    @cached_property
    def turns(self) -> FloatArray:
        """Turn of each pulse [rad], anticlockwise positive, whole turns counted."""
        return turns_of_walker(self.pulses, self._poses)

    def jitter(self, number: int) -> tuple[float, float]:
        """What chance adds to the left and the right trigger of pulse ``number`` [V]."""
        # words that wrap are what the generator is made of
        with np.errstate(over="ignore"):
            left, right = normal_pair(self._seed, self._copy, TRIGGER, number)
        side = self.record["side"]
        return float(left * side[0]["jitter"]), float(right * side[1]["jitter"])

    def trigger(self, side: int, light: float, pressed: bool) -> float:
        """Rail [V] at which ``side`` fires in ``light`` [lx] at its eye, jitter apart; inf if it cannot."""
        own = self.record["side"][side]
        if not ignites(on_voltage(light, own), pressed, own):
            return math.inf
        return float(trigger_voltage(light, pressed, own))

    def recovers(self, number: int) -> float:
        """When the eye that fired pulse ``number`` can flash again [s]."""
        pulse = self.pulses[number]
        return float(pulse["let_go_s"]) + float(recovery_time(self.record["side"][int(pulse["side"])]))

    def is_pressed(self, side: int, time_s: float) -> bool:
        """Whether the whisker of ``side`` is pressed at ``time_s`` [s]."""
        switch = self._switches[side]
        row = int(np.searchsorted(switch["time_s"], time_s, side="right")) - 1
        return row >= 0 and bool(switch["closed"][row])

    def presses(self, side: int, from_s: float, to_s: float) -> RecordArray:
        """Rows of the touches of ``side`` after ``from_s`` and not after ``to_s`` [s]."""
        switch = self._switches[side]
        first, last = np.searchsorted(switch["time_s"], [from_s, to_s], side="right")
        return switch[first:last]

    def photocurrent(self, time_s: float) -> float:
        """Current of the panel in short circuit [A] by the light of ``time_s`` [s], as its kinds tell."""
        weights, _ = self._weights_at(time_s)
        return float(photocurrent_in(self.record, weighed(weights, self._panel_lx(time_s))))

    def _weights_at(self, time_s: float) -> tuple[Weights, Weights]:
        """How kinds of light count for current and for warmth at ``time_s`` [s]."""
        if self._day is None:
            return self._weights, self._warming
        at = arena_by_hour(self._arena, self._day, time_s)
        return weights_of(at, self.record, "response"), weights_of(at, self.record, "warming")

    def _keep_air(self, time_s: float) -> None:
        """Bring the record into the air of ``time_s`` [s], where that changes."""
        if self._day is not None:
            set_air(self.record, float(self._day.air_K[self._day.step(time_s)]))

    def panel(self, time_s: float, factor: float = 1.0) -> LitPanel:
        """The panel in the light of ``time_s`` [s], its current multiplied by a ``factor``."""
        self._keep_air(time_s)
        _, warming = self._weights_at(time_s)
        warmth = weighed(warming, self._panel_lx(time_s))
        return lit_panel(self.record, factor * self.photocurrent(time_s), warmth)

    def _panel_lx(self, time_s: float) -> float:
        row = int(np.searchsorted(self.lights["time_s"], time_s, side="right")) - 1
        return float(self.lights["panel_lx"][max(row, 0)])

    def wait(self, number: int) -> Wait:
        """Wait ``number``, 0 to ``waits`` - 1. Raises ModelError where the model cannot follow it."""
        if number not in self._waits:
            self._waits[number] = self._work_out(number)
        return self._waits[number]

    def _work_out(self, number: int) -> Wait:
        if number > 0:
            before = self.pulses[number - 1]
            began, rest = float(before["let_go_s"]), float(before["rest_s"])
            rail = float(before["let_go_V"])
        else:
            began, rest, rail = 0.0, 0.0, float(self.record["start_rail"])
        fires = number < len(self.pulses)
        until = float(self.pulses[number]["start_s"]) if fires else self.seconds
        rows = self.lights["time_s"]
        inner = rows[(rows > began) & (rows < until)].astype(np.float64)
        edges = np.concatenate([[began], inner, [until]])
        factor = 1.0
        if fires:
            factor = self._factor(rail, edges, float(self.pulses[number]["trigger_V"]))
        times, volts = self._charge(rail, edges, factor, _SAMPLES)
        return Wait(times, volts, *self._thresholds(number, rest, until))

    def _charge(
        self, rail: float, edges: FloatArray, factor: float, samples: int
    ) -> tuple[FloatArray, FloatArray]:
        """Times [s] and rail [V] along a charging from ``rail`` [V], photocurrents times ``factor``."""
        state = np.zeros(1, STATE)
        state["rail"] = rail
        times, volts = [float(edges[0])], [rail]
        whole = max(float(edges[-1] - edges[0]), 1e-12)
        panel = self.panel(float(edges[0]), factor)
        for start, end in pairwise(edges.tolist()):
            panel = self.panel(start, factor)
            pieces = max(1, round(samples * (end - start) / whole))
            for piece in range(1, pieces + 1):
                wait(self.record, panel, state[0], (end - start) / pieces)
                times.append(start + (end - start) * piece / pieces)
                volts.append(float(state["rail"][0]))
        if state["status"][0] != SETTLED:
            known = {"time": times[-1], "photocurrent": panel.photocurrent}
            raise failure(int(state["status"][0]), "a wait", self.record, 0, volts[-1], **known)
        return np.array(times), np.array(volts)

    def _factor(self, rail: float, edges: FloatArray, goal: float) -> float:
        """By what the photocurrents have to be multiplied for the rail to end at ``goal`` [V]."""

        def end(factor: float) -> float:
            return float(self._charge(rail, edges, factor, 1)[1][-1])

        if abs(end(1.0) - goal) < _NEAR or edges[-1] - edges[0] < 1e-9:
            return 1.0
        low, high = math.log(_LEAST_FACTOR), math.log(_MOST_FACTOR)
        while high - low > 1e-6:
            middle = 0.5 * (low + high)
            if end(math.exp(middle)) < goal:
                low = middle
            else:
                high = middle
        return math.exp(0.5 * (low + high))

    def _thresholds(
        self, number: int, rest: float, until: float
    ) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
        """Changes, triggers, lights and pressed whiskers of a wait, as in :class:`Wait`."""
        light_rows = self.lights["time_s"]
        moments = {rest, *light_rows[(light_rows > rest) & (light_rows < until)].tolist()}
        for side in (0, 1):
            moments.update(self.presses(side, rest, until)["time_s"].tolist())
        changes = np.array(sorted(moment for moment in moments if moment <= until), dtype=np.float64)
        noise = self.jitter(number)
        triggers = np.empty((len(changes), 2))
        lights = np.empty((len(changes), 2))
        pressed = np.zeros((len(changes), 2), dtype=bool)
        for row, moment in enumerate(changes.tolist()):
            self._keep_air(moment)
            light = self.lights[max(int(np.searchsorted(light_rows, moment, side="right")) - 1, 0)]
            for side, column in ((0, "left_lx"), (1, "right_lx")):
                lights[row, side] = light[column]
                pressed[row, side] = self.is_pressed(side, moment)
                triggers[row, side] = (
                    self.trigger(side, float(light[column]), bool(pressed[row, side])) + noise[side]
                )
        return changes, triggers, lights, pressed

    def pulse(self, number: int) -> PulseCurve:
        """Rail and current of pulse ``number``.

        A pulse in which the body met nothing is stepped freely, which gives the run's own steps again.
        Otherwise the walker's poses, rows some ten milliseconds apart, tell how fast the floor passed. The
        few steps by which the length may still differ from the run's are taken up by the scale of time, and
        the rail ends where the run says.

        So the peak is exact, and the charge under the curve is that of the run in free pulses. Where the body
        was held it is an estimate, mostly within 0.1 % of the run's charge, in one of twenty off by more than
        2 %, and rarely by 20 %, where a pulse hung on a hair. A pulse of more than MOST_STEPS has locked up:
        from there on it stays as it was. Raises ModelError where the model cannot follow it.
        """
        if number not in self._curves:
            self._curves[number] = self._follow(number)
        return self._curves[number]

    def motion(self, number: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """How pulse ``number`` moved the walker: times [s] of the run, speed [m/s], turn since firing [rad].

        From the rows of poses until it came to rest; the speed is that of the middle of its axle over the row
        before, the turn is told whole and counts up to the left.
        """
        pulse = self.pulses[number]
        start, rest = float(pulse["start_s"]), float(pulse["rest_s"])
        rows = self._poses[(self._poses["time_s"] > start) & (self._poses["time_s"] <= rest + 1e-6)]
        times = np.append(start, rows["time_s"].astype(np.float64))
        x = np.append(float(pulse["x0"]), rows["x"].astype(np.float64))
        y = np.append(float(pulse["y0"]), rows["y"].astype(np.float64))
        heading = np.append(float(pulse["heading0"]), rows["heading"].astype(np.float64))
        steps = np.maximum(np.diff(times), 1e-6)
        speed = np.append(0.0, np.hypot(np.diff(x), np.diff(y)) / steps)
        turn = np.unwrap(heading)
        return times, speed, turn - turn[0]

    def _follow(self, number: int) -> PulseCurve:
        pulse = self.pulses[number]
        start, side = float(pulse["start_s"]), int(pulse["side"])
        lasted = float(pulse["let_go_s"]) - start
        presses = self.presses(side, start, start + lasted)
        states = [float(self.is_pressed(side, start)), *presses["closed"].tolist()]
        touches = (
            np.concatenate([[0.0], presses["time_s"] - start]),
            np.array(states, dtype=np.float64),
        )
        cut = pulse["ended"] == CUT_OFF
        longest = lasted if cut else 2.0 * lasted + 0.05
        panel = self.panel(start)
        free = (np.zeros(0), np.zeros(0))
        rail = float(pulse["trigger_V"])
        rows = pulse_rows(self.record, side, rail, panel, touches, free, longest)
        if int(pulse["touched"]) & TOUCHED_BODY or abs(rows[-1, 0] - lasted) > 0.02 * lasted:
            held = self._floor_speeds(start, float(pulse["rest_s"]))
            slowed = pulse_rows(self.record, side, rail, panel, touches, held, longest)
            if abs(slowed[-1, 0] - lasted) < abs(rows[-1, 0] - lasted):
                rows = slowed
        if len(rows) == MOST_STEPS and rows[-1, 0] < lasted:
            rows = np.concatenate([rows, [[lasted, *rows[-1, 1:]]]])
        stretch = lasted / rows[-1, 0] if rows[-1, 0] > 0.0 else 1.0
        rail_end = float(pulse["let_go_V"])
        drop = rail - rows[-1, 1]
        scale = (rail - rail_end) / drop if drop > 0.0 else 1.0
        return PulseCurve(start + stretch * rows[:, 0], rail - scale * (rail - rows[:, 1]), rows[:, 2])

    def _floor_speeds(self, start: float, rest: float) -> tuple[FloatArray, FloatArray]:
        """From when [s since ``start``] on how fast [m/s] the floor passed under the driven tyre."""
        rows = self._poses[(self._poses["time_s"] >= start) & (self._poses["time_s"] <= rest)]
        if len(rows) < 2:
            return np.array([0.0]), np.array([0.0])
        times = rows["time_s"]
        turns = np.abs(np.diff(np.unwrap(rows["heading"].astype(np.float64))))
        spans = np.maximum(np.diff(times), 1e-4)
        # it may run a little ahead of the mean over rows that are ten milliseconds apart
        return times[:-1] - start, 1.2 * float(self.record["track"]) * turns / spans + 0.01
