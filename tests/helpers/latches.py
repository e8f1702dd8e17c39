"""Latches as in pulses, alike at every run."""

import math
from typing import Any

import numpy as np

from agents.circuit.latch import Guess
from agents.circuit.level import Kick
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.formulae import thermal_voltage

ROOM = thermal_voltage(298.15)


FRESH = Guess(math.inf, 0.0, 0.0)


def kick_of(current: float) -> Kick:
    """A coupling capacitor that draws ``current`` [A] whatever the latch does."""
    return Kick(current, 0.0, 0.0, 0.0)


def left_side(**values: Any) -> tuple[Design, Any]:
    """A design with some values of its left side replaced, double underscores for dots; and its record."""
    paths = {"left." + path.replace("__", "."): value for path, value in values.items()}
    design = Design(name="borage").with_values(paths)
    return design, build(design)[0]["side"][0]


# a coupling capacitor that holds the base at its voltage, and feeds the collector
STIFF = Kick(1.25e-3, 1.5e-3, 4e-4, 2.1)


def drawn_states(count: int) -> list[tuple[dict[str, float], float, float, float]]:
    """Designs, rails, back-EMFs and coupling currents over what pulses pass through, alike at every run."""
    random = np.random.default_rng(20240611)
    states = []
    for _ in range(count):
        values = {
            "left.latch": random.choice([2e3, 10e3, 22e3, 47e3, 100e3]),
            "left.motor.resistance": random.choice([8.0, 28.0, 80.0]),
            "left.npn.gain": random.uniform(60.0, 400.0),
            "left.pnp.gain": random.uniform(60.0, 400.0),
            "left.npn.reverse_gain": random.uniform(1.0, 20.0),
        }
        rail = random.choice([random.uniform(0.65, 0.95), random.uniform(0.95, 4.0)])
        back = random.uniform(0.0, 0.7) * rail
        states.append((values, rail, back, random.uniform(-1e-5, 1e-5)))
    return states
