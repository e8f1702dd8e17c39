"""One walker on the bench, under even light: what each of its sides does in one pulse.

The bench holds the walker by nothing: a pulse drives one wheel, the walker turns about the standing tyre and
coasts to rest. Both eyes (before their tape) and the panel have the same light. Voltages and parts are those
of the design as drawn, without tolerance and without the jitter of the triggers.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import RecordArray
from agents.circuit.charging import open_circuit, time_to_reach, waiting_currents
from agents.circuit.eye import on_voltage, recovery_time, trigger_voltage
from agents.circuit.latch import ignites
from agents.circuit.panel import LitPanel, lit_panel, panel_temperature, photocurrent_in
from agents.circuit.pulse import at_rest, begin_pulse, coast_step, pulse_step, pulse_step_length
from agents.circuit.records import STATE
from agents.circuit.status import COAST_UNENDED, SETTLED, failure
from agents.compiled import kernel, kernel_part
from agents.design.values_by_path import SIDES
from agents.errors import ModelError, OptionError
from agents.handbook.light_kinds import kind_index

Record = RecordArray

SIDE_NAMES = ("left", "right")

# A pulse that outlasts this [s] with an ordinary storage is taken as locked; larger storages get longer.
LONGEST_PULSE = 20.0
ORDINARY_STORAGE = 10e-3  # [F]
BRIGHTEST = 1e6  # [lx]

# What the kernels write of one side at one light, in SI units; nan where there is nothing to tell, and
# ``touch_outweighs`` inf where no light is bright enough.
SIDE_POINT = np.dtype(
    [
        ("reaches", np.bool_),
        ("ignites", np.bool_),
        ("locked", np.bool_),
        ("trigger", np.float64),
        ("trigger_touched", np.float64),
        ("touch_outweighs", np.float64),
        ("charge", np.float64),
        ("pulse", np.float64),
        ("let_go", np.float64),
        ("turn", np.float64),
        ("advance", np.float64),
        ("path", np.float64),
        ("peak", np.float64),
        ("base_share", np.float64),
        ("coast", np.float64),
        ("held_rail", np.float64),
        ("held_motor", np.float64),
    ],
    align=True,
)
# Both sides at one light, and what flows at the lower of the two triggers [A].
MEASURED = np.dtype(
    [
        ("light", np.float64),
        ("photocurrent", np.float64),
        ("air", np.float64),
        ("panel_temperature", np.float64),
        ("open_circuit", np.float64),
        ("panel", np.float64),
        ("eyes", np.float64),
        ("leak", np.float64),
        ("side", SIDE_POINT, (2,)),
    ],
    align=True,
)


@kernel
def bench_pulse(
    walker: Any, number: int, lit: LitPanel, touched: bool, state: Any, longest: float
) -> tuple[float, float, float, bool]:
    """Run one free pulse of side ``number`` from the rail in ``state``, and let the wheel coast to rest.

    ``lit`` is the panel in its light, ``longest`` [s] a limit for pulse and coasting each. Returns (time that
    the latch held [s], time of coasting [s], floor passed under the tyre [m], locked). A pulse is locked when
    it outlasts the limit, or before that when all but nothing of the panel's current goes into or comes out
    of the storage and neither rotor nor coupling capacitor changes; such a pulse does not coast. The status
    of ``state`` tells whether it could be followed.
    """
    window = 0.25
    still = 1e-3
    quiet = still * lit.photocurrent * window / walker["capacitance"]
    begin_pulse(walker, number, touched, state)
    side = walker["side"][number]
    top = walker["step"]
    held = 0.0
    passed = 0.0
    looked = 0.0
    rail = state["rail"]
    coupling = state["coupling"]
    rotor = state["rotor"]
    while True:
        step = pulse_step_length(side, state, top)
        holds, way = pulse_step(walker, number, lit, touched, state, step)
        if not holds:
            break
        held += step
        passed += way
        if held - looked >= window:
            if (
                abs(state["rail"] - rail) < quiet
                and abs(state["coupling"] - coupling) < still
                and abs(state["rotor"] - rotor) <= still * rotor
            ) or held >= longest:
                return held, 0.0, passed, True
            looked = held
            rail = state["rail"]
            coupling = state["coupling"]
            rotor = state["rotor"]
    coasted = 0.0
    while not at_rest(state) and coasted < longest:
        passed += coast_step(walker, number, state, top)
        coasted += top
    if not at_rest(state):
        state["status"] |= COAST_UNENDED
    return held, coasted, passed, False


@kernel
def touch_ratio(walker: Any, number: int, light: float) -> float:
    """Return how many times brighter than the other eye a touched side's eye may be and still fire first.

    ``light`` [lx] is at the other eye. The answer is sought by bisection on the logarithm, since a trigger
    never falls with light; 0 where the touched side loses at any light, inf where it wins at any.
    """
    side = walker["side"][number]
    goal = trigger_voltage(light, False, walker["side"][1 - number])
    low = -6.0
    high = 6.0
    if light <= 0.0 or trigger_voltage(light * 10.0**low, True, side) > goal:
        return 0.0
    if trigger_voltage(light * 10.0**high, True, side) <= goal:
        return math.inf
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        if trigger_voltage(light * 10.0**middle, True, side) <= goal:
            low = middle
        else:
            high = middle
    return 10.0**low


@kernel
def is_touchable(side: Any) -> bool:
    """Whether a SIDE record has both a whisker and a feeler resistor."""
    return side["whisker"] == 1 and side["feeler"] < math.inf


@kernel_part
def tell_nothing(point: Any) -> None:
    """Write into a SIDE_POINT record that there is no pulse to tell of."""
    point["locked"] = False
    point["charge"] = math.nan
    point["pulse"] = math.nan
    point["let_go"] = math.nan
    point["turn"] = math.nan
    point["advance"] = math.nan
    point["path"] = math.nan
    point["peak"] = math.nan
    point["base_share"] = math.nan
    point["coast"] = math.nan
    point["held_rail"] = math.nan
    point["held_motor"] = math.nan


@kernel
def measure_side(walker: Any, number: int, light: float, lit: LitPanel, state: Any, point: Any) -> int:
    """Write what side ``number`` does in ``light`` [lx] into ``point``, a SIDE_POINT record.

    ``lit`` is the panel in that light; ``state`` a STATE record to work in. Returns a status.
    """
    side = walker["side"][number]
    state["status"] = SETTLED
    trigger = trigger_voltage(light, False, side)
    point["trigger"] = trigger
    point["trigger_touched"] = math.nan
    point["touch_outweighs"] = math.inf
    if is_touchable(side):
        point["trigger_touched"] = trigger_voltage(light, True, side)
        point["touch_outweighs"] = touch_ratio(walker, number, light)
    lights = ignites(on_voltage(light, side), side, walker["thermal"])
    state["rail"] = trigger
    time, status = time_to_reach(walker, lit, 0.0, trigger)
    reaches = time < math.inf
    point["ignites"] = lights
    point["reaches"] = reaches
    tell_nothing(point)
    if not reaches:
        return status
    if not lights:
        # the eye flashes and nothing follows, until its coupling capacitor has recovered
        point["charge"] = recovery_time(side)
        point["pulse"] = 0.0
        point["let_go"] = trigger
        point["turn"] = 0.0
        point["advance"] = 0.0
        point["path"] = 0.0
        point["peak"] = 0.0
        point["coast"] = 0.0
        return status
    state["motor_energy"] = 0.0
    state["base_energy"] = 0.0
    longest = LONGEST_PULSE * max(1.0, walker["capacitance"] / ORDINARY_STORAGE)
    held, coasted, passed, locked = bench_pulse(walker, number, lit, False, state, longest)
    point["peak"] = state["peak"]
    if locked:
        point["locked"] = True
        point["held_rail"] = state["rail"]
        # nothing flows into the storage any more, so what the other currents leave goes to the motor
        point["held_motor"] = -state["drain"] - state["rail"] / walker["leak"]
        return state["status"]
    turn = passed / walker["track"]
    arm = math.hypot(walker["body_ahead"], 0.5 * walker["track"])
    spent = state["motor_energy"] + state["base_energy"]
    time, status = time_to_reach(walker, lit, state["rail"], trigger)
    point["charge"] = max(time, recovery_time(side))
    point["pulse"] = held
    point["let_go"] = state["rail"]
    point["turn"] = side["turns"] * turn
    point["advance"] = 2.0 * arm * abs(math.sin(0.5 * turn))
    point["path"] = arm * turn
    if spent > 0.0:
        point["base_share"] = state["base_energy"] / spent
    point["coast"] = coasted
    return state["status"] | status


@kernel
def measure_walker(walker: Any, light: float, lit: LitPanel, state: Any, measured: Any) -> tuple[int, int]:
    """Measure both sides of a WALKER record in ``light`` [lx], into ``measured``, a MEASURED record.

    ``lit`` is the panel in that light; ``state`` a STATE record to work in. Returns a status, and the
    side at which the measurement ended where it is not SETTLED; ``state`` is then as that side left it.
    """
    measured["light"] = light
    measured["photocurrent"] = lit.photocurrent
    measured["air"] = walker["air"]
    measured["panel_temperature"] = panel_temperature(walker, lit)
    for number in range(2):
        status = measure_side(walker, number, light, lit, state, measured["side"][number])
        if status != SETTLED:
            return status, number
    lower = min(measured["side"][0]["trigger"], measured["side"][1]["trigger"])
    currents = waiting_currents(walker, lit, lower)
    measured["panel"] = currents.panel
    measured["eyes"] = currents.eyes
    measured["leak"] = currents.leak
    measured["open_circuit"], status = open_circuit(walker, lit)
    return currents.status | status, 0


@dataclass(frozen=True)
class SidePoint:
    """What one side does at one light. SI units; None where there is nothing to tell.

    ``turn`` [rad] counts positive where the wheel drives ahead; ``path`` [m] is the length of the arc that
    the body's middle passes through and ``advance`` [m] the straight distance between its ends.
    ``base_share`` is the share of the pulse's energy that goes through the bases instead of the motor.
    ``held_rail`` [V] and ``held_motor`` [A] tell where a locked pulse has settled.
    """

    side: str
    trigger: float
    trigger_touched: float | None
    touch_outweighs: float | None
    reaches: bool
    ignites: bool
    locked: bool = False
    charge: float | None = None
    pulse: float | None = None
    let_go: float | None = None
    turn: float | None = None
    advance: float | None = None
    path: float | None = None
    peak: float | None = None
    base_share: float | None = None
    coast: float | None = None
    held_rail: float | None = None
    held_motor: float | None = None

    @property
    def between(self) -> float | None:
        """Time from one pulse's start to the next [s], where this side fires again and again.

        The pulse, and then the charging, which begins where the latch releases; a wheel that still coasts
        when the trigger is reached comes to rest first.
        """
        if self.pulse is None or self.charge is None:
            return None
        return self.pulse + max(self.charge, self.coast or 0.0)


@dataclass(frozen=True)
class Measurement:
    """Both sides at one light, with the currents [A] that decide whether the storage reaches the trigger.

    ``panel``, ``eyes`` and ``leak`` flow at the lower of the two triggers; ``air`` and ``panel_temperature``,
    to which air and light bring the panel, are temperatures [K].
    """

    light: float
    kind: str
    left: SidePoint
    right: SidePoint
    photocurrent: float
    air: float
    panel_temperature: float
    open_circuit: float
    panel: float
    eyes: float
    leak: float

    @property
    def first(self) -> SidePoint:
        """The side that fires in even light: the one with the lower trigger, the left one of two alike."""
        return self.right if self.right.trigger < self.left.trigger else self.left

    @property
    def sides(self) -> tuple[SidePoint, SidePoint]:
        """Left and right."""
        return self.left, self.right

    @property
    def fires(self) -> bool:
        """Whether the storage reaches the lower trigger, so that an eye flashes."""
        return self.first.reaches


def photocurrent_of(walker: Any, light: float, kind: str) -> float:
    """Photocurrent [A] of the panel of a WALKER record in ``light`` [lx] of a kind."""
    return float(photocurrent_in(walker, float(walker["response"][kind_index(kind)] * light)))


def measured_panel(walker: Any, measured: Measurement) -> LitPanel:
    """The panel of a WALKER record in the light in which it was measured."""
    return lit_panel(walker, measured.photocurrent, measured.panel_temperature - float(walker["air"]))


def panel_under(walker: Any, light: float, kind: str) -> LitPanel:
    """The panel of a WALKER record in ``light`` [lx] of a kind, as warm as that makes it."""
    warmth = float(walker["warming"][kind_index(kind)] * light)
    return lit_panel(walker, photocurrent_of(walker, light, kind), warmth)


def check_light(light: float) -> None:
    """Raise OptionError for a ``light`` [lx] outside 0 to 1 Mlx."""
    if not 0.0 <= light <= BRIGHTEST:
        raise OptionError(f"light of {light} lx; expected 0 lx to 1 Mlx")


def measure_record(walker: Any, light: float, kind: str) -> Any:
    """Measure both sides of a WALKER record in ``light`` [lx] of ``kind``; returns a MEASURED record.

    Raises :class:`~agents.errors.OptionError` for a light outside 0 to 1 Mlx, or a kind that is not there,
    and :class:`~agents.errors.ModelError` where the model cannot follow the walker.
    """
    check_light(light)
    measured = np.zeros(1, MEASURED)[0]
    state = np.zeros(1, STATE)[0]
    lit = panel_under(walker, light, kind)
    status, number = measure_walker(walker, light, lit, state, measured)
    if status != SETTLED:
        raise bench_failure(status, "the design", walker, number, state, light, lit.photocurrent)
    return measured


def bench_failure(
    status: int, who: str, walker: Any, number: int, state: Any, light: float, photocurrent: float
) -> ModelError:
    """The error for a ``status`` on the bench, at a ``light`` [lx] alike for eyes and panel."""
    known = {
        "photocurrent": photocurrent,
        "left_light": light,
        "right_light": light,
        "panel_light": light,
    }
    return failure(status, who, walker, number, float(state["rail"]), **known)


def measurement_of(measured: Any, kind: str) -> Measurement:
    """A MEASURED record taken in a ``kind`` of light, with names, and None where there is nothing to tell."""
    left, right = (_side_point(name, measured["side"][number]) for number, name in enumerate(SIDES))
    numbers = {
        name: float(measured[name])
        for name in ("photocurrent", "air", "panel_temperature", "open_circuit", "panel", "eyes", "leak")
    }
    return Measurement(float(measured["light"]), kind, left, right, **numbers)


def _side_point(name: str, point: Any) -> SidePoint:
    values = dict(zip(SIDE_POINT.names or (), point.item(), strict=True))
    known: dict[str, Any] = {
        field: value if abs(value) < math.inf else None for field, value in values.items()
    }
    return SidePoint(name, **known)
