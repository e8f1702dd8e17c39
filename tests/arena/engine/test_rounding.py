"""What a world writes down: rounded by kernels as the replay's own arithmetic rounds it, and no further."""

import math

import numpy as np
import pytest

from arena.engine.rounding import (
    PACE,
    kept_circuit,
    kept_heading,
    kept_light,
    kept_pace,
    kept_place,
    kept_time,
    kept_volts,
    kept_way,
)
from replays.format.grains import (
    CIRCUIT_DIGITS,
    LIGHT_DIGITS,
    METRE,
    RADIAN,
    SECOND,
    VOLT,
    WAY_METRE,
    grains,
    time_grains,
    to_digits,
    turn_grains,
)
from tests.helpers.worlds import World, bench, box, design, lamp, plank

DRAWS = np.random.default_rng(8)


def test_kernels_round_as_arrays_are_rounded() -> None:
    for value in [0.0, 1e-40, 1.0, *DRAWS.uniform(0.0, 5.0, 200), *DRAWS.uniform(0.0, 1e5, 200)]:
        exact = np.array([value])
        assert kept_time(value) == time_grains(exact)[0] / SECOND <= value
        assert kept_place(-value) == grains(-exact, METRE)[0] / METRE
        assert kept_way(value) == grains(exact, WAY_METRE)[0] / WAY_METRE
        assert kept_volts(value) == grains(exact, VOLT)[0] / VOLT
        assert kept_light(value) == to_digits(exact, LIGHT_DIGITS)[0]
        assert kept_circuit(-value) == to_digits(-exact, CIRCUIT_DIGITS)[0]
    assert kept_volts(math.inf) == math.inf
    # an arena may tell headings up to a whole turn to either side
    whole = [2.0 * math.pi, -2.0 * math.pi, 4.0, -4.0]
    for heading in [0.0, math.pi, -math.pi, 3.1412, *whole, *DRAWS.uniform(-math.pi, math.pi, 300)]:
        assert kept_heading(heading) == turn_grains(np.array([heading]))[0] / RADIAN
        assert math.cos(kept_heading(heading) - heading) > 1.0 - 1e-6


def test_digits_are_kept_as_a_float_with_fewer_digits_has_them() -> None:
    """IEEE 754 floats of 2 bytes have 11 binary digits, those of 4 bytes 24."""
    values = DRAWS.uniform(1.0, 60000.0, 2000)
    assert np.array_equal(to_digits(values, 11), values.astype(np.float16).astype(np.float64))
    assert np.array_equal(to_digits(values, 24), values.astype(np.float32).astype(np.float64))
    assert np.array_equal(to_digits(to_digits(values, 14), 14), to_digits(values, 14))


def test_all_that_a_world_writes_is_rounded_and_in_order() -> None:
    floor = bench(box(0.8, 0.6), [lamp(0.7, 0.5, 0.5, 2000.0)], [plank((0.4, 0.2), (0.4, 0.4))], ambient=2e3)
    starts = [(0.1 + 0.11 * (number % 4), 0.1 + 0.13 * (number // 4), 1.3 * number) for number in range(12)]
    world = World(floor, [design()] * 12, starts, until=400.0).run()
    pulses, poses, lights = world.pulses, world.table("poses"), world.table("lights")
    assert len(pulses) > 100
    for table, columns in (
        (pulses, ("start_s", "let_go_s", "rest_s")),
        (poses, ("time_s",)),
        (lights, ("time_s",)),
    ):
        for column in columns:
            assert np.array_equal(time_grains(table[column]) / SECOND, table[column])
    for name in ("light_left_lx", "open_panel_lx"):
        assert np.array_equal(to_digits(pulses[name], LIGHT_DIGITS), pulses[name])
    assert np.array_equal(grains(pulses["trigger_V"], VOLT) / VOLT, pulses["trigger_V"])
    mine = poses[poses["walker"] == 3]
    assert np.all(np.diff(mine["time_s"]) >= 0.0)
    # on the way times are told less finely than those of firing and of rest
    moments = np.concatenate([pulses[pulses["walker"] == 3][name] for name in ("start_s", "rest_s")])
    coarse = mine["time_s"] * PACE == np.floor(mine["time_s"] * PACE)
    assert np.all(coarse | np.isin(mine["time_s"], moments))
    assert np.mean(coarse) > 0.5
    # a pulse stands where the pose of that moment does, to the last bit
    for row in pulses[:50]:
        own = poses[poses["walker"] == row["walker"]]
        for mark, moment in (("0", "start_s"), ("1", "rest_s")):
            there = own[own["time_s"] == row[moment]]
            assert row[f"x{mark}"] in there["x"].astype(np.float64)
            assert row[f"heading{mark}"] == pytest.approx(there["heading"][-1], abs=1e-6)
    assert kept_pace(1.23456) == math.floor(1.23456 * 4096) / 4096
