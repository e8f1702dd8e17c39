"""Walkers that others hold stay where they are until somebody moves, and their pulses come to the same."""

import math
from typing import Any

import numpy as np
import pytest

from agents.circuit.held_pulse import TELLS
from agents.design.as_built import build
from arena.engine.assembly import LEARNING_TIME
from arena.engine.holding import NEXT_TO, STAYS_HELD, begin_held, note_hold, stir
from arena.engine.neighbours import is_next_to
from arena.engine.tolerances import USUAL
from arena.engine.world_arrays import BODY
from tests.helpers.worlds import World, bench, box, design, lamp

POPPY = design("poppy", both__eye__jitter=0.0)
LIT = bench(box(2.0, 2.0), [lamp(1.0, 1.0, 0.8, 4500.0)], ambient=300.0)
# a full storage takes it so much longer to the first pulse
LATE = design("bean", storage__capacitance=0.02)


def in_the_way(until: float, late: Any = LATE) -> World:
    """One that drives at another that stands across its way, and fires much later."""
    ahead, reach = float(build(POPPY)["body_ahead"][0]), float(build(POPPY)["body_reach"][0])
    poses = [(0.6, 0.6, 0.0), (0.6 + ahead + 2.0 * reach + 1e-4, 0.6 - ahead, 0.5 * math.pi)]
    return World(LIT, [POPPY, late], poses, until)


def body_of(**values: float) -> Any:
    body = np.zeros(1, BODY)[0]
    for name, value in values.items():
        body[name] = value
    return body


def test_who_is_held_stays_until_the_other_leaves() -> None:
    """After a pulse in which it gets no farther than a stride; the first that finds room is a usual one."""
    pulses = in_the_way(420.0).run().pulses
    (left,) = pulses["start_s"][pulses["walker"] == 1]
    mine = pulses[pulses["walker"] == 0]
    before, after = mine[mine["start_s"] < left], mine[mine["start_s"] > left]
    assert len(before) > 8
    assert 0.0 < before["path_m"][1] <= USUAL.stride
    assert not np.any(before["path_m"][2:])
    assert not np.any(before["x0"][2:] - before["x1"][2:])
    assert np.ptp(before["heading1"][2:]) == 0.0
    assert after["path_m"][0] > 0.01


def test_a_held_pulse_comes_to_what_one_comes_to_that_is_tried() -> None:
    """But for how far it turns: the tyre slips either way."""
    pulses = in_the_way(300.0).run().pulses
    tried, held = pulses[1], pulses[4]
    assert held["path_m"] == 0.0 < tried["path_m"]
    for name in ("let_go_V", "charge_C", "peak_A"):
        assert held[name] == pytest.approx(tried[name], rel=0.01)
    lasts = tried["let_go_s"] - tried["start_s"]
    assert held["let_go_s"] - held["start_s"] == pytest.approx(lasts, rel=0.01)


def test_what_is_learned_in_a_long_run_comes_to_the_same() -> None:
    """Told or stepped: within a hundredth, and energies add up."""
    never = design("bean", storage__capacitance=0.02, both__eye__dark_trigger=5.5)
    told, stepped = in_the_way(LEARNING_TIME, never).run(), in_the_way(LEARNING_TIME - 1.0, never).run()
    assert len(stepped.held) == 0
    assert np.count_nonzero(told.held["tells"] == TELLS) == 1
    first, same = told.pulses[2:60], stepped.pulses[2:60]
    assert np.count_nonzero(told.pulses["path_m"] == 0.0) > 90
    assert len(first) == len(same) == 58
    for name in ("let_go_V", "charge_C", "peak_A", "trigger_V"):
        assert first[name] == pytest.approx(same[name], rel=0.01)
    assert first["rest_s"] - first["start_s"] == pytest.approx(same["rest_s"] - same["start_s"], rel=0.01)
    # and they were told, so not the same to the last digit
    assert np.any(first["charge_C"] != same["charge_C"])
    panel, stored, *spent = told.ledger()[0].tolist()
    assert panel == pytest.approx(stored + sum(spent), rel=1e-6)


def test_it_tries_again_after_so_many_pulses() -> None:
    """Though nobody has moved; from then on it is held as long again."""
    never = design("bean", storage__capacitance=0.02, both__eye__dark_trigger=5.5)
    pulses = in_the_way(7200.0, never).run().pulses
    tries = np.flatnonzero(pulses["path_m"] > 0.0)
    assert tries[:2].tolist() == [0, 1]
    assert tries[2] == 2 + STAYS_HELD
    assert np.all(np.diff(tries[2:]) <= STAYS_HELD + 1)


def test_only_who_is_stopped_by_others_within_a_stride_is_held() -> None:
    for stopped, moved, held in ((True, 4e-4, STAYS_HELD), (True, 5e-4, 0), (False, 0.0, 0)):
        body = body_of(stopped=stopped, side=1)
        note_hold(body, moved, 4e-4)
        assert body["held"].tolist() == [0, held]


def test_moves_about_it_add_up_to_a_stride() -> None:
    """Its own too; then both sides try anew, and one that is under way is freed."""
    body = body_of(stopped=True, side=0, stirred=7.0)
    note_hold(body, 1e-4, 4e-4)
    assert body["stirred"] == 0.0
    body["side"] = 1
    note_hold(body, 1.5e-4, 4e-4)
    assert body["stirred"] == 1.5e-4
    begin_held(body)
    assert (body["is_held"], body["state"]["leans"]) == (1, 1.0)
    assert body["held"].tolist() == [STAYS_HELD, STAYS_HELD - 1]
    body["stirred"] = 0.0
    stir(body, 4e-4, 4e-4)
    assert body["is_held"] == 1
    stir(body, 1e-6, 4e-4)
    # it looks before it moves
    assert (body["is_held"], body["leant"]) == (0, 0.0)
    assert body["left"] < 0.0
    assert body["held"].tolist() == [0, 0]


def test_whichever_side_was_held_first_counts_from_then() -> None:
    body = body_of(stopped=True, side=0, stirred=1e-4)
    body["held"] = 0, 5
    note_hold(body, 1e-4, 4e-4)
    assert body["held"].tolist() == [STAYS_HELD, 5]
    assert body["stirred"] == 2e-4


def test_a_side_that_gets_on_is_held_no_more() -> None:
    """The other one only as long as what it moved is less than a stride."""
    for moved, other in ((3e-4, STAYS_HELD), (5e-4, 0)):
        body = body_of(stopped=False, side=0)
        body["held"] = 1, STAYS_HELD
        note_hold(body, moved, 4e-4)
        assert body["held"].tolist() == [0, other]


@pytest.mark.parametrize(("off", "next_to"), [(-1e-4, True), (1e-4, False)])
def test_next_to_it_is_who_is_nearer_than_that(off: float, next_to: bool) -> None:
    run = in_the_way(1.0)
    reach = float(build(POPPY)["body_reach"][0])
    run.bodies["disc_x"] = 0.5, 0.5 + 2.0 * reach + NEXT_TO + 3e-3 + off
    run.bodies["disc_y"] = 0.5
    assert is_next_to(run.crowd, 0, 1, 3e-3) is next_to
