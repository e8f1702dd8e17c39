"""Walkers: their designs, the circuit that drives them, and the bench on which they are measured."""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from agents.bench.diagnosis import FaultReport, diagnose
    from agents.bench.sheet import BenchPoint, bench_point
    from agents.design.spec import Design, read_design
    from agents.errors import PhotodromeError

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
    "BenchPoint": "agents.bench.sheet",
    "Design": "agents.design.spec",
    "FaultReport": "agents.bench.diagnosis",
    "PhotodromeError": "agents.errors",
    "bench_point": "agents.bench.sheet",
    "diagnose": "agents.bench.diagnosis",
    "read_design": "agents.design.spec",
}

__getattr__ = fetcher(__name__, _HOMES)
