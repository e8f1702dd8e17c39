"""The part of a bench sheet that tells faults with their causes and cures, and advice on the whole design."""

import math
from collections.abc import Mapping
from typing import Any

from rich.text import Text

from agents.design.rewriting import value_texts
from agents.testbench.bench_figures import BenchPoint
from agents.testbench.cures import Brought, Cure
from agents.testbench.diagnosis import Diagnosis, FaultReport
from agents.testbench.faults import fault_title
from agents.testbench.light_scan import Range
from agents.text.units import format_quantity
from agents.text.yaml_text import flow_text
from arena.cli.printed_tables import the_console
from replays.words import time_words


def print_diagnosis(found: Diagnosis, command: str) -> None:
    """Each fault with cause and cure, and how to write a cure into a file; ``command`` is what was typed."""
    console = the_console()
    told: set[int] = set()
    for report in found.reports:
        where = range_words(report.lights)
        console.print(Text.assemble((fault_title(report.name), "bold"), f", {where}: {report.cause}"))
        if report.cure is None:
            console.print("  cure: none found among all standard part values, nor among any two of them;")
            console.print("        the design itself has to change")
            continue
        number = found.number(report.cure.values)
        if number in told:
            console.print(f"  cure {number}, as above{_after(report.cure)}")
            continue
        told.add(number)
        word = "cure" if not report.cure.stays else "no cure found; the nearest miss is"
        console.print(f"  {word} {number}: {report.cure.text}{_after(report.cure)}")
        _print_values(report.cure.values)
        if effect := _effect(report):
            console.print(f"    {effect}")
    advice = found.advice
    if advice is not None:
        number = found.number(advice.values)
        again = f"  cure {number}" if number in told else f"  {number}: {advice.text}"
        console.print(Text.assemble(("the whole design", "bold"), f", {range_words(advice.lights)}:"))
        reach = "it has no fault" if advice.is_all else "that is the widest range without a fault"
        before = "none without" if advice.before is None else f"{range_words(advice.before)} without"
        console.print(f"{again}: with it {reach} ({before})")
        if number not in told:
            _print_values(advice.values)
    if found.offers:
        number = 1 if advice is None else found.number(advice.values)
        console.print(f"to write it into a file of your own: {command} --apply {number} --out better.yaml")


def range_words(lights: Range) -> str:
    """A range of light in words."""
    low, high = (format_quantity(light, "lx") for light in lights)
    return low if low == high else f"{low} to {high}"


def values_words(values: Mapping[str, Any]) -> str:
    """Values by path as a file gives them, in a line."""
    return "; ".join(f"{path}: {flow_text(text)}" for path, text in value_texts(values).items())


def _print_values(values: Mapping[str, Any]) -> None:
    the_console().print(f"    {values_words(values)}", markup=False, highlight=False)


def _after(cure: Cure) -> str:
    """What a cure leaves, or brings, in words."""
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


def _effect(report: FaultReport) -> str:
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
