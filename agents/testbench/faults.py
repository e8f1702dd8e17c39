"""The faults that a design can have, each told from what the circuit or the geometry does.

dim            the panel cannot bring the storage to the trigger
blind          light on the eyes has put the trigger above the voltage that the panel can give
twitch         the latch releases at once, with more than half of the stored energy left
locked         the latch never releases
spin           a pulse turns the walker by more than 120 degrees
lame           hardly moves: a pulse moves the walker by less than 1 mm
hangs          stuck at walls: with a whisker pressed its pulses hardly turn it
lopsided       the two sides differ so much that it circles
dull           eyes cannot tell light: a lamp parts the two triggers by less than they jitter
strays         heads past a lamp, or circles: one eye fires too soon, or one motor turns it more
narrow eyes    eyes inside the wheels: one stands within the track of the wheels
deaf feelers   whiskers without effect: pressing one changes no decision
reversed       a motor turns the walker backward

The limits of twitch, spin and lame are choices, not laws; so are the others below. Lopsided tells only who
circles under a lamp with no other light, or whose pulses differ too much. Under the lamp and even light of
:mod:`agents.testbench.measuring` a third of that mismatch of the eyes is too much: that is what strays tells,
of whom nothing worse is told.
"""

import math
from typing import Any

from agents.circuit.eye import trigger_voltage
from agents.circuit.steering import lead
from agents.compiled import kernel
from agents.testbench.measuring import Measurement, SidePoint, is_touchable

DIM = "dim"
BLIND = "blind"
TWITCH = "twitch"
LOCKED = "locked"
SPIN = "spin"
LAME = "lame"
HANGS = "hangs"
LOPSIDED = "lopsided"
DULL = "dull"
STRAYS = "strays"
NARROW_EYES = "narrow eyes"
DEAF_FEELERS = "deaf feelers"
REVERSED = "reversed"

FAULTS = (
    *(DIM, BLIND, TWITCH, LOCKED, SPIN, LAME, HANGS),
    *(LOPSIDED, DULL, STRAYS, NARROW_EYES, DEAF_FEELERS, REVERSED),
)

# Faults that people read in other words than files and JSON have them.
_TITLES = {
    BLIND: "blind (trigger above panel)",
    LAME: "hardly moves",
    HANGS: "stuck at walls",
    DULL: "eyes cannot tell light",
    NARROW_EYES: "eyes inside the wheels",
    DEAF_FEELERS: "whiskers without effect",
}
_BITS = {name: 1 << place for place, name in enumerate(FAULTS)}
DIM_BIT = _BITS[DIM]
BLIND_BIT = _BITS[BLIND]
TWITCH_BIT = _BITS[TWITCH]
LOCKED_BIT = _BITS[LOCKED]
SPIN_BIT = _BITS[SPIN]
LAME_BIT = _BITS[LAME]
HANGS_BIT = _BITS[HANGS]
LOPSIDED_BIT = _BITS[LOPSIDED]
DULL_BIT = _BITS[DULL]
STRAYS_BIT = _BITS[STRAYS]
NARROW_EYES_BIT = _BITS[NARROW_EYES]
DEAF_FEELERS_BIT = _BITS[DEAF_FEELERS]
REVERSED_BIT = _BITS[REVERSED]

SPIN_TURN = math.radians(120.0)
LEAST_PATH = 1e-3  # [m]
# A pulse that leaves more than this share of the stored energy has let go at once.
TWITCH_ENERGY = 0.5
# A lamp has to part the two triggers by more than this many standard deviations of their joint jitter. Of
# walkers 3 m from a lamp none arrived where it parted them by 0.6 of these, 8 % at 0.85, 42 % at 1.1, 78 % at
# 1.4, 98 % at 2; a metre off it still drew 73 % at 0.6.
HOLD_JITTERS = 1.0
# How far beside a lamp [rad] a walker may head; the way to it is longer by a sixth then, 1 / cos 30 deg.
STRAIGHT = math.radians(30.0)
# With pulses more unlike than this, one side needs three pulses or more to undo one of the other.
TURN_RATIO = 2.0
# A side whose pressed pulses turn it slower than this, as a share of what its free ones turn it in the same
# time, does not get off a wall. In races through rows of pots, with latch resistors of 33k to 150k and feeler
# resistors of 10k to 47k, 33 to 88 % came through below it and 90 to 100 % above it.
HANG_RATE = 1.0 / 3.0
# Chance that a side fires first in even light while its whisker is pressed; below it, that has no effect.
HEARD = 0.9
# Elevations of a distant lamp [rad] at which the two eyes are compared, and bearings all round at each.
ELEVATIONS = (math.radians(20.0), math.radians(32.0), math.radians(45.0))
BEARINGS = 72


def faults_of(walker: Any, measured: Any) -> tuple[str, ...]:
    """Return the names of all faults of a WALKER record at the light of a MEASURED record, in fixed order."""
    return fault_names(fault_bits(walker, measured))


def fault_names(bits: int) -> tuple[str, ...]:
    """Return the names of faults by their bits, in fixed order."""
    return tuple(name for number, name in enumerate(FAULTS) if bits >> number & 1)


def fault_title(name: str) -> str:
    """The fault ``name`` as people read it; ``name`` itself is what JSON and tables of copies say."""
    return _TITLES.get(name, name)


@kernel
def fault_bits(walker: Any, measured: Any) -> int:
    """All faults of a WALKER record at the light of a MEASURED record: bit k set for the k-th of FAULTS."""
    left = measured["side"][0]["free"]
    right = measured["side"][1]["free"]
    fires = (right if right["trigger"] < left["trigger"] else left)["reaches"]
    blind = is_blind(walker, measured, fires)
    bits = 0
    if not fires and not blind:
        bits |= DIM_BIT
    if blind:
        bits |= BLIND_BIT
    if lets_go_at_once(left["let_go"], left["trigger"]) or lets_go_at_once(right["let_go"], right["trigger"]):
        bits |= TWITCH_BIT
    if left["locked"] or right["locked"]:
        bits |= LOCKED_BIT
    if abs(left["turn"]) > SPIN_TURN or abs(right["turn"]) > SPIN_TURN:
        bits |= SPIN_BIT
    if left["path"] < LEAST_PATH or right["path"] < LEAST_PATH:
        bits |= LAME_BIT
    elif hangs(measured, 0) or hangs(measured, 1):
        # of one that hardly moves, free or pressed, there is nothing to compare
        bits |= HANGS_BIT
    if is_lopsided(walker, measured):
        bits |= LOPSIDED_BIT
    # where nothing fires nothing heads anywhere
    if fires and is_dull(walker, measured):
        bits |= DULL_BIT
    if fires and not bits & (LOPSIDED_BIT | DULL_BIT) and strays(measured["beside"], STRAIGHT):
        bits |= STRAYS_BIT
    if has_narrow_eyes(walker):
        bits |= NARROW_EYES_BIT
    if is_deaf(walker, measured["light"]):
        bits |= DEAF_FEELERS_BIT
    if walker["side"][0]["turns"] < 0.0 or walker["side"][1]["turns"] < 0.0:
        bits |= REVERSED_BIT
    return bits


@kernel
def turning_rate(pulse: Any) -> float:
    """How far pulses like a PULSE_POINT record's turn it in a time [rad/s]; nan where that is not told."""
    return abs(pulse["turn"]) / (pulse["pulse"] + max(pulse["charge"], pulse["coast"]))


@kernel
def hangs(measured: Any, number: int) -> bool:
    """Whether the pulses of side ``number`` turn it too slowly while its whisker is pressed.

    Not where one of the two pulses cannot be told, or where the free one lets go at once as well.
    """
    free = measured["side"][number]["free"]
    if lets_go_at_once(free["let_go"], free["trigger"]):
        return False
    return turning_rate(measured["side"][number]["pressed"]) < HANG_RATE * turning_rate(free)


@kernel
def is_dull(walker: Any, measured: Any) -> bool:
    """Whether chance decides which side fires, wherever the lamp stands.

    A pair of eyes that differ are none the duller for that.
    """
    jitter = math.hypot(walker["side"][0]["jitter"], walker["side"][1]["jitter"])
    return measured["hold"] <= HOLD_JITTERS * jitter


@kernel
def strays(beside: float, straight: float) -> bool:
    """Whether it heads further than ``straight`` [rad] ``beside`` a lamp; nan, where it circles, does too."""
    return not abs(beside) <= straight


@kernel
def is_blind(walker: Any, measured: Any, fires: bool) -> bool:
    """Whether the trigger is out of reach because of the light on the eyes.

    Then the photocurrent would do for eyes and leak, but the panel's own diode takes more than half of it at
    the trigger; and the trigger that the eyes would have in the dark lies below the open-circuit voltage.
    """
    enough = measured["photocurrent"] > measured["eyes"] + measured["leak"]
    if fires or not enough or measured["panel"] >= 0.5 * measured["photocurrent"]:
        return False
    dark_left = trigger_voltage(0.0, False, walker["side"][0])
    dark_right = trigger_voltage(0.0, False, walker["side"][1])
    return measured["open_circuit"] > min(dark_left, dark_right)


@kernel
def lets_go_at_once(let_go: float, trigger: float) -> bool:
    """Whether a pulse from ``trigger`` down to ``let_go`` [V] leaves too much; not if there is none (nan)."""
    return (let_go / trigger) ** 2 > TWITCH_ENERGY


def twitches(side: SidePoint) -> bool:
    """Whether the latch lets go at once, or does not take at all."""
    return side.let_go is not None and bool(lets_go_at_once(side.let_go, side.trigger))


@kernel
def bearings_won(walker: Any, light: float) -> tuple[int, int]:
    """At how many bearings of a distant lamp the left side triggers first, and at how many the right one.

    The lamp gives ``light`` [lx] on a surface square to its rays, and each eye weighs it by its lobe; there
    is no other light.
    """
    left_wins = 0
    right_wins = 0
    for elevation in ELEVATIONS:
        for bearing in range(BEARINGS):
            ahead = lead(walker, light, 0.0, elevation, 2.0 * math.pi * bearing / BEARINGS)
            if ahead < 0.0:
                left_wins += 1
            elif ahead > 0.0:
                right_wins += 1
    return left_wins, right_wins


@kernel
def ratio_of(one: float, other: float) -> float:
    """The larger of two sizes over the smaller; nan where one is nan or both are nought."""
    larger = max(abs(one), abs(other))
    smaller = min(abs(one), abs(other))
    if math.isnan(one) or math.isnan(other) or larger == 0.0:
        return math.nan
    return larger / smaller if smaller > 0.0 else math.inf


def turn_ratio(measured: Measurement) -> float | None:
    """How many times the weaker side's turn the stronger one turns; None unless both sides have pulses."""
    left, right = measured.left.turn, measured.right.turn
    if left is None or right is None:
        return None
    ratio = float(ratio_of(left, right))
    return None if math.isnan(ratio) else ratio


@kernel
def has_idle_side(walker: Any, light: float) -> bool:
    """Whether one side triggers first at some of the bearings of :func:`bearings_won`, and the other at none.

    An even split of nothing does not count: eyes that see nothing apart are alike.
    """
    left_wins = False
    right_wins = False
    for elevation in ELEVATIONS:
        for turn in range(BEARINGS):
            # in turn to the left and to the right of the nose, where a healthy walker soon shows both
            bearing = (turn + 1) // 2 if turn % 2 == 1 else (BEARINGS - turn // 2) % BEARINGS
            ahead = lead(walker, light, 0.0, elevation, 2.0 * math.pi * bearing / BEARINGS)
            left_wins = left_wins or ahead < 0.0
            right_wins = right_wins or ahead > 0.0
            if left_wins and right_wins:
                return False
    return left_wins or right_wins


@kernel
def is_lopsided(walker: Any, measured: Any) -> bool:
    """Whether there is no bearing of a lamp at which one side fires first, or the pulses differ too much."""
    ratio = ratio_of(measured["side"][0]["free"]["turn"], measured["side"][1]["free"]["turn"])
    return ratio > TURN_RATIO or has_idle_side(walker, measured["light"])


@kernel
def has_narrow_eyes(walker: Any) -> bool:
    """Whether an eye stands nearer to the middle than its wheel."""
    nearest = min(abs(walker["side"][0]["eye_aside"]), abs(walker["side"][1]["eye_aside"]))
    return nearest < 0.5 * walker["track"]


@kernel
def chance_heard(walker: Any, number: int, light: float) -> float:
    """Chance that side ``number`` fires first in even light while its whisker is pressed.

    Both triggers jitter, normal and independent, about their voltages. 0 where the side has no whisker or no
    feeler resistor.
    """
    side = walker["side"][number]
    other = walker["side"][1 - number]
    if not is_touchable(side):
        return 0.0
    ahead = trigger_voltage(light, False, other) - trigger_voltage(light, True, side)
    jitter = math.hypot(side["jitter"], other["jitter"])
    if jitter == 0.0:
        return 1.0 if ahead > 0.0 else 0.0
    # the normal distribution function
    return 0.5 * math.erfc(-ahead / (jitter * math.sqrt(2.0)))


@kernel
def whisker_lead(walker: Any, number: int) -> float:
    """How far [m] the whisker's closing runs ahead of the body against a straight wall, at the best angle.

    Over all ways in which the walker may drive at a wall, from straight on to sideways: the reach of the tip
    less the bend that closes the switch, over the reach of the body. Not positive: the body is always first.
    """
    side = walker["side"][number]
    if side["whisker"] == 0:
        return -math.inf
    best = -math.inf
    for degrees in range(-90, 91, 3):
        ahead = math.cos(math.radians(degrees))
        aside = math.sin(math.radians(degrees))
        body = -math.inf
        for corner in range(walker["core_count"]):
            x, y = walker["core"][corner]
            body = max(body, ahead * x + aside * y)
        best = max(best, side["tip_ahead"] * ahead + side["tip_aside"] * aside - body)
    return best - side["bend_to_close"] - walker["body_radius"]


@kernel
def is_deaf(walker: Any, light: float) -> bool:
    """Whether a touch on either side changes no decision."""
    for number in range(2):
        if chance_heard(walker, number, light) < HEARD or whisker_lead(walker, number) <= 0.0:
            return True
    return False
