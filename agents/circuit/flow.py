"""What flows at one moment of a pulse, by the latch as it stands or as it comes to rest there.

A *point* is what a pulse steps: storage, coupling capacitor, rotor and speed. The latch follows at once.
"""

from typing import Any, NamedTuple

from agents.circuit.latch import Guess, Settled, settle_latch
from agents.circuit.level import Kick, Supply
from agents.circuit.tyre import Rolling, TyreEase, grip_used, rolling
from agents.compiled import kernel, kernel_part


class Ease(NamedTuple):
    """One over what voltages and charges are divided by, since a product takes a third of the time.

    Conductances [1/ohm] of the winding with the storage's ESR, the latch resistor, the feed, the feeler
    resistor (0 while the whisker is free), the flash (0 while the eye is dark), the storage's leak and of the
    eye that waits on the other side below its dark trigger; one over the capacitances [1/F] of storage and
    coupling capacitor.
    """

    winding: float
    latch: float
    feed: float
    feeler: float
    flash: float
    leak: float
    waiting: float
    storage: float
    coupling: float


class Still(NamedTuple):
    """What does not change within a step: the panel's current [A] at ``rail`` [V] and its slope [A/V].

    ``drain`` [A] other than the motor's as the ESR knows it, the number of the side that fires, and what
    divides.
    """

    panel: float
    slope: float
    rail: float
    drain: float
    number: int
    ease: Ease
    tyre: TyreEase


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
    """Rates of all four at a point, currents [A] by where they go, and the part of the tyre's grip in use."""

    stored: float
    coupling: float
    rotor: float
    speed: float
    motor: float
    bases: float
    eyes: float
    leak: float
    panel: float
    grip: float


@kernel
def gone_along(latch: Latched, ahead: float, drift: float, bend: float) -> Latched:
    """A latch of which the collector has gone on for ``ahead`` [s] as before; ``bend`` is half its change."""
    collector = latch.collector + ahead * (drift + ahead * bend)
    return Latched(latch.y, collector, latch.base, latch.given, latch.gain)


@kernel
def part_way(one: Latched, other: Latched, share: float) -> Latched:
    """A latch that has gone that ``share`` of the way from ``one`` to the ``other``."""
    return Latched(
        one.y + share * (other.y - one.y),
        one.collector + share * (other.collector - one.collector),
        one.base + share * (other.base - one.base),
        one.given + share * (other.given - one.given),
        one.gain + share * (other.gain - one.gain),
    )


@kernel_part
def ease_of(walker: Any, number: int, touched: bool, lit: bool) -> Ease:
    """What divides, of side ``number`` with its whisker ``touched`` or not and its eye ``lit`` or dark."""
    side = walker["side"][number]
    other = walker["side"][1 - number]
    return Ease(
        1.0 / (side["motor_resistance"] + walker["esr"]),
        1.0 / side["latch"],
        1.0 / side["series"],
        1.0 / side["feeler"] if touched else 0.0,
        1.0 / side["flash_resistance"] if lit else 0.0,
        1.0 / walker["leak"],
        other["quiet_current"] / other["dark_trigger"],
        1.0 / walker["capacitance"],
        1.0 / side["coupling"],
    )


@kernel_part
def kick_at(side: Any, ease: Ease, rail: float, coupling: float, junction: float) -> Kick:
    """What the coupling capacitor, with ``coupling`` [V] over it, draws at about that ``junction`` [V]."""
    top = rail - coupling
    answer = ease.feed + ease.feeler + ease.flash
    drawn = ease.feed * top - ease.feeler * coupling + ease.flash * (top - side["lit_voltage"])
    at_eye = top - junction
    if at_eye > side["dark_trigger"]:
        drawn += side["quiet_current"]
    elif at_eye > 0.0:
        quiet = side["quiet_current"] / side["dark_trigger"]
        answer += quiet
        drawn += quiet * top
    return Kick(drawn, answer, ease.feed, top)


@kernel_part
def flow_at(walker: Any, still: Still, point: CircuitPoint, latch: Latched) -> Flow:
    """Currents and rates at a ``point`` with the collector, the junction and the gain of ``latch``."""
    side = walker["side"][still.number]
    ease = still.ease
    esr = walker["esr"]
    source = point.stored - esr * still.drain
    back = side["motor_constant"] * point.rotor
    motor = max(source - latch.collector - back, 0.0) * ease.winding
    rail = source - esr * motor
    junction = walker["thermal"] * latch.y
    kick = kick_at(side, ease, rail, point.coupling, junction)
    pushed = kick.current - kick.answer * junction - kick.feed * latch.collector
    base = max((rail - junction - latch.collector) * ease.latch + pushed, 0.0)
    bases = base + max(latch.given + latch.gain * (base - latch.base), 0.0)
    waits = min(max(rail, 0.0) * ease.waiting, walker["side"][1 - still.number]["quiet_current"])
    eyes = waits + (point.coupling + junction) * ease.feeler
    leak = point.stored * ease.leak
    panel = still.panel + still.slope * (rail - still.rail)
    grip = grip_used(side, still.tyre, point.rotor, point.speed)
    wheel = rolling(side, still.tyre, Rolling(point.rotor, point.speed), side["motor_constant"] * motor, grip)
    return Flow(
        (panel - motor - bases - eyes - leak) * ease.storage,
        pushed * ease.coupling,
        wheel.rotor,
        wheel.speed,
        motor,
        bases,
        eyes,
        leak,
        panel,
        grip,
    )


@kernel_part
def settled_at(
    walker: Any, still: Still, point: CircuitPoint, last: Latched, motor: float
) -> tuple[Latched, Settled]:
    """Settle the latch at a ``point``, from where it stood ``last`` and the ``motor``'s current [A] then."""
    side = walker["side"][still.number]
    source = point.stored - walker["esr"] * still.drain
    latch = settle_latch(
        Supply(source, walker["esr"], side["motor_constant"] * point.rotor),
        kick_at(side, still.ease, source - walker["esr"] * motor, point.coupling, walker["thermal"] * last.y),
        walker["thermal"],
        side,
        Guess(last.y, last.base, last.collector),
    )
    return Latched(latch.guess, latch.collector, latch.base, latch.given, latch.gain), latch
