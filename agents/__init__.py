"""Walkers: their designs, the circuit that drives them, and the bench on which they are measured.

The names below are fetched when they are first asked for.
"""

from typing import TYPE_CHECKING

from agents.lazy_names import fetcher

if TYPE_CHECKING:
    from agents.design.changing import change_design, design_text
    from agents.design.spec import Design, read_design
    from agents.errors import PhotodromeError
    from agents.testbench.bench_figures import BenchPoint, bench, bench_point
    from agents.testbench.diagnosis import FaultReport, diagnose
    from agents.testbench.eye_tables import table_notes

__all__ = [
    "BenchPoint",
    "Design",
    "FaultReport",
    "PhotodromeError",
    "bench",
    "bench_point",
    "change_design",
    "design_text",
    "diagnose",
    "read_design",
    "table_notes",
]

_HOMES = {
    "BenchPoint": "agents.testbench.bench_figures",
    "Design": "agents.design.spec",
    "FaultReport": "agents.testbench.diagnosis",
    "PhotodromeError": "agents.errors",
    "bench": "agents.testbench.bench_figures",
    "bench_point": "agents.testbench.bench_figures",
    "change_design": "agents.design.changing",
    "design_text": "agents.design.changing",
    "diagnose": "agents.testbench.diagnosis",
    "read_design": "agents.design.spec",
    "table_notes": "agents.testbench.eye_tables",
}

__getattr__ = fetcher(__name__, _HOMES)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
