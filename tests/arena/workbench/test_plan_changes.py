"""Things put on the plan, taken out, turned and stretched; and the text that comes of it."""

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from agents.errors import WorkError
from agents.text.shipped import find_document, shipped_names
from agents.text.yaml_text import layout_of, plain_of
from arena.scene.spec import parse_arena
from arena.workbench.asked import AskedList
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of
from arena.workbench.plan_text import with_item, without_item
from replays.drawing.sheet import pygame
from tests.helpers.window_events import press, write
from tests.helpers.workbench import settle, show

CONTROL = pygame.KMOD_LCTRL


@pytest.mark.parametrize("name", shipped_names("arena"))
def test_what_is_put_into_a_file_and_taken_out_again_leaves_it_as_it_was(name: str) -> None:
    text = find_document(name, "arena").read_text(encoding="utf-8")
    plain = plain_of(layout_of(text).root)
    for key in ("walls", "shades", "lamps", "goals", "gates"):
        item = {"name": "a: pot", "outline": "0 0 / 1 0 / 1 1 m"}
        longer = with_item(text, (key,), item)
        there = plain_of(layout_of(longer).root)
        assert there[key] == [*plain.get(key, []), item]
        assert {one: there[one] for one in plain if one != key} == {
            one: plain[one] for one in plain if one != key
        }
        back = without_item(longer, (key,), len(there[key]) - 1)
        assert (plain_of(layout_of(back).root).get(key) or []) == plain.get(key, [])
        if plain.get(key):
            assert back == text, "remarks and all"
        for number in range(len(plain.get(key, []))):
            left = plain_of(layout_of(without_item(text, (key,), number)).root)
            assert left[key] == [one for place, one in enumerate(plain[key]) if place != number]


def test_texts_of_other_shapes() -> None:
    flow = "photodrome: arena 1\nwalls: [{name: a}, {name: b}]  # two\nlasts: 1 min\n"
    assert plain_of(layout_of(with_item(flow, ("walls",), {"name": "c"})).root)["walls"][2] == {"name": "c"}
    assert plain_of(layout_of(without_item(flow, ("walls",), 0)).root)["walls"] == [{"name": "b"}]
    bare = "photodrome: arena 1\nlasts: 1 min"
    assert plain_of(layout_of(with_item(bare, ("lamps",), {"name": "c"})).root)["lamps"] == [{"name": "c"}]
    end = "lasts: 1 min\nwalls:\n- name: a\n- name: b"
    assert plain_of(layout_of(with_item(end, ("walls",), {"name": "c"})).root)["walls"][2] == {"name": "c"}
    assert plain_of(layout_of(without_item(end, ("walls",), 1)).root)["walls"] == [{"name": "a"}]
    with pytest.raises(WorkError, match="no item 3"):
        without_item(end, ("walls",), 2)
    with pytest.raises(WorkError, match="no item 1"):
        without_item(end, ("lamps",), 0)


@pytest.mark.parametrize(
    ("steps", "key"), [(0, "walls"), (1, "shades"), (2, "lamps"), (3, "goals"), (4, "gates")]
)
def test_a_thing_is_put_moved_turned_stretched_and_taken_out_by_keys(
    make: Callable[..., Controller], steps: int, key: str
) -> None:
    controller = make()
    state = controller.state
    text = state.documents.arena.text
    press(controller, pygame.K_INSERT)
    assert isinstance(controller.asked, AskedList)
    show(controller)
    press(controller, *[pygame.K_DOWN] * steps, pygame.K_RETURN)
    things = getattr(arena_of(state.documents.arena), key)
    thing = things[-1]
    assert state.chosen_movable().name == thing.name
    assert state.note == f"{thing.name} put there"
    first = state.chosen_movable().points
    press(controller, pygame.K_RIGHT)
    moved = state.chosen_movable().points
    assert moved[0][0] == pytest.approx(first[0][0] + 0.01)
    press(controller, pygame.K_LEFT, mod=CONTROL)
    if key in ("walls", "shades", "gates"):
        turned = state.chosen_movable().points
        (ax, ay), (bx, by) = moved[0], moved[1]
        (cx, cy), (dx, dy) = turned[0], turned[1]
        angle = math.atan2(dy - cy, dx - cx) - math.atan2(by - ay, bx - ax)
        assert math.degrees(angle) == pytest.approx(5.0, abs=0.2)
        press(controller, pygame.K_UP, mod=CONTROL)
        grown = state.chosen_movable().points
        assert math.dist(grown[0], grown[1]) == pytest.approx(
            1.05 * math.dist(turned[0], turned[1]), rel=5e-3
        )
        press(controller, pygame.K_DOWN, mod=CONTROL)
        press(controller, pygame.K_RIGHT, mod=CONTROL)
        assert state.chosen_movable().points[0] == pytest.approx(moved[0], abs=3e-4)
    else:
        assert ("nothing to turn" in state.note) == (key == "goals")
    show(controller)
    field, value = {"goals": ("radius", "123 mm"), "gates": ("name", "gap")}.get(key, ("height", "123 mm"))
    press(controller, pygame.K_RETURN)
    write(controller, field)
    press(controller, pygame.K_RETURN)
    write(controller, value)
    press(controller, pygame.K_RETURN, pygame.K_ESCAPE)
    changed = getattr(arena_of(state.documents.arena), key)[-1]
    assert getattr(changed, field) == ("gap" if key == "gates" else 0.123)
    press(controller, pygame.K_DELETE)
    assert len(getattr(arena_of(state.documents.arena), key)) == len(things) - 1
    left = plain_of(layout_of(state.documents.arena.text).root)
    # a list that was not there before is left empty
    assert {one: value for one, value in left.items() if value != []} == plain_of(layout_of(text).root)
    press(controller, *[pygame.K_u] * 12)
    assert state.documents.arena.text == text


def test_what_cannot_be_is_told_and_nothing_changes(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    state = controller.state
    text = state.documents.arena.text
    press(controller, pygame.K_DELETE)
    assert "choose a wall" in state.note
    press(controller, pygame.K_TAB, pygame.K_DELETE)
    assert "choose a wall" in state.note, "the light meter is in no file"
    press(controller, pygame.K_LEFT, pygame.K_UP, mod=CONTROL)
    assert "nothing to stretch" in state.note
    while state.selection.movable[:2] != ("walls", 0):
        press(controller, pygame.K_m)
    for _ in range(60):
        press(controller, pygame.K_UP, mod=CONTROL)
    assert "seed tray stays as it was: " in state.note
    assert parse_arena(state.documents.arena.text, "a wall as large as can be")
    # the lamp's beam turns about the lamp
    while state.selection.movable != ("lamps", 0, "place"):
        press(controller, pygame.K_m)
    aim = arena_of(state.documents.arena).lamps[0].aim
    assert aim is not None
    press(controller, pygame.K_LEFT, mod=CONTROL)
    lamp = arena_of(state.documents.arena).lamps[0]
    assert lamp.aim is not None
    assert math.dist(lamp.place, lamp.aim) == pytest.approx(math.dist(lamp.place, aim), abs=2e-4)
    assert lamp.aim != aim
    # an arena that needs its only lamp keeps it, or goes without
    press(controller, pygame.K_DELETE)
    settle(controller)
    show(controller)
    press(controller, *[pygame.K_u] * 80)
    assert state.documents.arena.text == text


def test_the_floor_comes_closer_and_walkers_tell_their_causes(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml")
    state = controller.state
    press(controller, pygame.K_w)
    assert state.note == "there is no run yet"
    state.refresh()
    settle(controller)
    show(controller)
    assert controller.view is not None
    whole = controller.view
    race = state.background.race
    assert race is not None
    press(controller, pygame.K_HOME)
    x, y = (float(race.replay.poses[key][race.replay.poses["walker"] == 1][0]) for key in ("x", "y"))
    from tests.helpers.window_events import mouse

    mouse(controller, pygame.MOUSEBUTTONDOWN, whole(x, y))
    mouse(controller, pygame.MOUSEBUTTONUP, whole(x, y))
    if controller.walkers.chosen is None:
        assert state.selection.on_plan, "something else lay there"
        press(controller, pygame.K_w, pygame.K_w)
    assert controller.walkers.chosen == 1
    show(controller)
    press(controller, pygame.K_w)
    assert controller.walkers.chosen == 0
    press(controller, pygame.K_w, mod=pygame.KMOD_LSHIFT)
    assert controller.walkers.chosen == 1
    press(controller, pygame.K_ESCAPE)
    assert controller.walkers.chosen is None
    press(controller, pygame.K_c)
    assert controller.walkers.chosen == 0
    press(controller, pygame.K_c)
    assert controller.walkers.chosen is None
    press(controller, pygame.K_PLUS, pygame.K_PLUS)
    show(controller)
    assert controller.view.zoom == pytest.approx(1.25**2 * whole.zoom)
    middle = controller.layout.plan.center
    before = controller.view.place(middle)
    empty = (controller.layout.plan.left + 6, controller.layout.plan.top + 6)
    mouse(controller, pygame.MOUSEBUTTONDOWN, empty)
    mouse(controller, pygame.MOUSEMOTION, (empty[0] + 60, empty[1] + 20))
    controller.advance(0.01)
    mouse(controller, pygame.MOUSEBUTTONUP, (empty[0] + 60, empty[1] + 20))
    show(controller)
    after = controller.view.place(middle)
    assert after[0] < before[0]
    press(controller, pygame.K_0)
    show(controller)
    assert controller.view == whole
    wheel = pygame.event.Event(pygame.MOUSEWHEEL, y=1)
    mouse(controller, pygame.MOUSEMOTION, middle)
    controller.handle_event(wheel)
    press(controller, pygame.K_MINUS, pygame.K_MINUS, pygame.K_MINUS)
    show(controller)
    assert controller.view == whole


def test_start_places_are_added_taken_out_and_exchanged_for_a_zone(make: Callable[..., Controller]) -> None:
    controller = make("leaf-shade")
    state = controller.state
    zone = arena_of(state.documents.arena).starts.zone
    assert zone is not None
    text = state.documents.arena.text
    press(controller, pygame.K_m, pygame.K_INSERT)
    write(controller, "start place")
    press(controller, pygame.K_RETURN)
    starts = arena_of(state.documents.arena).starts
    assert (starts.zone, len(starts.places or ())) == (None, 1)
    assert state.selection.movable == ("starts", "places", 0, "place")
    press(controller, pygame.K_INSERT)
    write(controller, "start place")
    press(controller, pygame.K_RETURN)
    assert len(arena_of(state.documents.arena).starts.places or ()) == 2
    assert "start 2 put there" in state.note
    # where its nose points
    press(controller, pygame.K_RETURN)
    write(controller, "heading")
    press(controller, pygame.K_RETURN)
    write(controller, "90 deg")
    press(controller, pygame.K_RETURN, pygame.K_ESCAPE)
    places = arena_of(state.documents.arena).starts.places
    assert places is not None
    assert places[1].heading == pytest.approx(math.pi / 2)
    press(controller, pygame.K_DELETE)
    assert len(arena_of(state.documents.arena).starts.places or ()) == 1
    press(controller, *[pygame.K_m] * 2)
    while state.chosen_movable().kind != "start":
        press(controller, pygame.K_m)
    press(controller, pygame.K_DELETE)
    assert "stays" in state.note, "somebody has to start"
    press(controller, pygame.K_INSERT)
    write(controller, "start zone")
    press(controller, pygame.K_RETURN)
    starts = arena_of(state.documents.arena).starts
    assert starts.places is None
    assert starts.zone is not None
    assert starts.zone.number == 1
    while state.documents.arena.text != text:
        press(controller, pygame.K_u)
        assert "nothing is left" not in state.note


def test_an_arena_with_start_places_gets_one_more(make: Callable[..., Controller]) -> None:
    for name in shipped_names("arena"):
        controller = make(name)
        state = controller.state
        places = arena_of(state.documents.arena).starts.places
        if places is None:
            continue
        while state.chosen_movable().kind != "start":
            press(controller, pygame.K_m)
        press(controller, pygame.K_INSERT)
        write(controller, "start place")
        press(controller, pygame.K_RETURN)
        assert len(arena_of(state.documents.arena).starts.places or ()) == len(places) + 1, state.note
