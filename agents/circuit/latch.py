"""The latch: a PNP and an NPN that keep each other on through the latch resistor.

Reduced from the node equations with exponential transistors by taking the latch as settled at every moment.
What is kept: base-emitter voltages that follow the current, gain that falls at high and at low current and
rises with the collector's voltage (Early effect), saturation of both transistors, and the PNP running out of
voltage as the rail comes down to the NPN's base.

    PNP emitter:    V_BEp = V_T ln(f / I_S),  f its forward transport current
    PNP base:       (f + sqrt(f I_L)) / beta_p + x / beta_r = I_c + (V - V_BEp - V_CE) / R_latch
    eye:            I_c = (e - V_lit) / R_k + (e - V_CE) / R_series - (V - e) / R_feeler + I_q e / V_dark
                    e = V - V_BEp - u
    PNP collector:  t + t^2 / I_K = f - x,   x = f exp(-V_EC / V_T)
                    I_Bn = t (1 + (V_EC - V_BEp) / V_A) - x / beta_r
    NPN base:       V_EC = V - V_T ln(g / I_S)
                    I_Bn = (g + sqrt(g I_L)) / beta_n + (g - D) / (beta_r + 1)
    NPN collector:  V_CE = V_T ln((beta_n / beta_r + s (1 + 1 / beta_r)) / (s - 1))
                    s = (beta_n I_Bn - sqrt(D I_L)) / D,   D = T + T^2 / I_K
                    T (1 + (V_CE - V_BEn) / V_A) = I_C = I_m + (V - V_BEp - V_CE) / R_latch
                                                          + (e - V_CE) / R_series

I_c is the current through the coupling capacitor, over which stand u, e the voltage at the eye, which is lit
above V_lit and else draws its standby current, the feeler resistor's part there while the whisker is pressed.
x is the current with which a saturated PNP feeds back, g the
NPN's forward transport current, less than beta_n I_Bn by what its collector feeds back to its base and by
what recombines in its emitter junction. s is how far the NPN's capability covers its load; below 1 it cannot
carry it at all. Where g has little weight it is taken as D at the level before. The charge in the base of an
overdriven NPN grows beyond that of its load: then 1 + T / I_K of D is (1 + sqrt(1 + 4 g / I_K)) / 2, and the
1 / beta_r of V_CE that many times as much (:mod:`agents.circuit.transistors`).

Source: the charge-control and transport equations of Gummel and Poon, Bell System Technical Journal 49
(1970), of which gain beta / (1 + I_C / I_K) is the forward active case. The base current that recombines in
the emitter junction goes as exp(V_BE / 2 V_T): Sah, Noyce and Shockley, Proceedings of the IRE 45 (1957).
"""

import math
from typing import Any, NamedTuple

from agents.circuit.level import STRAIGHT, Frame, Kick, Level, Supply, excess_of, frame_of, level_at
from agents.circuit.status import DRIVE_UNSETTLED, LATCH_UNSETTLED, SETTLED
from agents.circuit.transistors import collector_voltage
from agents.compiled import kernel, kernel_part

# Rounds of Newton's method at the most, for the drive and for the level.
DRIVE_ROUNDS = 40
LEVEL_ROUNDS = 40
# Rounds of the search for the lowest level, and how near [V] it comes to it.
SEARCH_ROUNDS = 200
HELD = 3e-4
# How well [V] base and collector agree on a level that the NPN just carries.
NEAR_LEVEL = 2e-3
# As far [V] from where the collector was looked for at the most it settles.
CLOSE_BY = 0.02
# By this share of itself the slope of the excess may change in the last step to a level.
STRAIGHT_SHARE = 0.2


@kernel
def strongest_drive(drive: float, weight: float, scale: float) -> tuple[float, int]:
    """Return ln(f / I_S) of the PNP with its latch resistor at ground: scale e^y + weight y = drive.

    ``drive`` [A] is what latch resistor and eye draw at an emitter-base voltage of nought, ``weight`` [A] by
    how much less for each thermal voltage of it, ``scale`` [A] the base current of a y of 0. The settled
    collector stands above ground, and some of the base current recombines, so that this is above every level
    at which the latch rests.
    Newton's method on a rising convex function, from above: with e the distance from the root a round takes
    at least 1 - exp(-e) off e, and more where the resistor has little of the drive, so that ``DRIVE_ROUNDS``
    do for all parts that a design may have. The status comes second.
    """
    y = math.log(max(drive, weight) / scale)
    for _ in range(DRIVE_ROUNDS):
        grown = scale * math.exp(y)
        change = (drive - grown - weight * y) / (grown + weight)
        y += change
        if abs(change) < 1e-4:
            return y, SETTLED
    return y, DRIVE_UNSETTLED


class Settled(NamedTuple):
    """Where a latch has come to rest; all between ``holds`` and ``status`` is of no use where it has not.

    Currents [A] of the motor, out of the PNP's base, into the NPN's (``given``, which grows by ``gain`` for
    each ampere of the PNP's base) and through the coupling capacitor (``pushed``), the PNP's emitter-base
    voltage and the collector's [V], how often the NPN covers its load, how steeply the excess falls towards
    the valley past which there is no level [V], and the guess to go on from.
    """

    holds: bool
    motor: float
    base: float
    given: float
    gain: float
    pushed: float
    junction: float
    collector: float
    cover: float
    margin: float
    guess: float
    status: int


class Guess(NamedTuple):
    """Where a latch stood a moment before: y = ln(f / I_S) or inf, base current [A], collector [V]."""

    y: float
    base: float
    collector: float


@kernel_part
def along(level: Level, y: float, change: float, excess: float, slope: float, frame: Frame) -> Settled:
    """The settled latch a last ``change`` of y away from a level.

    The collector goes along the NPN's own side of the balance, which is all but straight against y.
    """
    final = y + change * (1.0 - 0.5 * change)
    collector = level.collector + excess + (slope + level.collector_slope) * change
    motor = max((frame.supply.source - collector - frame.supply.back) * frame.conductance, 0.0)
    kick = frame.kick
    junction = frame.thermal * final
    pushed = kick.current - kick.answer * junction - kick.feed * collector
    base = max(frame.drive - frame.weight * final - frame.stiffness * collector, 1e-12)
    # where both transistors are saturated the slopes of the two all but vanish
    gain = level.given_slope / max(-frame.weight - frame.stiffness * level.collector_slope, 1e-12)
    gain = min(max(gain, 0.0), 2.0 * level.given / base)
    return Settled(
        level.collector < frame.free_level,
        motor,
        base,
        level.given + level.given_slope * change,
        gain,
        pushed,
        junction,
        collector,
        level.capability / level.demand,
        slope,
        final,
        SETTLED,
    )


@kernel_part
def let_go(status: int) -> Settled:
    """A latch that does not hold, or of which ``status`` says that nothing is known."""
    return Settled(False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.inf, status)


@kernel
def lowest_level(frame: Frame, side: Any) -> tuple[float, float, int]:
    """Look for the lowest level from ground: about its y and its collector [V], and a status.

    y is inf where there is none. With the collector held at a voltage the PNP's base tells y, and the NPN the
    voltage to which it can pull. That rises with the voltage that is held, so that going from one to the next
    comes up to the lowest level from below, and passes none.
    """
    scale = side["pnp"]["saturation_current"] / side["pnp"]["gain"]
    y, status = strongest_drive(frame.drive, frame.weight, scale)
    held = 0.0
    # the highest voltage from which the NPN is known to let the collector rise, and the lowest from which not
    rises = 0.0
    falls = math.inf
    for _ in range(SEARCH_ROUNDS):
        if status != SETTLED or held > frame.free_level:
            break
        level = level_at(y, held, frame, side)
        if abs(level.shift) > HELD:
            y += min(max(-level.shift / level.collector_slope, -2.0), 2.0)
            if not math.isfinite(y):
                return math.inf, held, LATCH_UNSETTLED
            continue
        settled = held + 0.02
        if level.capability > level.demand:
            settled, _ = collector_voltage(level.capability, level.demand, frame.thermal, side["npn"])
        if abs(settled - held) < HELD or falls - rises < HELD:
            return y, held, status
        if settled > held:
            rises = held
            held = settled if falls == math.inf else 0.5 * (rises + falls)
        else:
            falls = held
            held = 0.5 * (rises + falls)
    return math.inf, held, status


@kernel
def settle_latch(supply: Supply, kick: Kick, thermal: float, side: Any, guess: Guess) -> Settled:
    """Where the latch settles with ``thermal`` [V] and ``side``, a SIDE record.

    A latch that has no level near the ``guess`` counts as one that has let go; with no guess the lowest level
    is looked for from ground.

    The unknowns are y = ln(f / I_S) and the collector's voltage. The PNP's base equation gives the voltage
    that goes with a y, and the NPN's collector equation the one down to which it can pull; the latch rests
    where they agree. A risen collector weakens the drive, and that lets the collector rise further: so there
    are two such levels or none, and it rests at the lower, which has the greater y. The excess of what the
    NPN can do over what it should is convex, so that Newton's method from a greater y comes down to that
    level without passing it. Past the valley between the two, or where the collector stands nearer to the
    motor's free level than to ground, the latch has let go.

    The NPN just covers its load at a place that parts two sorts of excess, and Newton's method may jump to
    and fro over it, or creep. A latch that is not settled for that after ``LEVEL_ROUNDS`` hangs on a hair and
    counts as one that has let go: there the full equations have no lower level any more. LATCH_UNSETTLED is
    for one that has come to no number.
    """
    frame = frame_of(supply, kick, thermal, side)
    status = SETTLED
    y = guess.y
    place = guess.collector
    if y == math.inf:
        y, place, status = lowest_level(frame, side)
        if y == math.inf:
            return let_go(status)
        level = level_at(y, place, frame, side)
        excess, slope = excess_of(level, thermal, side["npn"])
        if level.capability > level.demand and abs(excess) < NEAR_LEVEL:
            return along(level, y, 0.0, 0.0, slope, frame)
    else:
        # the base current that is drawn now, were nothing else to move
        drawn = frame.drive - frame.weight * y - frame.stiffness * place
        if drawn > 0.1 * guess.base:
            grown = drawn / guess.base
            # between these bounds the logarithm to 0.5 %, which is enough to begin with
            grown = 2.0 * (grown - 1.0) / (grown + 1.0) if 0.8 < grown < 1.25 else math.log(grown)
            y += grown * guess.base / (guess.base + frame.weight)
    upper = math.inf
    lower = -math.inf
    for _ in range(LEVEL_ROUNDS):
        level = level_at(y, place, frame, side)
        excess, slope = excess_of(level, thermal, side["npn"])
        is_down = level.collector < frame.free_level
        if level.capability > level.demand:
            # a last step along the slopes, as long as it does not change them much
            over = level.capability - level.demand
            steep = min(slope, 5.0)
            bend = thermal * level.capability * level.demand
            near = min(0.1, STRAIGHT_SHARE * steep * over * over / bend)
            if abs(excess) < near * steep and is_down:
                settled = along(level, y, -excess / slope, excess, slope, frame)
                if abs(settled.collector - place) < CLOSE_BY:
                    return settled
                place = min(max(settled.collector, 0.0), frame.free_level)
                lower = -math.inf
                upper = math.inf
                continue
            if excess <= 0.0:
                lower = y
        if excess > 0.0:
            upper = y
        is_between = lower > -math.inf and upper < math.inf
        if (slope <= 0.0 and not is_between) or not is_down:
            return let_go(status if math.isfinite(y) else LATCH_UNSETTLED)
        if is_between and upper - lower < 1e-3:
            if abs(level.capability - level.demand) < 0.01 * level.demand and abs(level.shift) < NEAR_LEVEL:
                # just out of saturation, where the collector's voltage hangs on the last digits of the cover
                return along(level, y, 0.0, 0.0, 0.0, frame)
            # what it was between has moved with the collector
            lower = -math.inf
            upper = math.inf
            is_between = False
        change = min(max(-excess / slope, -5.0), 5.0)
        if is_between and not lower < y + change < upper:
            change = 0.5 * (lower + upper) - y
        y += change
        further = max(min(level.collector_slope * change, STRAIGHT), -STRAIGHT)
        place = min(max(level.collector + further, 0.0), frame.free_level)
    if not math.isfinite(y):
        status = LATCH_UNSETTLED
    return let_go(status)
