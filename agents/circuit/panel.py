"""The panel: the single-diode equation, at the temperature to which air and light bring it.

    I = I_ph - I_0 (exp(V_d / a) - 1) - V_d / R_sh,    V_d = V + I R_s,    a = n N V_T

    T = T_air + G / U,    a = a_25 T / T_25,    I_0 = I_0,25 (T / T_25)^3 exp(E_25 / k T_25 - E(T) / k T)

I_ph = k E_0 (E / E_0)^g, with k [A/lx] the photocurrent per lux as measured in the light E_0 [lx], and E the
light on the panel, its kinds weighed by the panel's response. The exponent g is 1 for crystalline cells,
whose short-circuit current is proportional to light. Below 1 it is *empirical*: two readings of the
short-circuit current, in light a decade or more apart, give it, and it holds between them. (In amorphous
silicon more light also means more recombination. Its photoconductivity grows with powers from one half to
one, A. Rose, Concepts in Photoconductivity and Allied Problems, 1963, from memory; the exponent of a good
cell's short-circuit current is close to 1, that of a thin, aged or badly contacted one well below.)

G is the irradiance [W/m2] that comes with the light, U what the panel loses to the air [W/(m2 K)], E(T) the
band gap. V is the voltage at the panel's leads [V], I the current that it gives [A]. It holds for a panel of
like cells in like light; part shade is taken as the mean light, which flatters a string of cells of which
one is dark.

Source: the usual single-diode form, as in Duffie and Beckman, Solar Engineering of Thermal Processes,
chapter on photovoltaic systems. Temperature of the diode: W. De Soto, S. A. Klein and W. A. Beckman, Solar
Energy 80 (2006), with a photocurrent that does not change with it (silicon's rises by 0.05 % a kelvin).
Temperature of the panel: D. Faiman, Progress in Photovoltaics 16 (2008), come to rest; a small panel takes
about half a minute for that.
"""

import math
from typing import Any, NamedTuple

from agents.circuit.status import OPEN_CIRCUIT_UNSETTLED, PANEL_UNSETTLED, SETTLED
from agents.compiled import kernel
from agents.handbook.temperature import BOLTZMANN_EV, ROOM_TEMPERATURE

# Rounds of Newton's method at the most.
ROUNDS = 60
# What is hotter than this [K] has melted: lamps so near are taken to warm a panel no further.
HOTTEST = 423.15


class LitPanel(NamedTuple):
    """A panel in its light: photocurrent [A], and saturation current [A] and n N V_T [V] as warm as it is."""

    photocurrent: float
    saturation: float
    thermal: float


@kernel
def lit_panel(walker: Any, photocurrent: float, warmth: float) -> LitPanel:
    """A WALKER's panel that gives ``photocurrent`` [A] and stands ``warmth`` [K] above the air."""
    temperature = min(walker["air"] + warmth, HOTTEST)
    ratio = temperature / ROOM_TEMPERATURE
    gap = walker["panel_gap"]
    there = gap * (1.0 + walker["panel_gap_change"] * (temperature - ROOM_TEMPERATURE)) / ratio
    growth = ratio * ratio * ratio * math.exp((gap - there) / (BOLTZMANN_EV * ROOM_TEMPERATURE))
    return LitPanel(photocurrent, walker["panel_saturation"] * growth, walker["panel_thermal"] * ratio)


@kernel
def panel_under(walker: Any, light: float, kind: int) -> LitPanel:
    """The panel of a WALKER record under ``light`` [lx] of a kind by its number, as warm as that makes it."""
    photocurrent = photocurrent_in(walker, walker["response"][kind] * light)
    return lit_panel(walker, photocurrent, walker["warming"][kind] * light)


@kernel
def panel_temperature(walker: Any, panel: LitPanel) -> float:
    """Temperature [K] of a panel in its light."""
    return ROOM_TEMPERATURE * panel.thermal / walker["panel_thermal"]


@kernel
def photocurrent_in(walker: Any, light: float) -> float:
    """Photocurrent [A] of the panel of a WALKER record in ``light`` [lx] >= 0 of the sun's worth.

    That is the light of each kind times the panel's response to it, added up.
    """
    exponent = walker["light_exponent"]
    per_lux = walker["photo_per_lux"]
    if exponent == 1.0:
        return per_lux * light
    known = walker["measured_light"]
    return per_lux * known * (light / known) ** exponent


@kernel
def panel_current(
    rail: float, photocurrent: float, saturation: float, thermal: float, series: float, shunt: float
) -> tuple[float, int]:
    """Current [A] out of the panel at ``rail`` [V], and a status; negative where it drains the storage.

    ``photocurrent`` [A] >= 0, ``saturation`` I_0 [A] > 0, ``thermal`` a [V] > 0, ``series`` [ohm] >= 0,
    ``shunt`` [ohm] > 0, inf allowed. Solved by Newton's method on V_d from above: the equation falls and is
    concave in V_d, so that every step stays above the root. With e the distance from the root over a, a
    round takes at least 1 - exp(-e) off e; so ``ROUNDS`` do for any beginning less than 50 thermal voltages
    above it, and for a rail far above what the panel can give it begins anew from a bound nearer by.
    """
    # less than this drops nothing that a float could tell from the rail
    if series < 1e-15:
        return photocurrent - saturation * math.expm1(rail / thermal) - rail / shunt, SETTLED
    junction = rail + photocurrent * series
    if junction > rail + thermal:
        # nor is the junction ever above both the rail and the open-circuit voltage
        junction = min(junction, max(rail, thermal * math.log1p(photocurrent / saturation)))
    steepness = 1.0 / thermal
    ohmic = 1.0 / shunt + 1.0 / series
    dark = 0.0
    status = PANEL_UNSETTLED
    for _ in range(2):
        for _ in range(ROUNDS):
            grown = saturation * math.exp(junction * steepness)
            balance = photocurrent + saturation + rail / series - grown - junction * ohmic
            change = balance / (grown * steepness + ohmic)
            junction += change
            dark = grown * (1.0 + change * steepness)
            # the error squares from step to step, so that the next change would be below 1e-12 of thermal
            if abs(change) < 1e-6 * thermal:
                status = SETTLED
                break
        if status == SETTLED or not rail > 0.0:
            break
        # the diode alone takes no more than light and rail can give through the series resistance
        junction = thermal * math.log1p((photocurrent + rail / series) / saturation)
    # by the diode, not by the drop across a series resistance that may be all but nought
    return photocurrent + saturation - dark - junction / shunt, status


@kernel
def open_circuit_voltage(
    photocurrent: float, saturation: float, thermal: float, shunt: float
) -> tuple[float, int]:
    """Voltage [V] at which the panel gives no current, and a status: Newton's method as in the current.

    It begins at a ln(1 + I_ph / I_0), above the root, and takes less than that many rounds over a.
    """
    junction = thermal * math.log1p(photocurrent / saturation)
    for _ in range(ROUNDS):
        grown = saturation * math.exp(junction / thermal)
        balance = photocurrent - grown + saturation - junction / shunt
        change = balance / (grown / thermal + 1.0 / shunt)
        junction += change
        if abs(change) < 1e-13 + 1e-13 * abs(junction):
            return junction, SETTLED
    return junction, OPEN_CIRCUIT_UNSETTLED
