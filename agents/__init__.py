"""Walkers: their designs, the circuit that drives them, and the bench on which they are measured."""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from agents.bench import BenchPoint, bench_point
    from agents.design import Design, read_design
    from agents.diagnosis import FaultReport, diagnose
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
    "BenchPoint": "agents.bench",
    "Design": "agents.design",
    "FaultReport": "agents.diagnosis",
    "PhotodromeError": "agents.errors",
    "bench_point": "agents.bench",
    "diagnose": "agents.diagnosis",
    "read_design": "agents.design",
}

__getattr__ = fetcher(__name__, _HOMES)
