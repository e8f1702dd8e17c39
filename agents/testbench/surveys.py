"""Many built copies on the bench at once, under several lights: their faults, and where they head.

Both are what :mod:`agents.testbench.measuring` and :mod:`agents.testbench.faults` tell of a design.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.circuit.panel import panel_under
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED
from agents.compiled import kernel
from agents.handbook.light_kinds import kind_index
from agents.testbench.faults import fault_bits
from agents.testbench.measuring import (
    MEASURED,
    bench_failure,
    check_light,
    measure_walker,
    photocurrent_of,
)


@dataclass(frozen=True)
class Survey:
    """What was found of copies at lights, each (copies, lights).

    ``faults``: bit k set for the k-th of :data:`agents.testbench.faults.FAULTS`. ``beside``: how far beside a
    lamp the copy heads [rad], the mean bearing of the lamp, positive to the left; nan where it circles.
    """

    faults: IntArray
    beside: FloatArray


@kernel
def _survey(
    walkers: Any,
    lights: Any,
    kind: int,
    state: Any,
    measured: Any,
    faults: Any,
    beside: Any,
) -> tuple[int, int, int, int]:
    """Returns a status, and copy, light and side by their numbers where it is not SETTLED."""
    # built copies hardly ever have two sides alike
    twins = False
    for copy in range(len(walkers)):
        walker = walkers[copy]
        for number in range(len(lights)):
            light = lights[number]
            lit = panel_under(walker, light, kind)
            status, side = measure_walker(walker, light, lit, twins, state, measured)
            if status != SETTLED:
                return status, copy, number, side
            faults[copy, number] = fault_bits(walker, measured)
            beside[copy, number] = measured["beside"]
    return SETTLED, 0, 0, 0


def survey(walkers: RecordArray, lights: Sequence[float], kind: str, first: int = 0) -> Survey:
    """Measure WALKER records at each of ``lights`` [lx] of a ``kind``; errors count copies from ``first`` on.

    Raises :class:`~agents.errors.OptionError` for a light outside 0 to 1 Mlx, or a kind that is not there,
    and :class:`~agents.errors.ModelError` where the model cannot follow a copy.
    """
    for light in lights:
        check_light(light)
    shape = len(walkers), len(lights)
    faults, beside = np.zeros(shape, np.int64), np.zeros(shape)
    state, measured = np.zeros(1, STATE)[0], np.zeros(1, MEASURED)[0]
    wanted = np.array(lights, np.float64)
    status, copy, number, side = _survey(walkers, wanted, kind_index(kind), state, measured, faults, beside)
    if status != SETTLED:
        walker, light = walkers[copy], lights[number]
        photocurrent = photocurrent_of(walker, light, kind)
        raise bench_failure(status, f"copy {first + copy + 1}", walker, side, state, light, photocurrent)
    return Survey(faults, beside)
