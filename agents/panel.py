"""The panel: the single-diode equation.

    I = I_ph - I_0 (exp(V_d / a) - 1) - V_d / R_sh,    V_d = V + I R_s,    a = n N V_T

I_ph = k E. V is the voltage at the panel's leads [V], I the current that it gives [A]. It holds for a panel
of like cells in like light, at one temperature; part shade is taken as the mean light, which flatters a
string of cells of which one is dark.

Source: the usual single-diode form, as in Duffie and Beckman, Solar Engineering of Thermal Processes,
chapter on photovoltaic systems.
"""

import math

from agents.compiled import kernel


@kernel
def panel_current(
    rail: float, photocurrent: float, saturation: float, thermal: float, series: float, shunt: float
) -> float:
    """Current [A] out of the panel at ``rail`` [V]; negative where the panel drains the storage.

    ``photocurrent`` [A] >= 0, ``saturation`` I_0 [A] > 0, ``thermal`` a [V] > 0, ``series`` [ohm] >= 0,
    ``shunt`` [ohm] > 0, inf allowed. Solved by Newton's method on V_d from above: the equation falls and is
    concave in V_d, so that every step stays above the root.
    """
    if series == 0.0:
        return photocurrent - saturation * math.expm1(rail / thermal) - rail / shunt
    ceiling = max(rail, thermal * math.log1p(photocurrent / saturation))
    junction = min(rail + photocurrent * series, ceiling)
    for _ in range(60):
        grown = saturation * math.exp(junction / thermal)
        balance = photocurrent - grown + saturation - junction / shunt - (junction - rail) / series
        change = balance / (grown / thermal + 1.0 / shunt + 1.0 / series)
        junction += change
        if abs(change) < 1e-13 + 1e-13 * abs(junction):
            break
    return (junction - rail) / series


@kernel
def open_circuit_voltage(photocurrent: float, saturation: float, thermal: float, shunt: float) -> float:
    """Voltage [V] at which the panel gives no current: Newton's method from above, as in the current."""
    junction = thermal * math.log1p(photocurrent / saturation)
    for _ in range(60):
        grown = saturation * math.exp(junction / thermal)
        balance = photocurrent - grown + saturation - junction / shunt
        change = balance / (grown / thermal + 1.0 / shunt)
        junction += change
        if abs(change) < 1e-13 + 1e-13 * abs(junction):
            break
    return junction
