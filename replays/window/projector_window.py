"""The show of a run for a whole room: countdown, run, slow finish, the decisive moment again, places."""

from collections.abc import Callable, Sequence

from replays.drawing.calm_fast_play import HURRIED, Dissolve
from replays.drawing.moving_picture import BUDGET
from replays.drawing.projector_page import LETTERS, ProjectorPage
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.show_times import AGAIN, RUN
from replays.drawing.theme import DARK, LIGHT, Theme
from replays.format.tables import Replay
from replays.window.buttons_and_cards import HelpCard
from replays.window.key_meanings import TIME_MODE, line
from replays.window.key_tables import KeyTable

SHOW_KEYS = KeyTable(
    line("go on, stop", "play", group="Show"),
    line("two seconds back", "back", group="Show"),
    line("two seconds on", "on", group="Show"),
    line("to the start, to the end", "start", "end", group="Show"),
    line("the decisive moment again", "again", group="Show"),
    line("tell the next walker as yours", "next walker", group="Show"),
    line("tell the previous walker as yours", "previous walker", group="Show"),
    line("light or dark paper", "theme", group="Window"),
    line("larger letters", "larger", group="Window"),
    line("full screen", "full screen", group="Window"),
    line("show or hide the keys", "help", group="Window"),
    line("leave this, then the window", "leave", group="Window"),
    line("close the window", "close", group="Window"),
)
"""What each key asks for, by the actions of :class:`ProjectorWindow`."""

_STEP = 2.0
_PICTURE_BUDGET = 0.05


class ProjectorWindow:
    """The show of ``replay`` in a window of any size.

    ``names`` are what walkers are called, None for design and number; ``yours`` is the number of a walker
    that is told in any case; ``heading`` stands in place of the arena's name. ``show_s`` [s] is how far the
    show has come.
    """

    def __init__(
        self,
        replay: Replay,
        theme: Theme = LIGHT,
        names: Sequence[str] | None = None,
        yours: int | None = None,
        heading: str | None = None,
    ) -> None:
        self.replay, self.theme, self.yours = replay, theme, yours
        self._names, self._heading = names, heading
        self.closed = self.full_screen = False
        self.help = HelpCard(SHOW_KEYS)
        self.playing = True
        self.letters = LETTERS[0]
        self.show_s = self.now_s = 0.0
        self.size = (1280, 720)
        self._page: ProjectorPage | None = None
        self._dissolve = Dissolve()
        self._drawn: tuple[object, ...] | None = None

    @property
    def title(self) -> str:
        """Title of the window."""
        return f"photodrome: {self._heading or self.replay.arena['name']}"

    @property
    def page(self) -> ProjectorPage:
        """What is shown, laid out for the present size."""
        if self._page is None:
            self._page = ProjectorPage(
                self.replay, *self.size, self.theme, self._names, self.yours, self._heading, self.letters
            )
        return self._page

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what ``event`` asks for; events of no meaning here do nothing."""
        if event.type == pygame.QUIT:
            self.closed = True
        elif event.type == pygame.KEYDOWN:
            action = SHOW_KEYS.action_of(event, TIME_MODE)
            if action is not None:
                self.actions[action]()
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self.help.put_away()
            scale = self.page.scale
            place = (event.pos[0] / scale, event.pos[1] / scale)
            time_s = self.page.times.run_time(self.show_s)
            self._tell(self.page.stage.figures(self.page.view).at(place, time_s))

    @property
    def actions(self) -> dict[str, Callable[[], None]]:
        """What keys can ask for, by name."""
        return {
            "play": self._play,
            "back": lambda: self._go_to(self.show_s - _STEP),
            "on": lambda: self._go_to(self.show_s + _STEP),
            "start": lambda: self._go_to(0.0),
            "end": lambda: self._go_to(self.page.times.seconds),
            "again": self._show_again,
            "next walker": lambda: self._tell_beside(1),
            "previous walker": lambda: self._tell_beside(-1),
            "theme": self._change_theme,
            "larger": self._enlarge,
            "full screen": self._change_screen,
            "help": self.help.turn,
            "leave": self._leave,
            "close": self._close,
        }

    def _play(self) -> None:
        if not self.playing and self.show_s >= self.page.times.seconds:
            self.show_s = 0.0
        self.playing = not self.playing

    def _go_to(self, show_s: float) -> None:
        self.show_s = min(max(show_s, 0.0), self.page.times.seconds)

    def _show_again(self) -> None:
        begins = self.page.times.begin_of(AGAIN)
        if begins is not None:
            self.show_s, self.playing = begins, True

    def _tell_beside(self, step: int) -> None:
        count = len(self.replay.walkers)
        if count:
            first = 0 if step == 1 else count - 1
            self._tell(first if self.yours is None else (self.yours + step) % count)

    def _tell(self, walker: int | None) -> None:
        self.yours = walker
        page = self.page
        page.tell(walker)

    def _change_theme(self) -> None:
        self.theme = DARK if self.theme is LIGHT else LIGHT
        self._page = None

    def _enlarge(self) -> None:
        self.letters = next((size for size in LETTERS if size > self.letters), LETTERS[0])
        self._page = None

    def _change_screen(self) -> None:
        self.full_screen = not self.full_screen

    def _close(self) -> None:
        self.closed = True

    def _leave(self) -> None:
        if self.help.is_shown:
            self.help.put_away()
        elif self.full_screen:
            self.full_screen = False
        else:
            self.closed = True

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by."""
        self.now_s += elapsed_s
        if self.playing:
            self._go_to(self.show_s + elapsed_s)
            self.playing = self.show_s < self.page.times.seconds

    @property
    def hurries(self) -> bool:
        """Whether walkers fire so fast that drawing each frame would make it flicker."""
        part = self.page.times.part_at(self.show_s)
        if not self.playing or part.what != RUN:
            return False
        pulses = self.replay.pulses["start_s"]
        fired = ((pulses >= part.from_s) & (pulses <= part.to_s)).sum() / max(len(self.replay.walkers), 1)
        return bool(fired > HURRIED * part.lasts_s)

    def is_still(self) -> bool:
        """Whether the window would look the same if it were drawn again."""
        return self._drawn == self._state() and self.page.stage.is_settled

    def _state(self) -> tuple[object, ...]:
        return (
            self.size,
            self.theme.name,
            self.letters,
            self.show_s,
            self.yours,
            self.help.state,
            self.playing,
        )

    def draw(self, surface: pygame.Surface) -> None:
        """Draw everything onto ``surface``, whose size the window takes on."""
        if surface.get_size() != self.size:
            self.size = surface.get_size()
            self._page = None
        page = self.page
        if self.hurries:
            if self._dissolve.is_due(self.now_s, self.size):
                picture = pygame.Surface(self.size)
                page.draw(picture, self.show_s, _PICTURE_BUDGET)
                self._dissolve.take(picture, self.now_s)
            self._dissolve.draw(surface, self.now_s)
        else:
            self._dissolve.forget()
            page.draw(surface, self.show_s, BUDGET)
        if self.help.is_shown:
            self.help.draw(Sheet(surface, page.scale, self.theme))
        self._drawn = self._state()
