"""The window on a replay: what it shows, and what keys and mouse do to it."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from agents.errors import PhotodromeError
from replays.drawing.calm_fast_play import HURRIED, PERIOD, Dissolve
from replays.drawing.figures import walker_name
from replays.drawing.glow import Glows
from replays.drawing.layout import Box, PageLayout, Point, lay_out_page
from replays.drawing.metres_to_points import View, bounds
from replays.drawing.moving_picture import BUDGET, Moment, Stage
from replays.drawing.pages import MapSurround, aspect_of, draw_clock
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import DARK, LIGHT, Theme
from replays.format.file_watch import FileWatch
from replays.format.replay_file import read_replay
from replays.format.tables import Replay
from replays.scoring.standings import Standings
from replays.window.buttons_and_cards import TEXT, PlacedButton, draw_card, draw_help, draw_notice, pressed
from replays.window.camera import STEP, Camera
from replays.window.key_meanings import FLOOR_MODE, TIME_MODE
from replays.window.player import Player
from replays.window.replay_keys import REPLAY_KEYS
from replays.window.time_controls import TimeControls, time_bar

if TYPE_CHECKING:
    from replays.window.cause_strip import CausePanel

LEAST_SIZE = (480, 420)
"""Below this [points] parts of the window are cut off."""

SCALES = (1.0, 1.5, 2.0, 3.0)
"""Pixels a point that the viewer can choose."""

# A press that moves less than this [points] before it is let go of is a click.
_CLICK = 5.0
# One press of a key moves the floor by this share of the view.
_SHIFT = 0.12

# How often a look is taken at the file [s of the viewer].
_LOOK_EVERY = 1.0


class ReplayWindow:
    """A replay in a window of any size: its whole state, what changes it, and how it is drawn.

    ``path`` is the replay's file, of which a change is told. ``notice`` is a line for the viewer, or empty.
    ``moves_floor`` tells whether the arrows are for the floor, else for time.
    """

    def __init__(
        self, replay: Replay, theme: Theme = LIGHT, scale: float = 1.0, path: Path | None = None
    ) -> None:
        self.theme, self.scale = theme, scale
        self._path = path
        self._file = None if path is None else FileWatch(path)
        self._looked_s = 0.0
        self.closed = False
        self.full_screen = False
        self.help_shown = False
        self.notice = ""
        self.moves_floor = False
        self.now_s = 0.0
        self.size = (1280, 760)
        self._mouse: Point = (0.0, 0.0)
        self._grip: Point | None = None
        self._grip_kind = ""
        self._dragged = 0.0
        self.buttons: list[PlacedButton] = []
        self._take(replay)

    def _take(self, replay: Replay) -> None:
        """Show ``replay``, from its start."""
        self.replay = replay
        self.player = Player(replay)
        self._controls = TimeControls(self.player)
        self.camera = Camera(bounds(replay.arena))
        self._aspect = aspect_of(replay)
        self._standings = Standings(replay)
        pulses = replay.pulses
        self._glows = Glows(pulses["start_s"], pulses["walker"], pulses["side"], len(replay.walkers))
        self._causes: CausePanel | None = None
        self._causes_announced = False
        self._forget()

    def _forget(self) -> None:
        """Nothing drawn so far is of use any more."""
        self._stage = Stage(self.replay, self.theme, self.scale)
        self._page: MapSurround | None = None
        self._layout: PageLayout | None = None
        self._controls.forget()
        self._drawn: tuple[object, ...] | None = None
        self._dissolve = Dissolve()
        self._dissolves = False
        self._latest: pygame.Surface | None = None

    @property
    def title(self) -> str:
        """Title of the window."""
        return f"photodrome: {self.replay.arena['name']}"

    @property
    def layout(self) -> PageLayout:
        """Where things are in a window of the present size."""
        width = max(self.size[0] / self.scale, LEAST_SIZE[0])
        height = max(self.size[1] / self.scale, LEAST_SIZE[1])
        strip = self.player.chosen is not None and self.player.causes_shown
        layout = lay_out_page(width, height, self._aspect, has_controls=True, has_strip=strip)
        if layout != self._layout:
            self._layout = layout
            self._page = MapSurround(self.replay, layout, self.scale, self.theme, standings=self._standings)
        return layout

    @property
    def bar(self) -> Box:
        """The bar of the run's time [points]."""
        return time_bar(self.layout)

    @property
    def view(self) -> View:
        """The view of the arena."""
        return self.camera.view(self.layout.arena)

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by."""
        self.now_s += elapsed_s
        self.player.advance(elapsed_s)
        player = self.player
        self._glows.take(player.time_s, self.now_s)
        if player.following and player.chosen is not None:
            x, y, _ = self._stage.poses.at(player.time_s)
            at = (float(x[player.chosen]), float(y[player.chosen]))
            self.camera.follow(self.layout.arena, *at, self.now_s)
        if self._file is not None and self.now_s - self._looked_s >= _LOOK_EVERY:
            self._looked_s = self.now_s
            if self._file.has_changed():
                self.notice = f"{self._path} has been written anew; l reads it again, k keeps what is shown"

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what ``event`` asks for; events of no meaning here do nothing."""
        if event.type == pygame.QUIT:
            self.closed = True
        elif event.type == pygame.KEYDOWN:
            action = REPLAY_KEYS.action_of(event, FLOOR_MODE if self.moves_floor else TIME_MODE)
            if action is not None:
                self.act(action)
        elif event.type == pygame.MOUSEWHEEL:
            step = float(getattr(event, "precise_y", 0.0) or event.y)
            if self.layout.arena.holds(self._mouse):
                self.camera.come_closer(self.layout.arena, STEP**step, self.now_s, self._mouse)
        elif event.type == pygame.MOUSEMOTION:
            self._move(self._point(event.pos))
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._press(self._point(event.pos))
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            self._let_go(self._point(event.pos))

    def _point(self, pixel: tuple[int, int]) -> Point:
        return pixel[0] / self.scale, pixel[1] / self.scale

    def _press(self, point: Point) -> None:
        self._mouse = self._grip = point
        self._grip_kind, self._dragged = "", 0.0
        action = pressed(self.buttons, point)
        strip = self._causes.view if self._causes is not None and self.layout.strip is not None else None
        if self.help_shown:
            self.help_shown = False
        elif action is not None:
            self.act(action)
        elif self.bar.holds(point, slack=9.0):
            self._grip_kind = "bar"
            self._go_along_bar(point)
        elif strip is not None and strip.plot.left <= point[0] <= strip.plot.right and (
            strip.plot.top <= point[1] <= strip.lights.bottom):  # fmt: skip
            self.player.playing = False
            self.player.go_to(strip.time(point[0]))
        elif self.layout.arena.holds(point):
            self._grip_kind = "floor"
        self.player.held = self._grip_kind == "bar"

    def _move(self, point: Point) -> None:
        if self._grip is not None and self._grip_kind == "bar":
            self._go_along_bar(point)
        elif self._grip is not None and self._grip_kind == "floor":
            across, down = point[0] - self._mouse[0], point[1] - self._mouse[1]
            self._dragged = max(self._dragged, math.dist(point, self._grip))
            if self._dragged > _CLICK:
                self.player.following = False
                self.camera.shift(self.layout.arena, across, down, self.now_s)
        self._mouse = point

    def _let_go(self, point: Point) -> None:
        if self._grip_kind == "floor" and self._dragged <= _CLICK:
            self.player.choose(self._stage.figures(self.view).at(point, self.player.time_s))
        self._grip, self._grip_kind = None, ""
        self.player.held = False

    def _go_along_bar(self, point: Point) -> None:
        self.player.go_to((point[0] - self.bar.left) / self.bar.width * self.replay.seconds)

    @property
    def actions(self) -> dict[str, Callable[[], None]]:
        """What keys and buttons can ask for, by name."""
        return {
            **self.player.actions,
            "closer": lambda: self.camera.come_closer(self.layout.arena, STEP, self.now_s),
            "away": lambda: self.camera.come_closer(self.layout.arena, 1.0 / STEP, self.now_s),
            "all": self._see_all,
            "west": lambda: self._look_beside(1.0, 0.0),
            "east": lambda: self._look_beside(-1.0, 0.0),
            "north": lambda: self._look_beside(0.0, 1.0),
            "south": lambda: self._look_beside(0.0, -1.0),
            "theme": self._change_theme,
            "larger": self._enlarge,
            "full screen": self._change_screen,
            "load changed": self._read_again,
            "keep own": self._keep,
            "change mode": self._hand_on_arrows,
            "help": self._change_help,
            "leave": self._leave,
            "close": self._close,
        }

    def act(self, action: str) -> None:
        """Do one of the :attr:`actions`."""
        self.actions[action]()

    def _see_all(self) -> None:
        self.player.following = False
        self.camera.see_all(self.layout.arena, self.now_s)

    def _look_beside(self, across: float, down: float) -> None:
        box = self.layout.arena
        self.camera.shift(box, _SHIFT * across * box.width, _SHIFT * down * box.height, self.now_s)

    def _change_theme(self) -> None:
        self.theme = DARK if self.theme is LIGHT else LIGHT
        self._forget()

    def _enlarge(self) -> None:
        """Letters and lines of the next size, after the largest of the smallest."""
        self.scale = next((scale for scale in SCALES if scale > self.scale), SCALES[0])
        self._forget()

    def _change_screen(self) -> None:
        self.full_screen = not self.full_screen

    def _change_help(self) -> None:
        self.help_shown = not self.help_shown

    def _keep(self) -> None:
        self.notice = ""

    def _hand_on_arrows(self) -> None:
        self.moves_floor = not self.moves_floor

    def _close(self) -> None:
        self.closed = True

    def _leave(self) -> None:
        """Leave what was opened last: the help, a notice, the chosen walker, the full screen, the window."""
        if self.help_shown:
            self.help_shown = False
        elif self.notice:
            self.notice = ""
        elif self.player.chosen is not None:
            self.player.choose(None)
        elif self.full_screen:
            self.full_screen = False
        else:
            self.closed = True

    def _read_again(self) -> None:
        if self._path is None:
            self.notice = "this run is in no file that could be read again"
            return
        try:
            replay = read_replay(self._path)
        except PhotodromeError as error:
            # what is shown stays, so that nothing is lost
            self.notice = f"not read again: {error}"
            return
        self.notice = ""
        self._take(replay)

    def is_still(self) -> bool:
        """Whether the window would look the same if it were drawn again."""
        is_ready = self._causes is not None or not self._causes_announced
        is_whole = self._stage.is_settled and not self._dissolves
        return is_ready and is_whole and self._drawn == self._state()

    def _state(self) -> tuple[object, ...]:
        levels = self._glows.levels(self.now_s)
        player = self.player
        return (
            self.size, self.theme.name, self.scale, self.help_shown, self.notice, self.view,
            self.camera.is_moving(self.now_s), player.time_s, player.playing,
            player.speed_step, player.skipping, player.chosen, player.following, player.causes_shown,
            player.ways, self._causes is None, levels.tobytes(), self._mouse if self._grip else None,
        )  # fmt: skip

    @property
    def hurries(self) -> bool:
        """Whether the run goes by so fast that drawing each frame would make it flicker."""
        return self.player.pace > HURRIED

    def draw(self, surface: pygame.Surface) -> None:
        """Draw everything onto ``surface``, whose size the window takes on."""
        self.size = surface.get_size()
        self._dissolves = not self.camera.is_moving(self.now_s) and self._draw_calmly(surface)
        if not self._dissolves:
            # a view that the viewer is moving answers at once
            self._dissolve.forget()
            self._draw_run(surface)
        if self.player.following and not self._dissolve.is_going(self.now_s):
            self._latest = surface.copy()
        sheet = Sheet(surface, self.scale, self.theme)
        # figures on top of one another could not be read
        draw_clock(sheet, self.layout, self.replay, self.player.time_s)
        self.buttons = self._controls.draw(sheet, self.layout, help_shown=self.help_shown)
        if self.notice:
            draw_notice(sheet, self.layout, self.notice)
        if self.help_shown:
            draw_help(sheet, REPLAY_KEYS)
        self._drawn = self._state()

    def _draw_calmly(self, surface: pygame.Surface) -> bool:
        """Let one picture dissolve into the next where the run hurries, or the view has gone after a walker.

        Returns False where there is nothing to dissolve.
        """
        jumped = self._latest is not None and self.now_s - self.camera.jumped_s < PERIOD
        if not self.hurries and not jumped:
            return False
        if self._dissolve.is_due(self.now_s, self.size):
            if jumped and self._latest is not None and not self._dissolve.is_going(self.now_s):
                self._dissolve.take(self._latest, self.now_s)
            picture = pygame.Surface(self.size)
            self._draw_run(picture)
            self._dissolve.take(picture, self.now_s)
        self._dissolve.draw(surface, self.now_s)
        return True

    def _draw_run(self, surface: pygame.Surface) -> None:
        """Draw all but the controls."""
        layout, player, view = self.layout, self.player, self.view
        assert self._page is not None
        surface.fill(self.theme.paper)
        self._page.draw(surface, view, player.time_s)
        # a run that hurries would have every side lit all the time
        levels = None if self.hurries else self._glows.levels(self.now_s)
        moment = Moment(player.time_s, levels, player.chosen, player.ways)
        moving = self.camera.is_moving(self.now_s)
        self._stage.draw(surface, view, moment, moving=moving, budget_s=BUDGET)
        sheet = Sheet(surface, self.scale, self.theme)
        if player.chosen is not None:
            self._name_chosen(sheet, view, player.chosen)
        if layout.strip is not None and player.chosen is not None:
            self._draw_causes(sheet, layout.strip, player.chosen)

    def _draw_causes(self, sheet: Sheet, box: Box, chosen: int) -> None:
        """Draw the strip of the chosen walker."""
        if self._causes is None and not self._causes_announced:
            # the circuit's kernels come along with it, which may have to be compiled
            self._causes_announced = True
            draw_card(sheet, box)
            words = "getting the circuit ready; the first time this may take half a minute"
            for number, line in enumerate(sheet.wrapped(words, TEXT, box.width - 30)):
                place = (box.middle[0], box.middle[1] + 22.0 * number)
                sheet.text(line, place, TEXT, across=0.5, down=0.5)
            return
        if self._causes is None:
            from replays.window.cause_strip import CausePanel

            self._causes = CausePanel(self.replay)
        told_s = self._causes.time(self.player.time_s, self.now_s, holds=self.hurries)
        self._causes.draw(sheet, box, chosen, told_s)

    def _name_chosen(self, sheet: Sheet, view: View, chosen: int) -> None:
        x, y, _ = self._stage.figures(view).places(self.player.time_s)
        words = walker_name(self.replay, chosen)
        width, height = sheet.text_size(words, TEXT)
        box = self.layout.arena
        radius = 14.0 + float(self.replay.walkers["radius"][chosen]) * view.zoom
        left = min(max(float(x[chosen]) - width / 2 - 5, box.left), box.right - width - 10)
        top = min(max(float(y[chosen]) - radius - height - 8, box.top), box.bottom - height - 6)
        if box.holds((float(x[chosen]), float(y[chosen]))):
            sheet.plate(words, (left, top), TEXT)
