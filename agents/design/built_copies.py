"""Built copies of a design, many at a time: how their parts are drawn, and the records that come of it."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.circuit.records import WALKER
from agents.compiled import kernel
from agents.design.as_built import build, fill
from agents.design.spec import Design
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.noise import PARTS, uniform_pair


@kernel
def _draw(seed: int, numbers: Any, stream: int, index: int, chances: Any) -> None:
    for place in range(len(numbers)):
        chances[place] = uniform_pair(seed, numbers[place], stream, index)[0]


def part_chances(design: Design, seed: int, numbers: Sequence[int] | IntArray) -> FloatArray:
    """Return the quantile at which each part of each copy is drawn, (copies, parts), between 0 and 1.

    The parts are those of ``design.spreads``, in their order; the draws are those of
    :meth:`~agents.design.spec.Design.drawn_parts`.
    """
    wanted = np.asarray(numbers, np.int64)
    chances = np.empty((len(design.spreads), len(wanted)))
    with np.errstate(over="ignore"):  # unsigned words wrap, which plain Python would warn of
        for part, spread in enumerate(design.spreads):
            _draw(seed, wanted, PARTS, spread.index, chances[part])
    return np.ascontiguousarray(chances.T)


def part_values(design: Design, chances: FloatArray) -> FloatArray:
    """Return the parts' values, SI, at quantiles (copies, parts) of their spreads."""
    values = np.empty(chances.shape)
    for part, spread in enumerate(design.spreads):
        values[:, part] = spread.draws(chances[:, part].tolist())
    return values


def build_copies(design: Design, values: FloatArray, air: float = ROOM_TEMPERATURE) -> RecordArray:
    """Return the WALKER records (copies,) with the parts' ``values`` (copies, parts) in place.

    They stand in ``air`` of a temperature [K].
    """
    paths = [spread.path for spread in design.spreads]
    records = np.zeros(len(values), WALKER)
    if not paths:
        records[:] = build(design, air)
        return records
    rows = (dict(zip(paths, row, strict=True)) for row in values.tolist())
    for record, copy in zip(records, design.in_turn(rows), strict=True):
        fill(record, copy, air)
    return records


def draw_copies(
    design: Design, seed: int, numbers: Sequence[int] | IntArray, air: float = ROOM_TEMPERATURE
) -> RecordArray:
    """Return the WALKER records of built copies by their ``numbers``: those that take part in races.

    They stand in ``air`` of a temperature [K].
    """
    return build_copies(design, part_values(design, part_chances(design, seed, numbers)), air)
