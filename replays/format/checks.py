"""Whether the parts of a replay fit together, told before anything relies on them."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, RecordArray
from agents.errors import ReplayError
from replays.format.header import MOST_LIGHT, MOST_METRES, check_header
from replays.format.tables import LEDGER, MEMBERS, TABLES, Replay, columns_of

MOST_WALKERS = 100_000
"""No run has more walkers."""

MOST_CELLS = 1 << 23
"""No map of light has more cells."""

# No body [m] and no heading [rad] is larger, nor is anything that is measured of a pulse, in its unit.
_MOST_BODY = 10.0
_MOST_TURN = 1e3
_MOST = 1e12


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
    _check_sizes(replay)
    for name in TABLES:
        _check_finite(name, getattr(replay, name))
    energies, light = replay.ledger, replay.light_map
    _require("ledger", (np.abs(energies) <= _MOST).all(axis=1), "finite energies")
    _require("light_map", ((light >= 0) & (light <= MOST_LIGHT)).all(axis=1), "light from 0")
    parts = replay.built
    _require("built", (np.isnan(parts) | (np.abs(parts) <= _MOST)).all(axis=1), "finite values of parts")
    _check_values(replay)
    _check_places(replay)
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


def _check_sizes(replay: Replay) -> None:
    walkers, cells = len(replay.walkers), replay.light_map.size
    if not 0 < walkers <= MOST_WALKERS:
        raise ReplayError(f"walkers are {walkers}, where 1 to {MOST_WALKERS} belong; run it again")
    if cells > MOST_CELLS:
        raise ReplayError(f"light_map has {cells} cells, where {MOST_CELLS} are the most; run it again")
    reach = max(replay.light_map.shape) * replay.header["light_map"]["cell"]
    if reach > 4.0 * MOST_METRES:
        raise ReplayError(f"light_map is {reach:g} m wide, wider than any floor; run it again")


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
    for column in ("radius", "track", "body_ahead", "eye_ahead", "eye_aside"):
        _require(f"walkers.{column}", np.abs(walkers[column]) <= _MOST_BODY, f"{_MOST_BODY:g} m at the most")
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
                light = table[column]
                _require(f"{name}.{column}", ~((light < 0) | (light > MOST_LIGHT)), "light from 0")
    for column in ("trigger_V", "let_go_V", "path_m", "peak_A", "charge_C"):
        _require(f"pulses.{column}", np.abs(pulses[column]) <= _MOST, "a number that can be")


def _check_places(replay: Replay) -> None:
    """Whether all places are on the floor, or as near to it as a body can be, and headings are angles."""
    corners = np.array(replay.arena["floor"], np.float64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = _MOST_BODY + (high - low)
    for name, marks in (("walkers", ("",)), ("poses", ("",)), ("pulses", ("0", "1"))):
        table = getattr(replay, name)
        for mark in marks:
            for axis, least, most in zip(("x", "y"), low - room, high + room, strict=True):
                values = table[f"{axis}{mark}"]
                _require(f"{name}.{axis}{mark}", (values >= least) & (values <= most), "a place on the floor")
            column = f"heading{mark}"
            _require(f"{name}.{column}", np.abs(table[column]) <= _MOST_TURN, "an angle")


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
