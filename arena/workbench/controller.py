"""What keys and mouse do on the workbench. Nothing here draws."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from agents.errors import PhotodromeError
from arena.workbench.dials import DIALS, SCOPES
from arena.workbench.documents import Document, first_line
from arena.workbench.layout import BUTTONS, WorkbenchLayout, lay_out
from arena.workbench.movables import movable_at, movable_of
from arena.workbench.state import SPEEDS, WorkbenchState
from replays.drawing.sheet import pygame
from replays.drawing.view import Point, View

HELP = (
    ("Tab", "go from the dials to the plan and back"),
    ("up, down", "dials: choose one"),
    ("left, right", "dials: one stop down or up; with shift, five"),
    ("s", "dials: turn both sides, the left or the right"),
    ("d", "dials: the next design"),
    ("n, p", "plan: the next or the previous thing"),
    ("arrows", "plan: move it 10 mm; with shift, 1 mm"),
    ("mouse", "drag pegs, lamps, walls, shades, starts, the light meter"),
    ("u, r", "undo and redo; ctrl z and ctrl y too"),
    ("w, a", "save the design, save the arena"),
    ("l, k", "a file changed on disk: load it, or keep yours"),
    ("space", "play and stop"),
    ("comma, full stop", "a hundredth of the run back or on"),
    ("home, end", "start or end of the run"),
    ("-, +", "play slower or faster"),
    ("t, f", "lamplight or daylight colours; full screen"),
    ("h, F1", "show or hide this"),
    ("q", "close; Esc leaves what is under way"),
)
"""Keys, and what they do."""

# How near [points] to a thing a click has to be.
_REACH = 16.0
_STEP, _FINE_STEP = 0.01, 0.001
_MANY = 5


@dataclass
class Question:
    """A question that has to be answered first.

    ``document`` is what is to be saved under the name ``text``, or None where the window is to be closed
    although ``unsaved`` documents are left. ``warned`` is the path of which the viewer has been told that a
    file is there.
    """

    document: Document | None
    text: str = ""
    note: str = ""
    warned: Path | None = None


@dataclass
class Controller:
    """Turns events into what happens to ``state``.

    Whoever draws keeps ``layout``, ``view`` and ``scale``, pixels a point, up to date.
    """

    state: WorkbenchState
    layout: WorkbenchLayout = field(default_factory=lambda: lay_out(1280, 760))
    view: View | None = None
    scale: float = 1.0
    question: Question | None = None
    help_shown: bool = False
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
            self._key(event.key, getattr(event, "mod", 0), getattr(event, "unicode", ""))
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            # whatever has come up meanwhile, what is let go of is held no longer
            self._release(self._points(event.pos))
        elif self.question is not None or self.help_shown:
            if event.type == pygame.MOUSEBUTTONDOWN and self.help_shown:
                self.help_shown = False
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
        if leaving or not self.state.unsaved:
            self.state.close()
        else:
            self.question = Question(None)

    def ask_to_save(self, document: Document) -> None:
        """Ask under which name a document is to be saved."""
        if document.fault:
            self.state.note = f"not saved, for it could not be read again: {first_line(document.fault)}"
            return
        self.question = Question(document, str(document.proposed_path()))

    def _answer(self, key: int, letters: str) -> None:
        question = self.question
        assert question is not None
        if key == pygame.K_ESCAPE:
            self.question = None
        elif question.document is None:
            if key in (pygame.K_q, pygame.K_RETURN):
                self.state.close()
            elif key in (pygame.K_w, pygame.K_a):
                self.ask_to_save(self.state.unsaved[0])
        elif key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            self._save(question, question.document)
        elif key == pygame.K_BACKSPACE:
            question.text, question.note, question.warned = question.text[:-1], "", None
        elif letters.isprintable() and letters:
            question.text, question.note, question.warned = question.text + letters, "", None

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

    def _key(self, key: int, mod: int, letters: str) -> None:
        if self.question is not None:
            self._answer(key, letters)
            return
        if self.help_shown:
            self.help_shown = False
            return
        if mod & (pygame.KMOD_CTRL | pygame.KMOD_META):
            key = {
                pygame.K_z: pygame.K_r if mod & pygame.KMOD_SHIFT else pygame.K_u,
                pygame.K_y: pygame.K_r,
                pygame.K_s: pygame.K_w,
            }.get(key, 0)
        act = self._plain_keys().get(key)
        if act is not None:
            act()
        elif key == pygame.K_ESCAPE:
            self._escape()
        elif key in _ARROWS:
            self._arrow(key, bool(mod & pygame.KMOD_SHIFT))

    def _plain_keys(self) -> dict[int, Callable[[], None]]:
        state = self.state
        return {
            pygame.K_q: self.leave,
            pygame.K_h: self._help,
            pygame.K_F1: self._help,
            pygame.K_TAB: self._change_place,
            pygame.K_s: self._next_scope,
            pygame.K_d: lambda: state.choose_design(state.chosen + 1),
            pygame.K_n: lambda: self._next_movable(1),
            pygame.K_p: lambda: self._next_movable(-1),
            pygame.K_u: state.undo,
            pygame.K_r: state.redo,
            pygame.K_w: lambda: self.ask_to_save(state.document),
            pygame.K_a: lambda: self.ask_to_save(state.arena),
            pygame.K_l: state.load_changed,
            pygame.K_k: state.keep_own,
            pygame.K_SPACE: state.play,
            pygame.K_COMMA: lambda: state.go_to(state.time_s - 0.01 * state.seconds),
            pygame.K_PERIOD: lambda: state.go_to(state.time_s + 0.01 * state.seconds),
            pygame.K_HOME: lambda: state.go_to(0.0),
            pygame.K_END: lambda: state.go_to(state.seconds),
            pygame.K_MINUS: lambda: self._change_speed(-1),
            pygame.K_KP_MINUS: lambda: self._change_speed(-1),
            pygame.K_PLUS: lambda: self._change_speed(1),
            pygame.K_EQUALS: lambda: self._change_speed(1),
            pygame.K_KP_PLUS: lambda: self._change_speed(1),
            pygame.K_t: self._change_light,
            pygame.K_f: self._change_screen,
            pygame.K_F11: self._change_screen,
        }

    def _help(self) -> None:
        self.help_shown = True

    def _change_place(self) -> None:
        self.state.on_plan = not self.state.on_plan

    def _change_light(self) -> None:
        self.dark = not self.dark

    def _change_screen(self) -> None:
        self.full_screen = not self.full_screen

    def _next_scope(self) -> None:
        self.state.scope = (self.state.scope + 1) % len(SCOPES)

    def _change_speed(self, step: int) -> None:
        self.state.speed_step = min(max(self.state.speed_step + step, 0), len(SPEEDS) - 1)

    def _next_movable(self, step: int) -> None:
        state = self.state
        movables = state.movables()
        here = movables.index(movable_of(movables, state.movable))
        # the first press shows what is chosen
        step = step if state.on_plan else 0
        state.on_plan = True
        state.movable = movables[(here + step) % len(movables)].path

    def _escape(self) -> None:
        if self._holds:
            self._holds, self._pointer = "", None
            self.state.put_back()
        else:
            self.state.on_plan = False

    def _arrow(self, key: int, shifted: bool) -> None:
        across, along = _ARROWS[key]
        state = self.state
        if state.on_plan:
            step = _FINE_STEP if shifted else _STEP
            state.nudge(across * step, along * step)
        elif along:
            state.dial = (state.dial - along) % len(DIALS)
        else:
            state.turn_by(across * (_MANY if shifted else 1))

    def _press(self, place: Point) -> None:
        layout, state = self.layout, self.state
        self._gestures += 1
        for rect, (_, _, does) in zip(layout.buttons, BUTTONS, strict=True):
            if rect.collidepoint(place):
                self._push(does)
                return
        for number, rect in enumerate(layout.scopes):
            if rect.collidepoint(place):
                state.scope = number
                return
        if layout.title.collidepoint(place):
            state.choose_design(state.chosen + 1)
            return
        for number, rect in enumerate(layout.rows):
            if rect.collidepoint(place):
                state.dial, state.on_plan = number, False
                if layout.rails[number].inflate(20, 24).collidepoint(place):
                    self._holds = "peg"
                    self._turn_to(place)
                return
        if layout.bar.inflate(0, 18).collidepoint(place):
            self._holds = "bar"
            self._scrub(place)
        elif self.view is not None and layout.plan.inflate(30, 30).collidepoint(place):
            self._grasp(place)

    def _push(self, does: str) -> None:
        {
            "undo": self.state.undo,
            "redo": self.state.redo,
            "save_design": lambda: self.ask_to_save(self.state.document),
            "save_arena": lambda: self.ask_to_save(self.state.arena),
            "help": self._help,
        }[does]()

    def _grasp(self, place: Point) -> None:
        assert self.view is not None
        x, y = self.view.place(place)
        movable = movable_at(self.state.movables(), x, y, _REACH / self.view.zoom)
        if movable is None:
            self.state.on_plan = False
            return
        self._holds, self._from = "movable", (x, y)
        self.state.carry(movable)

    def _follow(self) -> None:
        """Take what is held to where the pointer now is."""
        if self._pointer is None:
            return
        place, self._pointer = self._pointer, None
        if self._holds == "peg":
            self._turn_to(place)
        elif self._holds == "bar":
            self._scrub(place)
        elif self._holds == "movable" and self.view is not None:
            x, y = self.view.place(place)
            self.state.carry_to(x - self._from[0], y - self._from[1])

    def _release(self, place: Point) -> None:
        if self._holds:
            self._pointer = place
            self._follow()
            if self._holds == "movable":
                self.state.let_fall()
        self._holds = ""

    def _turn_to(self, place: Point) -> None:
        state, rail = self.state, self.layout.rails[self.state.dial]
        if state.dial_value(state.dial) is not None:
            dial = DIALS[state.dial]
            value = dial.at((place[0] - rail.left) / rail.width)
            state.turn(dial, value, f"mouse {self._gestures}")

    def _scrub(self, place: Point) -> None:
        bar = self.layout.bar
        self.state.playing = False
        self.state.go_to((place[0] - bar.left) / bar.width * self.state.seconds)

    def _wheel(self, steps: int, place: Point) -> None:
        for number, row in enumerate(self.layout.rows):
            if row.collidepoint(place):
                self.state.dial, self.state.on_plan = number, False
                self.state.turn_by(steps)


# Across and along: an arrow on the plan goes where it points.
_ARROWS = {
    pygame.K_LEFT: (-1, 0),
    pygame.K_RIGHT: (1, 0),
    pygame.K_UP: (0, 1),
    pygame.K_DOWN: (0, -1),
}
