"""Levels of the latch to the last digits."""

from typing import Any

from agents.circuit.level import Frame, Level, level_at


def level_of(y: float, near: float, frame: Frame, side: Any) -> Level:
    """The level that goes with a y, looked for again from where it was found; first at ``near`` [V]."""
    for _ in range(80):
        level = level_at(y, near, frame, side)
        if abs(level.shift) < 1e-14:
            break
        near = level.collector
    return level
