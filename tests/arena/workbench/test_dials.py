"""The dials: their stops, and what a turn does to the text of a design."""

from collections.abc import Callable
from pathlib import Path

import eseries
import pytest

from agents.design.spec import parse_design, read_design
from agents.design.values_by_path import SCOPES
from agents.errors import WorkError
from agents.text.shipped import find_document
from arena.workbench.controller import Controller
from arena.workbench.dials import DIALS
from arena.workbench.documents import design_of
from replays.drawing.sheet import pygame
from tests.helpers.window_events import mouse, press
from tests.helpers.workbench import dial_number, drag, settle, show


def test_stops_are_standard_values() -> None:
    """IEC 60063, by the library eseries."""
    for label, series in (("latch", "E12"), ("series", "E12"), ("feeler", "E12"), ("storage", "E6")):
        stops = DIALS[dial_number(label)].stops
        known = eseries.erange(eseries.ESeries[series], stops[0], stops[-1])
        assert stops == pytest.approx(list(known), rel=1e-12)


@pytest.mark.parametrize("dial", DIALS, ids=lambda dial: dial.label)
def test_every_stop_reads_back_and_every_place_on_a_rail_snaps(dial: object) -> None:
    from agents.design.rewriting import rewrite_design
    from arena.workbench.dials import Dial

    assert isinstance(dial, Dial)
    text = find_document("poppy", "design").read_text(encoding="utf-8")
    design = read_design("poppy")
    assert list(dial.stops) == sorted(set(dial.stops))
    for stop in dial.stops:
        assert dial.at(dial.place(stop)) == stop
        again = parse_design(rewrite_design(text, {dial.path_in("both"): stop}), "again")
        assert set(dial.values(again)) == {stop}
        assert len(dial.words(stop)) <= 8
    low, high = dial.stops[3], dial.stops[4]
    between = 0.5 * (low + high)
    assert (dial.turned(between, 1), dial.turned(between, -1)) == (high, low)
    assert (dial.turned(low, 1), dial.turned(high, -1)) == (high, low)
    assert dial.turned(dial.stops[-1], 5) == dial.stops[-1]
    assert dial.turned(dial.stops[0], -1) == dial.stops[0]
    assert 0.0 < dial.place(between) < 1.0
    assert dial.value(design, "left") in dial.values(design)


def test_keys_turn_a_dial_and_the_pulse_follows(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    assert state.background.forecast is not None
    before = state.background.forecast.point.measured.first.turn
    press(controller, *[pygame.K_DOWN] * 3)
    assert DIALS[state.selection.dial].label == "storage"
    press(controller, pygame.K_RIGHT)
    assert design_of(state.document).storage.capacitance == 3300e-6
    assert "  capacitance: 3300 uF\n" in state.document.text
    assert state.document.text.count("#") == state.document.clean.count("#")
    settle(controller)
    after = state.background.forecast.point.measured.first.turn
    assert before is not None
    assert after is not None
    # a larger capacitor turns it further; common practice, no source
    assert abs(after) > 1.2 * abs(before)
    press(controller, pygame.K_LEFT, pygame.K_LEFT)
    assert design_of(state.document).storage.capacitance == 1500e-6


def test_sides_are_turned_together_or_one_by_one(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "cress.yaml")
    state = controller.state
    state.selection.dial = dial_number("latch")
    press(controller, pygame.K_o)
    assert SCOPES[state.selection.scope] == "left"
    press(controller, pygame.K_RIGHT)
    assert DIALS[state.selection.dial].values(design_of(state.document)) == (18e3, 5600.0)
    press(controller, pygame.K_o)
    press(controller, pygame.K_LEFT)
    assert DIALS[state.selection.dial].values(design_of(state.document)) == (18e3, 4700.0)
    press(controller, pygame.K_o, pygame.K_RIGHT)
    assert DIALS[state.selection.dial].values(design_of(state.document)) == (22e3, 22e3)
    assert state.document.text.count("#") == state.document.clean.count("#")


def test_a_peg_is_dragged_and_taken_back_in_one_step(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    latch = dial_number("latch")
    rail, stops = controller.layout.rails[latch], DIALS[latch].stops

    def at(stop: float) -> tuple[float, float]:
        return rail.left + rail.width * stops.index(stop) / (len(stops) - 1), rail.centery + 3

    drag(controller, at(10e3), at(15e3), at(33e3), at(4700.0))
    assert (state.selection.dial, design_of(state.document).left.latch) == (latch, 4700.0)
    drag(controller, at(4700.0), (rail.right + 500.0, 0.0))
    assert design_of(state.document).left.latch == stops[-1]
    press(controller, pygame.K_u)
    assert design_of(state.document).left.latch == 4700.0
    press(controller, pygame.K_u)
    assert state.document.text == state.document.clean
    press(controller, pygame.K_u)
    assert state.note == "nothing is left to take back"
    press(controller, pygame.K_y, mod=pygame.KMOD_LCTRL)
    press(controller, pygame.K_z, mod=pygame.KMOD_LCTRL | pygame.KMOD_LSHIFT)
    assert design_of(state.document).left.latch == stops[-1]
    press(controller, pygame.K_r)
    assert state.note == "nothing was taken back"
    press(controller, pygame.K_u, pygame.K_LEFT, pygame.K_r)
    assert state.note == "nothing was taken back", "a new change has ended that way"


def test_the_wheel_turns_the_dial_under_the_pointer(make: Callable[..., Controller]) -> None:
    controller = make()
    row = controller.layout.rows[dial_number("latch")]
    for place, latch in ((row.center, 8200.0), ((row.left - 400, row.centery), 8200.0)):
        mouse(controller, pygame.MOUSEMOTION, place)
        controller.handle_event(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=-1))
        assert design_of(controller.state.document).left.latch == latch


def test_presses_in_a_row_are_one_step_and_after_a_pause_another(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_RIGHT, pygame.K_RIGHT)
    controller.advance(5.0)
    press(controller, pygame.K_RIGHT)
    assert design_of(state.document).left.eye.aside == 0.033
    press(controller, pygame.K_u)
    assert design_of(state.document).left.eye.aside == 0.032
    press(controller, pygame.K_u)
    assert design_of(state.document).left.eye.aside == 0.030


def test_a_part_that_is_left_out_is_not_turned(make: Callable[..., Controller], folder: Path) -> None:
    path = folder / "poppy.yaml"
    text = path.read_text(encoding="utf-8").replace("  feeler: 33k", "  feeler: none")
    path.write_text(text.replace("  both.feeler: { uniform: 5 % }\n", ""), encoding="utf-8")
    controller = make()
    controller.state.selection.dial = dial_number("feeler")
    press(controller, pygame.K_RIGHT)
    assert controller.state.note == "this design leaves out its feeler"
    assert not controller.state.document.is_changed
    show(controller)


def test_a_design_made_impossible_shows_its_fault_and_the_last_good_run_stays(
    make: Callable[..., Controller], folder: Path
) -> None:
    path = folder / "poppy.yaml"
    path.write_text(path.read_text().replace("bend_to_close: 4 mm", "bend_to_close: 45 mm"))
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    good, raced = state.document.spec, state.background.race
    assert raced is not None
    state.selection.dial = dial_number("whisker")
    press(controller, pygame.K_LEFT)
    assert state.document.fault.startswith("poppy.yaml:37:3: both.whisker: got a switch that closes at 45 mm")
    assert state.fault == state.document.fault
    settle(controller)
    assert state.document.spec is good
    assert state.background.race is raced
    assert state.is_stale
    assert DIALS[state.selection.dial].shown(state.design) == "45 mm"
    show(controller)
    press(controller, pygame.K_s)
    assert controller.question is None
    assert state.note.startswith("not saved")
    press(controller, pygame.K_RIGHT)
    assert state.fault == ""
    press(controller, pygame.K_u, pygame.K_u)
    settle(controller)
    assert not state.is_stale
    assert state.document.text == state.document.clean


def test_a_file_that_cannot_be_rewritten_leaves_everything_as_it_was(
    make: Callable[..., Controller], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> str:
        raise WorkError("change it by hand")

    controller = make()
    state = controller.state
    texts = [document.text for document in state.documents.all]
    monkeypatch.setattr("arena.workbench.state.rewrite_design", refuse)
    monkeypatch.setattr("arena.workbench.state.rewrite_values", refuse)
    press(controller, pygame.K_RIGHT)
    assert state.note == "change it by hand"
    state.note = ""
    lamp = next(movable for movable in state.floor.movables() if movable.kind == "lamp")
    state.selection.choose_movable(lamp.path)
    press(controller, pygame.K_LEFT)
    assert state.note == "change it by hand"
    assert [document.text for document in state.documents.all] == texts
    assert lamp in state.floor.movables()
    assert state.documents.unsaved == []
