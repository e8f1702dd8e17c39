"""The window on a replay: what it shows, and what keys and mouse do to it."""

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

from replays.drawing.calm_fast_play import HURRIED, PERIOD, Dissolve
from replays.drawing.figures import NO_WAYS, Moment
from replays.drawing.glow import Glows
from replays.drawing.lanes import DESIGN_LANES, LANES, NO_LANES, WALKER_LANES
from replays.drawing.layout import Box, Point
from replays.drawing.marks import CROWD
from replays.drawing.metres_to_points import View, bounds
from replays.drawing.moving_picture import BUDGET, Stage
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import DARK, LIGHT, Theme
from replays.drawing.who_leads import LeadView
from replays.format.tables import Replay
from replays.window.buttons_and_cards import HelpCard, PlacedButton, draw_notice, pressed
from replays.window.camera import STEP, Camera
from replays.window.chosen_walker import ChosenWalker
from replays.window.head_and_cards import LegendCard, draw_head
from replays.window.key_meanings import FLOOR_MODE, TIME_MODE
from replays.window.own_file import OwnFile
from replays.window.player import Player
from replays.window.replay_keys import REPLAY_KEYS
from replays.window.time_controls import TimeControls, time_bar
from replays.window.window_layout import WindowLayout, lay_out_window

LEAST_SIZE = (420, 300)
"""Below this [points] parts of the window are cut off."""

# A picture into which another dissolves may take so long [s] for its ways.
_PICTURE_BUDGET = 0.05
# While a run hurries, news stay for so long [s of the viewer].
_NEWS_STAY = 0.8

SCALES = (1.0, 1.5, 2.0, 3.0)
"""Pixels a point that the viewer can choose."""

# A press that moves less than this [points] before it is let go of is a click.
_CLICK = 5.0
# One press of a key moves the floor by this share of the view.
_SHIFT = 0.12


class ReplayWindow:
    """A replay in a window of any size: its whole state, what changes it, and how it is drawn.

    ``path`` is the replay's file, of which a change is told. ``notice`` is a line for the viewer, or empty.
    ``moves_floor`` tells whether the arrows are for the floor, else for time.
    """

    def __init__(
        self, replay: Replay, theme: Theme = LIGHT, scale: float = 1.0, path: Path | None = None
    ) -> None:
        self.theme, self.scale = theme, scale
        self._file = None if path is None else OwnFile(path)
        self.closed = False
        self.full_screen = False
        self.help = HelpCard(REPLAY_KEYS)
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
        self._lead = LeadView(replay)
        self._legend = LegendCard(replay, self._lead.standings)
        self.cards: dict[str, Box] = {}
        self.lanes = WALKER_LANES if len(replay.walkers) <= CROWD else DESIGN_LANES
        self.more_shown = self.legend_shown = self.final_put_away = False
        pulses = replay.pulses
        self._glows = Glows(pulses["start_s"], pulses["walker"], pulses["side"], len(replay.walkers))
        self._chosen = ChosenWalker(replay)
        self._forget()

    def _forget(self, known: Stage | None = None) -> None:
        """Nothing drawn so far is of use any more, but what a ``known`` stage worked out."""
        self._stage = Stage(self.replay, self.theme, self.scale, known=known)
        self._controls.forget()
        self._drawn: tuple[object, ...] | None = None
        self._dissolve = Dissolve()
        self._dissolves = False
        self._told = ("", -math.inf)
        self._latest: pygame.Surface | None = None

    @property
    def title(self) -> str:
        """Title of the window."""
        return f"photodrome: {self.replay.arena['name']}"

    @property
    def layout(self) -> WindowLayout:
        """Where things are in a window of the present size."""
        width = max(self.size[0] / self.scale, LEAST_SIZE[0])
        height = max(self.size[1] / self.scale, LEAST_SIZE[1])
        west, south, east, north = self.camera.bounds
        return lay_out_window(
            width,
            height,
            (north - south) / max(east - west, 1e-9),
            has_lead=self.lanes != NO_LANES and len(self.replay.walkers) > 0,
            has_causes=self.has_causes,
        )

    @property
    def has_causes(self) -> bool:
        """Whether the causes of a walker are shown."""
        return self.player.chosen is not None and self.player.causes_shown

    @property
    def shows_final(self) -> bool:
        """Whether the card of places lies over the floor: at the end of the run, until it is put away."""
        player = self.player
        is_over = player.time_s >= player.seconds and not player.playing and player.chosen is None
        is_free = not (self.final_put_away or self.legend_shown)
        return is_over and is_free and len(self.replay.walkers) > 1

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
        if self._file is not None and self._file.has_changed(self.now_s):
            self.notice = f"{self._file.path} has been written anew; l reads it again, k keeps what is shown"

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
        action = pressed(self.buttons[::-1], point)
        strip = self._chosen.causes_view if self.has_causes else None
        if self.help.is_shown:
            self.help.put_away()
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
            "lead": self._change_lanes,
            "legend": partial(self._switch, "legend_shown"),
            "more": partial(self._switch, "more_shown"),
            "theme": self._change_theme,
            "larger": self._enlarge,
            "full screen": partial(self._switch, "full_screen"),
            "load changed": self._read_again,
            "keep own": self._keep,
            "change mode": partial(self._switch, "moves_floor"),
            "help": self.help.turn,
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
        self._forget(self._stage)

    def _enlarge(self) -> None:
        """Letters and lines of the next size, after the largest for which there is room of the smallest."""
        most = min(self.size[0] / LEAST_SIZE[0], self.size[1] / LEAST_SIZE[1])
        self.scale = next((scale for scale in SCALES if self.scale < scale <= most), SCALES[0])
        self._forget(self._stage)

    def _keep(self) -> None:
        self.notice = ""

    def _switch(self, what: str) -> None:
        """Turn one of the states that are on or off."""
        setattr(self, what, not getattr(self, what))

    def _change_lanes(self) -> None:
        self.lanes = LANES[(LANES.index(self.lanes) + 1) % len(LANES)]

    def _close(self) -> None:
        self.closed = True

    def _leave(self) -> None:
        """Leave what was opened last: a card, a notice, the chosen walker, the full screen, the window."""
        if self.help.is_shown:
            self.help.put_away()
        elif self.more_shown or self.legend_shown:
            self.more_shown = self.legend_shown = False
        elif self.notice:
            self.notice = ""
        elif self.shows_final:
            self.final_put_away = True
        elif self.player.chosen is not None:
            self.player.choose(None)
        elif self.full_screen:
            self.full_screen = False
        else:
            self.closed = True

    def _read_again(self) -> None:
        if self._file is None:
            self.notice = "this run is in no file that could be read again"
            return
        # what is shown stays where that cannot be read, so that nothing is lost
        replay, self.notice = self._file.read()
        if replay is not None:
            self._take(replay)

    def is_still(self) -> bool:
        """Whether the window would look the same if it were drawn again."""
        is_whole = self._stage.is_settled and not self._dissolves
        return self._chosen.is_ready and is_whole and self._drawn == self._state()

    def _state(self) -> tuple[object, ...]:
        levels = self._glows.levels(self.now_s)
        player = self.player
        return (
            self.size, self.theme.name, self.scale, self.help.state, self.notice, self.view,
            self.camera.is_moving(self.now_s), player.time_s, player.playing,
            player.speed_step, player.skipping, player.chosen, player.following, player.causes_shown,
            player.beside, player.ways, self._chosen.is_ready, levels.tobytes(),
            self._mouse if self._grip else None, self.lanes, self.legend_shown, self.more_shown,
            self.final_put_away, self.moves_floor,
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
            self._draw_run(surface, BUDGET)
        if self.player.following and not self._dissolve.is_going(self.now_s):
            self._latest = surface.copy()
        sheet, layout, player = Sheet(surface, self.scale, self.theme), self.layout, self.player
        # figures on top of one another could not be read
        draw_head(sheet, layout.head, self.replay, self.view, player.time_s, self._news())
        self.buttons = self._controls.draw(sheet, layout, self._switched_on(), self.more_shown)
        self.cards = {}
        if self.legend_shown:
            self.cards["legend"] = self._legend.draw(sheet, layout.arena, player.time_s)
        if self.shows_final:
            self.cards["final"] = self._lead.draw_final(
                sheet, layout.arena, player.seconds, "Esc puts this away"
            )
        if self.notice:
            draw_notice(sheet, layout.arena, self.notice)
        if self.help.is_shown:
            self.help.draw(sheet)
        self._drawn = self._state()

    def _news(self) -> str:
        """What the headline tells: that something is not shown yet, or the latest arrival."""
        # words that rush by could not be read, and would flicker
        if self.hurries and self.now_s - self._told[1] < _NEWS_STAY:
            return self._told[0]
        share = self._stage.drawn_share(self.player.time_s)
        if self.player.ways != NO_WAYS and share < 0.995 and self.hurries:
            news = f"{100 * share:.0f} % of the ways are drawn so far"
        else:
            news = self._lead.news(self.player.time_s)
        self._told = (news, self.now_s)
        return news

    def _switched_on(self) -> set[str]:
        player = self.player
        states = {
            "skip": player.skipping,
            "next walker": player.chosen is not None,
            "why": self.has_causes,
            "follow": player.following,
            "lead": self.lanes != NO_LANES and not self.has_causes,
            "legend": self.legend_shown,
            "help": self.help.is_shown,
            "full screen": self.full_screen,
        }
        return {action for action, is_on in states.items() if is_on}

    def _draw_calmly(self, surface: pygame.Surface) -> bool:
        """Let one picture dissolve into the next if the run hurries or the view jumped; else return False."""
        jumped = self._latest is not None and self.now_s - self.camera.jumped_s < PERIOD
        if not self.hurries and not jumped:
            return False
        if self._dissolve.is_due(self.now_s, self.size):
            if jumped and self._latest is not None and not self._dissolve.is_going(self.now_s):
                self._dissolve.take(self._latest, self.now_s)
            picture = pygame.Surface(self.size)
            self._draw_run(picture, _PICTURE_BUDGET)
            self._dissolve.take(picture, self.now_s)
        else:
            # the ways of the next picture, a little in each frame
            self._stage.work_ahead(self.view, self._moment(), BUDGET)
        self._dissolve.draw(surface, self.now_s)
        return True

    def _moment(self) -> Moment:
        player = self.player
        # a run that hurries would have every side lit all the time
        levels = None if self.hurries else self._glows.levels(self.now_s)
        numbered = len(self.replay.walkers) <= CROWD
        leader = self._lead.leader(player.time_s)
        return Moment(player.time_s, levels, player.chosen, player.ways, leader, numbered)

    def _draw_run(self, surface: pygame.Surface, budget_s: float) -> None:
        """Draw the floor, and what stands beside it."""
        layout, player, view = self.layout, self.player, self.view
        surface.fill(self.theme.paper)
        moving = self.camera.is_moving(self.now_s)
        self._stage.draw(surface, view, self._moment(), moving=moving, budget_s=budget_s)
        sheet = Sheet(surface, self.scale, self.theme)
        if player.chosen is not None:
            self._chosen.draw_name(sheet, layout.arena, self._stage, view, player.chosen, player.time_s)
        if layout.panel is None:
            return
        if player.chosen is not None and player.causes_shown:
            told = player.compared(self._lead.progress.at(player.time_s).order)
            self._chosen.draw_causes(sheet, layout.panel, told, player.time_s, self.now_s, holds=self.hurries)
        else:
            self._lead.draw(sheet, layout.panel, self.lanes, player.time_s, player.chosen)
