"""The workbench, driven by posted events and without a screen; states are compared, not pixels."""

import math
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import eseries
import numpy as np
import pytest

from agents.bench.sheet import bench_point
from agents.design.spec import parse_design, read_design
from agents.errors import OptionError, OutputError, SpecError, WorkError
from agents.handbook.light_kinds import KINDS, panel_weights
from agents.text.shipped import find_document
from arena.cli.command import main
from arena.scene.spec import parse_arena, read_arena
from arena.workbench.computations import (
    ForecastJob,
    RaceJob,
    RaceResult,
    RaceTerms,
    forecast_pulse,
    light_by_kind,
    run_race,
)
from arena.workbench.controller import HELP, Controller
from arena.workbench.dials import DIALS, SCOPES
from arena.workbench.documents import arena_of, design_of
from arena.workbench.layout import BUTTONS, LEAST_SIZE, USUAL_SIZE, lay_out, scale_of
from arena.workbench.movables import movable_of, movables_of, with_movable
from arena.workbench.side_panel import _score_words
from arena.workbench.state import METER, WorkbenchState
from arena.workbench.view import WorkbenchView
from arena.workbench.walker_view import stand_after
from arena.workbench.window import set_up, workbench
from arena.workbench.worker import LatestWorker, ProgressReport
from replays.drawing.sheet import Sheet, pygame
from replays.scoring.scores import score
from tests.helpers.fabricate import potting_bench

SHORT = RaceTerms(walkers=2, seconds=120.0)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with copies of a design and an arena, which is also the present one."""
    for name, kind in (
        ("poppy", "design"),
        ("cress", "design"),
        ("potting-bench", "arena"),
        ("open-bench", "arena"),
    ):
        (tmp_path / f"{name}.yaml").write_bytes(find_document(name, kind).read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def make(folder: Path) -> Iterator[Callable[..., Controller]]:
    """A way to lay out a workbench; whatever was laid out is cleared away."""
    made: list[WorkbenchState] = []

    def lay(arena: str = "potting-bench.yaml", *designs: str, terms: RaceTerms = SHORT) -> Controller:
        state = set_up(arena, designs or ("poppy.yaml",), terms)
        made.append(state)
        return Controller(state)

    yield lay
    for state in made:
        state.close()
    assert all(state.join(60.0) for state in made)


def settle(controller: Controller) -> None:
    """Wait until nothing is being worked out."""
    state = controller.state
    until = time.monotonic() + 300.0
    while state.races.busy or state.skies.busy or state.spots.busy:
        assert time.monotonic() < until
        time.sleep(0.005)
    controller.advance(0.01)


def press(controller: Controller, *keys: int, mod: int = 0) -> None:
    for key in keys:
        controller.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode=""))


def write(controller: Controller, text: str) -> None:
    for letter in text:
        controller.handle_event(pygame.event.Event(pygame.KEYDOWN, key=ord(letter), mod=0, unicode=letter))


def mouse(controller: Controller, kind: int, place: tuple[float, float], button: int = 1) -> None:
    pixels = (round(place[0] * controller.scale), round(place[1] * controller.scale))
    if kind == pygame.MOUSEMOTION:
        event = pygame.event.Event(kind, pos=pixels, rel=(0, 0), buttons=(1, 0, 0))
    else:
        event = pygame.event.Event(kind, pos=pixels, button=button)
    controller.handle_event(event)


def drag(
    controller: Controller, start: tuple[float, float], *ways: tuple[float, float], drop: bool = True
) -> None:
    mouse(controller, pygame.MOUSEBUTTONDOWN, start)
    for way in ways:
        mouse(controller, pygame.MOUSEMOTION, way)
        controller.advance(0.01)
    if drop:
        mouse(controller, pygame.MOUSEBUTTONUP, ways[-1])


def show(controller: Controller, size: tuple[int, int] = (1280, 760)) -> np.ndarray:
    """A frame; it also tells the hands where everything lies."""
    surface = pygame.Surface(size)
    view = WorkbenchView(controller)
    view.draw(surface)
    while not view.is_still():
        view.draw(surface)
    return pygame.surfarray.array3d(surface)


def report_nothing(done: float, so_far: object = None) -> None:
    """What work tells, unheard."""


def dial_number(label: str) -> int:
    return [dial.label for dial in DIALS].index(label)


@pytest.mark.parametrize("size", [LEAST_SIZE, (1200, 720), (1280, 720), USUAL_SIZE, (1920, 1080)])
def test_buttons_have_room_for_their_words(size: tuple[int, int]) -> None:
    scale = scale_of(*size)
    layout = lay_out(round(size[0] / scale), round(size[1] / scale))
    sheet = Sheet(pygame.Surface((8, 8)), scale)
    for rect, (words, key, _) in zip(layout.buttons, BUTTONS, strict=True):
        assert sheet.text_size(f"{words}  {key}", layout.letters(14))[0] <= rect.width - 6
    for left, right in zip(layout.buttons, layout.buttons[1:], strict=False):
        assert left.right < right.left
    assert layout.buttons[-1].right <= layout.panel.right


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
    assert state.forecast is not None
    before = state.forecast.point.measured.first.turn
    press(controller, *[pygame.K_DOWN] * 3)
    assert DIALS[state.dial].label == "storage"
    press(controller, pygame.K_RIGHT)
    assert design_of(state.document).storage.capacitance == 3300e-6
    assert "  capacitance: 3300 uF\n" in state.document.text
    assert state.document.text.count("#") == state.document.clean.count("#")
    settle(controller)
    after = state.forecast.point.measured.first.turn
    assert before is not None
    assert after is not None
    # a larger capacitor turns it further; common practice, no source
    assert abs(after) > 1.2 * abs(before)
    press(controller, pygame.K_LEFT, pygame.K_LEFT)
    assert design_of(state.document).storage.capacitance == 1500e-6


def test_sides_are_turned_together_or_one_by_one(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "cress.yaml")
    state = controller.state
    state.dial = dial_number("latch")
    press(controller, pygame.K_s)
    assert SCOPES[state.scope] == "left"
    press(controller, pygame.K_RIGHT)
    assert DIALS[state.dial].values(design_of(state.document)) == (18e3, 5600.0)
    press(controller, pygame.K_s)
    press(controller, pygame.K_LEFT)
    assert DIALS[state.dial].values(design_of(state.document)) == (18e3, 4700.0)
    press(controller, pygame.K_s, pygame.K_RIGHT)
    assert DIALS[state.dial].values(design_of(state.document)) == (22e3, 22e3)
    assert state.document.text.count("#") == state.document.clean.count("#")


def test_a_peg_is_dragged_and_taken_back_in_one_step(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    latch = dial_number("latch")
    rail, stops = controller.layout.rails[latch], DIALS[latch].stops

    def at(stop: float) -> tuple[float, float]:
        return rail.left + rail.width * stops.index(stop) / (len(stops) - 1), rail.centery + 3

    drag(controller, at(10e3), at(15e3), at(33e3), at(4700.0))
    assert (state.dial, design_of(state.document).left.latch) == (latch, 4700.0)
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
    controller.state.dial = dial_number("feeler")
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
    good, raced = state.document.spec, state.raced
    assert raced is not None
    state.dial = dial_number("whisker")
    press(controller, pygame.K_LEFT)
    assert state.document.fault.startswith("poppy.yaml:37:3: both.whisker: got a switch that closes at 45 mm")
    assert state.fault == state.document.fault
    settle(controller)
    assert state.document.spec is good
    assert state.raced is raced
    assert state.is_stale
    assert DIALS[state.dial].shown(state.design) == "45 mm"
    show(controller)
    press(controller, pygame.K_w)
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
    texts = [document.text for document in state.documents]
    monkeypatch.setattr("arena.workbench.state.rewrite_design", refuse)
    monkeypatch.setattr("arena.workbench.state.rewrite_values", refuse)
    press(controller, pygame.K_RIGHT)
    assert state.note == "change it by hand"
    state.note = ""
    lamp = next(movable for movable in state.movables() if movable.kind == "lamp")
    state.movable, state.on_plan = lamp.path, True
    press(controller, pygame.K_LEFT)
    assert state.note == "change it by hand"
    assert [document.text for document in state.documents] == texts
    assert lamp in state.movables()
    assert state.unsaved == []


def test_a_lamp_is_dragged_and_the_light_and_the_race_follow(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    show(controller)
    assert controller.view is not None
    light, raced = state.light, state.raced
    assert light is not None
    drag(
        controller,
        controller.view(1.85, 0.7),
        controller.view(1.5, 0.5),
        controller.view(1.352, 0.449),
        drop=False,
    )
    settle(controller)
    assert state.carried is not None
    assert state.light is not light, "shadows move while the lamp is in the hand"
    assert state.raced is raced
    assert not state.arena.is_changed
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.352, 0.449))
    assert arena_of(state.arena).lamps[0].place == (1.35, 0.45)
    assert "    place: 1.35 0.45 m\n" in state.arena.text
    assert state.races.busy
    assert state.raced is raced, "the old run stays until the new one is there"
    settle(controller)
    assert state.raced is not raced
    assert state.raced is not None
    assert state.raced.replay.arena["lamps"][0]["x"] == 1.35
    row, column = np.unravel_index(np.argmax(state.light), state.light.shape)
    assert math.dist((0.01 * (column + 0.5), 0.01 * (row + 0.5)), (1.35, 0.45)) < 0.25
    press(controller, pygame.K_u)
    assert state.arena.text == state.arena.clean


def test_only_what_casts_or_stops_light_has_the_map_drawn_anew(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml")
    state = controller.state
    state.refresh()
    settle(controller)
    light = state.light
    state.movable = ("starts", "places", 0, "place")
    state.on_plan = True
    press(controller, pygame.K_LEFT)
    assert state.arena.is_changed
    settle(controller)
    state.dial, state.on_plan = 0, False
    press(controller, pygame.K_RIGHT)
    settle(controller)
    assert state.light is light


@pytest.mark.parametrize(
    ("path", "to", "reason"),
    [
        (("walls", 0, "outline"), (2.4, 0.4), "leaves the floor"),
        (("shades", 0, "outline"), (5.0, 5.0), "beside the floor"),
        (("starts", "zone", "outline"), (2.2, 0.15), "leaves the floor"),
        (METER, (-0.5, 0.5), "the meter lies on the floor"),
    ],
)
def test_an_impossible_place_is_shown_and_refused(
    make: Callable[..., Controller], path: tuple[object, ...], to: tuple[float, float], reason: str
) -> None:
    controller = make()
    state = controller.state
    show(controller)
    assert controller.view is not None
    movable = movable_of(state.movables(), path)
    assert movable.path == path
    middle = tuple(np.mean(movable.points, axis=0)) if not movable.is_point else movable.points[0]
    if movable.kind == "zone":
        middle = (0.2, 0.2)
    grip = controller.view(*middle)
    there = controller.view(
        middle[0] + to[0] - movable.points[0][0], middle[1] + to[1] - movable.points[0][1]
    )
    drag(controller, grip, there, drop=False)
    assert state.carried is not None
    assert state.carried.origin.path == path
    assert reason in state.carried.fault
    show(controller)
    mouse(controller, pygame.MOUSEBUTTONUP, there)
    assert reason in state.note
    assert state.carried is None
    assert not state.unsaved
    assert state.history.place == 0
    assert movable_of(state.movables(), path) == movable


def test_starts_keep_room_for_their_bodies(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", terms=RaceTerms(seconds=60.0))
    state = controller.state
    state.movable, state.on_plan = ("starts", "places", 0, "place"), True
    before = state.arena.text
    for _ in range(30):
        press(controller, pygame.K_UP)
    first, second = (one.place for one in (arena_of(state.arena).starts.places or ())[:2])
    # places 0.2 m apart, bodies of poppy 52 mm across
    assert 0.05 < second[1] - first[1] < 0.07
    assert "too near one another" in state.note
    state.put_back()
    press(controller, pygame.K_u)
    assert state.arena.text == before


def test_everything_on_the_plan_can_be_chosen_and_moved_by_keys(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    kinds = []
    for _ in state.movables():
        press(controller, pygame.K_n)
        movable = state.chosen_movable()
        kinds.append(movable.kind)
        press(controller, pygame.K_LEFT, pygame.K_UP)
        press(controller, pygame.K_DOWN, mod=pygame.KMOD_LSHIFT)
        moved = state.chosen_movable()
        ways = {
            (round(x - a, 4), round(y - b, 4))
            for (x, y), (a, b) in zip(moved.points, movable.points, strict=True)
        }
        assert ways == {(-0.01, 0.009)}
    assert sorted(kinds) == ["aim", "goal", "lamp", "meter", "shade", "wall", "zone"]
    press(controller, pygame.K_n)
    press(controller, pygame.K_p)
    assert state.chosen_movable().kind == kinds[-1]
    assert parse_arena(state.arena.text, "again") == arena_of(state.arena)
    assert state.arena.text.count("#") == state.arena.clean.count("#")
    press(controller, pygame.K_ESCAPE)
    assert not state.on_plan


def test_escape_puts_back_what_is_held(make: Callable[..., Controller]) -> None:
    controller = make()
    show(controller)
    assert controller.view is not None
    drag(controller, controller.view(1.85, 0.7), controller.view(1.5, 0.5), drop=False)
    press(controller, pygame.K_ESCAPE)
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.5, 0.5))
    assert controller.state.carried is None
    assert not controller.state.unsaved
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.view(2.3, 0.1))
    assert controller.state.carried is None


def test_things_say_what_the_file_says() -> None:
    spec = read_arena("slalom")
    for movable in movables_of(spec):
        moved = with_movable(spec, movable.moved(0.0, 0.0))
        assert moved == spec
        if not movable.is_point:
            middle = np.mean(movable.points[:2], axis=0)
            assert movable.distance(*middle) == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ValueError, match="leaves the floor"):
        with_movable(spec, movable_of(movables_of(spec), ("walls", 0, "line")).moved(5.0, 0.0))


def test_saving_under_a_new_name_keeps_remarks_and_can_be_read_again(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_RIGHT, pygame.K_w)
    assert controller.question is not None
    assert controller.question.text == "poppy-2.yaml"
    press(controller, pygame.K_RETURN)
    assert controller.question is None
    saved = (folder / "poppy-2.yaml").read_text(encoding="utf-8")
    design = parse_design(saved, "again")
    assert (design.name, design.left.eye.aside) == ("poppy 2", 0.031)
    shipped = find_document("poppy", "design").read_text(encoding="utf-8")
    assert (folder / "poppy.yaml").read_text(encoding="utf-8") == shipped
    changed = [
        pair for pair in zip(saved.splitlines(), shipped.splitlines(), strict=True) if pair[0] != pair[1]
    ]
    assert changed == [
        ("name: poppy 2", "name: poppy"),
        (
            "    aside: 31 mm          # from the middle; the wheels stand at 21 mm",
            "    aside: 30 mm          # from the middle; the wheels stand at 21 mm",
        ),
    ]
    assert not state.unsaved
    assert state.document.path == Path("poppy-2.yaml")
    press(controller, pygame.K_a)
    assert controller.question is not None
    assert controller.question.text == "potting-bench-2.yaml"
    press(controller, *[pygame.K_BACKSPACE] * len(controller.question.text))
    write(controller, "quiet bench")
    press(controller, pygame.K_RETURN)
    assert read_arena(folder / "quiet bench.yaml").name == "quiet bench"


def test_nothing_is_written_over_without_saying_so(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    press(controller, pygame.K_RIGHT, pygame.K_w)
    assert controller.question is not None
    press(controller, *[pygame.K_BACKSPACE] * len("-2.yaml"))
    assert controller.question.text == "poppy"
    before = (folder / "poppy.yaml").read_bytes()
    press(controller, pygame.K_RETURN)
    assert controller.question.note == "poppy.yaml is there already; Enter again writes over it"
    assert (folder / "poppy.yaml").read_bytes() == before
    write(controller, "x")
    press(controller, pygame.K_BACKSPACE, pygame.K_RETURN)
    assert controller.question is not None, "another name in between, so it is asked anew"
    (folder / "poppy.yaml").write_bytes(before + b"# by someone else\n")
    press(controller, pygame.K_BACKSPACE)
    write(controller, "y")
    press(controller, pygame.K_RETURN)
    assert controller.question.note == "poppy.yaml has changed on disk meanwhile; Enter again writes over it"
    press(controller, pygame.K_RETURN)
    assert controller.question is None
    assert read_design(folder / "poppy.yaml").left.eye.aside == 0.031
    press(controller, pygame.K_w)
    press(controller, *[pygame.K_BACKSPACE] * 80)
    press(controller, pygame.K_RETURN)
    assert controller.question is not None
    assert controller.question.note == "write a file name"
    write(controller, "nowhere/at/all")
    press(controller, pygame.K_RETURN)
    assert "cannot be written" in controller.question.note
    press(controller, pygame.K_ESCAPE)
    assert controller.question is None


def test_shipped_files_are_saved_in_the_present_folder(make: Callable[..., Controller], folder: Path) -> None:
    controller = make("skylight", "thistle-spins")
    press(controller, pygame.K_w)
    assert controller.question is not None
    assert Path(controller.question.text) == Path("thistle-spins-2.yaml")
    press(controller, pygame.K_RETURN, pygame.K_w)
    assert Path(controller.question.text) == Path("thistle-spins-3.yaml")


def test_a_file_that_changes_on_disk_is_noticed(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    state = controller.state
    path = folder / "poppy.yaml"
    mine = state.document.text
    theirs = mine.replace("latch: 10k", "latch: 22k  # tried on the bench")
    controller.advance(2.0)
    assert state.changed_on_disk == []
    path.write_text(theirs, encoding="utf-8")
    controller.advance(2.0)
    assert state.changed_on_disk == [state.document]
    show(controller)
    press(controller, pygame.K_k)
    controller.advance(2.0)
    assert (state.changed_on_disk, state.document.text) == ([], mine)
    path.write_text(theirs + "# again\n", encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    assert design_of(state.document).left.latch == 22e3
    assert not state.document.is_changed
    press(controller, pygame.K_u)
    assert state.document.text == mine
    path.write_text(theirs.replace("latch: 22k", "latch: 22"), encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    assert state.note.startswith("poppy.yaml stays as it is here: poppy.yaml:31:10: both.latch: got '22'")
    assert state.document.text == mine
    path.unlink()
    controller.advance(2.0)
    assert state.changed_on_disk == [], "a file that is gone has nothing to load"


def test_a_file_loaded_in_the_midst_of_a_drag_may_have_lost_what_is_dragged(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    show(controller)
    assert controller.view is not None
    drag(controller, controller.view(1.05, 0.6), controller.view(1.2, 0.6), drop=False)
    assert state.carried is not None
    assert state.carried.now.kind == "wall"
    path = folder / "potting-bench.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("walls:")] + text[text.index("shades:") :], encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    assert state.carried is None
    assert state.spec.walls == ()
    mouse(controller, pygame.MOUSEMOTION, controller.view(1.3, 0.6))
    controller.advance(0.01)
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.3, 0.6))
    assert state.arena.text == path.read_text(encoding="utf-8")
    # the wall is back, and nobody holds it
    drag(controller, controller.view(1.85, 0.7), controller.view(1.8, 0.6), drop=False)
    press(controller, pygame.K_u)
    assert state.carried is None
    assert (state.arena.text, len(state.spec.walls)) == (text, 1)


@pytest.mark.parametrize(
    "name", ["/", ".", "~nobody-of-this-name/poppy", "p" * 300, "poppy.yaml/poppy", "loop"]
)
def test_a_name_that_no_file_can_have_is_told(
    make: Callable[..., Controller], folder: Path, name: str
) -> None:
    (folder / "loop.yaml").symlink_to("loop.yaml")
    controller = make()
    before = sorted(folder.iterdir())
    press(controller, pygame.K_w)
    assert controller.question is not None
    controller.question.text = name
    press(controller, pygame.K_RETURN, pygame.K_RETURN)
    assert controller.question is not None, "the question stays, with what was written"
    assert controller.question.text == name
    assert controller.question.note
    assert sorted(folder.iterdir()) == before
    show(controller)


def test_what_is_let_go_of_under_a_question_is_held_no_longer(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    show(controller)
    assert controller.view is not None
    drag(controller, controller.view(1.85, 0.7), controller.view(1.8, 0.6), drop=False)
    press(controller, pygame.K_a)
    assert controller.question is not None
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.8, 0.6))
    press(controller, pygame.K_ESCAPE)
    assert controller.state.carried is None
    assert arena_of(controller.state.arena).lamps[0].place == (1.8, 0.6)
    mouse(controller, pygame.MOUSEMOTION, controller.view(0.5, 0.5))
    controller.advance(0.01)
    assert controller.state.spec.lamps[0].place == (1.8, 0.6)


def test_the_map_of_light_goes_along_with_the_height_of_the_panel(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    path = folder / "poppy.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("panel:\n", "panel:\n  height: 300 mm\n"), encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    settle(controller)
    assert state.raced is not None
    assert state.light is not None
    np.testing.assert_array_equal(state.light, state.raced.replay.light_map)


def test_a_race_is_compared_with_one_that_had_a_goal_too() -> None:
    now = score(potting_bench().replay())[0]
    assert now.reached == 2
    nowhere = replace(now, reached=None, median_reach_s=None)
    assert _score_words(now, nowhere, 3) == _score_words(now, None, 3)
    assert "goal" not in " ".join(_score_words(nowhere, now, 3))
    # who starts in the goal has reached it at time 0, which is not never
    at_once = replace(now, median_reach_s=0.0)
    assert _score_words(now, at_once, 3)[1].endswith("(before: 0.0 s)")
    assert _score_words(replace(now, median_reach_s=None), at_once, 3)[1] == "half by never (before: 0.0 s)"


def test_closing_asks_where_changes_would_be_lost(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    press(controller, pygame.K_q)
    assert controller.state.closed
    controller = make()
    press(controller, pygame.K_RIGHT)
    controller.handle_event(pygame.event.Event(pygame.QUIT))
    assert not controller.state.closed
    show(controller)
    press(controller, pygame.K_ESCAPE)
    assert controller.question is None
    press(controller, pygame.K_q, pygame.K_w)
    assert controller.question is not None
    assert controller.question.document is controller.state.document
    press(controller, pygame.K_RETURN, pygame.K_q)
    assert controller.state.closed
    assert (folder / "poppy-2.yaml").is_file()
    controller = make()
    press(controller, pygame.K_RIGHT)
    for _ in range(2):
        controller.handle_event(pygame.event.Event(pygame.QUIT))
    assert controller.state.closed


def test_a_run_stops_when_the_window_is_closed(make: Callable[..., Controller]) -> None:
    controller = make(terms=RaceTerms(walkers=30, seconds=1e6))
    state = controller.state
    state.refresh()
    until = time.monotonic() + 300.0
    while state.races.done == 0.0:
        assert time.monotonic() < until
        time.sleep(0.01)
    state.close()
    assert state.join(30.0), "a million seconds of thirty walkers would take far longer"
    assert state.races.take() is None


def test_of_many_races_the_latest_is_run(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    started: list[float] = []
    go_on = threading.Event()

    def slow(race: RaceJob, report: ProgressReport[RaceResult]) -> RaceResult:
        started.append(race.contest.entrants[0].design.storage.capacitance)
        assert go_on.wait(60.0)
        report(0.5)
        return run_race(race, report)

    state.races = LatestWorker("race", slow)
    state.refresh()
    while not started:
        time.sleep(0.001)
    state.dial = dial_number("storage")
    press(controller, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT)
    assert state.is_stale
    go_on.set()
    settle(controller)
    assert started == [2200e-6, 4700e-6], "what lay between was never begun"
    assert state.raced is not None
    assert state.before == ()
    assert "4700 uF" in state.raced.replay.header["designs"][0]["yaml"]
    scores = state.raced.scores
    press(controller, pygame.K_u)
    settle(controller)
    assert state.before == scores


def test_the_first_run_is_shown_while_it_is_under_way(make: Callable[..., Controller]) -> None:
    controller = make(terms=RaceTerms(walkers=20, seconds=5e4))
    state = controller.state
    state.refresh()
    seen: list[float] = []
    until = time.monotonic() + 300.0
    while len(seen) < 3 and state.races.busy:
        assert time.monotonic() < until
        time.sleep(0.05)
        controller.advance(0.05)
        if state.is_live and (not seen or state.until > seen[-1]):
            assert state.raced is not None
            replay = state.raced.replay
            seen.append(state.until)
            assert state.time_s == state.until, "the picture goes along"
            assert not state.is_faded
            assert replay.poses["time_s"].max() <= 5e4 * (0.02 + state.until / 5e4)
            assert len(np.unique(replay.poses["walker"])) == 20
            assert replay.pulses["start_s"].max() > 0.5 * state.until
            show(controller)
    assert len(seen) == 3
    assert seen == sorted(seen)
    press(controller, pygame.K_HOME, pygame.K_END)
    assert state.time_s == state.seconds or state.time_s == state.until


def test_a_run_that_is_soon_replaced_does_not_flicker(make: Callable[..., Controller]) -> None:
    """WCAG 2.3.1: no more than three flashes a second."""
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    go_on = threading.Event()

    def slow(race: RaceJob, report: ProgressReport[RaceResult]) -> RaceResult:
        assert go_on.wait(60.0)
        return run_race(race, report)

    state.races.close()
    state.races = LatestWorker("race", slow)
    press(controller, pygame.K_RIGHT)
    changes = 0
    for _ in range(39):
        controller.advance(0.01)
        assert state.is_stale
        changes += state.is_faded
    assert changes == 0
    controller.advance(0.05)
    assert state.is_faded
    go_on.set()
    settle(controller)
    assert not state.is_faded


def test_the_view_of_the_run_goes_on_through_a_change(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    assert state.time_s == 120.0, "the whole run is shown first"
    press(controller, pygame.K_HOME, pygame.K_PERIOD, pygame.K_PERIOD)
    assert state.time_s == pytest.approx(2.4)
    state.dial = dial_number("latch")
    press(controller, pygame.K_RIGHT)
    settle(controller)
    assert state.time_s == pytest.approx(2.4)
    press(controller, pygame.K_SPACE, pygame.K_PLUS)
    assert (state.playing, state.speed) == (True, 100.0)
    controller.advance(0.1)
    assert state.time_s == pytest.approx(12.4)
    controller.advance(60.0)
    assert (state.playing, state.time_s) == (False, 120.0)
    press(controller, pygame.K_SPACE, pygame.K_MINUS, pygame.K_MINUS)
    assert (state.time_s, state.speed) == (0.0, 20.0)
    bar = controller.layout.bar
    drag(controller, bar.center, (bar.left + 0.25 * bar.width, 0.0))
    assert state.time_s == pytest.approx(30.0, abs=0.2)
    assert not state.playing


def test_walkers_without_room_are_told_of(make: Callable[..., Controller]) -> None:
    controller = make(terms=RaceTerms(walkers=400, seconds=60.0))
    state = controller.state
    state.refresh()
    settle(controller)
    assert "start zone" in state.fault
    assert state.raced is None
    show(controller)


def test_work_that_crashes_or_fails_is_told_and_the_next_job_is_done() -> None:
    def work(job: int, report: ProgressReport[int]) -> int:
        report(0.5)
        if job == 1:
            raise OptionError("no room")
        if job == 2:
            raise ZeroDivisionError
        return job * job

    latest: LatestWorker[int, int] = LatestWorker("squares", work)

    def wait_for(job: int) -> None:
        latest.ask(job)
        until = time.monotonic() + 30.0
        while latest.busy:
            assert time.monotonic() < until
            time.sleep(0.001)

    wait_for(1)
    outcome = latest.take()
    assert outcome is not None
    assert (outcome.job, outcome.result, outcome.fault) == (1, None, "no room")
    wait_for(2)
    with pytest.raises(ZeroDivisionError):
        latest.take()
    wait_for(3)
    latest.drop()
    assert latest.take() is None
    wait_for(4)
    outcome = latest.take()
    assert outcome is not None
    assert outcome.result == 16
    assert latest.take() is None
    latest.close()
    assert latest.join(10.0)


def test_light_at_the_meter_follows_the_inverse_square(make: Callable[..., Controller]) -> None:
    """E = I cos θ / d², with cos θ = h / d: photometry handbooks, from memory."""
    spec = read_arena("open-bench")
    place, height = (1.0, 0.3), 0.03
    found = light_by_kind(spec, place, height)
    lamp = spec.lamps[0]
    rise = lamp.height - height
    distance = math.hypot(math.dist(place, lamp.place), rise)
    expected = dict.fromkeys(KINDS, 0.0)
    expected["daylight"] = 1000.0
    expected["incandescent"] = 5000.0 * rise / distance**3
    # the lamp's disc of 80 mm is not quite a point
    assert found == pytest.approx([expected[kind] for kind in KINDS], rel=2e-3)


def test_a_mixture_of_lights_charges_as_its_parts_do_together() -> None:
    spec, design = read_arena("open-bench"), read_design("poppy")
    forecast = forecast_pulse(ForecastJob(spec, design, (1.0, 0.3)), report_nothing)
    by_kind = light_by_kind(spec, (1.0, 0.3), design.panel.height)
    assert forecast.light == pytest.approx(by_kind.sum())
    weights = panel_weights(design.panel.response)
    current = sum(40e-9 * weight * light for weight, light in zip(weights, by_kind, strict=True))
    assert forecast.point.measured.photocurrent == pytest.approx(current, rel=1e-12)
    assert sum(share for _, share in forecast.kinds) == pytest.approx(1.0, abs=0.01)
    # in daylight alone it is the bench's own answer
    only = spec.model_copy(update={"lamps": ()})
    alone = forecast_pulse(ForecastJob(only, design, (1.0, 0.3)), report_nothing)
    assert alone.point == bench_point(design, 1000.0)
    dark = only.model_copy(update={"ambient": only.ambient.model_copy(update={"illuminance": 0.0})})
    assert forecast_pulse(ForecastJob(dark, design, (1.0, 0.3)), report_nothing).causes[0][0] == "dim"


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_pulse_turns_the_picture_about_the_standing_tyre(side: str) -> None:
    design = read_design("poppy")
    measured = bench_point(design, 3000.0).measured
    point = measured.left if side == "left" else measured.right
    stand = stand_after(design, point)
    assert stand is not None
    assert point.turn is not None
    # ahead + i left; the standing tyre is on the other side
    outward = 1.0 if side == "left" else -1.0
    pivot = -outward * 0.5j * design.body.track
    turned = pivot + (0.0 - pivot) * np.exp(-1j * outward * point.turn)
    assert (stand.x, stand.y) == pytest.approx((turned.real, turned.imag), abs=1e-12)
    assert stand.at(0.0, pivot.imag) == pytest.approx((0.0, pivot.imag), abs=1e-12)
    assert math.copysign(1.0, stand.heading) == -outward, "the left side turns the nose to the right"


SIZES = [LEAST_SIZE, (1280, 760), (1280, 1024), (1920, 1080), (3840, 2160), (2560, 700)]


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_nothing_lies_on_anything_else(size: tuple[int, int]) -> None:
    scale = scale_of(*size)
    layout = lay_out(round(size[0] / scale), round(size[1] / scale))
    window = pygame.Rect(0, 0, *layout.size)
    apart = [layout.head, layout.plan, layout.bar, layout.foot, layout.title, layout.pulse, layout.race]
    apart += [*layout.scopes, *layout.rows, *layout.buttons]
    for number, rect in enumerate(apart):
        assert window.contains(rect)
        assert rect.width > 0
        assert rect.height > 0
        assert rect.collidelist(apart[number + 1 :]) == -1
    for rect in (layout.title, layout.pulse, layout.race, *layout.rows, *layout.buttons):
        assert layout.panel.contains(rect)
    for row, rail in zip(layout.rows, layout.rails, strict=True):
        assert row.contains(rail)
    assert layout.letters(1) >= 14
    assert layout.pulse.height >= 130


@pytest.mark.parametrize("size", [(1280, 760), (1920, 1080), (300, 200)], ids=str)
def test_clicks_land_where_things_are_drawn_at_any_size(
    make: Callable[..., Controller], size: tuple[int, int]
) -> None:
    controller = make("potting-bench.yaml", "poppy.yaml", "cress.yaml")
    show(controller, size)
    assert controller.scale == scale_of(*size)
    for number, row in enumerate(controller.layout.rows):
        mouse(controller, pygame.MOUSEBUTTONDOWN, (row.left + 3, row.centery))
        assert controller.state.dial == number
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.scopes[2].center)
    assert SCOPES[controller.state.scope] == "right"
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.title.center)
    assert controller.state.chosen == 1
    assert controller.view is not None
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.view(1.85, 0.7))
    assert controller.state.movable == ("lamps", 0, "place")
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.85, 0.7))
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[3].center)
    assert controller.question is not None
    assert controller.question.document is controller.state.arena


def test_buttons_and_keys_do_the_same(make: Callable[..., Controller]) -> None:
    controller = make()
    press(controller, pygame.K_RIGHT)
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[0].center)
    assert not controller.state.unsaved
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[1].center)
    assert controller.state.unsaved
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[4].center)
    assert controller.help_shown
    mouse(controller, pygame.MOUSEBUTTONDOWN, (5, 5))
    assert not controller.help_shown
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[2].center)
    assert controller.question is not None


def test_every_key_that_does_something_is_in_the_help(make: Callable[..., Controller]) -> None:
    told = " ".join(keys for keys, _ in HELP)
    controller = make()
    names = {"-": "-", "=": "+", "[-]": "-", "[+]": "+", "+": "+", ",": "comma", ".": "full stop"}
    for key in controller._plain_keys():
        name = pygame.key.name(key)
        assert names.get(name, name.capitalize() if name == "tab" else name) in told or name in ("f1", "f11")
    for key in (pygame.K_h, pygame.K_F1):
        press(controller, key)
        assert controller.help_shown
        show(controller)
        press(controller, key)
        assert not controller.help_shown
    press(controller, pygame.K_t, pygame.K_f)
    assert (controller.dark, controller.full_screen) == (True, True)
    press(controller, pygame.K_TAB)
    assert controller.state.on_plan
    press(controller, pygame.K_F5, pygame.K_x)
    controller.handle_event(pygame.event.Event(pygame.USEREVENT))
    assert not controller.state.unsaved


def test_frames_follow_the_state_and_nothing_else(make: Callable[..., Controller]) -> None:
    controller = make("potting-bench.yaml", "poppy.yaml", "cress.yaml")
    show(controller)
    controller.state.refresh()
    settle(controller)
    first = show(controller)
    np.testing.assert_array_equal(show(controller), first)
    for key in (pygame.K_HOME, pygame.K_s, pygame.K_d, pygame.K_TAB, pygame.K_n, pygame.K_t, pygame.K_w):
        before = show(controller)
        press(controller, key)
        assert (show(controller) != before).any(), pygame.key.name(key)
    for size in ((1920, 1080), (640, 480), (1, 1)):
        assert show(controller, size).shape == (*size, 3)


@pytest.fixture
def no_screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    yield
    pygame.quit()


@pytest.mark.usefixtures("no_screen", "folder")
def test_the_window_runs_until_it_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = []
    asked = {2: pygame.K_RIGHT, 3: pygame.K_f, 4: pygame.K_f, 5: pygame.K_q, 6: pygame.K_q}
    flip = pygame.display.flip

    def flipped() -> None:
        flip()
        frames.append(1)
        if len(frames) in asked:
            pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=asked[len(frames)], mod=0, unicode=""))

    monkeypatch.setattr(pygame.display, "flip", flipped)
    workbench("potting-bench.yaml", ["poppy.yaml"], SHORT)
    assert len(frames) == 7
    assert not pygame.display.get_init()


@pytest.mark.usefixtures("no_screen", "folder")
def test_without_a_screen_other_ways_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pygame.display, "get_driver", lambda: "offscreen")
    with pytest.raises(OutputError, match=r"photodrome picture .* photodrome film"):
        workbench("potting-bench.yaml", ["poppy.yaml"], SHORT)
    assert not pygame.display.get_init()


def test_bad_input_is_told_before_a_window_opens(folder: Path) -> None:
    (folder / "poppy.yaml").write_text("photodrome: design 1\nname: poppy\nboth: {latch: 10}\n")
    with pytest.raises(SpecError, match=r"both\.latch"):
        workbench("potting-bench.yaml", ["poppy.yaml"], SHORT)
    with pytest.raises(OptionError, match="are both called 'cress'"):
        set_up("potting-bench.yaml", ["cress.yaml", "cress"], SHORT)


@pytest.mark.usefixtures("no_screen", "folder")
def test_the_command_tells_by_its_exit_what_was_wrong(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def exit_of(*arguments: str) -> int:
        with pytest.raises(SystemExit) as caught:
            main(["try", *arguments])
        assert isinstance(caught.value.code, int)
        return caught.value.code

    assert exit_of("no-such-bench", "--design", "poppy") == 2
    assert "no shipped arena of this name" in capsys.readouterr().err
    assert exit_of("open-bench", "-d", "poppy", "-d", "poppy.yaml") == 2
    assert exit_of("open-bench", "-d", "poppy", "--walkers", "0") == 2
    capsys.readouterr()
    monkeypatch.setattr(pygame.display, "get_driver", lambda: "offscreen")
    assert exit_of("open-bench", "--design", "poppy") == 1
    told = capsys.readouterr().err
    assert "photodrome picture" in told
    assert "photodrome film" in told
    monkeypatch.undo()
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    flip = pygame.display.flip

    def flipped() -> None:
        flip()
        pygame.event.post(pygame.event.Event(pygame.QUIT))

    monkeypatch.setattr(pygame.display, "flip", flipped)
    others = set(threading.enumerate())
    assert exit_of("open-bench", "--design", "poppy", "--seconds", "100000") == 0
    assert not set(threading.enumerate()) - others, "nothing goes on once the window is closed"
