"""Keys, help and buttons come from one table, and the table is what the controller does."""

from collections.abc import Callable

import pytest

from arena.workbench.asked import Question
from arena.workbench.controller import Controller
from arena.workbench.workbench_keys import BUTTONS, FILE_NAME_KEYS, MODES, UNSAVED_KEYS, WORKBENCH_KEYS
from replays.drawing.sheet import Sheet, pygame
from replays.window.held_keys import ARROWS
from replays.window.key_meanings import DIAL_MODE, FLOOR_MODE, MEANINGS, PLAN_MODE, TIME_MODE, bound
from replays.window.key_tables import Key
from replays.window.replay_keys import REPLAY_KEYS
from tests.helpers.window_events import mouse, press
from tests.helpers.workbench import show


def test_what_each_key_asks_for_is_done_and_all_that_is_done_has_a_key(
    make: Callable[..., Controller],
) -> None:
    controller = make()
    assert sorted({binding.action for binding in WORKBENCH_KEYS.bindings}) == sorted(controller.actions)
    document = controller.state.documents.arena
    for question, table in ((Question(None), UNSAVED_KEYS), (Question(document), FILE_NAME_KEYS)):
        assert sorted(binding.action for binding in table.bindings) == sorted(controller.answers(question))
    for button in BUTTONS:
        assert WORKBENCH_KEYS.key_of(button.action) == button.key


def test_no_key_has_two_meanings_at_a_time() -> None:
    for table in (WORKBENCH_KEYS, UNSAVED_KEYS, FILE_NAME_KEYS):
        for mode in MODES:
            mine = [binding for binding in table.bindings if binding.mode in ("", mode)]
            keys = [key for binding in mine for key in binding.keys + binding.others]
            assert len(keys) == len(set(keys))


def test_each_key_reaches_its_action_and_no_other(
    make: Callable[..., Controller], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    controller = make()
    heard = {name: lambda name=name: asked.append(name) for name in controller.actions}
    monkeypatch.setattr(Controller, "actions", heard)
    for binding in WORKBENCH_KEYS.bindings:
        for mode in MODES:
            if binding.mode not in ("", mode):
                continue
            controller.state.selection.mode = mode
            for key in binding.keys + binding.others:
                for control in (pygame.KMOD_LCTRL, pygame.KMOD_RMETA) if key.control else (0,):
                    press(controller, key.code, mod=control | pygame.KMOD_LSHIFT * key.shift)
                    assert asked == [binding.action]
                    asked.clear()
    press(controller, pygame.K_q, pygame.K_LEFT, pygame.K_TAB, mod=pygame.KMOD_LCTRL)
    press(controller, pygame.K_q, pygame.K_s, mod=pygame.KMOD_LALT)
    assert asked == [], "keys of the system are left alone"
    press(controller, pygame.K_TAB, pygame.K_s, mod=pygame.KMOD_LSHIFT)
    assert asked == ["change mode", "save design"], "shift makes no difference to a key of one meaning"


def test_the_help_names_every_key_once(
    make: Callable[..., Controller], monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[str] = []
    text = Sheet.text

    def noted(self: Sheet, words: str, *rest: object, **more: object) -> None:
        written.append(words)
        text(self, words, *rest, **more)  # type: ignore[arg-type]

    controller = make()
    press(controller, pygame.K_h)
    monkeypatch.setattr(Sheet, "text", noted)
    show(controller)
    lines = WORKBENCH_KEYS.help_lines
    assert len({line.words for line in lines}) == len(lines)
    for line in lines:
        assert set(written) >= {line.keys, line.words}, "whole, not cut off"
        told = f"{line.keys} {line.words}".lower().replace("arrows", "left right up down")
        told_words = told.replace(",", " ").replace(";", " ").split()
        for binding in line.bindings:
            assert sum(binding in other.bindings for other in lines) == 1
            for word in binding.keys[0].name.lower().split():
                assert word in told_words, binding.action


def test_every_key_of_both_windows_comes_from_the_one_table() -> None:
    for table in (REPLAY_KEYS, WORKBENCH_KEYS):
        for binding in table.bindings:
            assert binding in MEANINGS, binding
        for action in {binding.action for binding in table.bindings}:
            told = [binding for binding in table.bindings if binding.action == action]
            assert told == list(bound(action)), "all of its keys, wherever it can be asked for"
    with pytest.raises(ValueError, match="dance has no key"):
        bound("dance")


def test_no_key_means_two_things_in_one_window_or_another() -> None:
    modes = {binding.mode for binding in MEANINGS}
    assert modes == {"", TIME_MODE, FLOOR_MODE, DIAL_MODE, PLAN_MODE}
    for mode in modes - {""}:
        means: dict[Key, str] = {}
        for binding in MEANINGS:
            for key in binding.keys + binding.others:
                if binding.mode in ("", mode):
                    assert means.setdefault(key, binding.action) == binding.action, key.name
    by_mode = {key.code for one in MEANINGS if one.mode for key in one.keys + one.others}
    assert by_mode == set(ARROWS), "only the arrows are for what has them"
    assert not by_mode & {key.code for one in MEANINGS if not one.mode for key in one.keys + one.others}


def test_buttons_and_keys_do_the_same(make: Callable[..., Controller]) -> None:
    controller = make()
    press(controller, pygame.K_RIGHT)
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[0].center)
    assert not controller.state.documents.unsaved
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[1].center)
    assert controller.state.documents.unsaved
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[4].center)
    assert controller.help.is_shown
    mouse(controller, pygame.MOUSEBUTTONDOWN, (5, 5))
    assert not controller.help.is_shown
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[2].center)
    assert controller.question is not None


def test_help_and_colours_come_and_go_by_their_keys(make: Callable[..., Controller]) -> None:
    controller = make()
    for key in (pygame.K_h, pygame.K_F1):
        press(controller, key)
        assert controller.help.is_shown
        show(controller)
        press(controller, key)
        assert not controller.help.is_shown
    press(controller, pygame.K_t, pygame.K_f)
    assert (controller.dark, controller.full_screen) == (True, True)
    press(controller, pygame.K_TAB)
    assert controller.state.selection.on_plan
    before = controller.state.transport.time_s
    press(controller, pygame.K_TAB, pygame.K_UP)
    assert controller.state.selection.mode == TIME_MODE
    assert controller.state.transport.speed > 50.0
    assert controller.state.transport.time_s == before
    press(controller, pygame.K_TAB)
    assert controller.state.selection.mode == DIAL_MODE
    press(controller, pygame.K_F5, pygame.K_x)
    controller.handle_event(pygame.event.Event(pygame.USEREVENT))
    assert not controller.state.documents.unsaved
