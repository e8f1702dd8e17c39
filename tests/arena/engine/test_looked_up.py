"""Whose pulses are looked up, and in which light and at which voltages tables are made."""

from dataclasses import replace

import numpy as np
import pytest

from agents.circuit.eye import trigger_voltage
from agents.circuit.table_making import TableSpan
from agents.design.as_built import build
from agents.handbook.light_kinds import KINDS, kind_index
from arena.engine.assembly import assemble
from arena.engine.looked_up import (
    LEAST_ALIKE,
    LEAST_TIME,
    alike_among,
    brightest,
    span_of,
    worth_looking_up,
)
from arena.scene.flat_arena import flatten
from arena.scene.sky import sky_of
from arena.scene.spec import read_arena
from tests.benchmarks.worlds import hall, many_arenas
from tests.helpers.worlds import bench, box, design, lamp


def test_a_table_is_made_where_several_are_alike_for_long() -> None:
    seconds = LEAST_TIME / 10
    assert worth_looking_up(np.array([1, 9, 10, 40]), seconds).tolist() == [False, False, True, True]
    assert not worth_looking_up(LEAST_ALIKE - 1, 1e6)
    assert worth_looking_up(LEAST_ALIKE, 1e6)


def test_who_is_alike_is_counted_by_all_that_was_built() -> None:
    one, other = build(design("radish")), build(design("radish", both__latch=22e3))
    walkers = np.concatenate([one, other, one, one])
    assert alike_among(walkers).tolist() == [3, 1, 3, 3]


def test_the_brightest_light_is_met_under_the_lamp_and_not_beyond() -> None:
    arena = flatten(bench(box(2.0, 2.0), [lamp(1.0, 1.0, 0.5, 200.0)], ambient=100.0))
    lights = brightest(arena, None)
    under = 200.0 / 0.47**2 + 100.0
    assert 0.9 * under < lights.sum() < 1.45 * under
    assert len(lights) == len(KINDS)


def test_the_brightest_light_of_a_day_is_its_noon() -> None:
    yard = read_arena("yard-day")
    arena = flatten(yard)
    sky = sky_of(yard, 17 * 3600.0, 1)
    assert sky is not None
    sun = float(brightest(arena, sky)[kind_index("sun")])
    most = float(sky.steps["sun"].max() + sky.steps["clear_sky"].max())
    assert most <= sun <= 2.0**0.5 * most * 1.01


def test_a_table_spans_the_triggers_from_darkness_to_the_brightest_light() -> None:
    walker = build(design("radish", both__eye__jitter=0.01))
    lights = np.zeros(len(KINDS))
    lights[kind_index("sun")] = 4096.0
    span = span_of(walker, 0, lights)
    assert isinstance(span, TableSpan)
    side = walker["side"][0, 0]
    least, most = (float(trigger_voltage(light, False, side)) for light in (0.0, 4096.0))
    assert least - 0.11 < span.low[0] < least - 0.04
    assert most + 0.14 < span.high[0] < most + 0.21
    assert span.low[1] == 0.0
    assert span.low[2] == pytest.approx(float(walker["air"][0]))
    assert span_of(walker, 0, np.zeros(len(KINDS))) is None


def test_walkers_alike_share_tables_and_the_others_have_none() -> None:
    (plan,) = hall(12, 60.0)
    walkers = plan.walkers.copy()
    walkers[6:] = build(design("lopsided", right__latch=22e3))
    asked = np.arange(12) % 2 == 0
    batch, _ = assemble([replace(plan, walkers=walkers, looked_up=asked)])
    roots = batch.crowd.bodies["tables"]
    assert np.all(roots[~asked] == -1)
    usual, lopsided = roots[asked][:3], roots[asked][3:]
    assert np.all(usual == usual[0, 0])
    assert usual[0, 0] >= 0
    assert np.all(lopsided == lopsided[0])
    assert lopsided[0, 0] != lopsided[0, 1]
    cells = batch.pulses.cells
    for root in set(roots[asked].ravel().tolist()):
        assert cells[root]["tells"] == 1 or cells[root]["axis"] >= 0
    leaves = cells[cells["tells"] == 1]
    ends = leaves["first"] + np.prod(leaves["points"], axis=1)
    assert ends.max() == len(batch.pulses.values)


def test_floors_in_about_the_same_light_share_a_table() -> None:
    plans = many_arenas(60)
    batch, _ = assemble([plans[0], plans[1], plans[2]])
    assert len({id(plan.arena) for plan in plans[:3]}) == 3
    assert len(np.unique(batch.crowd.bodies["tables"])) == 1
