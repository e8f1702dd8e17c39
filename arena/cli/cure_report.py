"""The part of a bench sheet that tells faults with their causes and cures, and advice on the whole design."""

from collections.abc import Mapping
from typing import Any

from rich.text import Text

from agents.testbench.diagnosis import Diagnosis, FaultReport
from agents.testbench.faults import fault_title
from arena.cli.printed_tables import the_console
from arena.reports.cure_words import NONE_FOUND, after_words, effect_words, range_words, values_words


def print_diagnosis(found: Diagnosis, command: str) -> None:
    """Each fault with cause and cure, and how to write a cure into a file; ``command`` is what was typed."""
    console = the_console()
    told: set[int] = set()
    for report in found.reports:
        where = range_words(report.lights)
        console.print(Text.assemble((fault_title(report.name), "bold"), f", {where}: {report.cause}"))
        _print_cure(found, report, told)
    advice = found.advice
    if advice is not None:
        number = found.number(advice.values)
        again = f"  cure {number}" if number in told else f"  {number}: {advice.text}"
        console.print(Text.assemble(("the whole design", "bold"), f", {range_words(advice.lights)}:"))
        reach = "no fault" if advice.is_all else "no fault there, which is the widest that was found"
        before = "nowhere without" if advice.before is None else f"{range_words(advice.before)} without"
        console.print(f"{again}; with it {reach} ({before})")
        if number not in told:
            _print_values(advice.values)
    if found.offers:
        number = 1 if advice is None else found.number(advice.values)
        console.print(f"to write it into a file of your own: {command} --apply {number} --out better.yaml")


def _print_cure(found: Diagnosis, report: FaultReport, told: set[int]) -> None:
    console, cure = the_console(), report.cure
    if cure is None:
        console.print(f"  cure: {NONE_FOUND}")
        return
    number = found.number(cure.values)
    word = f"no cure found; nearest miss {number}" if cure.stays else f"cure {number}"
    if number in told:
        console.print(f"  {word}, as above{after_words(cure)}")
        return
    told.add(number)
    console.print(f"  {word}: {cure.text}{after_words(cure)}")
    _print_values(cure.values)
    if effect := effect_words(report):
        console.print(f"    {effect}")


def _print_values(values: Mapping[str, Any]) -> None:
    the_console().print(f"    {values_words(values)}", markup=False, highlight=False)
