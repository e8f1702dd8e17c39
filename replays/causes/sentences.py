"""Why a walker fired the side it did: one sentence for each pulse, taken from the replay and the circuit.

The side whose trigger the rail meets first fires. By how much it was ahead of the other falls into four parts
that add up to the whole:

    light    what the two eyes' different light did: half of what swapping it would change
    touch    what a pressed whisker took off this side's trigger, less what one took off the other's
    chance   the difference of both sides' jitter
    parts    what is left, and would be left in like light, untouched: tape, resistors, eyes of another batch

The sentence names the largest part first, then what else counted, or stood against it.
"""

import math
from dataclasses import dataclass

import numpy as np

from agents.design.values_by_path import SIDES
from replays.causes.traces import Trace
from replays.format.tables import TOUCHED_LEFT, TOUCHED_RIGHT
from replays.words import light_words

# A further part is worth a word from this share of the largest on, and from this much [V].
_WORTH_TELLING = 0.2
_WORTH_VOLTS = 2e-3
# A rail that stands this far above the trigger did not come to it by charging [V].
_ABOVE = 1e-3
_SAME_TIME = 1e-6


@dataclass(frozen=True)
class Cause:
    """Why one pulse was fired by ``side`` (0 left, 1 right).

    ``own_V`` and ``other_V`` [V] are the triggers worked out anew, with jitter, inf for an eye that could not
    fire. ``shares`` [V] are the parts of their difference by name, empty where the other could not fire.
    ``reason`` is the name of the largest part, ``"alone"``, or ``"tie"``. ``above_V`` [V] tells how far the
    rail had passed the trigger, which happens where something else than charging let it fire. ``words`` is
    the sentence.
    """

    side: int
    own_V: float  # noqa: N815 - units as in the columns of a replay
    other_V: float  # noqa: N815
    shares: dict[str, float]
    reason: str
    above_V: float  # noqa: N815
    words: str


def volts_words(volts: float) -> str:
    """``volts`` [V] in words: millivolts below 100 mV."""
    if abs(volts) < 0.001:
        return f"{1e3 * volts:.1g} mV"
    return f"{1e3 * volts:.0f} mV" if abs(volts) < 0.0995 else f"{volts:.2f} V"


def pulse_cause(trace: Trace, number: int) -> Cause:
    """Why pulse ``number`` of a walker was fired by the side that fired."""
    pulse = trace.pulses[number]
    side = int(pulse["side"])
    other = 1 - side
    lights = (float(pulse["light_left_lx"]), float(pulse["light_right_lx"]))
    bits = (TOUCHED_LEFT, TOUCHED_RIGHT)
    pressed = tuple(bool(int(pulse["touched"]) & bit) for bit in bits)
    noise = trace.jitter(number)
    own_v = trace.trigger(side, lights[side], pressed[side]) + noise[side]
    other_v = trace.trigger(other, lights[other], pressed[other]) + noise[other]
    above = max(float(pulse["trigger_V"]) - own_v, 0.0)
    shares: dict[str, float] = {}
    if other_v < math.inf and own_v < math.inf:
        shares = _shares(trace, side, lights, pressed, noise, other_v - own_v)
        reason = max(shares, key=lambda name: shares[name]) if other_v > own_v else "tie"
    else:
        reason = "alone"
    why = _why(reason, side, lights, pressed, shares)
    late = _late(trace, number, side) if above > _ABOVE else ""
    return Cause(side, own_v, other_v, shares, reason, above, f"{SIDES[side]} fired: {why}{late}")


def _shares(
    trace: Trace,
    side: int,
    lights: tuple[float, float],
    pressed: tuple[bool, ...],
    noise: tuple[float, float],
    ahead: float,
) -> dict[str, float]:
    """The parts of ``ahead`` [V], by which ``side`` was ahead of the other; they add up to it."""
    other = 1 - side

    def swapped(which: int) -> float:
        """What the other eye's light in place of its own would add to a trigger; 0 where that is blind."""
        change = trace.trigger(which, lights[1 - which], False) - trace.trigger(which, lights[which], False)
        return change if math.isfinite(change) else 0.0

    def lowered(which: int) -> float:
        if not pressed[which]:
            return 0.0
        return trace.trigger(which, lights[which], False) - trace.trigger(which, lights[which], True)

    light = 0.5 * (swapped(side) - swapped(other))
    touch = lowered(side) - lowered(other)
    chance = noise[other] - noise[side]
    return {"light": light, "touch": touch, "chance": chance, "parts": ahead - light - touch - chance}


def _why(
    reason: str,
    side: int,
    lights: tuple[float, float],
    pressed: tuple[bool, ...],
    shares: dict[str, float],
) -> str:
    other = 1 - side
    if reason == "alone":
        return f"the {SIDES[other]} eye could not fire in {light_words(lights[other])}"
    if reason == "tie":
        return "both triggers were alike, and of two alike the left one goes first"
    value = shares[reason]
    if reason == "light":
        words = (
            f"its eye had {light_words(lights[side])} against {light_words(lights[other])}, "
            f"{volts_words(value)} earlier"
        )
    elif reason == "touch":
        words = f"whisker pressed, {volts_words(value)} lower"
        if pressed[other]:
            words = f"both whiskers pressed, which lowered it by {volts_words(value)} more than the other"
    elif reason == "chance":
        words = f"chance set the triggers {volts_words(value)} apart"
    else:
        words = f"its parts trigger {volts_words(value)} lower in the same light"
    return words + _besides(reason, side, pressed, shares)


_FOR = {"light": "its dimmer light", "touch": "its whisker", "chance": "chance", "parts": "its parts"}
_AGAINST = {
    "light": "its brighter light",
    "touch": "the other whisker",
    "chance": "chance",
    "parts": "its parts",
}


def _besides(reason: str, side: int, pressed: tuple[bool, ...], shares: dict[str, float]) -> str:
    """What else counted for it, and against it, and what that comes to."""
    least = max(_WORTH_TELLING * shares[reason], _WORTH_VOLTS)
    rest = {name: value for name, value in shares.items() if name != reason and abs(value) >= least}
    helped = [f"{volts_words(value)} by {_FOR[name]}" for name, value in rest.items() if value > 0.0]
    opposed = [f"{volts_words(-value)} by {_AGAINST[name]}" for name, value in rest.items() if value < 0.0]
    words = f"; and {' and '.join(helped)}" if helped else ""
    words += f"; against it {' and '.join(opposed)}" if opposed else ""
    if rest:
        words += f"; {volts_words(sum(shares.values()))} in all"
    return words


def _late(trace: Trace, number: int, side: int) -> str:
    """Why the rail stood above the trigger already when the side fired."""
    pulse = trace.pulses[number]
    start = float(pulse["start_s"])
    if number == 0 and start <= _SAME_TIME:
        return "; the run began with the storage charged"
    if number > 0 and abs(start - trace.recovers(number - 1)) <= _SAME_TIME:
        return "; the rail stood higher and waited for the eye to recover"
    own = trace.presses(side, start - 2 * _SAME_TIME, start)
    if len(own) and own["closed"][-1]:
        return "; its whisker was pressed that moment, with the rail above the new trigger"
    if len(trace.presses(1 - side, start - 2 * _SAME_TIME, start)):
        return "; the other whisker changed that moment"
    rows = trace.lights["time_s"]
    if np.any(np.abs(rows - start) <= _SAME_TIME):
        return "; its light had fallen that moment, with the rail above the new trigger"
    return "; the rail stood above the trigger already"
