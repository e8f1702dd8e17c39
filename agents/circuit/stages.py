"""The method by which a pulse is stepped: ROS34PW2.

Linearly implicit, of third order in four stages, which it keeps whatever its slopes leave out, with one of
second order in it for the error. Source: J. Rang and L. Angermann, BIT Numerical Mathematics 45 (2005).
"""

import math
from typing import Any, NamedTuple

from agents.circuit.flow import CircuitPoint, Flow
from agents.circuit.tyre import Implicit, Rolling, Stiffness, implicit, solved
from agents.compiled import kernel

# ROS34PW2: the diagonal, where the stages are, how far they go along those before, what the slopes add of
# those, the weights, and by how much the weights of second order differ.
DIAGONAL = 0.435866521508459
PLACE_2 = 0.8717330430169180
PLACE_3 = 0.7315799577888524
ALONG_31 = 0.8445706001536942
ALONG_32 = -0.1129906423648419
MIX_21 = -0.8717330430169180
MIX_31 = -0.9033805701304408
MIX_32 = 0.0541806723880953
MIX_41 = 0.2421238070609535
MIX_42 = -1.2232505839045147
MIX_43 = 0.5452602553351021
WEIGHTS = (0.2421238070609535, -1.2232505839045147, 1.5452602553351020, 0.4358665215084590)
ERRORS = (-0.1359852243972402, -1.1272082916920915, 1.0452602553351020, 0.2179332607542295)


class Slopes(NamedTuple):
    """Slopes that the method takes: the coupling capacitor's [1/s], and those of rotor and speed.

    ``eye`` is by how much the voltage at the eye follows the coupling capacitor's, the rest being what the
    PNP's junction gives way.
    """

    coupling: float
    eye: float
    wheel: Stiffness


@kernel
def times(a: float, one: CircuitPoint) -> CircuitPoint:
    """A stage's rates times a share."""
    return CircuitPoint(a * one.stored, a * one.coupling, a * one.rotor, a * one.speed)


@kernel
def blend(a: float, one: CircuitPoint, b: float, two: CircuitPoint) -> CircuitPoint:
    """Add up two stages' rates, each times its share."""
    return CircuitPoint(
        a * one.stored + b * two.stored,
        a * one.coupling + b * two.coupling,
        a * one.rotor + b * two.rotor,
        a * one.speed + b * two.speed,
    )


@kernel
def add_stages(
    shares: tuple[float, float, float, float], one: Any, two: Any, three: Any, four: Any
) -> CircuitPoint:
    """Add up four stages' rates, each times its share."""
    s1, s2, s3, s4 = shares
    return CircuitPoint(
        s1 * one.stored + s2 * two.stored + s3 * three.stored + s4 * four.stored,
        s1 * one.coupling + s2 * two.coupling + s3 * three.coupling + s4 * four.coupling,
        s1 * one.rotor + s2 * two.rotor + s3 * three.rotor + s4 * four.rotor,
        s1 * one.speed + s2 * two.speed + s3 * three.speed + s4 * four.speed,
    )


@kernel
def gone_on(begun: CircuitPoint, step: float, rates: CircuitPoint) -> CircuitPoint:
    """Where the ``rates`` lead from ``begun`` in a ``step`` [s]; neither rotor nor body goes backwards."""
    return CircuitPoint(
        begun.stored + step * rates.stored,
        begun.coupling + step * rates.coupling,
        max(begun.rotor + step * rates.rotor, 0.0),
        max(begun.speed + step * rates.speed, 0.0),
    )


@kernel
def decayed(begun: CircuitPoint, rate: float, slope: float, ahead: float) -> tuple[CircuitPoint, float]:
    """Where the coupling capacitor comes to by itself ``ahead`` [s] of ``begun``, and its rate there [V/s].

    That is exact where its ``rate`` [V/s] goes by its voltage alone, along the ``slope`` [1/s] other than 0;
    the stages step what is left beside it.
    """
    grown = math.exp(slope * ahead) - 1.0
    at = CircuitPoint(begun.stored, begun.coupling + rate * grown / slope, begun.rotor, begun.speed)
    return at, rate + rate * grown


class Stages(NamedTuple):
    """What all stages of a step share: its length [s], the slopes, and the inverses of 1 - gamma h J.

    ``wheels`` is that of rotor and speed, ``soaks`` that of the coupling capacitor.
    """

    step: float
    slopes: Slopes
    wheels: Implicit
    soaks: float


@kernel
def stages_of(slopes: Slopes, step: float) -> Stages:
    """Work out what the stages of a ``step`` [s] share."""
    ahead = step * DIAGONAL
    return Stages(step, slopes, implicit(slopes.wheel, ahead), 1.0 / (1.0 - ahead * slopes.coupling))


@kernel
def stage_rates(flow: Flow, stages: Stages, mixed: CircuitPoint, known: float) -> CircuitPoint:
    """Rates of a stage, ``mixed`` being what the slopes take of the stages before.

    ``known`` [V/s] of the coupling capacitor's rate is accounted for without the stages.
    """
    step = stages.step
    wheel = stages.slopes.wheel
    wheels = solved(
        Rolling(
            flow.rotor + step * (wheel.rotor_rotor * mixed.rotor + wheel.rotor_speed * mixed.speed),
            flow.speed + step * (wheel.speed_rotor * mixed.rotor + wheel.speed_speed * mixed.speed),
        ),
        stages.wheels,
    )
    soaked = (flow.coupling - known + step * stages.slopes.coupling * mixed.coupling) * stages.soaks
    return CircuitPoint(flow.stored, soaked, wheels.rotor, wheels.speed)


@kernel
def weigh_way(
    step: float, one: CircuitPoint, two: CircuitPoint, three: CircuitPoint, four: CircuitPoint
) -> float:
    """Floor [m] that passes under the tyre in a ``step`` [s]."""
    w1, w2, w3, w4 = WEIGHTS
    return max(step * (w1 * one.speed + w2 * two.speed + w3 * three.speed + w4 * four.speed), 0.0)
