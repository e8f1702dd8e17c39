"""What flows at one moment of a pulse, by the latch as it stands or as it comes to rest there.

A *point* is what a pulse steps: storage, coupling capacitor, rotor and speed. The latch follows at once.
"""

from typing import Any, NamedTuple

from agents.circuit.eye import quiet_draw
from agents.circuit.latch import Guess, Settled, settle_latch
from agents.circuit.level import Kick, Supply
from agents.circuit.tyre import rolling
from agents.compiled import kernel, kernel_part


class Still(NamedTuple):
    """What does not change within a step: the panel's current [A] at ``rail`` [V] and its slope [A/V].

    ``drain`` [A] other than the motor's as the ESR knows it, whether the whisker is pressed, and the number
    of the side that fires.
    """

    panel: float
    slope: float
    rail: float
    drain: float
    touched: bool
    number: int


class CircuitPoint(NamedTuple):
    """A point of the way: storage and coupling capacitor [V], rotor [rad/s], speed [m/s]."""

    stored: float
    coupling: float
    rotor: float
    speed: float


class Latched(NamedTuple):
    """What is known of the latch: y = ln(f / I_S), collector [V], base current and what it gives [A].

    ``gain`` is by how much it gives more for each ampere of base current.
    """

    y: float
    collector: float
    base: float
    given: float
    gain: float


class Flow(NamedTuple):
    """Rates of all four at a point, and currents [A] by where they go."""

    stored: float
    coupling: float
    rotor: float
    speed: float
    motor: float
    bases: float
    eyes: float
    leak: float
    panel: float


@kernel_part
def kick_at(side: Any, touched: bool, rail: float, coupling: float, junction: float) -> Kick:
    """What the coupling capacitor, with ``coupling`` [V] over it, draws at about that ``junction`` [V]."""
    top = rail - coupling
    feed = 1.0 / side["series"]
    answer = feed
    drawn = feed * top
    if touched:
        feeler = 1.0 / side["feeler"]
        answer += feeler
        drawn -= feeler * coupling
    at_eye = top - junction
    if at_eye > side["lit_voltage"]:
        flash = 1.0 / side["flash_resistance"]
        answer += flash
        drawn += flash * (top - side["lit_voltage"])
    if at_eye > side["dark_trigger"]:
        drawn += side["quiet_current"]
    elif at_eye > 0.0:
        quiet = side["quiet_current"] / side["dark_trigger"]
        answer += quiet
        drawn += quiet * top
    return Kick(drawn, answer, feed, top)


@kernel_part
def flow_at(walker: Any, still: Still, point: CircuitPoint, latch: Latched) -> Flow:
    """Currents and rates at a ``point`` with the collector, the junction and the gain of ``latch``."""
    side = walker["side"][still.number]
    esr = walker["esr"]
    source = point.stored - esr * still.drain
    back = side["motor_constant"] * point.rotor
    motor = max(source - latch.collector - back, 0.0) / (side["motor_resistance"] + esr)
    rail = source - esr * motor
    junction = walker["thermal"] * latch.y
    kick = kick_at(side, still.touched, rail, point.coupling, junction)
    pushed = kick.current - kick.answer * junction - kick.feed * latch.collector
    base = max((rail - junction - latch.collector) / side["latch"] + pushed, 0.0)
    bases = base + max(latch.given + latch.gain * (base - latch.base), 0.0)
    eyes = quiet_draw(rail, walker["side"][1 - still.number])
    if still.touched:
        eyes += (point.coupling + junction) / side["feeler"]
    leak = point.stored / walker["leak"]
    panel = still.panel + still.slope * (rail - still.rail)
    wheel = rolling(walker, side, point.rotor, point.speed, side["motor_constant"] * motor)
    return Flow(
        (panel - motor - bases - eyes - leak) / walker["capacitance"],
        pushed / side["coupling"],
        wheel.rotor,
        wheel.speed,
        motor,
        bases,
        eyes,
        leak,
        panel,
    )


@kernel
def settled_at(
    walker: Any, still: Still, point: CircuitPoint, last: Latched, motor: float
) -> tuple[Latched, Settled]:
    """Settle the latch at a ``point``, from where it stood ``last`` and the ``motor``'s current [A] then."""
    side = walker["side"][still.number]
    source = point.stored - walker["esr"] * still.drain
    latch = settle_latch(
        Supply(source, walker["esr"], side["motor_constant"] * point.rotor),
        kick_at(
            side, still.touched, source - walker["esr"] * motor, point.coupling, walker["thermal"] * last.y
        ),
        walker["thermal"],
        side,
        Guess(last.y, last.base, last.collector),
    )
    return Latched(latch.guess, latch.collector, latch.base, latch.given, latch.gain), latch
