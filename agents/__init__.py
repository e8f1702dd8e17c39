"""Walkers: their designs, the circuit that drives them, and the bench on which they are measured.

The names below are fetched when they are first asked for.
"""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from agents.design.spec import Design, read_design
    from agents.design.writing import change_design, design_text
    from agents.errors import PhotodromeError
    from agents.testbench.diagnosis import FaultReport, diagnose
    from agents.testbench.sheet import BenchPoint, bench, bench_point

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
]

_HOMES = {
    "BenchPoint": "agents.testbench.sheet",
    "Design": "agents.design.spec",
    "FaultReport": "agents.testbench.diagnosis",
    "PhotodromeError": "agents.errors",
    "bench": "agents.testbench.sheet",
    "bench_point": "agents.testbench.sheet",
    "change_design": "agents.design.writing",
    "design_text": "agents.design.writing",
    "diagnose": "agents.testbench.diagnosis",
    "read_design": "agents.design.spec",
}

__getattr__ = fetcher(__name__, _HOMES)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
