"""One walker on the bench: what each of its sides does in one pulse, and where it heads beside a lamp.

The light is even: both eyes (before their tape) and the panel have the same. Each side is measured free, and
with its whisker pressed. Steering is told by :mod:`agents.circuit.steering` for a lamp and even light that
come to the same light together; the shares of the two are choices. Voltages and parts are those of the design
as drawn, without tolerance and without the jitter of the triggers.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.circuit.charging import open_circuit, waiting_currents
from agents.circuit.eye import on_voltage, trigger_voltage
from agents.circuit.ignition import ignites
from agents.circuit.panel import LitPanel, lit_panel, panel_temperature, panel_under, photocurrent_in
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED, failure
from agents.circuit.steering import heading_beside, steering
from agents.compiled import kernel
from agents.design.values_by_path import SIDES
from agents.errors import ModelError, OptionError
from agents.handbook.light_kinds import kind_index
from agents.testbench.bench_pulses import PULSE_POINT, copy_pulse, measure_pulse, tell_nothing

_NUMBERS = (
    "photocurrent",
    "air",
    "panel_temperature",
    "open_circuit",
    "panel",
    "eyes",
    "leak",
    "hold",
)

BRIGHTEST = 1e6  # [lx]

# Of the light under which steering is told, the share that comes from the lamp, and the lamp's elevation
# [rad]: a lamp that outshines all else two to one, at the height at which it stands for most of a way.
LAMP_SHARE = 2.0 / 3.0
LAMP_ELEVATION = math.radians(32.0)

# Values of a SIDE record that are reckoned to the left.
MIRRORED = ("eye_aside", "aim_y", "root_aside", "tip_aside")

# What the kernels write of one side at one light, in SI units; ``touch_outweighs`` is inf where no light is
# bright enough, and ``pressed`` all nan where the side feels nothing.
SIDE_POINT = np.dtype(
    [
        ("ignites", np.bool_),
        ("touch_outweighs", np.float64),
        ("free", PULSE_POINT),
        ("pressed", PULSE_POINT),
    ],
    align=True,
)
# Both sides at one light, what flows at the lower of the two triggers [A], and steering by a lamp.
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
        ("balance", np.float64),  # bearing of the lamp at which both sides are in balance [rad]; nan if none
        ("hold", np.float64),  # how far a lamp can part the two triggers [V]
        ("beside", np.float64),  # how far beside a lamp it heads [rad]; nan where it circles
        ("side", SIDE_POINT, (2,)),
    ],
    align=True,
)


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


@kernel
def measure_side(walker: Any, number: int, light: float, lit: LitPanel, state: Any, point: Any) -> int:
    """Write what side ``number`` does in ``light`` [lx] into ``point``, a SIDE_POINT record.

    ``lit`` is the panel in that light; ``state`` a STATE record to work in. Returns a status.
    """
    side = walker["side"][number]
    free = False
    lights = ignites(on_voltage(light, side), free, side)
    point["ignites"] = lights
    point["touch_outweighs"] = math.inf
    status = measure_pulse(
        walker, number, trigger_voltage(light, free, side), lit, free, lights, state, point["free"]
    )
    if status != SETTLED:
        return status
    if not is_touchable(side):
        tell_nothing(point["pressed"])
        return status
    point["touch_outweighs"] = touch_ratio(walker, number, light)
    pressed = True
    lights = ignites(on_voltage(light, side), pressed, side)
    return measure_pulse(
        walker,
        number,
        trigger_voltage(light, pressed, side),
        lit,
        pressed,
        lights,
        state,
        point["pressed"],
    )


@kernel
def measure_walker(
    walker: Any, light: float, lit: LitPanel, twins: bool, state: Any, measured: Any
) -> tuple[int, int]:
    """Measure both sides of a WALKER record in ``light`` [lx], into ``measured``, a MEASURED record.

    ``lit`` is the panel in that light; ``state`` a STATE record to work in. Sides that are ``twins``, see
    :func:`are_twins`, do the same, and only one is measured. Returns a status, and the side at which the
    measurement ended where it is not SETTLED; ``state`` is then as that side left it.
    """
    measured["light"] = light
    measured["photocurrent"] = lit.photocurrent
    measured["air"] = walker["air"]
    measured["panel_temperature"] = panel_temperature(walker, lit)
    left = measured["side"][0]
    right = measured["side"][1]
    status = measure_side(walker, 0, light, lit, state, left)
    if status != SETTLED:
        return status, 0
    if twins:
        right["ignites"] = left["ignites"]
        right["touch_outweighs"] = left["touch_outweighs"]
        copy_pulse(left["free"], right["free"])
        copy_pulse(left["pressed"], right["pressed"])
    else:
        status = measure_side(walker, 1, light, lit, state, right)
        if status != SETTLED:
            return status, 1
    lamp = LAMP_SHARE * light
    measured["balance"], measured["hold"] = steering(walker, lamp, light - lamp, LAMP_ELEVATION)
    measured["beside"] = heading_beside(measured["balance"], left["free"]["turn"], right["free"]["turn"])
    lower = min(left["free"]["trigger"], right["free"]["trigger"])
    currents = waiting_currents(walker, lit, lower)
    measured["panel"] = currents.panel
    measured["eyes"] = currents.eyes
    measured["leak"] = currents.leak
    measured["open_circuit"], status = open_circuit(walker, lit)
    return currents.status | status, 0


def are_twins(walker: Any) -> bool:
    """Whether the right side of a WALKER record is the mirror image of its left one, to the last bit."""
    mirrored = walker["side"][1].copy()
    for name in MIRRORED:
        mirrored[name] = -mirrored[name]
    return bool(mirrored.tobytes() == walker["side"][0].tobytes())


@dataclass(frozen=True, kw_only=True)
class PulsePoint:
    """One pulse of one side at one light, from the trigger on. SI units; None where there is nothing to tell.

    ``turn`` [rad] counts positive where the wheel drives ahead; ``path`` [m] is the length of the arc that
    the body's middle passes through and ``advance`` [m] the straight distance between its ends.
    ``base_share`` is the share of the pulse's energy that goes through the bases instead of the motor.
    ``held_rail`` [V] and ``held_motor`` [A] tell where a locked pulse has settled.
    """

    trigger: float
    reaches: bool
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


@dataclass(frozen=True, kw_only=True)
class SidePoint(PulsePoint):
    """What one side does at one light: a free pulse, and as ``pressed`` one with its whisker pressed.

    The whisker is pressed all the while, from before the flash until the wheel stands. None where the side
    has no whisker or no feeler resistor.
    """

    side: str
    touch_outweighs: float | None
    ignites: bool
    pressed: PulsePoint | None = None

    @property
    def trigger_touched(self) -> float | None:
        """Rail at which it fires with its whisker pressed [V]."""
        return None if self.pressed is None else self.pressed.trigger


@dataclass(frozen=True)
class Measurement:
    """Both sides at one light, with the currents [A] that decide whether the storage reaches the trigger.

    ``panel``, ``eyes`` and ``leak`` flow at the lower of the two triggers. ``beside`` [rad] is how far beside
    a lamp the walker heads, the mean bearing of the lamp, positive to the left; ``balance`` [rad] the bearing
    at which both triggers are alike. None where there is no such bearing: it circles. ``hold`` [V] is how far
    a lamp can part the two triggers by standing on one side or the other. ``air`` and ``panel_temperature``,
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
    hold: float
    balance: float | None
    beside: float | None

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
    lit = panel_under(walker, light, kind_index(kind))
    status, number = measure_walker(walker, light, lit, are_twins(walker), state, measured)
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
    numbers = (float(measured[name]) for name in _NUMBERS)
    bearings = (_known(float(measured[name])) for name in ("balance", "beside"))
    return Measurement(float(measured["light"]), kind, left, right, *numbers, *bearings)


def _known(value: float) -> float | None:
    return value if abs(value) < math.inf else None


def _pulse_values(point: Any) -> dict[str, Any]:
    values = dict(zip(PULSE_POINT.names or (), point.item(), strict=True))
    return {field: _known(value) for field, value in values.items()}


def _side_point(name: str, point: Any) -> SidePoint:
    feels = not math.isnan(point["pressed"]["trigger"])
    return SidePoint(
        side=name,
        ignites=bool(point["ignites"]),
        touch_outweighs=_known(float(point["touch_outweighs"])),
        pressed=PulsePoint(**_pulse_values(point["pressed"])) if feels else None,
        **_pulse_values(point["free"]),
    )
