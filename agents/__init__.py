"""Walkers: their designs, the circuit that drives them, and the bench on which they are measured."""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from agents.design.spec import Design, read_design
    from agents.errors import PhotodromeError
    from agents.testbench.diagnosis import FaultReport, diagnose
    from agents.testbench.sheet import BenchPoint, bench_point

__all__ = [
    "BenchPoint",
    "Design",
    "FaultReport",
    "PhotodromeError",
    "bench_point",
    "diagnose",
    "read_design",
]

_HOMES = {
    "BenchPoint": "agents.testbench.sheet",
    "Design": "agents.design.spec",
    "FaultReport": "agents.testbench.diagnosis",
    "PhotodromeError": "agents.errors",
    "bench_point": "agents.testbench.sheet",
    "diagnose": "agents.testbench.diagnosis",
    "read_design": "agents.design.spec",
}

__getattr__ = fetcher(__name__, _HOMES)
