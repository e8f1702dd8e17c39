"""The faults that a design can have, each told from what the circuit or the geometry does.

dim            the panel cannot bring the storage to the trigger
blind          light on the eyes has put the trigger above the voltage that the panel can give
twitch         the latch lets go at once, with more than half of the stored energy left
locked         the latch never lets go
spin           a pulse turns the walker by more than 120 degrees
lame           a pulse moves the walker by less than 1 mm
lopsided       the two sides differ so much that it circles
narrow eyes    an eye stands inside the track of the wheels
deaf feelers   a touch changes no decision
reversed       a motor turns the walker backward

The limits of twitch, spin and lame are choices, not laws; so are the chance and the ratio below.
"""

import math
from statistics import NormalDist
from typing import Any

import numpy as np

from agents.compiled import kernel
from agents.eye import trigger_voltage
from agents.measure import Measurement, SidePoint, is_touchable

DIM = "dim"
BLIND = "blind"
TWITCH = "twitch"
LOCKED = "locked"
SPIN = "spin"
LAME = "lame"
LOPSIDED = "lopsided"
NARROW_EYES = "narrow eyes"
DEAF_FEELERS = "deaf feelers"
REVERSED = "reversed"

FAULTS = (DIM, BLIND, TWITCH, LOCKED, SPIN, LAME, LOPSIDED, NARROW_EYES, DEAF_FEELERS, REVERSED)

SPIN_TURN = math.radians(120.0)
LEAST_PATH = 1e-3  # [m]
# A pulse that leaves more than this share of the stored energy has let go at once.
TWITCH_ENERGY = 0.5
# With pulses more unlike than this, one side needs three pulses or more to undo one of the other.
TURN_RATIO = 2.0
# Chance that a touched side fires first in even light, below which its feeler counts as deaf.
HEARD = 0.9
# Elevations of a distant lamp [rad] at which the two eyes are compared.
ELEVATIONS = (math.radians(20.0), math.radians(32.0), math.radians(45.0))


def faults_of(walker: Any, measured: Measurement) -> tuple[str, ...]:
    """Return the names of all faults of a WALKER record at the light of a measurement, in fixed order."""
    found = {
        DIM: is_dim(walker, measured),
        BLIND: is_blind(walker, measured),
        TWITCH: any(twitches(side) for side in measured.sides),
        LOCKED: any(side.locked for side in measured.sides),
        SPIN: any(side.turn is not None and abs(side.turn) > SPIN_TURN for side in measured.sides),
        LAME: any(side.path is not None and side.path < LEAST_PATH for side in measured.sides),
        LOPSIDED: is_lopsided(walker, measured),
        NARROW_EYES: has_narrow_eyes(walker),
        DEAF_FEELERS: is_deaf(walker, measured.light),
        REVERSED: any(side["turns"] < 0.0 for side in walker["side"]),
    }
    return tuple(name for name in FAULTS if found[name])


def is_dim(walker: Any, measured: Measurement) -> bool:
    """Whether the lower trigger is out of reach, and not for the light on the eyes."""
    return not measured.fires and not is_blind(walker, measured)


def is_blind(walker: Any, measured: Measurement) -> bool:
    """Whether the trigger is out of reach because of the light on the eyes.

    Then the photocurrent would do for eyes and leak, but the panel's own diode takes more than half of it at
    the trigger; and the trigger that the eyes would have in the dark lies below the open-circuit voltage.
    """
    enough = measured.photocurrent > measured.eyes + measured.leak
    if measured.fires or not enough or measured.panel >= 0.5 * measured.photocurrent:
        return False
    dark = min(float(trigger_voltage(0.0, False, side)) for side in walker["side"])
    return measured.open_circuit > dark


def energy_left(side: SidePoint) -> float | None:
    """Share of the storage's energy that a pulse leaves in it; None where there is no pulse with an end."""
    return None if side.let_go is None else (side.let_go / side.trigger) ** 2


def twitches(side: SidePoint) -> bool:
    """Whether the latch lets go at once, or does not take at all."""
    left = energy_left(side)
    return left is not None and left > TWITCH_ENERGY


@kernel
def favoured_bearings(walker: Any, light: float, elevations: Any, count: int) -> tuple[int, int]:
    """At how many bearings of a distant lamp the left side triggers first, and at how many the right one.

    The lamp gives ``light`` [lx] on a surface square to its rays, and each eye weighs it by its lobe; there
    is no other light. ``count`` bearings all round at each of ``elevations`` [rad].
    """
    left_wins = 0
    right_wins = 0
    left = walker["side"][0]
    right = walker["side"][1]
    for elevation in elevations:
        for bearing in range(count):
            angle = 2.0 * math.pi * bearing / count
            x = math.cos(elevation) * math.cos(angle)
            y = math.cos(elevation) * math.sin(angle)
            z = math.sin(elevation)
            facing_left = x * left["aim_x"] + y * left["aim_y"] + z * left["aim_z"]
            facing_right = x * right["aim_x"] + y * right["aim_y"] + z * right["aim_z"]
            seen_left = light * max(facing_left, 0.0) ** left["lobe"]
            seen_right = light * max(facing_right, 0.0) ** right["lobe"]
            difference = trigger_voltage(seen_left, False, left) - trigger_voltage(seen_right, False, right)
            if difference < 0.0:
                left_wins += 1
            elif difference > 0.0:
                right_wins += 1
    return left_wins, right_wins


def bearings_won(walker: Any, light: float) -> tuple[int, int]:
    """Return how many of the compared bearings of a distant lamp each side wins, left and right."""
    left, right = favoured_bearings(walker, light, np.array(ELEVATIONS), 72)
    return int(left), int(right)


def turn_ratio(measured: Measurement) -> float | None:
    """How many times the weaker side's turn the stronger one turns; None unless both sides have pulses."""
    turns = [abs(side.turn) for side in measured.sides if side.turn is not None]
    if len(turns) < 2 or max(turns) == 0.0:
        return None
    return max(turns) / min(turns) if min(turns) > 0.0 else math.inf


def is_lopsided(walker: Any, measured: Measurement) -> bool:
    """Whether there is no bearing of a lamp at which one side fires first, or the pulses differ too much."""
    left, right = bearings_won(walker, measured.light)
    # an even split of nothing: eyes that see nothing apart are alike, not lopsided
    unfair = (left == 0) != (right == 0)
    ratio = turn_ratio(measured)
    return unfair or (ratio is not None and ratio > TURN_RATIO)


def has_narrow_eyes(walker: Any) -> bool:
    """Whether an eye stands nearer to the middle than its wheel."""
    half = 0.5 * float(walker["track"])
    return any(abs(float(side["eye_y"])) < half for side in walker["side"])


def chance_heard(walker: Any, number: int, light: float) -> float:
    """Chance that side ``number`` fires first in even light while its whisker is pressed.

    Both triggers jitter, normal and independent, about their voltages. 0 where the side has no whisker or no
    feeler resistor.
    """
    side, other = walker["side"][number], walker["side"][1 - number]
    if not is_touchable(side):
        return 0.0
    lead = float(trigger_voltage(light, False, other) - trigger_voltage(light, True, side))
    jitter = math.hypot(float(side["jitter"]), float(other["jitter"]))
    if jitter == 0.0:
        return 1.0 if lead > 0.0 else 0.0
    return NormalDist().cdf(lead / jitter)


def whisker_lead(walker: Any, number: int) -> float:
    """How far [m] the whisker's closing runs ahead of the body against a straight wall, at the best angle.

    Over all ways in which the walker may drive at a wall, from straight on to sideways: the reach of the tip
    less the bend that closes the switch, over the reach of the body. Not positive: the body is always first.
    """
    side = walker["side"][number]
    if not side["whisker"]:
        return -math.inf
    headings = np.radians(np.arange(-90.0, 91.0, 3.0))
    ahead, aside = np.cos(headings), np.sin(headings)
    corners = walker["core"][: walker["core_count"]]
    body = (np.outer(ahead, corners[:, 0]) + np.outer(aside, corners[:, 1])).max(axis=1)
    tip = side["tip_x"] * ahead + side["tip_y"] * aside
    return float(np.max(tip - body)) - float(side["bend_to_close"]) - float(walker["body_radius"])


def is_deaf(walker: Any, light: float) -> bool:
    """Whether a touch on either side changes no decision."""
    return any(
        chance_heard(walker, number, light) < HEARD or whisker_lead(walker, number) <= 0.0
        for number in (0, 1)
    )
