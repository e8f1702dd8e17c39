"""How the latch comes to its level: by how many rounds of Newton's method, and where a hair decides."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit import latch as kernels
from agents.circuit.latch import Guess, settle_latch, strongest_drive
from agents.circuit.level import Frame, Kick, Level, Supply, frame_of, level_at
from agents.circuit.status import SETTLED
from agents.design.as_built import build
from agents.design.spec import Design
from tests.helpers.latches import FRESH, ROOM, STIFF, drawn_states, kick_of, left_side
from tests.helpers.levels import level_of

# Latch and motor [ohm], gains of NPN and PNP, the NPN's reverse gain, source [V], ESR [ohm], back-EMF [V],
# coupling current [A] and answer [A/V]: where the NPN just covers its load the excess jumps over nought.
JUST_COVERED = (
    (220e3, 28.0, 111.3, 123.2, 13.17, 1.7619, 0.0, 0.0362, 6.43775e-4, 1e-3),
    (220e3, 28.0, 110.7, 123.7, 18.77, 3.8067, 5.0, 1.4809, 1.953198e-3, 3e-3),
    (22e3, 28.0, 125.2, 147.6, 18.49, 2.9285, 5.0, 0.0262, 1.932407e-3, 3e-3),
    (220e3, 8.0, 116.2, 183.5, 14.73, 2.9998, 1.0, 1.5248, 7.401439e-6, 0.0),
    (100e3, 8.0, 194.5, 269.1, 1.68, 3.7270, 1.0, 2.2871, 1.984255e-3, 3e-3),
)


@pytest.mark.parametrize("state", JUST_COVERED)
def test_a_latch_rests_just_out_of_saturation(state: tuple[float, ...]) -> None:
    """On the highest y at which the NPN covers its load, by a root finder along the levels."""
    names = ("latch", "motor__resistance", "npn__gain", "pnp__gain", "npn__reverse_gain")
    _, side = left_side(**dict(zip(names, state[:5], strict=True)))
    supply, kick = Supply(*state[5:8]), Kick(state[8], state[9], 0.0, 2.1)
    frame = frame_of(supply, kick, ROOM, side)

    def over(y: float) -> float:
        level = level_of(y, 0.5, frame, side)
        return level.capability / level.demand - 1.0

    scale = float(side["pnp"]["saturation_current"] / side["pnp"]["gain"])
    tries = strongest_drive(frame.drive, frame.weight, scale)[0] - np.linspace(0.0, 2.0, 101)
    covered = next(number for number, y in enumerate(tries) if over(y) > 0.0)
    rest = float(brentq(over, tries[covered], tries[covered - 1], xtol=1e-10))
    goal = level_of(rest, 0.5, frame, side)
    assert goal.collector < frame.free_level
    drawn = frame.drive - frame.weight * rest - frame.stiffness * goal.collector
    for guess in (FRESH, Guess(rest, drawn, goal.collector)):
        found = settle_latch(supply, kick, ROOM, side, guess)
        assert found.holds
        assert found.status == SETTLED
        assert found.guess == pytest.approx(rest, abs=1e-3)
        assert found.collector == pytest.approx(goal.collector, abs=5e-3)
        assert found.cover == pytest.approx(1.0, abs=0.01)


# How far the guess of a y is off, and how many rounds it takes then: on an average, and at the most.
ROUNDS = {
    0.0: (1.0, 1),
    0.02: (1.0, 1),
    0.1: (1.6, 3),
    -0.1: (2.1, 3),
    0.5: (1.8, 8),
    -0.5: (3.21, 10),
    -2.0: (2.8, 8),
}


def plainly(monkeypatch: pytest.MonkeyPatch) -> tuple[Any, list[float]]:
    """The settling as it is written, and a list of the y at which it looks at a level."""
    looked_at: list[float] = []

    def noted(y: float, near: float, frame: Frame, side: Any) -> Level:
        looked_at.append(y)
        return level_at(y, near, frame, side)

    monkeypatch.setattr(kernels, "level_at", noted)
    return getattr(settle_latch, "py_func", settle_latch), looked_at


@pytest.mark.parametrize("off", ROUNDS)
def test_newtons_method_takes_a_round_or_two_from_nearby(off: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """A step of a pulse moves y by 0.1 at the most; other steps may lead to the same level, but slowly."""
    settling, looked_at = plainly(monkeypatch)
    taken = []
    for number, (values, rail, back, coupling) in enumerate(drawn_states(59)):
        side = build(Design(name="borage").with_values(values))[0]["side"][0]
        kick = kick_of(coupling) if number % 2 == 0 else STIFF._replace(current=STIFF.current + coupling)
        supply = Supply(rail, float(number % 3), back)
        fresh = settle_latch(supply, kick, ROOM, side, FRESH)
        guess = Guess(24.0 + off, 1e-4, 0.03)
        is_sure = fresh.holds and fresh.cover > 1.2
        if is_sure:
            place = max(fresh.collector - 0.3 * off, 0.0)
            guess = Guess(fresh.guess + off, fresh.base * math.exp(off), place)
        # past the valley it may hold or let go, but soon
        if is_sure or off < -0.2:
            looked_at.clear()
            found = settling(supply, kick, ROOM, side, guess)
            assert found.holds or off < -0.2
            taken.append(len(looked_at))
    mean, most = ROUNDS[off]
    assert len(taken) > 30
    assert np.mean(taken) <= mean
    assert max(taken) <= most


STRAIGHT_PARTS = {
    f"{part}__{name}": value
    for part in ("npn", "pnp")
    for name, value in (("early_voltage", 1e6), ("low_knee_current", 0.0))
}

# Values of a side, its supply, its coupling capacitor, a guess from far off, from which a step of Newton's
# leads out of what the level lies between, and how many rounds it takes then.
FROM_FAR_OFF = (
    (
        (2e3, 80.0, 386.80206, 337.10725, 17.916142, STRAIGHT_PARTS),
        Supply(0.7231017, 5.0, 0.1907200),
        Kick(1.98029839e-3, 3e-3, 0.0, 2.1),
        Guess(24.27316827, 3.7935163e-5, 0.2266319),
        8,
    ),
    (
        (22e3, 28.0, 126.212717, 164.545352, 6.8021478, {}),
        Supply(2.9235286, 1.0, 0.4036364),
        Kick(1.90625867e-3, 3e-3, 0.0, 2.1),
        Guess(25.55218319, 5.67771606e-6, 0.8481241),
        4,
    ),
    (
        (220e3, 28.0, 322.550009, 132.702738, 19.1137642, {}),
        Supply(0.8038632, 5.0, 0.3904723),
        Kick(1.94638412e-3, 3e-3, 4e-4, 2.1),
        Guess(25.06526291, 5.0876559e-5, 0.0),
        5,
    ),
)


@pytest.mark.parametrize("case", FROM_FAR_OFF)
def test_a_step_out_of_what_the_level_lies_between_is_halved(
    case: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    (latch, motor, npn, pnp, reverse, more), supply, kick, guess, most = case
    values = {"latch": latch, "motor__resistance": motor, "npn__gain": npn, "pnp__gain": pnp, **more}
    _, side = left_side(npn__reverse_gain=reverse, **values)
    settling, looked_at = plainly(monkeypatch)
    found = settling(supply, kick, ROOM, side, guess)
    assert len(looked_at) <= most
    fresh = settle_latch(supply, kick, ROOM, side, FRESH)
    assert found.holds
    assert found.guess == pytest.approx(fresh.guess, abs=1.5e-3)
    assert found.collector == pytest.approx(fresh.collector, abs=3e-3)
    assert found.motor == pytest.approx(fresh.motor, rel=3e-3)


def test_past_the_valley_a_latch_lets_go_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the NPN could carry its load, but not down to where it stands, and the less the more it rises."""
    values = {"latch": 10e3, "motor__resistance": 8.0, "npn__gain": 105.505115, "pnp__gain": 220.700534}
    _, side = left_side(npn__reverse_gain=18.1732392, **values, **STRAIGHT_PARTS)
    supply, kick = Supply(3.27565848, 5.0, 0.84003936), Kick(6.39215345e-4, 1e-3, 4e-4, 2.1)
    settling, looked_at = plainly(monkeypatch)
    assert not settling(supply, kick, ROOM, side, Guess(27.8622892, 3.82569072e-5, 0.1178745)).holds
    assert len(looked_at) == 1
