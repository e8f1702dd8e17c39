"""What keys and mouse do on the workbench. Nothing here draws."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from agents.errors import PhotodromeError
from arena.workbench.asked import Asked, AskedList, Question
from arena.workbench.documents import Document, first_line
from arena.workbench.editing import reset_value
from arena.workbench.layout import LETTERS, WorkbenchLayout, lay_out_workbench
from arena.workbench.lists import cure_list, dial_writing, file_list, new_file, value_list
from arena.workbench.movables import movable_at
from arena.workbench.plan_changes import new_thing_list, remove, stretch, turn
from arena.workbench.state import WorkbenchState
from arena.workbench.walker_choice import WalkerChoice, walker_at
from arena.workbench.workbench_keys import (
    BUTTONS,
    FILE_NAME_KEYS,
    UNSAVED_KEYS,
    WORKBENCH_KEYS,
)
from replays.drawing.layout import Box
from replays.drawing.metres_to_points import Point, View
from replays.drawing.sheet import pygame
from replays.window.buttons_and_cards import HelpCard
from replays.window.camera import STEP, Camera

# How near [points] to a thing a click has to be.
_REACH = 16.0
_STEP, _FINE_STEP = 0.01, 0.001
_MANY = 5
# Across and along: an arrow on the plan goes where it points.
_WAYS = {"west": (-1, 0), "east": (1, 0), "north": (0, 1), "south": (0, -1)}


def _box(rect: pygame.Rect) -> Box:
    return Box(*map(float, rect))


@dataclass
class Controller:
    """Turns events into what happens to ``state``.

    Whoever draws keeps ``layout``, ``view`` and ``scale``, pixels a point, up to date, and where the card of
    what is ``asked`` lies with the lines of a list, by number.
    """

    state: WorkbenchState
    layout: WorkbenchLayout = field(default_factory=lambda: lay_out_workbench(1280, 760))
    view: View | None = None
    scale: float = 1.0
    question: Question | None = None
    asked: Asked | None = None
    asked_card: pygame.Rect = field(default_factory=lambda: pygame.Rect(0, 0, 0, 0))
    asked_rows: dict[int, pygame.Rect] = field(default_factory=dict)
    help: HelpCard = field(default_factory=lambda: HelpCard(WORKBENCH_KEYS))
    camera: Camera | None = None
    panel_shown: bool = True
    larger: int = 0
    walkers: WalkerChoice = field(default_factory=WalkerChoice)
    dark: bool = False
    full_screen: bool = False
    _holds: str = ""
    _from: tuple[float, float] = (0.0, 0.0)
    _pointer: Point | None = None
    _over: Point = (0.0, 0.0)
    _gestures: int = 0

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what ``event`` asks for; events of no meaning here do nothing."""
        if event.type == pygame.QUIT:
            self.leave()
        elif event.type == pygame.KEYDOWN:
            self._key(event)
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            # whatever has come up meanwhile, what is let go of is held no longer
            self._release(self._points(event.pos))
        elif self.asked is not None:
            if event.type == pygame.MOUSEBUTTONDOWN:
                self._press_asked(event)
        elif self.question is not None or self.help.is_shown:
            if event.type == pygame.MOUSEBUTTONDOWN and self.help.is_shown:
                self.help.put_away()
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._press(self._points(event.pos))
        elif event.type == pygame.MOUSEMOTION:
            self._over = self._points(event.pos)
            # of many motions within a frame the last one counts
            self._pointer = self._over if self._holds else None
        elif event.type == pygame.MOUSEWHEEL:
            self._wheel(event.y, self._over)

    def _points(self, pixels: tuple[int, int]) -> Point:
        return pixels[0] / self.scale, pixels[1] / self.scale

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] go by."""
        self._follow()
        self.state.advance(elapsed_s)

    def leave(self) -> None:
        """Close, after a question where changes would be lost; asked twice, close."""
        leaving = self.question is not None and self.question.document is None
        if leaving or not self.state.documents.unsaved:
            self.state.close()
        else:
            self.question = Question(None)

    def ask_to_save(self, document: Document) -> None:
        """Ask under which name a document is to be saved."""
        if document.fault:
            self.state.note = f"not saved, for it could not be read again: {first_line(document.fault)}"
            return
        self.question = Question(document, str(document.proposed_path()))

    def _answer(self, question: Question, event: pygame.event.Event) -> None:
        keys = UNSAVED_KEYS if question.document is None else FILE_NAME_KEYS
        action = keys.action_of(event)
        letters = getattr(event, "unicode", "")
        if action is not None:
            self.answers(question)[action]()
        elif question.document is not None and letters.isprintable() and letters:
            question.text, question.note, question.warned = question.text + letters, "", None

    def answers(self, question: Question) -> dict[str, Callable[[], None]]:
        """What keys can ask for while a question is open, by name."""
        document = question.document
        if document is None:
            return {
                "save": lambda: self.ask_to_save(self.state.documents.unsaved[0]),
                "close": self.state.close,
                "stay": self._stay,
            }
        return {
            "save": lambda: self._save(question, document),
            "stay": self._stay,
            "rub out": lambda: self._rub_out(question),
        }

    def _stay(self) -> None:
        self.question = None

    def _rub_out(self, question: Question) -> None:
        question.text, question.note, question.warned = question.text[:-1], "", None

    def _save(self, question: Question, document: Document) -> None:
        text = question.text.strip()
        if not text:
            question.note = "write a file name"
            return
        try:
            path = Path(text).expanduser()
            if path.suffix.lower() not in (".yaml", ".yml"):
                path = path.with_name(path.name + ".yaml")
            if path.exists() and question.warned != path:
                question.warned = path
                question.note = f"{path.name} is there already; Enter again writes over it"
                if path.resolve() == document.path.resolve() and document.foreign() is not None:
                    question.note = f"{path.name} has changed on disk meanwhile; Enter again writes over it"
                return
            self.state.save(document, path)
        except PhotodromeError as error:
            question.note = first_line(str(error))
            return
        except (OSError, RuntimeError, ValueError) as error:
            # a home of nobody, a folder that may not be looked into, a name too long, no name at all
            question.note = f"nothing can be saved there ({getattr(error, 'strerror', None) or error})"
            return
        self.question = None

    def _key(self, event: pygame.event.Event) -> None:
        if self.question is not None:
            self._answer(self.question, event)
        elif self.asked is not None:
            self.asked = self.asked.key(event)
        elif self.help.is_shown:
            # any other key puts it away
            self._help_key(WORKBENCH_KEYS.action_of(event, self.state.selection.mode))
        else:
            action = WORKBENCH_KEYS.action_of(event, self.state.selection.mode)
            if action is not None:
                self.act(action)

    @property
    def actions(self) -> dict[str, Callable[[], None]]:
        """What keys and buttons can ask for, by name."""
        state = self.state
        return {
            **state.transport.actions,
            "change mode": state.selection.change_mode,
            "dial above": lambda: state.selection.choose_beside(-1),
            "dial below": lambda: state.selection.choose_beside(1),
            "turn down": lambda: state.turn_by(-1),
            "turn up": lambda: state.turn_by(1),
            "turn far down": lambda: state.turn_by(-_MANY),
            "turn far up": lambda: state.turn_by(_MANY),
            "next scope": state.selection.next_scope,
            "next design": state.choose_next_design,
            "next movable": lambda: state.choose_movable_beside(1),
            "last movable": lambda: state.choose_movable_beside(-1),
            **{
                f"{manner} {way}": partial(state.nudge, across * step, along * step)
                for manner, step in (("move", _STEP), ("move finely", _FINE_STEP))
                for way, (across, along) in _WAYS.items()
            },
            "turn left": lambda: turn(state, 1),
            "turn right": lambda: turn(state, -1),
            "grow": lambda: stretch(state, 1),
            "shrink": lambda: stretch(state, -1),
            "put": lambda: self._ask(new_thing_list(state)),
            "take out": lambda: remove(state),
            "closer": lambda: self._come_closer(STEP),
            "away": lambda: self._come_closer(1.0 / STEP),
            "all": self._see_all,
            "more": self._hide_panel,
            "why": self._why,
            "next walker": lambda: self._next_walker(1),
            "previous walker": lambda: self._next_walker(-1),
            "type value": self._write,
            "reset value": lambda: reset_value(state),
            "values": self._list_values,
            "apply cure": state.apply_cure,
            "cures": lambda: self._ask(cure_list(state)),
            "more rounds": state.more_rounds,
            "pin": state.pin,
            "open design": lambda: self._ask(file_list(state, "design")),
            "open arena": lambda: self._ask(file_list(state, "arena")),
            "new design": lambda: self._ask(new_file(state, "design")),
            "new arena": lambda: self._ask(new_file(state, "arena")),
            "undo": state.undo,
            "redo": state.redo,
            "save design": lambda: self.ask_to_save(state.document),
            "save arena": lambda: self.ask_to_save(state.documents.arena),
            "load changed": state.load_changed,
            "keep own": state.keep_own,
            "theme": self._change_theme,
            "larger": self._enlarge,
            "full screen": self._change_screen,
            "help": self.help.turn,
            "close": self.leave,
            "leave": self._escape,
        }

    def act(self, action: str) -> None:
        """Do one of the :attr:`actions`."""
        self.actions[action]()

    def _ask(self, asked: Asked | None) -> None:
        self.asked = asked

    def _list_values(self) -> None:
        self._ask(value_list(self.state, of_arena=self.state.selection.on_plan))

    def _write(self) -> None:
        if self.state.selection.on_plan:
            self._list_values()
        else:
            self._ask(dial_writing(self.state))

    def _press_asked(self, event: pygame.event.Event) -> None:
        """A click beside a card leaves it; one on a line of a list takes that line."""
        place = self._points(event.pos)
        for number, rect in self.asked_rows.items():
            if rect.collidepoint(place) and isinstance(self.asked, AskedList):
                self.asked.place = number
                self.asked = self.asked.answers()["take"]()
                return
        if not self.asked_card.collidepoint(place):
            self.asked = None

    def _come_closer(self, factor: float, place: Point | None = None) -> None:
        if self.camera is not None:
            self.camera.come_closer(_box(self.layout.plan), factor, 0.0, place)

    def _see_all(self) -> None:
        if self.camera is not None:
            self.camera.see_all(_box(self.layout.plan), 0.0)

    def _hide_panel(self) -> None:
        self.panel_shown = not self.panel_shown

    def _why(self) -> None:
        if self.walkers.chosen is None:
            self._next_walker(1)
        else:
            self.walkers.chosen = None

    def _next_walker(self, step: int) -> None:
        race = self.state.background.race
        if race is None:
            self.state.note = "there is no run yet"
            return
        self.walkers.step(len(race.replay.walkers), step)

    def _help_key(self, action: str | None) -> None:
        if action == "help":
            self.help.turn()
        else:
            self.help.put_away()

    def _enlarge(self) -> None:
        self.larger = (self.larger + 1) % len(LETTERS)

    def _change_theme(self) -> None:
        self.dark = not self.dark

    def _change_screen(self) -> None:
        self.full_screen = not self.full_screen

    def _escape(self) -> None:
        if self._holds:
            self._holds, self._pointer = "", None
            self.state.put_back()
        elif self.walkers.chosen is not None:
            self.walkers.chosen = None
        else:
            self.state.selection.go_to_dials()

    def _press(self, place: Point) -> None:
        layout, state = self.layout, self.state
        self._gestures += 1
        for rect, button in zip(layout.buttons, BUTTONS, strict=True):
            if rect.collidepoint(place):
                self.act(button.action)
                return
        for number, rect in enumerate(layout.scopes):
            if rect.collidepoint(place):
                state.selection.scope = number
                return
        if layout.title.collidepoint(place):
            state.choose_next_design()
            return
        for number, rect in enumerate(layout.rows):
            if rect.collidepoint(place):
                state.selection.choose_dial(number)
                if layout.rails[number].inflate(20, 24).collidepoint(place):
                    self._holds = "peg"
                    self._turn_to(place)
                return
        if layout.bar.inflate(0, 18).collidepoint(place):
            self._holds = "bar"
            self._scrub(place)
        elif self.view is not None and layout.plan.inflate(30, 30).collidepoint(place):
            self._grasp(place)

    def _grasp(self, place: Point) -> None:
        assert self.view is not None
        x, y = self.view.place(place)
        movable = movable_at(self.state.floor.movables(), x, y, _REACH / self.view.zoom)
        if movable is None:
            self._grasp_floor(place)
            return
        self._holds, self._from = "movable", (x, y)
        self.state.start_drag(movable)

    def _grasp_floor(self, place: Point) -> None:
        """Choose the walker that is there, or take hold of the floor."""
        assert self.view is not None
        race = self.state.background.race
        if race is not None:
            x, y = self.view.place(place)
            walker = walker_at(race.replay, self.state.transport.time_s, (x, y), _REACH / self.view.zoom)
            if walker is not None:
                self.walkers.chosen = walker
                return
        self.state.selection.go_to_dials()
        self._holds, self._from = "floor", place

    def _follow(self) -> None:
        """Take what is held to where the pointer now is."""
        if self._pointer is None:
            return
        place, self._pointer = self._pointer, None
        if self._holds == "peg":
            self._turn_to(place)
        elif self._holds == "bar":
            self._scrub(place)
        elif self._holds == "floor" and self.camera is not None:
            across, down = place[0] - self._from[0], place[1] - self._from[1]
            self.camera.shift(_box(self.layout.plan), across, down, 0.0)
            self._from = place
        elif self._holds == "movable" and self.view is not None:
            x, y = self.view.place(place)
            self.state.drag_to(x - self._from[0], y - self._from[1])

    def _release(self, place: Point) -> None:
        if self._holds:
            self._pointer = place
            self._follow()
            if self._holds == "movable":
                self.state.drop()
        self._holds = ""

    def _turn_to(self, place: Point) -> None:
        state, rail = self.state, self.layout.rails[self.state.selection.dial]
        dial = state.selection.the_dial
        if state.dial_value() is not None:
            value = dial.at((place[0] - rail.left) / rail.width)
            state.turn(dial, value, f"mouse {self._gestures}")

    def _scrub(self, place: Point) -> None:
        bar = self.layout.bar
        self.state.transport.playing = False
        self.state.transport.go_to((place[0] - bar.left) / bar.width * self.state.transport.seconds)

    def _wheel(self, steps: int, place: Point) -> None:
        for number, row in enumerate(self.layout.rows):
            if row.collidepoint(place):
                self.state.selection.choose_dial(number)
                self.state.turn_by(steps)
                return
        if self.layout.plan.collidepoint(place):
            self._come_closer(STEP**steps, place)
