"""The tables of a replay as columns of small whole numbers, and back.

Columns go walker by walker, in the grains of :mod:`replays.format.grains`, and tell what the rows before them
do not say already. A *step* is what a row has more than the walker's row before:

===================================  =====================================================================
``poses.time``, ``poses.moment``     steps of time in sixteen grains, and what is left of it
``poses.heading``                    steps
``poses.x``, ``poses.y``             steps beyond those of a walker that turns about one tyre
``pulses.fired``                     step of the walker's pose, by number, in which it fired
``pulses.rested``                    how many poses later it came to rest
``pulses.start``, ``pulses.rest``    times beyond those of these poses
``pulses.x0`` ... ``heading1``       places and headings beyond those of these poses
``pulses.let_go``                    how long before it came to rest its latch released
``pulses.other``, ``pulses.never``   what the other side would have needed beyond the trigger reached; 0
                                     and 1 where that is inf
``pulses.light_left`` ... ``open``   light beyond that of the row of ``lights`` that held
``lights.pose``, ``lights.time``     step of the walker's pose at that time or before it, and the time since
``lights.shaded``                    what the panel has beyond ``lights.open``
``lights.others``                    what it would have beyond that, had no other walker been there
``walkers.x``, ``y``, ``heading``    beyond those of the walker's first pose
``walkers.body``                     five lengths as they are, (5, walkers)
===================================  =====================================================================

``rows`` of a table is how many rows each walker has there; every other column is one of steps.
"""

import math
from functools import cache
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.errors import ReplayError
from replays.format.grains import (
    CIRCUIT_DIGITS,
    LIGHT_DIGITS,
    METRE,
    RADIAN,
    SECOND,
    TURN,
    VOLT,
    WAY_METRE,
    digit_grains,
    digit_values,
    grains,
    time_grains,
    turn_grains,
    wrapped_turns,
)
from replays.format.packing import first_rows, steps, sums
from replays.format.tables import LIGHTS, POSES, PULSES, TOUCHES, WALKERS, Tables

Columns = dict[str, IntArray]

BODY = ("radius", "body_ahead", "track", "eye_ahead", "eye_aside")
"""Columns of walkers that are kept as they are, in the order of ``walkers.body``."""

_FLAGS = ("side", "ended", "touched")
_MET = ("part", "closed", "against")
# Columns of pulses that are told in steps: their names in the table.
_VOLTS = {"trigger": "trigger_V", "released": "let_go_V"}
_CIRCUIT = {"peak": "peak_A", "charge": "charge_C"}
# Columns of lights, and those of pulses that hold the same light.
_LIGHTS = {
    "left": ("left_lx", "light_left_lx"),
    "right": ("right_lx", "light_right_lx"),
    "panel": ("panel_lx", "light_panel_lx"),
    "open": ("open_panel_lx", "open_panel_lx"),
}

COLUMNS: dict[str, tuple[str, ...]] = {
    "walkers": ("design", "heat", "x", "y", "heading"),
    "poses": ("time", "moment", "heading", "x", "y"),
    "pulses": (
        *_FLAGS,
        *("fired", "rested", "start", "rest", "let_go"),
        *("x0", "y0", "heading0", "x1", "y1", "heading1"),
        *_VOLTS,
        *("other", "never", "path"),
        *_CIRCUIT,
        *(f"light_{name}" for name in _LIGHTS),
    ),
    "touches": ("time", *_MET),
    "lights": ("pose", "time", "left", "right", "open", "shaded", "others"),
}
"""Columns of each table; ``rows``, and ``body`` of walkers, come beside them."""

# Poses on the way are told to so many grains of time; see arena.engine.rounding.
_PACE = 16
_SINE_STEP = 2.0**30


@cache
def _sines() -> FloatArray:
    """sin of every half grain of heading, cut to 30 binary digits so that all machines have the same."""
    angles = np.arange(2 * TURN) * (math.pi / TURN)
    return np.floor(np.sin(angles) * _SINE_STEP + 0.5) / _SINE_STEP


def _arcs(heading: IntArray, turned: IntArray, firsts: IntArray, track: FloatArray) -> list[IntArray]:
    """Steps of x and y [grains] of walkers that have ``turned`` to ``heading`` about one tyre [grains].

    The middle of the axle goes along a chord of track · sin(turned / 2), in the direction half way between
    the two headings; at a walker's first row it goes nowhere. ``track`` [m] is told for each walker.
    """
    sines = _sines()
    half_way = (2 * heading - turned) % (2 * TURN)
    chord = np.repeat(track * METRE, np.diff(firsts)) * sines[np.abs(turned) % (2 * TURN)]
    chord[firsts[:-1][firsts[:-1] < firsts[1:]]] = 0.0
    ways = (chord * sines[(half_way + TURN // 2) % (2 * TURN)], chord * sines[half_way])
    return [np.floor(way + 0.5).astype(np.int64) for way in ways]


def encode(tables: Tables) -> Columns:
    """The columns of ``tables``, whose rows go walker by walker, and in order of time with each."""
    poses, pulses, lights, touches = tables.poses, tables.pulses, tables.lights, tables.touches
    count = len(tables.walkers)
    out: Columns = {}
    firsts: dict[str, IntArray] = {}
    for name in ("poses", "pulses", "lights", "touches"):
        out[f"{name}.rows"] = np.bincount(getattr(tables, name)["walker"], minlength=count)
        firsts[name] = first_rows(out[f"{name}.rows"])

    def put(table: str, **columns: IntArray) -> None:
        out.update({f"{table}.{name}": column for name, column in columns.items()})

    time, heading = time_grains(poses["time_s"]), turn_grains(poses["heading"])
    turned = wrapped_turns(steps(heading, firsts["poses"]))
    places = [grains(poses[name], METRE) for name in ("x", "y")]
    arcs = _arcs(heading, turned, firsts["poses"], tables.walkers["track"])
    put("poses", time=steps(time // _PACE, firsts["poses"]), moment=time % _PACE, heading=turned)
    x, y = (steps(place, firsts["poses"]) - arc for place, arc in zip(places, arcs, strict=True))
    put("poses", x=x, y=y)

    whole = {"x": places[0], "y": places[1], "heading": heading}
    span = int(max(time.max(initial=0), time_grains(pulses["rest_s"]).max(initial=0))) + 2

    def row_at(table: RecordArray, grain: IntArray, of: IntArray, at: IntArray) -> IntArray:
        """The last row of a table that is of walker ``of`` and not after ``at``."""
        keys = table["walker"].astype(np.int64) * span + grain
        return np.searchsorted(keys, of * span + at, side="right") - 1

    first_pose = firsts["poses"][:-1]
    put("walkers", design=tables.walkers["design"], heat=tables.walkers["heat"])
    put("walkers", **_beyond(tables.walkers, "", whole, first_pose))

    own = pulses["walker"].astype(np.int64)
    start, rest = time_grains(pulses["start_s"]), time_grains(pulses["rest_s"])
    fired, rested = row_at(poses, time, own, start), row_at(poses, time, own, rest)
    put("pulses", **{name: pulses[name].astype(np.int64) for name in _FLAGS})
    put("pulses", fired=steps(fired - first_pose[own], firsts["pulses"]), rested=rested - fired)
    put("pulses", start=start - time[fired], rest=rest - time[rested])
    put("pulses", let_go=rest - time_grains(pulses["let_go_s"]))
    put("pulses", **_beyond(pulses, "0", whole, fired), **_beyond(pulses, "1", whole, rested))
    for name, column in _VOLTS.items():
        put("pulses", **{name: steps(grains(pulses[column], VOLT), firsts["pulses"])})
    never = np.isinf(pulses["other_trigger_V"])
    trigger = grains(pulses["trigger_V"], VOLT)
    other = grains(np.where(never, 0.0, pulses["other_trigger_V"]), VOLT)
    put("pulses", other=np.where(never, 0, other - trigger), never=never.astype(np.int64))
    put("pulses", path=steps(grains(pulses["path_m"], WAY_METRE), firsts["pulses"]))
    for name, column in _CIRCUIT.items():
        put("pulses", **{name: steps(digit_grains(pulses[column], CIRCUIT_DIGITS), firsts["pulses"])})

    lit = time_grains(lights["time_s"])
    own = lights["walker"].astype(np.int64)
    pose = row_at(poses, time, own, lit)
    put("lights", pose=steps(pose - first_pose[own], firsts["lights"]), time=lit - time[pose])
    light = {name: digit_grains(lights[column], LIGHT_DIGITS) for name, (column, _) in _LIGHTS.items()}
    put("lights", **{name: steps(light[name], firsts["lights"]) for name in ("left", "right", "open")})
    put("lights", shaded=light["panel"] - light["open"])
    put("lights", others=digit_grains(lights["clear_panel_lx"], LIGHT_DIGITS) - light["panel"])
    held = row_at(lights, lit, pulses["walker"].astype(np.int64), start)
    for name, (_, column) in _LIGHTS.items():
        put("pulses", **{f"light_{name}": digit_grains(pulses[column], LIGHT_DIGITS) - light[name][held]})

    put("touches", time=steps(time_grains(touches["time_s"]), firsts["touches"]))
    put("touches", **{name: touches[name].astype(np.int64) for name in _MET})
    return out


def _beyond(table: RecordArray, mark: str, whole: dict[str, IntArray], rows: IntArray) -> Columns:
    """Places and headings of ``table`` beyond those of ``rows`` of the poses, which are ``whole`` grains."""
    found = {
        f"{name}{mark}": grains(table[f"{name}{mark}"], METRE) - whole[name][rows] for name in ("x", "y")
    }
    turned = turn_grains(table[f"heading{mark}"]) - whole["heading"][rows]
    return found | {f"heading{mark}": wrapped_turns(turned)}


def decode(columns: Columns, body: FloatArray) -> Tables:
    """The tables of which :func:`encode` has made ``columns``, with ``body`` (5, walkers) for walkers.

    Raises ReplayError where a column tells of a row that is not there.
    """
    firsts = {name: first_rows(columns[f"{name}.rows"]) for name in ("poses", "pulses", "lights", "touches")}
    walker = {name: np.repeat(np.arange(len(first) - 1), np.diff(first)) for name, first in firsts.items()}

    def table(name: str, kind: np.dtype[np.void]) -> tuple[RecordArray, Any]:
        rows = np.zeros(len(walker[name]), kind)
        rows["walker"] = walker[name]
        return rows, lambda column: columns[f"{name}.{column}"]

    poses, of = table("poses", POSES)
    turned = of("heading")
    heading = wrapped_turns(sums(turned, firsts["poses"]))
    arcs = _arcs(heading, turned, firsts["poses"], body[BODY.index("track")])
    time = _PACE * sums(of("time"), firsts["poses"]) + of("moment")
    whole = {
        name: sums(of(name) + arc, firsts["poses"]) for name, arc in zip(("x", "y"), arcs, strict=True)
    } | {"heading": heading}
    poses["time_s"] = time / SECOND
    _place(poses, "", whole)

    walkers = np.zeros(body.shape[1], WALKERS)
    walkers["design"], walkers["heat"] = columns["walkers.design"], columns["walkers.heat"]
    for name, lengths in zip(BODY, body, strict=True):
        walkers[name] = lengths
    _place(
        walkers, "", _further(columns, "walkers", "", whole, _rows(firsts["poses"][:-1], poses, "walkers"))
    )

    lights, of = table("lights", LIGHTS)
    pose = _rows(sums(of("pose"), firsts["lights"]) + firsts["poses"][walker["lights"]], poses, "lights.pose")
    lit = time[pose] + of("time")
    lights["time_s"] = lit / SECOND
    light = {name: sums(of(name), firsts["lights"]) for name in ("left", "right", "open")}
    light["panel"] = light["open"] + of("shaded")
    for name, (column, _) in _LIGHTS.items():
        lights[column] = digit_values(light[name], LIGHT_DIGITS)
    lights["clear_panel_lx"] = digit_values(light["panel"] + of("others"), LIGHT_DIGITS)

    pulses, of = table("pulses", PULSES)
    fired = sums(of("fired"), firsts["pulses"]) + firsts["poses"][walker["pulses"]]
    rested = _rows(fired + of("rested"), poses, "pulses.rested")
    fired = _rows(fired, poses, "pulses.fired")
    for name in _FLAGS:
        pulses[name] = of(name)
    start, rest = time[fired] + of("start"), time[rested] + of("rest")
    pulses["start_s"], pulses["rest_s"] = start / SECOND, rest / SECOND
    pulses["let_go_s"] = (rest - of("let_go")) / SECOND
    _place(pulses, "0", _further(columns, "pulses", "0", whole, fired))
    _place(pulses, "1", _further(columns, "pulses", "1", whole, rested))
    for name, column in _VOLTS.items():
        pulses[column] = sums(of(name), firsts["pulses"]) / VOLT
    other = pulses["trigger_V"] + of("other") / VOLT
    pulses["other_trigger_V"] = np.where(of("never") != 0, np.inf, other)
    pulses["path_m"] = sums(of("path"), firsts["pulses"]) / WAY_METRE
    for name, column in _CIRCUIT.items():
        pulses[column] = digit_values(sums(of(name), firsts["pulses"]), CIRCUIT_DIGITS)
    span = int(max(time.max(initial=0), rest.max(initial=0))) + 2
    held = np.searchsorted(walker["lights"] * span + lit, walker["pulses"] * span + start, side="right") - 1
    held = _rows(held, lights, "pulses.light")
    for name, (_, column) in _LIGHTS.items():
        pulses[column] = digit_values(light[name][held] + of(f"light_{name}"), LIGHT_DIGITS)

    touches, of = table("touches", TOUCHES)
    touches["time_s"] = sums(of("time"), firsts["touches"]) / SECOND
    for name in _MET:
        touches[name] = of(name)
    return Tables(walkers=walkers, pulses=pulses, poses=poses, touches=touches, lights=lights)


def _further(columns: Columns, table: str, mark: str, whole: Columns, rows: IntArray) -> Columns:
    """What :func:`_beyond` has told beyond ``rows`` of the poses."""
    return {name: whole[name][rows] + columns[f"{table}.{name}{mark}"] for name in whole}


def _place(table: RecordArray, mark: str, whole: Columns) -> None:
    """Put places and headings of so many grains into a table."""
    for name in ("x", "y"):
        table[f"{name}{mark}"] = whole[name] / METRE
    table[f"heading{mark}"] = wrapped_turns(whole["heading"]) / RADIAN


def _rows(rows: IntArray, table: RecordArray, name: str) -> IntArray:
    """``rows``, if the table has all of them. Raises ReplayError, naming the column, where it has not."""
    if len(rows) and (rows.min() < 0 or rows.max() >= len(table)):
        raise ReplayError(f"{name} tells of a row that is not there; the file is damaged, run it again")
    return rows
