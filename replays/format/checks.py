"""Whether the parts of a replay fit together, told before anything relies on them."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, RecordArray
from agents.errors import ReplayError
from replays.format.header import check_header
from replays.format.tables import LEDGER, MEMBERS, TABLES, Replay, columns_of


def check_replay(replay: Replay) -> None:
    """Raise ReplayError, naming the array and the row, unless all of ``replay`` fits together."""
    check_header(replay.header)
    for name, dtype in MEMBERS.items():
        _check_shape(name, getattr(replay, name), dtype)
    walkers = len(replay.walkers)
    shapes = {
        "built": (walkers, len(replay.header["built_names"])),
        "ledger": (walkers, len(LEDGER)),
    }
    for name, shape in shapes.items():
        if getattr(replay, name).shape != shape:
            raise ReplayError(f"{name} is {getattr(replay, name).shape}, where {shape} belongs; run it again")
    for name in TABLES:
        _check_finite(name, getattr(replay, name))
    _require("ledger", np.isfinite(replay.ledger).all(axis=1), "finite energies")
    _require(
        "light_map", (np.isfinite(replay.light_map) & (replay.light_map >= 0)).all(axis=1), "light from 0"
    )
    _check_values(replay)
    _check_order(replay)


def _check_shape(name: str, array: NDArray[Any], dtype: np.dtype[Any]) -> None:
    if array.dtype != dtype:
        raise ReplayError(
            f"{name} holds {columns_of(array.dtype)}, where {columns_of(dtype)} belongs; run it again"
        )
    dimensions = 1 if name in TABLES else 2
    if array.ndim != dimensions:
        raise ReplayError(f"{name} has {array.ndim} dimensions, where {dimensions} belong; run it again")


def _require(name: str, good: BoolArray | np.bool_, expected: str) -> None:
    if not good.all():
        raise ReplayError(
            f"{name}, row {int(np.argmin(good))}: {expected} expected; the file is damaged, run it again"
        )


def _check_finite(name: str, table: RecordArray) -> None:
    for column in table.dtype.names or ():
        values = table[column]
        if values.dtype.kind != "f":
            continue
        if column == "other_trigger_V":
            # A side that bright light has blinded would never fire.
            _require(f"{name}.{column}", values > -math.inf, "a number or inf")
        elif column == "clear_panel_lx":
            is_told = not np.isnan(values).all()
            good = np.isfinite(values) if is_told else np.isnan(values)
            _require(f"{name}.{column}", good, "a finite number in every row, or nan in all,")
        else:
            _require(f"{name}.{column}", np.isfinite(values), "a finite number")


def _check_values(replay: Replay) -> None:
    walkers, pulses, touches = replay.walkers, replay.pulses, replay.touches
    ranges = [
        ("walkers", "design", 0, len(replay.design_names) - 1),
        ("walkers", "heat", 0, len(walkers) - 1),
        ("pulses", "side", 0, 1),
        ("pulses", "ended", 0, 1),
        ("pulses", "touched", 0, 7),
        ("touches", "part", 0, 2),
        ("touches", "closed", 0, 1),
        ("touches", "against", 0, 1),
    ]
    ranges += [(name, "walker", 0, len(walkers) - 1) for name in ("pulses", "poses", "touches", "lights")]
    for name, column, low, high in ranges:
        values = getattr(replay, name)[column]
        _require(f"{name}.{column}", (values >= low) & (values <= high), f"a number from {low} to {high}")
    for column in ("radius", "track"):
        _require(f"walkers.{column}", walkers[column] > 0, "a length above 0")
    # A clock that has added up many short steps may be off by the last few digits.
    last = replay.seconds * (1 + 1e-9)
    _require(
        "pulses",
        (pulses["start_s"] >= 0)
        & (pulses["let_go_s"] >= pulses["start_s"])
        & (pulses["rest_s"] >= pulses["let_go_s"])
        & (pulses["rest_s"] <= last),
        "start, release and rest in this order within the run",
    )
    for name, table in (("poses", replay.poses), ("touches", touches), ("lights", replay.lights)):
        times = table["time_s"]
        _require(f"{name}.time_s", (times >= 0) & (times <= last), "a time within the run")
    for name, table in (("pulses", pulses), ("lights", replay.lights)):
        for column in table.dtype.names or ():
            if column.endswith("_lx"):
                _require(f"{name}.{column}", ~(table[column] < 0), "light from 0")


def _check_order(replay: Replay) -> None:
    for name, first, second in (
        ("pulses", "start_s", "walker"),
        ("poses", "walker", "time_s"),
        ("lights", "walker", "time_s"),
    ):
        table = getattr(replay, name)
        a, b = table[first], table[second]
        ordered = (a[1:] > a[:-1]) | ((a[1:] == a[:-1]) & (b[1:] >= b[:-1]))
        _require(name, np.append(True, ordered), f"an order by ({first}, {second})")
    times = replay.touches["time_s"]
    _require("touches", np.append(True, times[1:] >= times[:-1]), "an order by time_s")
    everyone = np.arange(len(replay.walkers))
    for name in ("poses", "lights"):
        table = getattr(replay, name)
        first_row = np.searchsorted(table["walker"], everyone)
        there = first_row < len(table)
        there[there] = (table["walker"][first_row[there]] == everyone[there]) & (
            table["time_s"][first_row[there]] == 0
        )
        if not there.all():
            raise ReplayError(
                f"{name} have no row at time 0 for walker {int(np.argmin(there))}; "
                "the file is damaged, run it again"
            )
