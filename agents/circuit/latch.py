"""The latch: a PNP and an NPN that keep each other on through the latch resistor.

Reduced from the node equations with exponential transistors by taking the latch as settled at every moment.
What is kept: base-emitter voltages that follow the current, gain that falls at high and at low current and
rises with the collector's voltage (Early effect), saturation of both transistors, and the PNP running out of
voltage as the rail comes down to the NPN's base.

    PNP emitter:    V_BEp = V_T ln(f / I_S),  f its forward transport current
    PNP base:       (f + sqrt(f I_L)) / beta_p + x / beta_r = I_c + (V - V_BEp - V_CE) / R_latch
    PNP collector:  t + t^2 / I_K = f - x,   x = f exp(-V_EC / V_T)
                    I_Bn = t (1 + (V_EC - V_BEp) / V_A) - x / beta_r
    NPN base:       V_EC = V - V_T ln(g / I_S)
                    I_Bn = (g + sqrt(g I_L)) / beta_n + (g - D) / (beta_r + 1)
    NPN collector:  V_CE = V_T ln((beta_n / beta_r + s (1 + 1 / beta_r)) / (s - 1))
                    s = (beta_n I_Bn - sqrt(D I_L)) / D,   D = T + T^2 / I_K
                    T (1 + (V_CE - V_BEn) / V_A) = I_C = I_m + I_Bp - I_c

I_c is the current through the coupling capacitor, x the current with which a saturated PNP feeds back, g the
NPN's forward transport current, less than beta_n I_Bn by what its collector feeds back to its base and by
what recombines in its emitter junction. s is how far the NPN's capability covers its load; below 1 it cannot
carry it at all. Knee and saturation of the PNP, which are hardly at work together, are left without their
product, and that leaves a quadratic. Where g has little weight it is taken as D at the level before.

Source: the charge-control and transport equations of Gummel and Poon, Bell System Technical Journal 49
(1970), of which gain beta / (1 + I_C / I_K) is the forward active case. The base current that recombines in
the emitter junction goes as exp(V_BE / 2 V_T): Sah, Noyce and Shockley, Proceedings of the IRE 45 (1957).
"""

import math
from typing import Any, NamedTuple

from agents.circuit.status import DRIVE_UNSETTLED, LATCH_UNSETTLED, SETTLED
from agents.compiled import kernel, kernel_part

# Rounds of Newton's method at the most, for the drive and for the level.
DRIVE_ROUNDS = 40
LEVEL_ROUNDS = 100
# A collector below this [V] has not risen, however little of the rail the back-EMF leaves.
LEAST_FREE_LEVEL = 0.15


@kernel
def driver_currents(
    forward: float, room: float, spare: float, early: tuple[float, float], pnp: Any
) -> tuple[float, float, float, float]:
    """Base and collector current [A] of the latch's PNP, and the slope of each against ln(``forward``).

    ``forward`` [A] is its forward transport current. It feeds back the share exp(-V_EC / V_T) of that, which
    by the NPN's base equation is ``room`` [1/A] times the sum of its collector current and ``spare`` [A].
    ``early`` are the factor by which its collector voltage raises that current, and the slope of the factor.
    """
    back = 1.0 / pnp["reverse_gain"]
    fed_back = forward * room
    linear = 1.0 + fed_back * (early[0] + back)
    free = forward * max(1.0 - room * spare * (1.0 + back / early[0]), 0.0)
    # the root of the quadratic in the form that loses no digits at small current
    root = math.sqrt(linear * linear + 4.0 * free / pnp["knee"])
    carried = 2.0 * free / (linear + root)
    carried_slope = (free - fed_back * (early[0] + back) * carried) / root
    collector = early[0] * carried
    collector_slope = early[0] * carried_slope + early[1] * carried
    lost = math.sqrt(forward * pnp["low_knee"])
    base = (forward + lost) / pnp["gain"] + back * fed_back * (collector + spare)
    base_slope = base - 0.5 * lost / pnp["gain"] + back * fed_back * collector_slope
    return base, collector, base_slope, collector_slope


@kernel
def collector_voltage(
    capability: float, demand: float, thermal: float, transistor: Any
) -> tuple[float, float]:
    """Collector-emitter voltage [V] of a transistor, and its slope against ln(``capability``).

    ``capability`` [A] is its ideal collector current, gain times base current, less what of that recombines;
    ``demand`` [A], which is less, the T (1 + T / I_K) that the load asks for.
    """
    back = 1.0 / transistor["reverse_gain"]
    share = (1.0 + back) * capability
    spread = transistor["gain"] * back * demand + share
    over = 1.0 / (capability - demand)
    return thermal * math.log(spread * over), thermal * (share / spread - capability * over)


@kernel
def strongest_drive(drive: float, thermal: float, side: Any) -> tuple[float, int]:
    """Return ln(f / I_S) of the PNP with its latch resistor at ground and ``drive`` [V] across the two.

    The settled collector stands above ground, and some of the base current recombines, so that this is above
    every level at which the latch rests.
    Newton's method on a rising convex function, from above: with e the distance from the root a round takes
    at least 1 - exp(-e) off e, and more where the resistor has little of the drive, so that ``DRIVE_ROUNDS``
    do for all parts that a design may have. The status comes second.
    """
    pnp = side["pnp"]
    scale = side["latch"] * pnp["saturation_current"] / pnp["gain"]
    y = math.log(max(drive, thermal) / scale)
    for _ in range(DRIVE_ROUNDS):
        grown = scale * math.exp(y)
        change = (drive - grown - thermal * y) / (grown + thermal)
        y += change
        if abs(change) < 1e-4:
            return y, SETTLED
    return y, DRIVE_UNSETTLED


class Supply(NamedTuple):
    """What drives a latch and its motor.

    ``source`` [V] of the rail with the motor off, ``esr`` [ohm] by which the motor's current lowers it,
    ``back`` [V] of back-EMF in the motor.
    """

    source: float
    esr: float
    back: float


class Kick(NamedTuple):
    """What the coupling capacitor does to the PNP's base.

    ``current`` [A] out of the base into the capacitor while the emitter-base voltage is ``junction`` [V],
    and ``answer`` [A/V] by how much it falls as that voltage rises.
    """

    current: float
    answer: float
    junction: float


class Settled(NamedTuple):
    """Where a latch has come to rest; all between ``holds`` and ``status`` is of no use where it has not.

    Currents [A] of the motor, out of the PNP's base and into the NPN's (``given``), the PNP's emitter-base
    voltage and the collector's [V], how often the NPN covers its load, and the guess to go on from.
    """

    holds: bool
    motor: float
    base: float
    given: float
    junction: float
    collector: float
    cover: float
    guess: float
    status: int


class Frame(NamedTuple):
    """What stays while a latch is settled, worked out from supply, kick and side."""

    supply: Supply
    kick: Kick
    thermal: float
    conductance: float
    part: float
    drive: float
    weight: float
    room: float
    spare: float
    free_level: float
    low: float
    over: float
    lost: float


class Level(NamedTuple):
    """What goes with one y, each with its slope against it: currents [A] and the collector's voltage [V]."""

    base: float
    base_slope: float
    given: float
    given_slope: float
    collector: float
    collector_slope: float
    motor: float
    motor_slope: float
    demand: float
    demand_slope: float
    capability: float
    capability_slope: float


@kernel_part
def frame_of(supply: Supply, kick: Kick, thermal: float, side: Any, recent: float) -> Frame:
    """Work out what stays while a latch is settled; arguments as for :func:`settle_latch`."""
    npn = side["npn"]
    latch = side["latch"]
    conductance = 1.0 / (side["motor_resistance"] + supply.esr)
    share = 1.0 / (npn["reverse_gain"] + 1.0)
    load = max((supply.source - recent - supply.back) * conductance, 0.0)
    asked = load * (1.0 + load / npn["knee"])
    lost = math.sqrt(asked * npn["low_knee"])
    spare = share * asked - lost / npn["gain"]
    rail = supply.source - supply.esr * load
    low = thermal * math.log(max(asked, 1e-6) / npn["saturation_current"])
    room = math.exp(-rail / thermal) / (npn["saturation_current"] * (1.0 / npn["gain"] + share))
    # rail less collector is this part of source less collector, and the rest of the back-EMF
    part = side["motor_resistance"] * conductance
    pushed = kick.current + kick.answer * kick.junction
    drive = part * supply.source + (1.0 - part) * supply.back + latch * pushed
    # the emitter-base voltage stands against the drive at the latch resistor, and at the coupling capacitor
    weight = thermal * (1.0 + latch * kick.answer)
    free_level = max(0.5 * (supply.source - supply.back), LEAST_FREE_LEVEL)
    over = rail - low
    return Frame(
        supply, kick, thermal, conductance, part, drive, weight, room, spare, free_level, low, over, lost
    )


@kernel_part
def level_at(y: float, frame: Frame, side: Any) -> Level:
    """The level that goes with y = ln(f / I_S): the collector voltage by the PNP's base, and what it asks."""
    npn = side["npn"]
    latch = side["latch"]
    kick = frame.kick
    pnp = side["pnp"]
    early = 1.0 + (frame.over - frame.thermal * y) * pnp["early"], -frame.thermal * pnp["early"]
    base, given, base_slope, given_slope = driver_currents(
        pnp["saturation_current"] * math.exp(y), frame.room, frame.spare, early, pnp
    )
    collector = (frame.drive - latch * base - frame.weight * y) / frame.part
    collector_slope = -(latch * base_slope + frame.weight) / frame.part
    pushed = kick.current + kick.answer * (kick.junction - frame.thermal * y)
    motor = (frame.supply.source - collector - frame.supply.back) * frame.conductance
    motor_slope = -collector_slope * frame.conductance
    if motor < 0.0:
        motor = 0.0
        motor_slope = 0.0
    # a load of nothing would be covered without end
    ease = 1.0 / (1.0 + (max(collector, 0.0) - frame.low) * npn["early"])
    load = ease * max(motor + base - pushed, 1e-9)
    load_slope = ease * (motor_slope + base_slope + kick.answer * frame.thermal)
    if collector > 0.0:
        load_slope -= ease * load * npn["early"] * collector_slope
    strain = load / npn["knee"]
    demand = load * (1.0 + strain)
    demand_slope = (1.0 + 2.0 * strain) * load_slope
    return Level(
        base,
        base_slope,
        given,
        given_slope,
        collector,
        collector_slope,
        motor,
        motor_slope,
        demand,
        demand_slope,
        npn["gain"] * given - frame.lost,
        npn["gain"] * given_slope,
    )


@kernel_part
def excess_of(level: Level, thermal: float, npn: Any) -> tuple[float, float]:
    """By how much the NPN falls short, or can do more (negative), and its slope.

    Where it can carry the load, that is how far [V] above the level's collector it settles; where it cannot,
    what it lacks [A] and a little beyond.
    """
    if level.capability > level.demand:
        settled, settled_slope = collector_voltage(level.capability, level.demand, thermal, npn)
        relative = level.capability_slope / level.capability - level.demand_slope / level.demand
        return settled - level.collector, settled_slope * relative - level.collector_slope
    # the load may yet fall below the capability as the collector rises; go a little beyond
    excess = 1.02 * (level.demand - level.capability) + 1e-9
    return excess, level.demand_slope - level.capability_slope


@kernel_part
def along(level: Level, y: float, change: float, frame: Frame) -> Settled:
    """The settled latch a last ``change`` of y away from a level."""
    final = y + change * (1.0 - 0.5 * change)
    return Settled(
        level.collector < frame.free_level,
        level.motor + level.motor_slope * change,
        level.base + level.base_slope * change,
        level.given + level.given_slope * change,
        frame.thermal * final,
        level.collector + level.collector_slope * change,
        level.capability / level.demand,
        final,
        SETTLED,
    )


@kernel_part
def let_go(status: int) -> Settled:
    """A latch that does not hold, or of which ``status`` says that nothing is known."""
    return Settled(False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.inf, status)


@kernel
def settle_latch(
    supply: Supply, kick: Kick, thermal: float, side: Any, recent: float, guess: float
) -> Settled:
    """Where the latch settles with ``thermal`` [V] and ``side``, a SIDE record.

    ``recent`` [V] is the collector's level a moment before, by which rail and NPN's base stand where they
    do, and ``guess`` the guess returned then, or inf.

    The one unknown is y = ln(f / I_S). The PNP's base equation gives the collector voltage that goes with a
    y, and the NPN's collector equation the one down to which it can pull; the latch rests where they agree. A
    risen collector weakens the drive, and that lets the collector rise further: so there are two such levels
    or none, and it rests at the lower, which has the greater y. The excess of what the NPN can do over what
    it should is convex, so that Newton's method from a greater y comes down to that level without passing it.
    Past the valley between the two, or where the collector stands nearer to the motor's free level than to
    ground, the latch has let go.

    The NPN just covers its load at a place that parts two sorts of excess, and Newton's method may jump to
    and fro over it, or creep. A latch that is not settled for that after ``LEVEL_ROUNDS`` hangs on a hair and
    counts as one that has let go: there the full equations have no lower level any more. LATCH_UNSETTLED is
    for one that has come to no number.
    """
    frame = frame_of(supply, kick, thermal, side, recent)
    is_fresh = guess == math.inf
    status = SETTLED
    y = guess
    if is_fresh:
        y, status = strongest_drive(frame.drive, frame.weight, side)
        if status != SETTLED:
            return let_go(status)
    upper = math.inf
    lower = -math.inf
    for _ in range(LEVEL_ROUNDS):
        level = level_at(y, frame, side)
        excess, slope = excess_of(level, thermal, side["npn"])
        is_down = level.collector < frame.free_level
        if level.capability > level.demand:
            # the last step goes along the slopes: all but straight against f, save near the valley
            near = 0.1 if level.capability > 3.0 * level.demand else 1e-3
            if abs(excess) < near * min(slope, 5.0) and (is_fresh or is_down):
                return along(level, y, -excess / slope, frame)
            if excess <= 0.0:
                lower = y
        if excess > 0.0:
            upper = y
        is_between = lower > -math.inf and upper < math.inf
        is_beyond = not is_between and slope <= 0.0
        if is_beyond or (level.collector > frame.free_level and not (is_fresh and excess <= 0.0)):
            if is_fresh:
                return let_go(status)
            # perhaps the guess alone was beyond the valley
            is_fresh = True
            lower = -math.inf
            upper = math.inf
            y, status = strongest_drive(frame.drive, frame.weight, side)
            if status != SETTLED:
                return let_go(status)
            continue
        if is_between and upper - lower < 1e-3:
            # just out of saturation, where the collector's voltage hangs on the last digits of the cover
            junction = thermal * y
            return Settled(
                is_down, level.motor, level.base, level.given, junction, level.collector, 1.0, y, SETTLED
            )
        change = min(max(-excess / slope, -5.0), 5.0)
        if is_between and not lower < y + change < upper:
            change = 0.5 * (lower + upper) - y
        y += change
    if not math.isfinite(y):
        status = LATCH_UNSETTLED
    return let_go(status)


@kernel
def ignites(on_voltage: float, side: Any, thermal: float) -> bool:
    """Whether the flash turns the latch on.

    Before the flash the collector stands at the rail, so the latch resistor holds the PNP off; the flash has
    to draw more through the coupling capacitor than that resistor gives back at one emitter-base voltage.
    ``on_voltage`` [V] is the voltage at the eye when it flashes.
    """
    pnp = side["pnp"]
    # a base current of a microampere is far more than the loop needs to run away
    half = 0.5 * math.sqrt(pnp["low_knee"])
    forward = (math.sqrt(1e-6 * pnp["gain"] + half * half) - half) ** 2
    junction = thermal * math.log(forward / pnp["saturation_current"])
    kick = (on_voltage - side["lit_voltage"] - junction) / side["flash_resistance"]
    return bool(kick > junction / side["latch"] + 1e-6)
