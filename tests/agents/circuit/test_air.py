"""A walker brought into other air, against the same design built in it."""

from typing import Any

import numpy as np
import pytest

from agents.circuit.air import set_air
from agents.circuit.records import WALKER
from agents.design.as_built import build
from agents.design.spec import Design, read_design


def leaves(record: Any, kind: np.dtype[Any], name: str = "") -> dict[str, Any]:
    """Every number of a record by its path."""
    found: dict[str, Any] = {}
    for field in kind.names or ():
        inner = kind[field]
        value, path = record[field], f"{name}.{field}"
        if inner.names is not None:
            found |= leaves(value, inner, path)
        elif inner.base.names is not None:
            for number in range(inner.shape[0]):
                found |= leaves(value[number], inner.base, f"{path}{number}")
        else:
            found[path] = np.asarray(value, np.float64)
    return found


@pytest.mark.parametrize("magnet", ["ferrite", "alnico"])
def test_every_field_is_what_it_is_in_a_walker_built_in_that_air(magnet: str) -> None:
    design = read_design("poppy")
    left = design.left.model_copy(update={"motor": design.left.motor.model_copy(update={"magnet": magnet})})
    design = design.model_copy(update={"left": left})
    walkers = build(design, 298.15)
    changed = 0
    for air in (268.15, 310.0, 291.0, 291.0, 298.15):
        before = walkers.copy()
        set_air(walkers[0], air)
        known = leaves(build(design, air)[0], WALKER)
        for path, value in leaves(walkers[0], WALKER).items():
            assert value == pytest.approx(known[path], rel=1e-12), path
        changed += before.tobytes() != walkers.tobytes()
    assert changed == 4


def test_a_thousand_steps_there_and_back_leave_nothing() -> None:
    walkers = build(Design(name="leek"))
    known = walkers.copy()
    for step in range(1000):
        set_air(walkers[0], 298.15 + 15.0 * np.sin(step))
    set_air(walkers[0], 298.15)
    for (path, value), other in zip(
        leaves(walkers[0], WALKER).items(), leaves(known[0], WALKER).values(), strict=True
    ):
        assert value == pytest.approx(other, rel=1e-11), path
