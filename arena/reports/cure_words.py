"""Cures and what comes with them in words, for a terminal and for a page alike."""

import math
from collections.abc import Mapping
from typing import Any

from agents.design.rewriting import value_texts
from agents.testbench.bench_figures import BenchPoint
from agents.testbench.cures import Brought, Cure
from agents.testbench.diagnosis import FaultReport
from agents.testbench.faults import fault_title
from agents.text.units import format_quantity
from agents.text.yaml_text import flow_text
from replays.words import time_words

NONE_FOUND = (
    "none found among all standard part values, nor among any two of them; the design itself has to change"
)


def range_words(lights: tuple[float, float]) -> str:
    """A range of lights [lx], or the one light that it is."""
    low, high = (format_quantity(light, "lx") for light in lights)
    return low if low == high else f"{low} to {high}"


def cure_words(report: FaultReport) -> str:
    """The cure of a fault with every value that it sets, and what comes with it."""
    cure = report.cure
    if cure is None:
        return NONE_FOUND
    near = "none found; the nearest miss: " if cure.stays else ""
    return f"{near}{cure.text}{after_words(cure)} ({values_words(cure.values)})"


def values_words(values: Mapping[str, Any]) -> str:
    """Values by path as a file gives them, in a line."""
    return "; ".join(f"{path}: {flow_text(text)}" for path, text in value_texts(values).items())


def after_words(cure: Cure) -> str:
    """What a cure leaves, or brings, in words that follow it."""
    words = []
    if cure.stays:
        words.append(f"there it stays from {' and '.join(map(range_words, cure.stays))}")
    if cure.brings:
        words.append(f"but then: {', '.join(map(_brought, cure.brings))}")
    elif not cure.stays:
        words.append("brings no fault" if cure.leaves else "with it no fault is left")
    return "".join(f"; {one}" for one in words)


def _brought(one: Brought) -> str:
    return f"{fault_title(one.name)} ({range_words(one.lights)})"


def effect_words(report: FaultReport) -> str:
    """What a pulse is with the cure, and without, in the light in which the fault was looked at."""
    cure = report.cure
    if cure is None or cure.then is None or cure.now is None:
        return ""
    light = format_quantity(report.looked_at, "lx")
    return f"in {light} then {_pulse_words(cure.then)} (now {_pulse_words(cure.now)})"


def _pulse_words(point: BenchPoint) -> str:
    first = point.first
    if not point.measured.fires:
        return "no pulse"
    if first.locked or first.between is None or first.turn is None or first.advance is None:
        return "a pulse that never ends"
    return (
        f"every {time_words(first.between)} a pulse of {_degrees(first.turn)}"
        f" and {format_quantity(first.advance, 'm', 2)}"
    )


def _degrees(angle: float) -> str:
    degrees = math.degrees(abs(angle))
    return f"{degrees:.0f} deg" if degrees >= 10.0 else f"{degrees:.2g} deg"
