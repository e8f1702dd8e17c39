"""How a walker steers by a lamp: the bearing at which its two sides are in balance, and where it heads.

The side with the lower trigger fires, so the right one does where

    lead(b) = V_trig,left(E_left(b)) - V_trig,right(E_right(b)) > 0

with b the bearing of the lamp from the nose, positive to the left. Where the lead comes up through nought the
walker is in balance: to the left of it the lamp is brought back by the right side, to its right by the left
side. A pulse takes the bearing from one side of the balance to the other, a left pulse up by its turn and a
right pulse down by its own. So between pulses the bearings fill the range from b0 - turn_right to
b0 + turn_left evenly, and in the mean the lamp stands at

    b0 + (turn_left - turn_right) / 2

which is how far beside the lamp the walker heads. Where there is no balance it circles. The light is that of
one distant lamp and of even light from all sides; walking changes neither. Without the jitter of triggers.
"""

import math
from typing import Any

from agents.circuit.eye import trigger_voltage
from agents.compiled import kernel

# Bearings up to here are searched for the balance, in so many steps: further aside it would walk away.
WIDEST = 0.5 * math.pi
STEPS = 36
HALVINGS = 30


@kernel
def eye_light(side: Any, lamp: float, even: float, x: float, y: float, z: float) -> float:
    """Light [lx] at the eye of a SIDE record: of a lamp in the direction (x, y, z), a unit vector, and even.

    The lamp gives ``lamp`` [lx] on a surface square to its rays, which the eye weighs by its lobe.
    """
    facing = x * side["aim_x"] + y * side["aim_y"] + z * side["aim_z"]
    return even + lamp * max(facing, 0.0) ** side["lobe"]


@kernel
def lead(walker: Any, lamp: float, even: float, elevation: float, bearing: float) -> float:
    """How far [V] the left trigger lies above the right one, under a lamp and ``even`` light [lx].

    The lamp stands at ``bearing`` from the nose, positive to the left, at ``elevation`` above the horizon
    [rad], and gives ``lamp`` [lx] on a surface square to its rays.
    """
    x = math.cos(elevation) * math.cos(bearing)
    y = math.cos(elevation) * math.sin(bearing)
    z = math.sin(elevation)
    left = walker["side"][0]
    right = walker["side"][1]
    seen_left = eye_light(left, lamp, even, x, y, z)
    seen_right = eye_light(right, lamp, even, x, y, z)
    return trigger_voltage(seen_left, False, left) - trigger_voltage(seen_right, False, right)


@kernel
def steering(walker: Any, lamp: float, even: float, elevation: float) -> tuple[float, float]:
    """Where a walker is in balance under a lamp, and how strongly the lamp holds it there.

    Arguments as for :func:`lead`. Returns the bearing of the lamp [rad] at which both sides are in balance,
    the nearest to the nose, nan if none is; where neither eye sees the lamp for a while, the middle of that
    gap counts. And the lamp's hold [V]: half of what the lead changes between the bearings at which it is
    least and greatest, however unlike the two eyes are.
    """
    step = 2.0 * WIDEST / STEPS
    found = math.nan
    below = math.nan
    least = math.inf
    most = -math.inf
    for number in range(STEPS + 1):
        here = number * step - WIDEST
        ahead = lead(walker, lamp, even, elevation, here)
        least = min(least, ahead)
        most = max(most, ahead)
        if ahead < 0.0:
            below = here
        if ahead > 0.0:
            if below == below:
                low, high = below, here
                for _ in range(HALVINGS):
                    middle = 0.5 * (low + high)
                    tried = lead(walker, lamp, even, elevation, middle)
                    if tried < 0.0:
                        low = middle
                    elif tried > 0.0:
                        high = middle
                    else:
                        break
                place = 0.5 * (low + high)
                if not abs(place) >= abs(found):
                    found = place
            below = math.nan
    return found, 0.5 * (most - least)


@kernel
def balance(walker: Any, lamp: float, even: float, elevation: float) -> float:
    """Bearing of the lamp [rad] at which both sides are in balance, as from :func:`steering`."""
    return steering(walker, lamp, even, elevation)[0]


@kernel
def heading_beside(balanced: float, left_turn: float, right_turn: float) -> float:
    """How far beside the lamp a walker heads [rad]: the mean bearing of the lamp, positive to its left.

    ``balanced`` as from :func:`balance`; the turns [rad] of a pulse of either side count by their size, and
    where one is nan neither counts.
    """
    skew = 0.5 * (abs(left_turn) - abs(right_turn))
    return balanced if math.isnan(skew) else balanced + skew
