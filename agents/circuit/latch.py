"""The latch: a PNP and an NPN that keep each other on through the latch resistor.

Reduced from the node equations with exponential transistors by taking the latch as settled at every moment.
What is kept: base-emitter voltages that follow the current, gain that falls at high current, saturation of
both transistors, and the PNP running out of voltage as the rail comes down to the NPN's base.

    PNP emitter:    V_BEp = V_T ln(f / I_S),  f its forward transport current
    PNP base:       f / beta_p + x / beta_r = I_c + (V - V_BEp - V_CE) / R_latch
    PNP collector:  I_Bn + I_Bn^2 / I_K = f - x (1 + 1 / beta_r),   x = f exp(-V_EC / V_T)
    NPN base:       V_EC = V - V_T ln(g / I_S),   I_Bn = g / beta_n + (g - D) / (beta_r + 1)
    NPN collector:  V_CE = V_T ln((beta_n / beta_r + s (1 + 1 / beta_r)) / (s - 1))
                    s = beta_n I_Bn / D,   D = I_C + I_C^2 / I_K,   I_C = I_m + I_Bp - I_c

I_c is the current through the coupling capacitor, x the current with which a saturated PNP feeds back, g the
NPN's forward transport current, less than beta_n I_Bn by what its collector feeds back to its base. s is how
far the NPN's capability covers its load; below 1 it cannot carry it at all. Knee and saturation of the
PNP, which are hardly at work together, are left without their product, and that leaves a quadratic.

Source: the charge-control and transport equations of Gummel and Poon, Bell System Technical Journal 49
(1970), of which gain beta / (1 + I_C / I_K) is the forward active case.
"""

import math
from typing import Any

from agents.compiled import kernel

# A collector below this [V] has not risen, however little of the rail the back-EMF leaves.
LEAST_FREE_LEVEL = 0.15


@kernel
def driver_currents(forward: float, room: float, spare: float, pnp: Any) -> tuple[float, float, float, float]:
    """Base and collector current [A] of the latch's PNP, and the slope of each against ln(``forward``).

    ``forward`` [A] is its forward transport current. It feeds back the share exp(-V_EC / V_T) of that, which
    by the NPN's base equation is ``room`` [1/A] times the sum of its collector current and ``spare`` [A].
    """
    back = 1.0 / pnp["reverse_gain"]
    fed_back = forward * room
    linear = 1.0 + fed_back * (1.0 + back)
    free = forward * max(1.0 - room * spare * (1.0 + back), 0.0)
    # the root of the quadratic in the form that loses no digits at small current
    root = math.sqrt(linear * linear + 4.0 * free / pnp["knee"])
    collector = 2.0 * free / (linear + root)
    collector_slope = (free - fed_back * (1.0 + back) * collector) / root
    base = forward / pnp["gain"] + back * fed_back * (collector + spare)
    base_slope = base + back * fed_back * collector_slope
    return base, collector, base_slope, collector_slope


@kernel
def collector_voltage(
    capability: float, demand: float, thermal: float, transistor: Any
) -> tuple[float, float]:
    """Collector-emitter voltage [V] of a transistor, and its slope against ln(``capability``).

    ``capability`` [A] is its ideal collector current, gain times base current; ``demand`` [A], which is less,
    the I_C (1 + I_C / I_K) that the load asks for.
    """
    back = 1.0 / transistor["reverse_gain"]
    share = (1.0 + back) * capability
    spread = transistor["gain"] * back * demand + share
    over = 1.0 / (capability - demand)
    return thermal * math.log(spread * over), thermal * (share / spread - capability * over)


@kernel
def strongest_drive(drive: float, thermal: float, side: Any) -> float:
    """Return ln(f / I_S) of the PNP with its latch resistor at ground and ``drive`` [V] across the two.

    The settled collector stands above ground, so that this is above every level at which the latch rests.
    Newton's method on a rising convex function, from above.
    """
    pnp = side["pnp"]
    scale = side["latch"] * pnp["saturation_current"] / pnp["gain"]
    y = math.log(max(drive, thermal) / scale)
    for _ in range(40):
        grown = scale * math.exp(y)
        change = (drive - grown - thermal * y) / (grown + thermal)
        y += change
        if abs(change) < 1e-4:
            break
    return y


@kernel
def settle_latch(
    source: float,
    esr: float,
    back: float,
    coupling_current: float,
    answer: float,
    junction: float,
    thermal: float,
    side: Any,
    recent: float,
    guess: float,
) -> tuple[bool, float, float, float, float, float, float, float]:
    """Where the latch settles with ``back`` [V] of back-EMF in the motor.

    ``source`` [V] of the rail with the motor off and ``esr`` [ohm] by which the motor's current lowers it,
    ``coupling_current`` [A] out of the PNP's base into the coupling capacitor while the emitter-base voltage
    is ``junction`` [V], ``answer`` [A/V] by how much it falls as that voltage rises, ``thermal`` [V],
    ``side`` a SIDE record, ``recent`` [V] the collector's level a moment before, by which rail and NPN's base
    stand where they do, and ``guess`` the guess returned then, or inf.

    The one unknown is y = ln(f / I_S). The PNP's base equation gives the collector voltage that goes with a
    y, and the NPN's collector equation the one down to which it can pull; the latch rests where they agree. A
    risen collector weakens the drive, and that lets the collector rise further: so there are two such levels
    or none, and it rests at the lower, which has the greater y. The excess of what the NPN can do over what
    it should is convex, so that Newton's method from a greater y comes down to that level without passing it.
    Past the valley between the two, or where the collector stands nearer to the motor's free level than to
    ground, the latch has let go.

    Returns (holds, motor current [A], PNP base current [A], NPN base current [A], PNP emitter-base voltage
    [V], collector voltage [V], cover, next guess). All but the first are of no use where it does not hold.
    """
    npn = side["npn"]
    small = side["pnp"]["saturation_current"]
    latch = side["latch"]
    conductance = 1.0 / (side["motor_resistance"] + esr)
    share = 1.0 / (npn["reverse_gain"] + 1.0)
    load = max((source - recent - back) * conductance, 0.0)
    spare = share * load * (1.0 + load / npn["knee"])
    rail = source - esr * load
    room = math.exp(-rail / thermal) / (npn["saturation_current"] * (1.0 / npn["gain"] + share))
    # rail less collector is this part of source less collector, and the rest of the back-EMF
    part = side["motor_resistance"] * conductance
    drive = part * source + (1.0 - part) * back + latch * (coupling_current + answer * junction)
    # the emitter-base voltage stands against the drive at the latch resistor, and at the coupling capacitor
    weight = thermal * (1.0 + latch * answer)
    free_level = max(0.5 * (source - back), LEAST_FREE_LEVEL)
    is_fresh = guess == math.inf
    y = strongest_drive(drive, weight, side) if is_fresh else guess
    upper = math.inf
    lower = -math.inf
    for _ in range(100):
        base, given, base_slope, given_slope = driver_currents(small * math.exp(y), room, spare, side["pnp"])
        collector = (drive - latch * base - weight * y) / part
        collector_slope = -(latch * base_slope + weight) / part
        pushed = coupling_current + answer * (junction - thermal * y)
        motor = (source - collector - back) * conductance
        motor_slope = -collector_slope * conductance
        if motor < 0.0:
            motor = 0.0
            motor_slope = 0.0
        # a load of nothing would be covered without end
        load = max(motor + base - pushed, 1e-9)
        strain = load / npn["knee"]
        demand = load * (1.0 + strain)
        demand_slope = (1.0 + 2.0 * strain) * (motor_slope + base_slope + answer * thermal)
        capability = npn["gain"] * given
        capability_slope = npn["gain"] * given_slope
        if capability > demand:
            settled, settled_slope = collector_voltage(capability, demand, thermal, npn)
            excess = settled - collector
            slope = settled_slope * (capability_slope / capability - demand_slope / demand) - collector_slope
            # the last step goes along the slopes: all but straight against f, save near the valley
            near = 0.1 if capability > 3.0 * demand else 1e-3
            if abs(excess) < near * min(slope, 5.0) and (is_fresh or collector < free_level):
                change = -excess / slope
                final = y + change * (1.0 - 0.5 * change)
                return (
                    collector < free_level,
                    motor + motor_slope * change,
                    base + base_slope * change,
                    given + given_slope * change,
                    thermal * final,
                    collector + collector_slope * change,
                    capability / demand,
                    final,
                )
            if excess <= 0.0:
                lower = y
        else:
            # the load may yet fall below the capability as the collector rises; go a little beyond
            excess = 1.02 * (demand - capability) + 1e-9
            slope = demand_slope - capability_slope
        if excess > 0.0:
            upper = y
        is_between = lower > -math.inf and upper < math.inf
        is_beyond = not is_between and slope <= 0.0
        if is_beyond or (collector > free_level and not (is_fresh and excess <= 0.0)):
            if is_fresh:
                break
            # perhaps the guess alone was beyond the valley
            is_fresh = True
            lower = -math.inf
            upper = math.inf
            y = strongest_drive(drive, weight, side)
            continue
        if is_between and upper - lower < 1e-3:
            # just out of saturation, where the collector's voltage hangs on the last digits of the cover
            return collector < free_level, motor, base, given, thermal * y, collector, 1.0, y
        change = min(max(-excess / slope, -5.0), 5.0)
        if is_between and not lower < y + change < upper:
            change = 0.5 * (lower + upper) - y
        y += change
    return False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.inf


@kernel
def ignites(on_voltage: float, side: Any, thermal: float) -> bool:
    """Whether the flash turns the latch on.

    Before the flash the collector stands at the rail, so the latch resistor holds the PNP off; the flash has
    to draw more through the coupling capacitor than that resistor gives back at one emitter-base voltage.
    ``on_voltage`` [V] is the voltage at the eye when it flashes.
    """
    pnp = side["pnp"]
    # a base current of a microampere is far more than the loop needs to run away
    junction = thermal * math.log(1e-6 * pnp["gain"] / pnp["saturation_current"])
    kick = (on_voltage - side["lit_voltage"] - junction) / side["flash_resistance"]
    return bool(kick > junction / side["latch"] + 1e-6)
