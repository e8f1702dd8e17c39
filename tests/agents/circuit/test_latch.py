"""The latch's transistors, and the latch at rest, against the full equations of Gummel and Poon."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit.latch import Guess, Settled, along, settle_latch, strongest_drive
from agents.circuit.level import Kick, Supply, excess_of, frame_of
from agents.circuit.status import SETTLED
from agents.circuit.transistors import Around, collector_voltage, driver_currents
from agents.design.as_built import build
from agents.design.parts import Driver, Transistor
from agents.design.spec import Design
from tests.helpers.latches import FRESH, ROOM, STIFF, drawn_states, kick_of, left_side
from tests.helpers.levels import level_of
from tests.helpers.reference_circuit import ROOM_THERMAL_VOLTAGE, rest_of_latch, transistor_currents


def test_thermal_voltage_of_the_room() -> None:
    assert pytest.approx(ROOM_THERMAL_VOLTAGE, rel=1e-5) == ROOM
    assert ROOM * math.log(10.0) == pytest.approx(59.16e-3, abs=0.005e-3)


def test_diode_law_of_the_settled_latch() -> None:
    """59.16 mV a decade; 0.54 to 0.72 V over 10 uA to 10 mA for a saturation current of 6.7 fA.

    The PNP's collector current is moved over four decades by the latch resistor; its knee lies far above.
    """
    plain = {"pnp__knee_current": 100.0, "pnp__early_voltage": 1e6, "pnp__low_knee_current": 0.0}
    plain["npn__low_knee_current"] = 0.0
    currents, junctions = [], []
    for latch in np.geomspace(60e6, 2.5e4, 20):
        _, side = left_side(latch=latch, motor__resistance=1e4, **plain)
        found = settle_latch(Supply(3.0, 0.0, 0.0), kick_of(0.0), ROOM, side, FRESH)
        assert found.holds
        currents.append(found.given)
        junctions.append(found.junction)
    assert min(currents) < 10e-6
    assert max(currents) > 10e-3
    slope, _ = np.polyfit(np.log10(currents), junctions, 1)
    assert slope == pytest.approx(59.16e-3, rel=0.002)
    for current, expected in ((10e-6, 0.543), (10e-3, 0.7206)):
        assert np.interp(math.log(current), np.log(currents), junctions) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("forward", [1e-6, 10e-6, 1e-4, 5e-3, 20e-3, 0.2])
def test_gain_falls_at_high_and_low_current_as_gummel_and_poon_have_it(forward: float) -> None:
    part = Driver(gain=150.0, knee_current=0.02)
    _, side = left_side(pnp=part)
    # the collector's voltage, which raises its current, goes down as the emitter's goes up
    early = 1.0 + 3.0 / 25.0, -0.0257 / 25.0
    base, collector, base_slope, collector_slope, _, _ = driver_currents(
        forward, Around(0.0, 0.0, early[0], 0.0, 0.0, 0.0), early[1], side["pnp"]
    )
    emitter = ROOM_THERMAL_VOLTAGE * math.log(forward / part.saturation_current)
    expected_collector, expected_base = transistor_currents(part, emitter, -3.0)
    # the law of a junction has an exp - 1, and the square root of it half the exponent
    assert base == pytest.approx(expected_base, rel=1e-4)
    assert collector == pytest.approx(expected_collector, rel=1e-6)
    # the collector current at which the gain has halved is either knee, before the Early effect
    carried = collector / early[0]
    ideal = 150.0 / (1.0 + carried / 0.02) / (1.0 + math.sqrt(10e-6 / forward))
    assert carried / base == pytest.approx(ideal, rel=1e-9)
    around = Around(0.0, 0.0, early[0] + 1e-5 * early[1], 0.0, 0.0, 0.0)
    further = driver_currents(forward * 1.00001, around, early[1], side["pnp"])
    assert (further[0] - base) / 1e-5 == pytest.approx(base_slope, rel=1e-3)
    assert (further[1] - collector) / 1e-5 == pytest.approx(collector_slope, rel=1e-3)


@pytest.mark.parametrize("depth", [0.02, 0.06, 0.1, 0.2, 0.4])
@pytest.mark.parametrize("knee", [0.02, 10.0])
def test_saturated_pnp(depth: float, knee: float) -> None:
    """``depth`` [V] from emitter to collector; leaving out the product of knee and saturation costs 12 %."""
    part = Transistor(gain=120.0, knee_current=knee, reverse_gain=4.0, early_voltage=25.0)
    _, side = left_side(pnp=part)
    emitter = 0.72
    expected_collector, expected_base = transistor_currents(part, emitter, emitter - depth)
    forward = part.saturation_current * math.exp(emitter / ROOM_THERMAL_VOLTAGE)
    # the NPN's base stands where the collector current itself says
    room = math.exp(-depth / ROOM_THERMAL_VOLTAGE) / expected_collector
    early = 1.0 + (depth - emitter) / 25.0, 0.0
    base, collector, *_ = driver_currents(
        forward, Around(room, 0.0, early[0], 0.0, 0.0, 0.0), early[1], side["pnp"]
    )
    tolerance = 1e-3 if knee > 1.0 else 0.12
    assert collector == pytest.approx(expected_collector, rel=tolerance)
    assert base == pytest.approx(expected_base, rel=tolerance)


@pytest.mark.parametrize("load", [1e-3, 30e-3, 100e-3])
@pytest.mark.parametrize("overdrive", [1.02, 1.3, 3.0, 20.0])
def test_collector_voltage_of_a_driven_npn(load: float, overdrive: float) -> None:
    """Against the voltage at which the full equations carry the load on the same base current."""
    part = Transistor(gain=150.0, knee_current=0.08, reverse_gain=5.0, early_voltage=1e6)
    _, side = left_side(npn=part)
    demand = load * (1.0 + load / part.knee_current)
    capability = overdrive * demand
    base = (capability + math.sqrt(demand * part.low_knee_current)) / part.gain

    def excess(collector: float) -> float:
        emitter = brentq(
            lambda trial: transistor_currents(part, trial, trial - collector)[1] - base, 0.1, 1.2, xtol=1e-13
        )
        return transistor_currents(part, emitter, emitter - collector)[0] - load

    expected = brentq(excess, 1e-4, 1.5, xtol=1e-9)
    voltage, slope = collector_voltage(capability, demand, ROOM, side["npn"])
    assert voltage == pytest.approx(expected, abs=10e-3)
    further, _ = collector_voltage(capability * 1.00001, demand, ROOM, side["npn"])
    assert (further - voltage) / 1e-5 == pytest.approx(slope, rel=2e-3)


def settle(rail: float, back: float, coupling: float, side: Any, guess: float = math.inf) -> Settled:
    """The settled latch."""
    found = settle_latch(Supply(rail, 0.0, back), kick_of(coupling), ROOM, side, Guess(guess, 1e-4, 0.03))
    assert found.status == SETTLED
    return found


def holds_at_rest(values: dict[str, float], rail: float, back: float, coupling: float) -> bool | None:
    """Whether a latch holds, which has to rest as by the full equations; None where a hair decides."""
    design = Design(name="borage").with_values(values)
    free = max(0.5 * (rail - back), 0.15)
    rest = rest_of_latch(design, rail, back, coupling)
    found = settle(rail, back, coupling, build(design)[0]["side"][0])
    if found.holds != (rest.collector < free):
        # only where a change of the NPN's gain by a few parts in a hundred decides
        gains = (0.94, 1.06)
        nearby = [rest_of_latch(design, rail, back, coupling, gain).collector < free for gain in gains]
        assert nearby[0] != nearby[1], (values, rail, back, coupling)
        return None
    if found.holds:
        assert found.motor == pytest.approx(rest.motor, rel=0.025, abs=1e-4)
        assert found.base == pytest.approx(rest.base, rel=0.02)
        assert found.given == pytest.approx(rest.given, rel=0.08)
        assert found.junction == pytest.approx(rest.junction, abs=2e-3)
        assert found.collector == pytest.approx(rest.collector, abs=0.012)
        assert found.cover >= 1.0
    return bool(found.holds)


@pytest.mark.parametrize("number", range(8))
def test_a_settled_latch_is_where_the_full_equations_come_to_rest(number: int) -> None:
    assert holds_at_rest(*drawn_states(number + 1)[number]) is not None


def test_settled_latches_are_where_the_full_equations_come_to_rest() -> None:
    held = [holds_at_rest(*state) for state in drawn_states(60)]
    assert held.count(True) > 35
    assert held.count(False) > 4


@pytest.mark.parametrize(
    ("drive", "weight", "scale"), [(1e-3, 1e-6, 1e-17), (2e-4, 1e-4, 1e-15), (5e-2, 1e-8, 1e-12)]
)
def test_the_strongest_drive_solves_its_equation(drive: float, weight: float, scale: float) -> None:
    y, status = strongest_drive(drive, weight, scale)
    assert status == SETTLED
    assert scale * math.exp(y) + weight * y == pytest.approx(drive, rel=1e-7)


@pytest.mark.parametrize("number", [0, 3, 4, 6, 7, 11])
def test_a_latch_settles_on_a_level_where_its_npn_can_pull(number: int) -> None:
    """What it says of currents, cover and margin is that of the level, and its gain a difference."""
    values, rail, back, coupling = drawn_states(12)[number]
    side = build(Design(name="borage").with_values(values))[0]["side"][0]
    supply, kick = Supply(rail, 1.0, back), STIFF._replace(current=STIFF.current + coupling)
    frame, found = frame_of(supply, kick, ROOM, side), settle_latch(supply, kick, ROOM, side, FRESH)
    assert found.holds
    level = level_of(found.guess, found.collector, frame, side)
    excess, margin = excess_of(level, ROOM, side["npn"])
    assert abs(excess) < 5e-4
    assert found.margin == pytest.approx(margin, rel=1e-5)
    assert found.collector == pytest.approx(level.collector, abs=1e-6)
    assert found.given == pytest.approx(level.given, rel=1e-5)
    assert found.cover == pytest.approx(level.capability / level.demand, rel=1e-5)
    assert found.junction == pytest.approx(ROOM * found.guess, rel=1e-12)
    motor = (rail - found.collector - back) / (float(side["motor_resistance"]) + 1.0)
    assert found.motor == pytest.approx(motor, rel=1e-9)
    pushed = kick.current - kick.answer * found.junction - kick.feed * found.collector
    assert found.pushed == pytest.approx(pushed, rel=1e-9)
    resistor = (rail - motor - found.junction - found.collector) / float(side["latch"])
    assert found.base == pytest.approx(resistor + pushed, rel=1e-6)
    low, high = (level_of(found.guess + off, found.collector, frame, side) for off in (-1e-5, 1e-5))
    drawn = -frame.weight * 2e-5 - frame.stiffness * (high.collector - low.collector)
    assert found.gain == pytest.approx((high.given - low.given) / drawn, rel=1e-4)


@pytest.mark.parametrize("number", [0, 3, 4, 6, 7, 11])
def test_the_last_step_to_a_level_goes_along_its_slopes(number: int) -> None:
    """From 0.08 beside it, to less than an ordinary step of Newton's leaves."""
    values, rail, back, coupling = drawn_states(12)[number]
    side = build(Design(name="borage").with_values(values))[0]["side"][0]
    frame = frame_of(Supply(rail, 1.0, back), STIFF._replace(current=STIFF.current + coupling), ROOM, side)
    near = settle_latch(frame.supply, frame.kick, ROOM, side, FRESH)

    def excess(y: float) -> float:
        return excess_of(level_of(y, near.collector, frame, side), ROOM, side["npn"])[0]

    rest = float(brentq(excess, near.guess - 0.3, near.guess + 0.3, xtol=1e-10))
    goal = level_of(rest, near.collector, frame, side)
    level = level_of(rest + 0.08, near.collector, frame, side)
    short, slope = excess_of(level, ROOM, side["npn"])
    found = along(level, rest + 0.08, -short / slope, short, slope, frame)
    assert abs(found.guess - rest) < 1.5e-3 < abs(0.08 - short / slope)
    assert found.collector == pytest.approx(goal.collector, abs=3e-4)
    assert found.given == pytest.approx(goal.given, rel=1e-3)


# Latch and motor [ohm], answer [A/V], junction [V], rail [V], back-EMF [V], coupling current [A]: states like
# those of a whisker pressed in a pulse, for which Newton's method jumps to and fro for ever.
ON_A_HAIR = (
    (44128.65, 32.3322, 1.33294e-3, 0.6554983, 3.19998, 0.142649, -3.41086e-5),
    (33863.7454, 27.3761, 1.2317246e-3, 0.6513265, 2.54815, 0.4184216, -3.69741e-5),
    (44877.096, 21.88245, 2.4993e-3, 0.657478, 3.683634, 0.179483, -3.00221e-6),
)


@pytest.mark.parametrize("state", ON_A_HAIR)
def test_a_latch_on_a_hair_comes_to_an_end(state: tuple[float, ...]) -> None:
    """It has let go, or rests just out of saturation, where the NPN covers its load and no more."""
    latch, motor, answer, junction, rail, back, current = state
    plain = {
        f"both.{part}.{key}": value
        for part in ("npn", "pnp")
        for key, value in (("early_voltage", 1e6), ("low_knee_current", 0.0))
    }
    values = {"both.latch": latch, "both.motor.resistance": motor, **plain}
    side = build(Design(name="borage").with_values(values))[0]["side"][0]
    kick = Kick(current + answer * junction, answer, 0.0, 0.0)
    found = settle_latch(Supply(rail, 0.0, back), kick, ROOM, side, FRESH)
    assert found.status == SETTLED
    if found.holds:
        assert found.cover == pytest.approx(1.0, abs=0.01)
        assert found.motor == pytest.approx((rail - back - found.collector) / motor, rel=1e-6)
        carried = npn_current(side["npn"], found.given, found.motor + found.base - found.pushed)
        assert carried == pytest.approx(found.motor + found.base - found.pushed, rel=0.02)


def npn_current(npn: Any, base: float, load: float) -> float:
    """What an NPN out of saturation carries on a ``base`` current [A], its gain that at the ``load``."""
    return float(npn["gain"] * base / (1.0 + load / npn["knee"]))


@pytest.mark.parametrize("part", range(5))
def test_a_guess_from_nearby_leads_to_the_same_level(part: int) -> None:
    """As far off as a step of a pulse goes, and nothing is found where the search from ground finds none."""
    for values, rail, back, coupling in drawn_states(200)[40 * part : 40 * part + 40]:
        side = build(Design(name="borage").with_values(values))[0]["side"][0]
        supply, kick = Supply(rail, 0.0, back), kick_of(coupling)
        fresh = settle_latch(supply, kick, ROOM, side, FRESH)
        if not fresh.holds or fresh.cover < 1.2:
            continue
        for off in (0.0, 0.02, 0.1):
            guess = Guess(
                fresh.guess + off, fresh.base * math.exp(off), max(fresh.collector - 0.3 * off, 0.0)
            )
            other = settle_latch(supply, kick, ROOM, side, guess)
            assert other.holds, (values, rail, back, coupling, off)
            assert other.collector == pytest.approx(fresh.collector, abs=1.5e-3)
            for name in ("motor", "base", "given", "pushed", "junction"):
                assert getattr(other, name) == pytest.approx(getattr(fresh, name), rel=3e-3, abs=5e-4)
            assert 0.0 <= other.gain <= 2.1 * other.given / other.base
