"""Formulae of the handbooks that more than one place needs."""

import math

from agents.errors import InputError


def lobe_exponent(half_angle: float) -> float:
    """Return the exponent m [-] of the acceptance lobe cos^m that is down to a half at ``half_angle`` [rad].

    m = -ln 2 / ln cos(half angle): the generalised Lambert lobe, J. M. Kahn and J. R. Barry, Proceedings of
    the IEEE 85 (1997). Holds for 0 < half angle < pi/2; raises :class:`~agents.errors.InputError` outside.
    """
    if not 1e-6 < half_angle < math.pi / 2:
        raise InputError(f"the half angle of a lobe lies between 0 and 90 degrees, not {half_angle} rad")
    return -math.log(2.0) / math.log(math.cos(half_angle))


def cantilever_bend(force: float, length: float, diameter: float, modulus: float) -> float:
    """Return the tip deflection [m] of a round wire, clamped at its root, under ``force`` [N] at its tip.

    F L^3 / (3 E I) with I = pi d^4 / 64, for ``length`` L [m], ``diameter`` d [m] and ``modulus`` E [Pa];
    holds while the wire bends little (J. M. Gere and B. J. Goodno, Mechanics of Materials, deflections of
    beams).
    """
    second_moment = math.pi * diameter**4 / 64.0
    return force * length**3 / (3.0 * modulus * second_moment)


def thermal_voltage(temperature: float) -> float:
    """Return k T / q [V] at ``temperature`` [K]; the constants are exact in the SI of 2019."""
    return 1.380649e-23 * temperature / 1.602176634e-19
