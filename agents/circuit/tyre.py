"""Motor, tyre and body of one side, and how they coast to rest.

    J domega/dt = K I_m - friction - r F,      F = mu N tanh((r omega - v) / epsilon)
    m_eff dv/dt = (1 - leans) F - drag - rubs

A walker that leans on something loses the part ``leans`` of its tyre's pull to what it slides back on it, and
is held by ``rubs`` besides; both are 0 where it is free (:mod:`arena.engine.motion`).
Dry friction and drag never move anything by themselves. The tyre's force follows its slip within fractions
of a millisecond, so that both rates are handed on with their slopes to a linearly implicit method.
"""

import math
from typing import Any, NamedTuple

from agents.compiled import kernel, kernel_part

# The methods' diagonal, with which fast decays come down to nought within a step.
_DIAGONAL = 1.0 - math.sqrt(0.5)
# The first step of a coasting, and what no step is shorter than [s]; tries of a step at the most.
FIRST_COASTING = 2e-4
SHORTEST_COASTING = 1e-6
TRIES = 60
# Error of a step of coasting, as a share of the speed.
COASTING_ERROR = 1e-2
# What is slower than this has stopped [m/s].
SLOWEST = 1e-5
# A tyre that gives less than this share of its grip slips in proportion to its force.
GRIPPING = 0.3
# Slips [times the slip speed] beyond which a tyre gives all its grip.
MOST_SLIP = 20.0
# What is left of a coasting when one of rotor and body stops is over where it passes less than this [m].
LEFT_OVER = 1e-6


class Rolling(NamedTuple):
    """Speeds of the rotor [rad/s] and of the floor under the tyre [m/s], or their accelerations."""

    rotor: float
    speed: float


class Stiffness(NamedTuple):
    """Slopes [1/s, with rad/s against m/s where they mix] of both accelerations against both speeds."""

    rotor_rotor: float
    rotor_speed: float
    speed_rotor: float
    speed_speed: float


class TyreEase(NamedTuple):
    """What does not change in a step of rotor and body.

    One over the slip speed [s/m], the rotor's inertia [1/(kg m2)] and the mass at the tyre [1/kg]; the part
    of the tyre's pull that moves the body, and the force [N] that resists it.
    """

    slip: float
    rotor: float
    body: float
    pulls: float
    resists: float


@kernel
def tyre_ease(walker: Any, side: Any, state: Any) -> TyreEase:
    """What does not change in a step of a side's rotor and body, as ``state`` leans on something."""
    return TyreEase(
        1.0 / side["slip_speed"],
        1.0 / side["rotor_inertia"],
        1.0 / walker["pivot_mass"],
        1.0 - state["leans"],
        walker["drag"] + state["rubs"],
    )


@kernel
def grip_used(side: Any, ease: TyreEase, rotor: float, speed: float) -> float:
    """Which part of its grip a tyre gives at ``rotor`` [rad/s] and ``speed`` [m/s]: the tanh of its slip.

    To the last digits of 1, and by an exponential, which takes half the time of a tanh.
    """
    slip = (side["tyre_radius"] * rotor - speed) * ease.slip
    grown = math.exp(2.0 * min(max(slip, -MOST_SLIP), MOST_SLIP))
    return (grown - 1.0) / (grown + 1.0)


@kernel
def rolling(side: Any, ease: TyreEase, rolled: Rolling, torque: float, part: float) -> Rolling:
    """Accelerations under a ``torque`` [N m] of the motor, rotor and body at the speeds ``rolled``.

    ``part`` is what the tyre gives of its grip there, by :func:`grip_used`.
    """
    force = side["tyre_grip"] * part
    drive = torque - side["tyre_radius"] * force - side["motor_friction"]
    push = force * ease.pulls - ease.resists
    if rolled.rotor <= 0.0 and drive < 0.0:
        drive = 0.0
    if rolled.speed <= 0.0 and push < 0.0:
        push = 0.0
    return Rolling(drive * ease.rotor, push * ease.body)


@kernel
def stiffness_of(side: Any, ease: TyreEase, part: float, braking: float) -> Stiffness:
    """Slopes of :func:`rolling`, of a motor whose torque falls by ``braking`` [N m s]."""
    radius = side["tyre_radius"]
    rise = side["tyre_grip"] * (1.0 - part * part) * ease.slip
    return Stiffness(
        -(braking + radius * radius * rise) * ease.rotor,
        radius * rise * ease.rotor,
        radius * rise * ease.pulls * ease.body,
        -rise * ease.pulls * ease.body,
    )


class Implicit(NamedTuple):
    """The inverse of 1 - ahead times slopes."""

    rotor_rotor: float
    rotor_speed: float
    speed_rotor: float
    speed_speed: float


@kernel
def implicit(slopes: Stiffness, ahead: float) -> Implicit:
    """Invert 1 - ``ahead`` times ``slopes``; ``ahead`` in [s]."""
    a = 1.0 - ahead * slopes.rotor_rotor
    b = -ahead * slopes.rotor_speed
    c = -ahead * slopes.speed_rotor
    d = 1.0 - ahead * slopes.speed_speed
    scale = 1.0 / (a * d - b * c)
    return Implicit(d * scale, -b * scale, -c * scale, a * scale)


@kernel
def solved(rolled: Rolling, inverse: Implicit) -> Rolling:
    """Solve (1 - ahead times slopes) k = ``rolled`` by the inverse."""
    return Rolling(
        inverse.rotor_rotor * rolled.rotor + inverse.rotor_speed * rolled.speed,
        inverse.speed_rotor * rolled.rotor + inverse.speed_speed * rolled.speed,
    )


@kernel
def at_rest(state: Any) -> bool:
    """Whether wheel and body have stopped."""
    return bool(state["rotor"] == 0.0 and state["speed"] == 0.0)


@kernel
def be_free(state: Any) -> None:
    """Have a walker lean on nothing."""
    state["leans"] = 0.0
    state["rubs"] = 0.0


@kernel
def lean_fully(state: Any) -> None:
    """Have a walker lean with all of its tyre's pull on what holds it, so that it stands."""
    state["leans"] = 1.0


@kernel
def begin_coasting(state: Any) -> None:
    """Set ``state`` to the moment at which the latch has let go: without its motor it leans on nothing."""
    be_free(state)
    state["next_step"] = FIRST_COASTING


class Gripping(NamedTuple):
    """How a wheel and a body slow down as one.

    ``slow`` [m/s2] is by how much a second, ``slip`` [m/s] the tyre's slip at which they do, ``decay`` [1/s]
    how fast the slip comes to that, ``off`` [m/s] how far it is from it, ``part`` which part of rotor and
    body the rotor is. ``common`` [m/s] is the speed of both, were the slip what it settles to, and
    ``slowest`` that of the slower one then, 0 where the tyre does not grip.
    """

    slow: float
    slip: float
    decay: float
    off: float
    part: float
    common: float
    slowest: float


@kernel_part
def gripping(walker: Any, side: Any, slip: float, speed: float) -> Gripping:
    """How both coast at a ``slip`` [m/s], the body at ``speed`` [m/s]."""
    radius = side["tyre_radius"]
    grip = side["tyre_grip"]
    mass = walker["pivot_mass"]
    rotor = side["rotor_inertia"] / (radius * radius)
    friction = side["motor_friction"] / radius
    whole = mass + rotor
    slow = (friction + walker["drag"]) / whole
    settled = (walker["drag"] - mass * slow) / grip
    part = math.tanh(slip / side["slip_speed"])
    if not (abs(settled) < GRIPPING and abs(part) < GRIPPING):
        return Gripping(slow, 0.0, 0.0, slip, rotor / whole, speed, 0.0)
    # tanh to the third order, and its slope between the two slips
    settles = side["slip_speed"] * settled * (1.0 + settled * settled / 3.0)
    slope = 1.0 - (part * part + part * settled + settled * settled) / 3.0
    decay = slope * grip * whole / (side["slip_speed"] * mass * rotor)
    off = slip - settles
    common = speed + rotor / whole * off
    return Gripping(slow, settles, decay, off, rotor / whole, common, common + min(settles, 0.0))


@kernel_part
def slow_down(side: Any, state: Any, grips: Gripping, longest: float) -> tuple[float, float]:
    """Coast in one go, up to a stop or for ``longest`` [s]; returns step [s] and floor passed [m].

    Momentum falls evenly whatever the tyre does; the slip dies out.
    """
    off = grips.off
    step = longest
    stops = grips.slow > 0.0 and grips.slowest <= grips.slow * longest
    if stops:
        step = max(grips.slowest / grips.slow, 0.0)
    left = math.exp(-grips.decay * step)
    way = step * (grips.common - 0.5 * grips.slow * step) - grips.part * off * (1.0 - left) / grips.decay
    end = grips.common - grips.slow * step
    end_speed = end - grips.part * off * left
    end_rotor = end_speed + grips.slip + off * left
    if stops:
        rest = abs(grips.slip)
        if 0.5 * rest * rest < LEFT_OVER * grips.slow:
            end_speed = 0.0
            end_rotor = 0.0
    state["speed"] = end_speed if end_speed > SLOWEST else 0.0
    state["rotor"] = end_rotor / side["tyre_radius"] if end_rotor > SLOWEST else 0.0
    return step, max(way, 0.0)


@kernel
def time_to_stop(side: Any, rotor: float) -> float:
    """How long [s] a wheel at ``rotor`` [rad/s] takes to stop under a body that stands.

    Friction a and a grip of b tanh x slow it down, x the speed of its rim over the slip speed: the integral
    of dx / (a + b tanh x), which is (a x - b ln(cosh x + b / a sinh x)) / (a^2 - b^2). inf where that loses
    its digits.
    """
    friction = side["motor_friction"] / side["tyre_radius"]
    grip = side["tyre_grip"]
    apart = friction * friction - grip * grip
    if friction < 1e-3 * grip or abs(apart) < 1e-3 * grip * grip:
        return math.inf
    x = side["tyre_radius"] * rotor / side["slip_speed"]
    share = grip / friction
    grown = x + math.log(0.5 * (1.0 + share) + 0.5 * (1.0 - share) * math.exp(-2.0 * x))
    inertia = side["rotor_inertia"] / (side["tyre_radius"] * side["tyre_radius"])
    return float(inertia * side["slip_speed"] * (friction * x - grip * grown) / apart)


@kernel
def coast_step(walker: Any, number: int, state: Any, longest: float) -> tuple[float, float]:
    """Advance the coasting of a side that has let go by one step of at most ``longest`` [s].

    Returns (the step's length [s], floor passed under the tyre [m]). Wheel and body are at rest when both
    ``rotor`` and ``speed`` are exactly 0. While the tyre grips both slow down evenly as its slip dies out,
    which one step tells in closed form however long it is, as it does how a wheel stops under a body that is
    held. A tyre that slips takes short steps (ROS2 of Verwer, Spee, Blom and Hundsdorfer, SIAM Journal on
    Scientific Computing 20, 1999). A step ends where the
    rotor or the body stops. The storage is left as it is: it charges meanwhile as in any wait, so
    that the caller advances it by :func:`agents.circuit.charging.wait`.
    """
    side = walker["side"][number]
    radius = side["tyre_radius"]
    rotor = state["rotor"]
    speed = state["speed"]
    if state["leans"] == 1.0 and speed == 0.0:
        step = time_to_stop(side, rotor)
        if step <= longest:
            state["rotor"] = 0.0
            return step, 0.0
    if rotor > 0.0 and speed > 0.0:
        grips = gripping(walker, side, radius * rotor - speed, speed)
        # where one of the two is about to stop ahead of the other, short steps tell how it goes on
        if grips.slowest > SLOWEST:
            return slow_down(side, state, grips, longest)
    ease = tyre_ease(walker, side, state)
    part = grip_used(side, ease, rotor, speed)
    one = rolling(side, ease, Rolling(rotor, speed), 0.0, part)
    slopes = stiffness_of(side, ease, part, 0.0)
    allowed = COASTING_ERROR * (speed + 0.1 * side["slip_speed"])
    step = min(state["next_step"], longest)
    for _ in range(TRIES):
        inverse = implicit(slopes, step * _DIAGONAL)
        k1 = solved(one, inverse)
        turns, goes = max(rotor + step * k1.rotor, 0.0), max(speed + step * k1.speed, 0.0)
        part = grip_used(side, ease, turns, goes)
        two = rolling(side, ease, Rolling(turns, goes), 0.0, part)
        k2 = solved(Rolling(two.rotor - 2.0 * k1.rotor, two.speed - 2.0 * k1.speed), inverse)
        error = 0.5 * step * max(radius * abs(k1.rotor + k2.rotor), abs(k1.speed + k2.speed))
        turned = step * (1.5 * k1.rotor + 0.5 * k2.rotor)
        gained = step * (1.5 * k1.speed + 0.5 * k2.speed)
        # up to where the first of the two stops
        share = 1.0
        if rotor > 0.0 and rotor + turned < 0.0:
            share = min(share, -rotor / turned)
        if speed > 0.0 and speed + gained < 0.0:
            share = min(share, -speed / gained)
        if share < 0.999 and step > SHORTEST_COASTING:
            step = max(share * step, SHORTEST_COASTING)
            continue
        if error > allowed and step > SHORTEST_COASTING:
            step = max(step * max(0.9 * math.sqrt(allowed / error), 0.1), SHORTEST_COASTING)
            continue
        break
    state["next_step"] = step * min(0.9 * math.sqrt(allowed / error), 5.0) if error > 0.0 else 5.0 * step
    end_rotor = rotor + turned
    end_speed = speed + gained
    # what is left of a stop is less than what rounding or a slip of nothing would go on for
    state["rotor"] = end_rotor if radius * end_rotor > SLOWEST else 0.0
    state["speed"] = end_speed if end_speed > SLOWEST else 0.0
    return step, 0.5 * step * (speed + max(end_speed, 0.0))
