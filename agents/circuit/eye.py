"""The eye: a flashing LED that fires the latch at a voltage that rises with the light on it.

    V_on(E) = V_dark + s log10(1 + tau E / E_0)          or a bench table of (lux, volt)
    V_trig  = V_on(E) + I_q R_feed

R_feed is series resistor plus motor, and with the whisker pressed that in parallel with the feeler resistor.
V_dark, s and E_0 are starting values from general knowledge; a bench table replaces them. Between the points
of a table V is linear in log10(1 + E / lx), outside it stays at the end values, so a rising table gives a
rising trigger.
"""

import math
from typing import Any

from agents.compiled import kernel


@kernel
def on_voltage(light: float, side: Any) -> float:
    """Voltage at the eye [V] at which it flashes in ``light`` [lx] (before the tape)."""
    seen = side["tape"] * light
    count = side["table_count"]
    if count == 0:
        return side["dark_trigger"] + side["slope"] * math.log10(1.0 + seen / side["knee_light"])
    place = math.log10(1.0 + seen)
    lights = side["table_light"]
    volts = side["table_volts"]
    if place <= lights[0]:
        return volts[0]
    for point in range(1, count):
        if place <= lights[point]:
            share = (place - lights[point - 1]) / (lights[point] - lights[point - 1])
            return volts[point - 1] + share * (volts[point] - volts[point - 1])
    return volts[count - 1]


@kernel
def feed_resistance(touched: bool, side: Any) -> float:
    """Resistance [ohm] from the rail to the top of the eye, the whisker pressed or not."""
    feed = side["series"] + side["motor_resistance"]
    if touched and side["feeler"] < math.inf:
        return feed * side["feeler"] / (feed + side["feeler"])
    return feed


@kernel
def trigger_voltage(light: float, touched: bool, side: Any) -> float:
    """Rail voltage [V] at which this side fires, in ``light`` [lx] at its eye."""
    return on_voltage(light, side) + side["quiet_current"] * feed_resistance(touched, side)


@kernel
def quiet_draw(rail: float, side: Any) -> float:
    """Current [A] of a waiting eye: its quiet current, less in proportion below its dark trigger."""
    return side["quiet_current"] * min(max(rail, 0.0) / side["dark_trigger"], 1.0)


@kernel
def recovery_time(side: Any) -> float:
    """Time [s] after letting go before this eye can flash again.

    Three time constants of the coupling capacitor through the feed, and never less than 20 ms, about the
    flash of a flashing LED (common practice, no source).

    By the full equations there is no such hold. What is left on the capacitor beyond its waiting voltage
    I_q R_feed raises the trigger of the side that has fired by

        (u - I_q R_feed) R_series / (R_series + R_latch) exp(-t / ((R_series + R_latch) C_c))

    a time t after letting go, and the other side's not at all. So where charging takes but a few of those
    time constants (57 ms with the usual values) the real walker fires sooner, and by turns: 100 uF at 4 mA
    every 58 ms instead of every 145 ms. After a second and a half, the shortest that a shipped design waits
    in the full sun, the raise is a few microvolts.
    """
    return max(3.0 * feed_resistance(False, side) * side["coupling"], 0.02)
