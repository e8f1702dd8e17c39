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

from agents.design.spec import parse_design, read_design
from agents.errors import OptionError, OutputError, SpecError, WorkError
from agents.handbook.light_kinds import KINDS, panel_weights
from agents.testbench.sheet import bench_point
from agents.text.shipped import find_document
from arena.cli.command import main
from arena.scene.spec import parse_arena, read_arena
from arena.workbench.computations import Race, Raced, Spot, Terms, foresee, light_by_kind, run_race
from arena.workbench.controller import HELP, Hands
from arena.workbench.dials import DIALS, SCOPES
from arena.workbench.documents import arena_of, design_of
from arena.workbench.layout import BUTTONS, LEAST_SIZE, USUAL_SIZE, lay_out, scale_of
from arena.workbench.movables import thing_of, things_of, with_thing
from arena.workbench.side_panel import _score_words
from arena.workbench.state import METER, Trial
from arena.workbench.view import Face
from arena.workbench.walker_view import stand_after
from arena.workbench.window import set_up, workbench
from arena.workbench.worker import Latest, Tell
from replays.drawing.sheet import Sheet, pygame
from replays.scoring.scores import score
from tests.helpers.fabricate import potting_bench

SHORT = Terms(walkers=2, seconds=120.0)


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
def make(folder: Path) -> Iterator[Callable[..., Hands]]:
    """A way to lay out a workbench; whatever was laid out is cleared away."""
    made: list[Trial] = []

    def lay(arena: str = "potting-bench.yaml", *designs: str, terms: Terms = SHORT) -> Hands:
        trial = set_up(arena, designs or ("poppy.yaml",), terms)
        made.append(trial)
        return Hands(trial)

    yield lay
    for trial in made:
        trial.close()
    assert all(trial.join(60.0) for trial in made)


def settle(hands: Hands) -> None:
    """Wait until nothing is being worked out."""
    trial = hands.trial
    until = time.monotonic() + 300.0
    while trial.races.busy or trial.skies.busy or trial.spots.busy:
        assert time.monotonic() < until
        time.sleep(0.005)
    hands.advance(0.01)


def press(hands: Hands, *keys: int, mod: int = 0) -> None:
    for key in keys:
        hands.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode=""))


def write(hands: Hands, text: str) -> None:
    for letter in text:
        hands.handle_event(pygame.event.Event(pygame.KEYDOWN, key=ord(letter), mod=0, unicode=letter))


def mouse(hands: Hands, kind: int, place: tuple[float, float], button: int = 1) -> None:
    pixels = (round(place[0] * hands.scale), round(place[1] * hands.scale))
    if kind == pygame.MOUSEMOTION:
        event = pygame.event.Event(kind, pos=pixels, rel=(0, 0), buttons=(1, 0, 0))
    else:
        event = pygame.event.Event(kind, pos=pixels, button=button)
    hands.handle_event(event)


def drag(hands: Hands, start: tuple[float, float], *ways: tuple[float, float], drop: bool = True) -> None:
    mouse(hands, pygame.MOUSEBUTTONDOWN, start)
    for way in ways:
        mouse(hands, pygame.MOUSEMOTION, way)
        hands.advance(0.01)
    if drop:
        mouse(hands, pygame.MOUSEBUTTONUP, ways[-1])


def show(hands: Hands, size: tuple[int, int] = (1280, 760)) -> np.ndarray:
    """A frame; it also tells the hands where everything lies."""
    surface = pygame.Surface(size)
    face = Face(hands)
    face.draw(surface)
    while not face.is_still():
        face.draw(surface)
    return pygame.surfarray.array3d(surface)


def say_nothing(done: float, so_far: object = None) -> None:
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


def test_keys_turn_a_dial_and_the_pulse_follows(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    trial.refresh()
    settle(hands)
    assert trial.forecast is not None
    before = trial.forecast.point.measured.first.turn
    press(hands, *[pygame.K_DOWN] * 3)
    assert DIALS[trial.dial].label == "storage"
    press(hands, pygame.K_RIGHT)
    assert design_of(trial.paper).storage.capacitance == 3300e-6
    assert "  capacitance: 3300 uF\n" in trial.paper.text
    assert trial.paper.text.count("#") == trial.paper.clean.count("#")
    settle(hands)
    after = trial.forecast.point.measured.first.turn
    assert before is not None
    assert after is not None
    # a larger capacitor turns it further; common practice, no source
    assert abs(after) > 1.2 * abs(before)
    press(hands, pygame.K_LEFT, pygame.K_LEFT)
    assert design_of(trial.paper).storage.capacitance == 1500e-6


def test_sides_are_turned_together_or_one_by_one(make: Callable[..., Hands]) -> None:
    hands = make("open-bench.yaml", "cress.yaml")
    trial = hands.trial
    trial.dial = dial_number("latch")
    press(hands, pygame.K_s)
    assert SCOPES[trial.scope] == "left"
    press(hands, pygame.K_RIGHT)
    assert DIALS[trial.dial].values(design_of(trial.paper)) == (18e3, 5600.0)
    press(hands, pygame.K_s)
    press(hands, pygame.K_LEFT)
    assert DIALS[trial.dial].values(design_of(trial.paper)) == (18e3, 4700.0)
    press(hands, pygame.K_s, pygame.K_RIGHT)
    assert DIALS[trial.dial].values(design_of(trial.paper)) == (22e3, 22e3)
    assert trial.paper.text.count("#") == trial.paper.clean.count("#")


def test_a_peg_is_dragged_and_taken_back_in_one_step(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    latch = dial_number("latch")
    rail, stops = hands.layout.rails[latch], DIALS[latch].stops

    def at(stop: float) -> tuple[float, float]:
        return rail.left + rail.width * stops.index(stop) / (len(stops) - 1), rail.centery + 3

    drag(hands, at(10e3), at(15e3), at(33e3), at(4700.0))
    assert (trial.dial, design_of(trial.paper).left.latch) == (latch, 4700.0)
    drag(hands, at(4700.0), (rail.right + 500.0, 0.0))
    assert design_of(trial.paper).left.latch == stops[-1]
    press(hands, pygame.K_u)
    assert design_of(trial.paper).left.latch == 4700.0
    press(hands, pygame.K_u)
    assert trial.paper.text == trial.paper.clean
    press(hands, pygame.K_u)
    assert trial.note == "nothing is left to take back"
    press(hands, pygame.K_y, mod=pygame.KMOD_LCTRL)
    press(hands, pygame.K_z, mod=pygame.KMOD_LCTRL | pygame.KMOD_LSHIFT)
    assert design_of(trial.paper).left.latch == stops[-1]
    press(hands, pygame.K_r)
    assert trial.note == "nothing was taken back"
    press(hands, pygame.K_u, pygame.K_LEFT, pygame.K_r)
    assert trial.note == "nothing was taken back", "a new change has ended that way"


def test_the_wheel_turns_the_dial_under_the_pointer(make: Callable[..., Hands]) -> None:
    hands = make()
    row = hands.layout.rows[dial_number("latch")]
    for place, latch in ((row.center, 8200.0), ((row.left - 400, row.centery), 8200.0)):
        mouse(hands, pygame.MOUSEMOTION, place)
        hands.handle_event(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=-1))
        assert design_of(hands.trial.paper).left.latch == latch


def test_presses_in_a_row_are_one_step_and_after_a_pause_another(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    press(hands, pygame.K_RIGHT, pygame.K_RIGHT)
    hands.advance(5.0)
    press(hands, pygame.K_RIGHT)
    assert design_of(trial.paper).left.eye.aside == 0.033
    press(hands, pygame.K_u)
    assert design_of(trial.paper).left.eye.aside == 0.032
    press(hands, pygame.K_u)
    assert design_of(trial.paper).left.eye.aside == 0.030


def test_a_part_that_is_left_out_is_not_turned(make: Callable[..., Hands], folder: Path) -> None:
    path = folder / "poppy.yaml"
    text = path.read_text(encoding="utf-8").replace("  feeler: 33k", "  feeler: none")
    path.write_text(text.replace("  both.feeler: { uniform: 5 % }\n", ""), encoding="utf-8")
    hands = make()
    hands.trial.dial = dial_number("feeler")
    press(hands, pygame.K_RIGHT)
    assert hands.trial.note == "this design leaves out its feeler"
    assert not hands.trial.paper.is_changed
    show(hands)


def test_a_design_made_impossible_shows_its_fault_and_the_last_good_run_stays(
    make: Callable[..., Hands], folder: Path
) -> None:
    path = folder / "poppy.yaml"
    path.write_text(path.read_text().replace("bend_to_close: 4 mm", "bend_to_close: 45 mm"))
    hands = make()
    trial = hands.trial
    trial.refresh()
    settle(hands)
    good, raced = trial.paper.spec, trial.raced
    assert raced is not None
    trial.dial = dial_number("whisker")
    press(hands, pygame.K_LEFT)
    assert trial.paper.fault.startswith("poppy.yaml:37:3: both.whisker: got a switch that closes at 45 mm")
    assert trial.fault == trial.paper.fault
    settle(hands)
    assert trial.paper.spec is good
    assert trial.raced is raced
    assert trial.is_stale
    assert DIALS[trial.dial].shown(trial.design) == "45 mm"
    show(hands)
    press(hands, pygame.K_w)
    assert hands.question is None
    assert trial.note.startswith("not saved")
    press(hands, pygame.K_RIGHT)
    assert trial.fault == ""
    press(hands, pygame.K_u, pygame.K_u)
    settle(hands)
    assert not trial.is_stale
    assert trial.paper.text == trial.paper.clean


def test_a_file_that_cannot_be_rewritten_leaves_everything_as_it_was(
    make: Callable[..., Hands], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> str:
        raise WorkError("change it by hand")

    hands = make()
    trial = hands.trial
    texts = [paper.text for paper in trial.papers]
    monkeypatch.setattr("arena.workbench.state.rewrite_design", refuse)
    monkeypatch.setattr("arena.workbench.state.rewrite_values", refuse)
    press(hands, pygame.K_RIGHT)
    assert trial.note == "change it by hand"
    trial.note = ""
    lamp = next(thing for thing in trial.things() if thing.kind == "lamp")
    trial.thing, trial.on_plan = lamp.path, True
    press(hands, pygame.K_LEFT)
    assert trial.note == "change it by hand"
    assert [paper.text for paper in trial.papers] == texts
    assert lamp in trial.things()
    assert trial.unsaved == []


def test_a_lamp_is_dragged_and_the_light_and_the_race_follow(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    trial.refresh()
    settle(hands)
    show(hands)
    assert hands.view is not None
    light, raced = trial.light, trial.raced
    assert light is not None
    drag(hands, hands.view(1.85, 0.7), hands.view(1.5, 0.5), hands.view(1.352, 0.449), drop=False)
    settle(hands)
    assert trial.carried is not None
    assert trial.light is not light, "shadows move while the lamp is in the hand"
    assert trial.raced is raced
    assert not trial.arena.is_changed
    mouse(hands, pygame.MOUSEBUTTONUP, hands.view(1.352, 0.449))
    assert arena_of(trial.arena).lamps[0].place == (1.35, 0.45)
    assert "    place: 1.35 0.45 m\n" in trial.arena.text
    assert trial.races.busy
    assert trial.raced is raced, "the old run stays until the new one is there"
    settle(hands)
    assert trial.raced is not raced
    assert trial.raced is not None
    assert trial.raced.replay.arena["lamps"][0]["x"] == 1.35
    row, column = np.unravel_index(np.argmax(trial.light), trial.light.shape)
    assert math.dist((0.01 * (column + 0.5), 0.01 * (row + 0.5)), (1.35, 0.45)) < 0.25
    press(hands, pygame.K_u)
    assert trial.arena.text == trial.arena.clean


def test_only_what_casts_or_stops_light_has_the_map_drawn_anew(make: Callable[..., Hands]) -> None:
    hands = make("open-bench.yaml")
    trial = hands.trial
    trial.refresh()
    settle(hands)
    light = trial.light
    trial.thing = ("starts", "places", 0, "place")
    trial.on_plan = True
    press(hands, pygame.K_LEFT)
    assert trial.arena.is_changed
    settle(hands)
    trial.dial, trial.on_plan = 0, False
    press(hands, pygame.K_RIGHT)
    settle(hands)
    assert trial.light is light


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
    make: Callable[..., Hands], path: tuple[object, ...], to: tuple[float, float], reason: str
) -> None:
    hands = make()
    trial = hands.trial
    show(hands)
    assert hands.view is not None
    thing = thing_of(trial.things(), path)
    assert thing.path == path
    middle = tuple(np.mean(thing.points, axis=0)) if not thing.is_point else thing.points[0]
    if thing.kind == "zone":
        middle = (0.2, 0.2)
    grip = hands.view(*middle)
    there = hands.view(middle[0] + to[0] - thing.points[0][0], middle[1] + to[1] - thing.points[0][1])
    drag(hands, grip, there, drop=False)
    assert trial.carried is not None
    assert trial.carried.origin.path == path
    assert reason in trial.carried.fault
    show(hands)
    mouse(hands, pygame.MOUSEBUTTONUP, there)
    assert reason in trial.note
    assert trial.carried is None
    assert not trial.unsaved
    assert trial.history.place == 0
    assert thing_of(trial.things(), path) == thing


def test_starts_keep_room_for_their_bodies(make: Callable[..., Hands]) -> None:
    hands = make("open-bench.yaml", terms=Terms(seconds=60.0))
    trial = hands.trial
    trial.thing, trial.on_plan = ("starts", "places", 0, "place"), True
    before = trial.arena.text
    for _ in range(30):
        press(hands, pygame.K_UP)
    first, second = (one.place for one in (arena_of(trial.arena).starts.places or ())[:2])
    # places 0.2 m apart, bodies of poppy 52 mm across
    assert 0.05 < second[1] - first[1] < 0.07
    assert "too near one another" in trial.note
    trial.put_back()
    press(hands, pygame.K_u)
    assert trial.arena.text == before


def test_everything_on_the_plan_can_be_chosen_and_moved_by_keys(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    kinds = []
    for _ in trial.things():
        press(hands, pygame.K_n)
        thing = trial.chosen_thing()
        kinds.append(thing.kind)
        press(hands, pygame.K_LEFT, pygame.K_UP)
        press(hands, pygame.K_DOWN, mod=pygame.KMOD_LSHIFT)
        moved = trial.chosen_thing()
        ways = {
            (round(x - a, 4), round(y - b, 4))
            for (x, y), (a, b) in zip(moved.points, thing.points, strict=True)
        }
        assert ways == {(-0.01, 0.009)}
    assert sorted(kinds) == ["aim", "goal", "lamp", "meter", "shade", "wall", "zone"]
    press(hands, pygame.K_n)
    press(hands, pygame.K_p)
    assert trial.chosen_thing().kind == kinds[-1]
    assert parse_arena(trial.arena.text, "again") == arena_of(trial.arena)
    assert trial.arena.text.count("#") == trial.arena.clean.count("#")
    press(hands, pygame.K_ESCAPE)
    assert not trial.on_plan


def test_escape_puts_back_what_is_held(make: Callable[..., Hands]) -> None:
    hands = make()
    show(hands)
    assert hands.view is not None
    drag(hands, hands.view(1.85, 0.7), hands.view(1.5, 0.5), drop=False)
    press(hands, pygame.K_ESCAPE)
    mouse(hands, pygame.MOUSEBUTTONUP, hands.view(1.5, 0.5))
    assert hands.trial.carried is None
    assert not hands.trial.unsaved
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.view(2.3, 0.1))
    assert hands.trial.carried is None


def test_things_say_what_the_file_says() -> None:
    spec = read_arena("slalom")
    for thing in things_of(spec):
        moved = with_thing(spec, thing.moved(0.0, 0.0))
        assert moved == spec
        if not thing.is_point:
            middle = np.mean(thing.points[:2], axis=0)
            assert thing.distance(*middle) == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ValueError, match="leaves the floor"):
        with_thing(spec, thing_of(things_of(spec), ("walls", 0, "line")).moved(5.0, 0.0))


def test_saving_under_a_new_name_keeps_remarks_and_can_be_read_again(
    make: Callable[..., Hands], folder: Path
) -> None:
    hands = make()
    trial = hands.trial
    press(hands, pygame.K_RIGHT, pygame.K_w)
    assert hands.question is not None
    assert hands.question.text == "poppy-2.yaml"
    press(hands, pygame.K_RETURN)
    assert hands.question is None
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
    assert not trial.unsaved
    assert trial.paper.path == Path("poppy-2.yaml")
    press(hands, pygame.K_a)
    assert hands.question is not None
    assert hands.question.text == "potting-bench-2.yaml"
    press(hands, *[pygame.K_BACKSPACE] * len(hands.question.text))
    write(hands, "quiet bench")
    press(hands, pygame.K_RETURN)
    assert read_arena(folder / "quiet bench.yaml").name == "quiet bench"


def test_nothing_is_written_over_without_saying_so(make: Callable[..., Hands], folder: Path) -> None:
    hands = make()
    press(hands, pygame.K_RIGHT, pygame.K_w)
    assert hands.question is not None
    press(hands, *[pygame.K_BACKSPACE] * len("-2.yaml"))
    assert hands.question.text == "poppy"
    before = (folder / "poppy.yaml").read_bytes()
    press(hands, pygame.K_RETURN)
    assert hands.question.note == "poppy.yaml is there already; Enter again writes over it"
    assert (folder / "poppy.yaml").read_bytes() == before
    write(hands, "x")
    press(hands, pygame.K_BACKSPACE, pygame.K_RETURN)
    assert hands.question is not None, "another name in between, so it is asked anew"
    (folder / "poppy.yaml").write_bytes(before + b"# by someone else\n")
    press(hands, pygame.K_BACKSPACE)
    write(hands, "y")
    press(hands, pygame.K_RETURN)
    assert hands.question.note == "poppy.yaml has changed on disk meanwhile; Enter again writes over it"
    press(hands, pygame.K_RETURN)
    assert hands.question is None
    assert read_design(folder / "poppy.yaml").left.eye.aside == 0.031
    press(hands, pygame.K_w)
    press(hands, *[pygame.K_BACKSPACE] * 80)
    press(hands, pygame.K_RETURN)
    assert hands.question is not None
    assert hands.question.note == "write a file name"
    write(hands, "nowhere/at/all")
    press(hands, pygame.K_RETURN)
    assert "cannot be written" in hands.question.note
    press(hands, pygame.K_ESCAPE)
    assert hands.question is None


def test_shipped_files_are_saved_in_the_present_folder(make: Callable[..., Hands], folder: Path) -> None:
    hands = make("skylight", "thistle-spins")
    press(hands, pygame.K_w)
    assert hands.question is not None
    assert Path(hands.question.text) == Path("thistle-spins-2.yaml")
    press(hands, pygame.K_RETURN, pygame.K_w)
    assert Path(hands.question.text) == Path("thistle-spins-3.yaml")


def test_a_file_that_changes_on_disk_is_noticed(make: Callable[..., Hands], folder: Path) -> None:
    hands = make()
    trial = hands.trial
    path = folder / "poppy.yaml"
    mine = trial.paper.text
    theirs = mine.replace("latch: 10k", "latch: 22k  # tried on the bench")
    hands.advance(2.0)
    assert trial.changed_on_disk == []
    path.write_text(theirs, encoding="utf-8")
    hands.advance(2.0)
    assert trial.changed_on_disk == [trial.paper]
    show(hands)
    press(hands, pygame.K_k)
    hands.advance(2.0)
    assert (trial.changed_on_disk, trial.paper.text) == ([], mine)
    path.write_text(theirs + "# again\n", encoding="utf-8")
    hands.advance(2.0)
    press(hands, pygame.K_l)
    assert design_of(trial.paper).left.latch == 22e3
    assert not trial.paper.is_changed
    press(hands, pygame.K_u)
    assert trial.paper.text == mine
    path.write_text(theirs.replace("latch: 22k", "latch: 22"), encoding="utf-8")
    hands.advance(2.0)
    press(hands, pygame.K_l)
    assert trial.note.startswith("poppy.yaml stays as it is here: poppy.yaml:31:10: both.latch: got '22'")
    assert trial.paper.text == mine
    path.unlink()
    hands.advance(2.0)
    assert trial.changed_on_disk == [], "a file that is gone has nothing to load"


def test_a_file_loaded_in_the_midst_of_a_drag_may_have_lost_what_is_dragged(
    make: Callable[..., Hands], folder: Path
) -> None:
    hands = make()
    trial = hands.trial
    show(hands)
    assert hands.view is not None
    drag(hands, hands.view(1.05, 0.6), hands.view(1.2, 0.6), drop=False)
    assert trial.carried is not None
    assert trial.carried.now.kind == "wall"
    path = folder / "potting-bench.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("walls:")] + text[text.index("shades:") :], encoding="utf-8")
    hands.advance(2.0)
    press(hands, pygame.K_l)
    assert trial.carried is None
    assert trial.spec.walls == ()
    mouse(hands, pygame.MOUSEMOTION, hands.view(1.3, 0.6))
    hands.advance(0.01)
    mouse(hands, pygame.MOUSEBUTTONUP, hands.view(1.3, 0.6))
    assert trial.arena.text == path.read_text(encoding="utf-8")
    # the wall is back, and nobody holds it
    drag(hands, hands.view(1.85, 0.7), hands.view(1.8, 0.6), drop=False)
    press(hands, pygame.K_u)
    assert trial.carried is None
    assert (trial.arena.text, len(trial.spec.walls)) == (text, 1)


@pytest.mark.parametrize(
    "name", ["/", ".", "~nobody-of-this-name/poppy", "p" * 300, "poppy.yaml/poppy", "loop"]
)
def test_a_name_that_no_file_can_have_is_told(make: Callable[..., Hands], folder: Path, name: str) -> None:
    (folder / "loop.yaml").symlink_to("loop.yaml")
    hands = make()
    before = sorted(folder.iterdir())
    press(hands, pygame.K_w)
    assert hands.question is not None
    hands.question.text = name
    press(hands, pygame.K_RETURN, pygame.K_RETURN)
    assert hands.question is not None, "the question stays, with what was written"
    assert hands.question.text == name
    assert hands.question.note
    assert sorted(folder.iterdir()) == before
    show(hands)


def test_what_is_let_go_of_under_a_question_is_held_no_longer(
    make: Callable[..., Hands], folder: Path
) -> None:
    hands = make()
    show(hands)
    assert hands.view is not None
    drag(hands, hands.view(1.85, 0.7), hands.view(1.8, 0.6), drop=False)
    press(hands, pygame.K_a)
    assert hands.question is not None
    mouse(hands, pygame.MOUSEBUTTONUP, hands.view(1.8, 0.6))
    press(hands, pygame.K_ESCAPE)
    assert hands.trial.carried is None
    assert arena_of(hands.trial.arena).lamps[0].place == (1.8, 0.6)
    mouse(hands, pygame.MOUSEMOTION, hands.view(0.5, 0.5))
    hands.advance(0.01)
    assert hands.trial.spec.lamps[0].place == (1.8, 0.6)


def test_the_map_of_light_goes_along_with_the_height_of_the_panel(
    make: Callable[..., Hands], folder: Path
) -> None:
    hands = make()
    trial = hands.trial
    trial.refresh()
    settle(hands)
    path = folder / "poppy.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("panel:\n", "panel:\n  height: 300 mm\n"), encoding="utf-8")
    hands.advance(2.0)
    press(hands, pygame.K_l)
    settle(hands)
    assert trial.raced is not None
    assert trial.light is not None
    np.testing.assert_array_equal(trial.light, trial.raced.replay.light_map)


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


def test_closing_asks_where_changes_would_be_lost(make: Callable[..., Hands], folder: Path) -> None:
    hands = make()
    press(hands, pygame.K_q)
    assert hands.trial.closed
    hands = make()
    press(hands, pygame.K_RIGHT)
    hands.handle_event(pygame.event.Event(pygame.QUIT))
    assert not hands.trial.closed
    show(hands)
    press(hands, pygame.K_ESCAPE)
    assert hands.question is None
    press(hands, pygame.K_q, pygame.K_w)
    assert hands.question is not None
    assert hands.question.paper is hands.trial.paper
    press(hands, pygame.K_RETURN, pygame.K_q)
    assert hands.trial.closed
    assert (folder / "poppy-2.yaml").is_file()
    hands = make()
    press(hands, pygame.K_RIGHT)
    for _ in range(2):
        hands.handle_event(pygame.event.Event(pygame.QUIT))
    assert hands.trial.closed


def test_a_run_stops_when_the_window_is_closed(make: Callable[..., Hands]) -> None:
    hands = make(terms=Terms(walkers=30, seconds=1e6))
    trial = hands.trial
    trial.refresh()
    until = time.monotonic() + 300.0
    while trial.races.done == 0.0:
        assert time.monotonic() < until
        time.sleep(0.01)
    trial.close()
    assert trial.join(30.0), "a million seconds of thirty walkers would take far longer"
    assert trial.races.take() is None


def test_of_many_races_the_latest_is_run(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    started: list[float] = []
    go_on = threading.Event()

    def slow(race: Race, tell: Tell[Raced]) -> Raced:
        started.append(race.contest.entrants[0].design.storage.capacitance)
        assert go_on.wait(60.0)
        tell(0.5)
        return run_race(race, tell)

    trial.races = Latest("race", slow)
    trial.refresh()
    while not started:
        time.sleep(0.001)
    trial.dial = dial_number("storage")
    press(hands, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT)
    assert trial.is_stale
    go_on.set()
    settle(hands)
    assert started == [2200e-6, 4700e-6], "what lay between was never begun"
    assert trial.raced is not None
    assert trial.before == ()
    assert "4700 uF" in trial.raced.replay.header["designs"][0]["yaml"]
    scores = trial.raced.scores
    press(hands, pygame.K_u)
    settle(hands)
    assert trial.before == scores


def test_the_first_run_is_shown_while_it_is_under_way(make: Callable[..., Hands]) -> None:
    hands = make(terms=Terms(walkers=20, seconds=5e4))
    trial = hands.trial
    trial.refresh()
    seen: list[float] = []
    until = time.monotonic() + 300.0
    while len(seen) < 3 and trial.races.busy:
        assert time.monotonic() < until
        time.sleep(0.05)
        hands.advance(0.05)
        if trial.is_live and (not seen or trial.until > seen[-1]):
            assert trial.raced is not None
            replay = trial.raced.replay
            seen.append(trial.until)
            assert trial.time_s == trial.until, "the picture goes along"
            assert not trial.is_faded
            assert replay.poses["time_s"].max() <= 5e4 * (0.02 + trial.until / 5e4)
            assert len(np.unique(replay.poses["walker"])) == 20
            assert replay.pulses["start_s"].max() > 0.5 * trial.until
            show(hands)
    assert len(seen) == 3
    assert seen == sorted(seen)
    press(hands, pygame.K_HOME, pygame.K_END)
    assert trial.time_s == trial.seconds or trial.time_s == trial.until


def test_a_run_that_is_soon_replaced_does_not_flicker(make: Callable[..., Hands]) -> None:
    """WCAG 2.3.1: no more than three flashes a second."""
    hands = make()
    trial = hands.trial
    trial.refresh()
    settle(hands)
    go_on = threading.Event()

    def slow(race: Race, tell: Tell[Raced]) -> Raced:
        assert go_on.wait(60.0)
        return run_race(race, tell)

    trial.races.close()
    trial.races = Latest("race", slow)
    press(hands, pygame.K_RIGHT)
    changes = 0
    for _ in range(39):
        hands.advance(0.01)
        assert trial.is_stale
        changes += trial.is_faded
    assert changes == 0
    hands.advance(0.05)
    assert trial.is_faded
    go_on.set()
    settle(hands)
    assert not trial.is_faded


def test_the_view_of_the_run_goes_on_through_a_change(make: Callable[..., Hands]) -> None:
    hands = make()
    trial = hands.trial
    trial.refresh()
    settle(hands)
    assert trial.time_s == 120.0, "the whole run is shown first"
    press(hands, pygame.K_HOME, pygame.K_PERIOD, pygame.K_PERIOD)
    assert trial.time_s == pytest.approx(2.4)
    trial.dial = dial_number("latch")
    press(hands, pygame.K_RIGHT)
    settle(hands)
    assert trial.time_s == pytest.approx(2.4)
    press(hands, pygame.K_SPACE, pygame.K_PLUS)
    assert (trial.playing, trial.speed) == (True, 100.0)
    hands.advance(0.1)
    assert trial.time_s == pytest.approx(12.4)
    hands.advance(60.0)
    assert (trial.playing, trial.time_s) == (False, 120.0)
    press(hands, pygame.K_SPACE, pygame.K_MINUS, pygame.K_MINUS)
    assert (trial.time_s, trial.speed) == (0.0, 20.0)
    bar = hands.layout.bar
    drag(hands, bar.center, (bar.left + 0.25 * bar.width, 0.0))
    assert trial.time_s == pytest.approx(30.0, abs=0.2)
    assert not trial.playing


def test_walkers_without_room_are_told_of(make: Callable[..., Hands]) -> None:
    hands = make(terms=Terms(walkers=400, seconds=60.0))
    trial = hands.trial
    trial.refresh()
    settle(hands)
    assert "start zone" in trial.fault
    assert trial.raced is None
    show(hands)


def test_work_that_crashes_or_fails_is_told_and_the_next_job_is_done() -> None:
    def work(job: int, tell: Tell[int]) -> int:
        tell(0.5)
        if job == 1:
            raise OptionError("no room")
        if job == 2:
            raise ZeroDivisionError
        return job * job

    latest: Latest[int, int] = Latest("squares", work)

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


def test_light_at_the_meter_follows_the_inverse_square(make: Callable[..., Hands]) -> None:
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
    forecast = foresee(Spot(spec, design, (1.0, 0.3)), say_nothing)
    by_kind = light_by_kind(spec, (1.0, 0.3), design.panel.height)
    assert forecast.light == pytest.approx(by_kind.sum())
    weights = panel_weights(design.panel.response)
    current = sum(40e-9 * weight * light for weight, light in zip(weights, by_kind, strict=True))
    assert forecast.point.measured.photocurrent == pytest.approx(current, rel=1e-12)
    assert sum(share for _, share in forecast.kinds) == pytest.approx(1.0, abs=0.01)
    # in daylight alone it is the bench's own answer
    only = spec.model_copy(update={"lamps": ()})
    alone = foresee(Spot(only, design, (1.0, 0.3)), say_nothing)
    assert alone.point == bench_point(design, 1000.0)
    dark = only.model_copy(update={"ambient": only.ambient.model_copy(update={"illuminance": 0.0})})
    assert foresee(Spot(dark, design, (1.0, 0.3)), say_nothing).causes[0][0] == "dim"


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
    make: Callable[..., Hands], size: tuple[int, int]
) -> None:
    hands = make("potting-bench.yaml", "poppy.yaml", "cress.yaml")
    show(hands, size)
    assert hands.scale == scale_of(*size)
    for number, row in enumerate(hands.layout.rows):
        mouse(hands, pygame.MOUSEBUTTONDOWN, (row.left + 3, row.centery))
        assert hands.trial.dial == number
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.scopes[2].center)
    assert SCOPES[hands.trial.scope] == "right"
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.title.center)
    assert hands.trial.chosen == 1
    assert hands.view is not None
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.view(1.85, 0.7))
    assert hands.trial.thing == ("lamps", 0, "place")
    mouse(hands, pygame.MOUSEBUTTONUP, hands.view(1.85, 0.7))
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.buttons[3].center)
    assert hands.question is not None
    assert hands.question.paper is hands.trial.arena


def test_buttons_and_keys_do_the_same(make: Callable[..., Hands]) -> None:
    hands = make()
    press(hands, pygame.K_RIGHT)
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.buttons[0].center)
    assert not hands.trial.unsaved
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.buttons[1].center)
    assert hands.trial.unsaved
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.buttons[4].center)
    assert hands.help_shown
    mouse(hands, pygame.MOUSEBUTTONDOWN, (5, 5))
    assert not hands.help_shown
    mouse(hands, pygame.MOUSEBUTTONDOWN, hands.layout.buttons[2].center)
    assert hands.question is not None


def test_every_key_that_does_something_is_in_the_help(make: Callable[..., Hands]) -> None:
    told = " ".join(keys for keys, _ in HELP)
    hands = make()
    names = {"-": "-", "=": "+", "[-]": "-", "[+]": "+", "+": "+", ",": "comma", ".": "full stop"}
    for key in hands._plain_keys():
        name = pygame.key.name(key)
        assert names.get(name, name.capitalize() if name == "tab" else name) in told or name in ("f1", "f11")
    for key in (pygame.K_h, pygame.K_F1):
        press(hands, key)
        assert hands.help_shown
        show(hands)
        press(hands, key)
        assert not hands.help_shown
    press(hands, pygame.K_t, pygame.K_f)
    assert (hands.dark, hands.full_screen) == (True, True)
    press(hands, pygame.K_TAB)
    assert hands.trial.on_plan
    press(hands, pygame.K_F5, pygame.K_x)
    hands.handle_event(pygame.event.Event(pygame.USEREVENT))
    assert not hands.trial.unsaved


def test_frames_follow_the_state_and_nothing_else(make: Callable[..., Hands]) -> None:
    hands = make("potting-bench.yaml", "poppy.yaml", "cress.yaml")
    show(hands)
    hands.trial.refresh()
    settle(hands)
    first = show(hands)
    np.testing.assert_array_equal(show(hands), first)
    for key in (pygame.K_HOME, pygame.K_s, pygame.K_d, pygame.K_TAB, pygame.K_n, pygame.K_t, pygame.K_w):
        before = show(hands)
        press(hands, key)
        assert (show(hands) != before).any(), pygame.key.name(key)
    for size in ((1920, 1080), (640, 480), (1, 1)):
        assert show(hands, size).shape == (*size, 3)


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
    assert exit_of("open-bench", "--design", "poppy", "--duration", "100000") == 0
    assert not set(threading.enumerate()) - others, "nothing goes on once the window is closed"
