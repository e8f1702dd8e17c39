"""Walkers: their designs, the circuit that drives them, and the bench on which they are measured.

The names below are fetched when they are first asked for.
"""

from typing import TYPE_CHECKING

from agents.lazy_names import fetcher

if TYPE_CHECKING:
    from agents.design.changing import change_design, design_text
    from agents.design.spec import Design, read_design
    from agents.drawer.contents import Drawer, read_drawer
    from agents.errors import PhotodromeError
    from agents.fitting.fit import Fit, fit_design
    from agents.fitting.readings import Reading, read_readings
    from agents.testbench.bench_figures import BenchPoint, bench, bench_point
    from agents.testbench.diagnosis import FaultReport, diagnose
    from agents.testbench.eye_tables import table_notes
    from agents.testbench.picking import Picked, pick_parts

__all__ = [
    "BenchPoint",
    "Design",
    "Drawer",
    "FaultReport",
    "Fit",
    "PhotodromeError",
    "Picked",
    "Reading",
    "bench",
    "bench_point",
    "change_design",
    "design_text",
    "diagnose",
    "fit_design",
    "pick_parts",
    "read_design",
    "read_drawer",
    "read_readings",
    "table_notes",
]

_HOMES = {
    "BenchPoint": "agents.testbench.bench_figures",
    "Design": "agents.design.spec",
    "Drawer": "agents.drawer.contents",
    "FaultReport": "agents.testbench.diagnosis",
    "Fit": "agents.fitting.fit",
    "PhotodromeError": "agents.errors",
    "Picked": "agents.testbench.picking",
    "Reading": "agents.fitting.readings",
    "bench": "agents.testbench.bench_figures",
    "bench_point": "agents.testbench.bench_figures",
    "change_design": "agents.design.changing",
    "design_text": "agents.design.changing",
    "diagnose": "agents.testbench.diagnosis",
    "fit_design": "agents.fitting.fit",
    "pick_parts": "agents.testbench.picking",
    "read_design": "agents.design.spec",
    "read_drawer": "agents.drawer.contents",
    "read_readings": "agents.fitting.readings",
    "table_notes": "agents.testbench.eye_tables",
}

__getattr__ = fetcher(__name__, _HOMES)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
