"""Values that are written, reset and found in a list, and files that are opened or begun."""

from collections.abc import Callable
from pathlib import Path

import pytest

from agents.design.spec import Design, parse_design
from agents.text.shapes import field_table
from agents.text.shipped import shipped_names
from arena.workbench.asked import AskedList, Writing
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of, design_of
from arena.workbench.values import arena_rows, design_rows
from replays.drawing.sheet import pygame
from tests.helpers.window_events import mouse, press, write
from tests.helpers.workbench import dial_number, settle, show


def test_a_value_is_written_like_in_a_file_and_refused_like_there(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    state.selection.dial = dial_number("latch")
    text = state.document.text
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    show(controller)
    for wrong, told in (
        ("2k2 F", "both.latch"),
        ("much", "both.latch"),
        ("nan", "both.latch"),
        ("-3k", "both.latch"),
        ("1e99", "both.latch"),
        ("{a: 1}", "both.latch"),
    ):
        write(controller, wrong)
        press(controller, pygame.K_RETURN)
        assert isinstance(controller.asked, Writing), wrong
        assert told in controller.asked.note
        assert "poppy.yaml" in controller.asked.note, "as a file is told of, with its place"
        assert state.document.text == text
        show(controller)
        press(controller, *[pygame.K_BACKSPACE] * len(controller.asked.text))
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    assert controller.asked.note == "write a value"
    write(controller, "1k23")
    press(controller, pygame.K_RETURN)
    assert controller.asked is None
    assert {design_of(state.document).left.latch, design_of(state.document).right.latch} == {1230.0}
    assert "latch: 1k23" in state.document.text
    press(controller, pygame.K_BACKSPACE)
    assert state.document.text == text
    press(controller, pygame.K_BACKSPACE)
    assert state.note == "latch is as the file has it"
    press(controller, pygame.K_u)
    assert design_of(state.document).left.latch == 1230.0
    # one side alone
    press(controller, pygame.K_o, pygame.K_o, pygame.K_RETURN)
    write(controller, "47k")
    press(controller, pygame.K_RETURN)
    assert design_of(state.document).right.latch == 47e3
    assert design_of(state.document).left.latch == 1230.0
    # what the dial calls spacing is written as spacing
    press(controller, pygame.K_o)
    state.selection.dial = dial_number("eye spacing")
    press(controller, pygame.K_RETURN)
    write(controller, "far")
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    assert controller.asked.note
    press(controller, *[pygame.K_BACKSPACE] * 3)
    write(controller, "55 mm")
    press(controller, pygame.K_RETURN)
    assert design_of(state.document).left.eye.aside == 0.0275
    assert state.selection.the_dial.shown(state.design) == "55 mm"


def test_every_value_of_a_design_is_in_the_list() -> None:
    """All fields of the reference; a part is told by its values, or in one line where it may be left out."""
    design = parse_design("photodrome: design 1\nname: all\nspread: {both.latch: {uniform: 5 %}}\n", "all")
    places = {".".join(map(str, row.place)) for row in design_rows(design, "both")}
    left_out = []
    for row in field_table(Design):
        if row.key.startswith("right") or "[]" in row.key:
            continue
        path = row.key.replace("left.", "both.") if row.key.startswith("left.") else row.key
        if path not in places:
            left_out.append(path)
    assert set(left_out) <= {
        *("panel", "storage", "left", "body", "spread"),
        *(f"both.{part}" for part in ("eye", "npn", "pnp", "motor", "tyre")),
    }
    assert {"spread.both.latch", "both.whisker", "both.eye.table", "panel.label"} <= places
    assert len(places) > 50


def test_any_field_is_found_written_and_taken_back(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    text = state.document.text
    press(controller, pygame.K_F4)
    asked = controller.asked
    assert isinstance(asked, AskedList)
    write(controller, "loss of heat")
    assert [line.words for line in asked.shown if line.take] == ["loss of heat"]
    press(controller, pygame.K_RETURN)
    write(controller, "31 W/m2K")
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, AskedList), "back in the list"
    assert controller.asked.chosen is not None
    assert controller.asked.chosen.detail == "31 W/m2K"
    show(controller)
    press(controller, pygame.K_ESCAPE, pygame.K_u)
    assert state.document.text == text
    # what the rest of the file does not allow, and what must not be left out
    press(controller, pygame.K_F4)
    write(controller, "feeler resistor")
    press(controller, pygame.K_RETURN)
    write(controller, "none")
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    assert "spread.both.feeler" in controller.asked.note, "a part with a tolerance has to be there"
    press(controller, pygame.K_ESCAPE, pygame.K_ESCAPE)
    press(controller, pygame.K_F4)
    write(controller, "capacitance")
    press(controller, pygame.K_RETURN)
    write(controller, "none")
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    assert "storage.capacitance" in controller.asked.note
    press(controller, pygame.K_ESCAPE, pygame.K_ESCAPE)
    assert controller.asked is None


def type_in(controller: Controller, text: str) -> None:
    """Write over what is asked for, and set it."""
    write(controller, text)
    press(controller, pygame.K_RETURN)


def pick(controller: Controller, part: str) -> None:
    """Take the line of a list that holds a part."""
    assert isinstance(controller.asked, AskedList)
    type_in(controller, part)


def test_a_bench_table_is_written_row_by_row_and_left_out_again(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    text = state.document.text
    press(controller, pygame.K_F4)
    pick(controller, "bench table")
    assert isinstance(controller.asked, AskedList)
    show(controller)
    pick(controller, "one more row")
    # one row alone is no table, and what is wrong with it is told like of a file
    for wrong in ("light 100 lx", "light 100 lx, trigger 2.3 V", "light 1 V, trigger 2 V; light 2 lx", "?"):
        type_in(controller, wrong)
        assert isinstance(controller.asked, Writing), wrong
        assert controller.asked.note
        show(controller)
        press(controller, *[pygame.K_BACKSPACE] * len(wrong))
    type_in(controller, "light 100 lx, trigger 2.3 V; light: 1 klx, trigger: 2.8 V")
    rows = [(row.light, row.trigger) for row in design_of(state.document).left.eye.table]
    assert rows == [(100.0, 2.3), (1000.0, 2.8)]
    assert design_of(state.document).right.eye.table == design_of(state.document).left.eye.table
    pick(controller, "row 2")
    assert isinstance(controller.asked, Writing)
    assert controller.asked.text == "light 1 klx, trigger 2.8 V"
    # the cursor goes along it
    press(controller, pygame.K_END, *[pygame.K_LEFT] * 2, pygame.K_BACKSPACE)
    type_in(controller, "9")
    assert design_of(state.document).right.eye.table[1].trigger == 2.9
    pick(controller, "one more")
    type_in(controller, "light 10 klx, trigger 3.3 V")
    pick(controller, "row 1")
    type_in(controller, "none")
    assert [row.light for row in design_of(state.document).left.eye.table] == [1e3, 1e4]
    pick(controller, "leave all")
    assert design_of(state.document).left.eye.table == ()
    assert state.document.text == text, "and the file is as it was"
    assert isinstance(controller.asked, AskedList)
    press(controller, pygame.K_ESCAPE, *[pygame.K_u] * 5)
    assert state.document.text == text


def test_a_label_of_the_panel_is_written(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_F4)
    pick(controller, "what label or meter say")
    pick(controller, "one more row")
    type_in(controller, "light 109.5 klx, open_circuit 4.6 V, short_circuit 5 mA")
    assert isinstance(controller.asked, Writing)
    assert "cells" in controller.asked.note, "which one reading cannot do without"
    press(controller, pygame.K_END)
    type_in(controller, ", best_voltage 3.9 V, best_current 4.5 mA")
    panel = design_of(state.document).panel
    assert panel.label[0].best_current == 4.5e-3
    press(controller, pygame.K_ESCAPE)
    settle(controller)
    assert not state.fault


def test_a_whole_part_is_left_out_and_put_back(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    text = state.document.text
    press(controller, pygame.K_F4)
    pick(controller, "feeler wire with its switch")
    assert isinstance(controller.asked, Writing)
    assert "length 50 mm" in controller.asked.text
    type_in(controller, "none")
    assert design_of(state.document).left.whisker is None
    assert "whisker: none" in state.document.text
    assert "track: 42 mm" in state.document.text, "what follows stays"
    pick(controller, "feeler wire with its switch")
    type_in(controller, "length 40 mm, outward 30 deg")
    assert design_of(state.document).right.whisker is not None
    assert design_of(state.document).right.whisker.length == 0.04
    press(controller, pygame.K_ESCAPE, pygame.K_u, pygame.K_u)
    assert state.document.text == text
    # one side alone
    press(controller, pygame.K_o, pygame.K_F4)
    pick(controller, "feeler wire with its switch")
    type_in(controller, "none")
    assert design_of(state.document).left.whisker is None
    assert design_of(state.document).right.whisker is not None


def test_tolerances_are_added_changed_and_taken_out(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_F4)
    pick(controller, "one more tolerance")
    assert isinstance(controller.asked, AskedList)
    show(controller)
    assert "both.latch" not in [line.detail for line in controller.asked.choices], "it has one"
    pick(controller, "both.eye.slope")
    for wrong in ("uniform", "5 %", "uniform 5 mA", "uniform 5 %, bound 9 %", "wide 3 %"):
        type_in(controller, wrong)
        assert isinstance(controller.asked, Writing), wrong
        assert controller.asked.note
        press(controller, *[pygame.K_BACKSPACE] * len(wrong))
    type_in(controller, "normal 20 mV/decade, bound 60 mV/decade")
    assert design_of(state.document).spread["both.eye.slope"].bound == "60 mV/decade"
    pick(controller, "both.latch")
    type_in(controller, "normal 3 %")
    spread = design_of(state.document).spread["both.latch"]
    assert (spread.normal, spread.uniform) == ("3 %", None)
    pick(controller, "both.latch")
    type_in(controller, "none")
    assert "both.latch" not in design_of(state.document).spread
    assert "# electrolytics are loose" in state.document.text, "remarks stay"


def test_a_lamp_is_given_a_flux_in_place_of_an_intensity(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_m)
    while state.selection.movable != ("lamps", 0, "place"):
        press(controller, pygame.K_m)
    press(controller, pygame.K_RETURN)
    pick(controller, "all of it, in a line")
    assert isinstance(controller.asked, Writing)
    line = controller.asked.text
    assert "intensity" in line
    show(controller, (640, 480))
    wrong = f"{line}, flux 800 lm"
    type_in(controller, wrong)
    assert isinstance(controller.asked, Writing)
    assert "beside intensity" in controller.asked.note
    press(controller, *[pygame.K_BACKSPACE] * len(wrong))
    parts = [part for part in line.split(", ") if not part.startswith(("intensity", "beam", "aim"))]
    type_in(controller, ", ".join([*parts, "flux 800 lm"]))
    lamp = arena_of(state.documents.arena).lamps[0]
    assert (lamp.flux, lamp.intensity, lamp.aim) == (800.0, None, None)
    press(controller, pygame.K_ESCAPE, pygame.K_u)
    assert not state.documents.arena.is_changed


def test_undo_goes_back_over_files_that_were_opened_and_begun(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    state.selection.dial = dial_number("latch")
    press(controller, pygame.K_RIGHT)
    changed = state.document.text
    press(controller, pygame.K_F7)
    pick(controller, "cress.yaml")
    assert isinstance(controller.asked, AskedList)
    assert any("undo brings this one back" in line.words for line in controller.asked.choices)
    press(controller, pygame.K_UP, pygame.K_RETURN)
    assert design_of(state.document).name == "cress"
    press(controller, pygame.K_F8)
    pick(controller, "open-bench.yaml")
    meter = state.floor.meter
    press(controller, pygame.K_F9, mod=pygame.KMOD_LSHIFT)
    type_in(controller, "my bench")
    assert arena_of(state.documents.arena).name == "my bench"
    press(controller, pygame.K_u)
    assert arena_of(state.documents.arena).name == "open bench"
    assert (state.floor.arena, state.floor.meter) == (state.documents.arena, meter)
    assert (folder / "my-bench.yaml").exists(), "what was written stays"
    press(controller, pygame.K_u)
    assert arena_of(state.floor.arena).name == "potting bench"
    assert "open-bench.yaml in place of potting-bench.yaml" in state.note
    press(controller, pygame.K_u)
    assert state.document.text == changed
    assert state.document.path.name == "poppy.yaml"
    assert state.document.is_changed
    press(controller, pygame.K_u)
    assert not state.documents.unsaved
    press(controller, *[pygame.K_r] * 4)
    assert design_of(state.document).name == "cress"
    assert arena_of(state.documents.arena).name == "my bench"
    settle(controller)
    assert state.background.race is not None
    assert state.background.race.replay.arena["name"] == "my bench"


def test_lists_by_keys_and_mouse(make: Callable[..., Controller]) -> None:
    controller = make()
    press(controller, pygame.K_F4)
    asked = controller.asked
    assert isinstance(asked, AskedList)
    assert asked.shown[0].take is None
    assert asked.place == 1
    press(controller, pygame.K_UP)
    assert asked.place == 1, "a heading is never chosen"
    press(controller, pygame.K_PAGEDOWN, pygame.K_PAGEDOWN, pygame.K_UP, pygame.K_PAGEUP)
    for _ in range(200):
        press(controller, pygame.K_DOWN)
    assert asked.place == len(asked.shown) - 1
    show(controller)
    write(controller, "nothing has this")
    assert asked.chosen is None
    press(controller, pygame.K_RETURN)
    assert controller.asked is asked
    show(controller)
    press(controller, *[pygame.K_BACKSPACE] * 20)
    show(controller, (640, 480))
    show(controller)
    number, row = next(iter(controller.asked_rows.items()))
    mouse(controller, pygame.MOUSEBUTTONDOWN, row.center)
    assert isinstance(controller.asked, Writing)
    assert controller.asked.title == asked.shown[number].words
    show(controller)
    mouse(controller, pygame.MOUSEBUTTONDOWN, (4, 4))
    assert controller.asked is None


def test_values_of_what_is_chosen_on_the_plan_and_of_the_arena(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_m)
    while state.selection.movable != ("lamps", 0, "place"):
        press(controller, pygame.K_m)
    press(controller, pygame.K_RETURN)
    asked = controller.asked
    assert isinstance(asked, AskedList)
    words = [line.words for line in asked.shown]
    assert {"intensity", "height", "about"} <= set(words)
    write(controller, "intensity")
    press(controller, pygame.K_RETURN)
    write(controller, "9 kcd")
    press(controller, pygame.K_RETURN, pygame.K_ESCAPE)
    assert arena_of(state.documents.arena).lamps[0].intensity == 9e3
    press(controller, pygame.K_u)
    assert not state.documents.arena.is_changed
    assert arena_rows(arena_of(state.documents.arena), ("meter",))


@pytest.mark.parametrize("kind", ["design", "arena"])
def test_another_file_from_the_list(make: Callable[..., Controller], folder: Path, kind: str) -> None:
    (folder / "broken.yaml").write_text(f"photodrome: {kind} 1\nname: 7\nnonsense: 3\n", encoding="utf-8")
    (folder / "picture.yaml").write_bytes(b"\xff\xfe\x00")
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    opener = pygame.K_F7 if kind == "design" else pygame.K_F8
    press(controller, opener)
    asked = controller.asked
    assert isinstance(asked, AskedList)
    words = [line.words for line in asked.shown if line.take]
    assert {"poppy.yaml", "cress.yaml"} <= set(words) if kind == "design" else "open-bench.yaml" in words
    assert set(shipped_names(kind)) <= set(words)
    assert "picture.yaml" not in words
    show(controller)
    write(controller, "broken")
    press(controller, pygame.K_RETURN)
    assert "broken.yaml" in state.note, "what cannot be read is told"
    assert design_of(state.document).name == "poppy"
    assert arena_of(state.documents.arena).name == "potting bench"
    press(controller, opener)
    write(controller, "cress.yaml" if kind == "design" else "open-bench.yaml")
    press(controller, pygame.K_RETURN)
    assert controller.asked is None
    settle(controller)
    assert state.background.race is not None
    if kind == "design":
        assert state.background.race.replay.design_names == ["cress"]
        press(controller, pygame.K_RIGHT)
    else:
        assert state.background.race.replay.arena["name"] == "open bench"
        press(controller, pygame.K_m, pygame.K_RIGHT, pygame.K_m)
        while not state.documents.arena.is_changed:
            press(controller, pygame.K_m, pygame.K_RIGHT)
    # changes are not lost unasked
    press(controller, opener)
    write(controller, shipped_names(kind)[0])
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, AskedList)
    assert "not saved" in controller.asked.title
    press(controller, pygame.K_RETURN)
    assert state.documents.unsaved
    show(controller)


def test_a_new_file_is_begun_from_within(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    press(controller, pygame.K_F9)
    for wrong in ("../carrot", "poppy", "a" * 80, "con"):
        write(controller, wrong)
        press(controller, pygame.K_RETURN)
        assert isinstance(controller.asked, Writing)
        assert controller.asked.note
        press(controller, *[pygame.K_BACKSPACE] * len(wrong))
    write(controller, "fast carrot")
    press(controller, pygame.K_RETURN)
    assert controller.asked is None
    assert design_of(state.document).name == "fast carrot"
    assert (
        parse_design((folder / "fast-carrot.yaml").read_text(encoding="utf-8"), "new").name == "fast carrot"
    )
    press(controller, pygame.K_F9)
    write(controller, "fast carrot")
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    assert "there already" in controller.asked.note
    press(controller, pygame.K_ESCAPE)
    press(controller, pygame.K_F9, mod=pygame.KMOD_LSHIFT)
    write(controller, "my bench")
    press(controller, pygame.K_RETURN)
    assert arena_of(state.documents.arena).name == "my bench"
    settle(controller)
    assert not state.fault
    press(controller, pygame.K_RIGHT, pygame.K_F9)
    write(controller, "slow carrot")
    press(controller, pygame.K_RETURN)
    assert isinstance(controller.asked, Writing)
    assert "not saved" in controller.asked.note
