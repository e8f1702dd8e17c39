"""Changes of where eyes and whiskers stand: wires bent to whole lengths and angles."""

import math
from collections.abc import Iterator
from typing import Any

from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SCOPES, sides_in
from agents.design.whisker import Whisker

ASIDES = (0.015, 0.02, 0.025, 0.03, 0.035, 0.04, 0.05, 0.06, 0.08, 0.1, 0.12, 0.15, 0.2)
LENGTHS = (0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.12, 0.15, 0.2)
ANGLES = (35, 45, 25, 55, 15, 65)
FEELER = 33e3


def bends(design: Design) -> Iterator[tuple[dict[str, Any], str, int]]:
    """Yield values by path, the change in words, and the parts that it takes, nearest first."""
    alike = design.left == design.right
    for scope in (BOTH,) if alike else SCOPES:
        yield from _eyes(design, scope)
    for scope in (BOTH,) if alike else SCOPES:
        yield from _whiskers(design, scope)


def _eyes(design: Design, scope: str) -> Iterator[tuple[dict[str, Any], str, int]]:
    sides = [getattr(design, name) for name in sides_in(scope)]
    for aside in ASIDES:
        if aside > min(side.eye.aside for side in sides):
            text = f"bend the eyes out to {aside * 1e3:.0f} mm from the middle {_where(scope)}"
            yield {f"{scope}.eye.aside": aside}, text, 0


def _whiskers(design: Design, scope: str) -> Iterator[tuple[dict[str, Any], str, int]]:
    sides = [getattr(design, name) for name in sides_in(scope)]
    present = [side.whisker for side in sides if side.whisker is not None]
    if len(present) < len(sides):
        usual = Whisker()
        values: dict[str, Any] = {f"{scope}.whisker": usual}
        yield values, f"a whisker of {usual.length * 1e3:.0f} mm {_where(scope)}", 1
        if any(side.feeler is None for side in sides):
            text = f"a whisker of {usual.length * 1e3:.0f} mm and a feeler resistor of 33k {_where(scope)}"
            yield {**values, f"{scope}.feeler": FEELER}, text, 1
        return
    for length in LENGTHS:
        if length > max(whisker.length for whisker in present):
            text = f"whiskers of {length * 1e3:.0f} mm {_where(scope)}"
            yield {f"{scope}.whisker.length": length}, text, 1
    for degrees in ANGLES:
        outward = math.radians(degrees)
        if any(abs(whisker.outward - outward) > 0.01 for whisker in present):
            text = f"bend the whiskers to {degrees} deg outward {_where(scope)}"
            yield {f"{scope}.whisker.outward": outward}, text, 0


def _where(scope: str) -> str:
    return "on both sides" if scope == BOTH else f"on the {scope} side"
