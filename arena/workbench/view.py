"""How the workbench looks as a whole: plan, panel, what lies over them, and the lines round them."""

import math
from pathlib import Path

import numpy as np

from agents.compiled import compiled_so_far
from arena.workbench.asked import Question
from arena.workbench.asked_view import draw_asked, draw_entry
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of, name_for
from arena.workbench.floor_view import FloorView
from arena.workbench.layout import LEAST_SIZE, LETTERS, WorkbenchLayout, lay_out_workbench, scale_of
from arena.workbench.side_panel import draw_panel
from arena.workbench.state import WorkbenchState
from arena.workbench.workbench_keys import FILE_NAME_KEYS, MODES, UNSAVED_KEYS, WORKBENCH_KEYS
from replays.drawing.colours import LIGHT_STEPS, light_colours
from replays.drawing.ground import draw_sun_mark
from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import DARK, LIGHT
from replays.format.tables import Replay
from replays.window.buttons_and_cards import draw_card
from replays.window.chosen_walker import ChosenWalker
from replays.words import clock_words, light_words

# A line at the foot narrower than this [points] has not room for a note and for the hint.
_SHORT_LINE = 500


class WorkbenchView:
    """Shows the state, as replays.window.screen wants it, and tells the controller where things lie."""

    def __init__(self, controller: Controller) -> None:
        self.controller = controller
        self.closed = False
        self.full_screen = False
        self._floor_view = FloorView()
        self._causes: ChosenWalker | None = None
        self._causes_of: Replay | None = None
        self._drawn: tuple[object, ...] = ()
        self._is_stale = True

    @property
    def title(self) -> str:
        """Title of the window."""
        return f"photodrome: {arena_of(self.controller.state.documents.arena).name}"

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what an event asks for."""
        self.controller.handle_event(event)
        self.closed, self.full_screen = self.controller.state.closed, self.controller.full_screen
        self._is_stale = True

    def advance(self, elapsed_s: float) -> None:
        """Let time of the viewer go by [s]."""
        self.controller.advance(elapsed_s)

    def is_still(self) -> bool:
        """Whether it would look the same if it were drawn again."""
        return not self._is_stale and self._drawn == self._signs()

    def _signs(self) -> tuple[object, ...]:
        """What can change without an event."""
        state = self.controller.state
        background, transport = state.background, state.transport
        results = (
            *(background.race, background.light, background.forecast, background.cures, background.rounds),
            *state.documents.changed_on_disk,
        )
        waits = background.races.busy and background.races.done == 0.0
        compiled = compiled_so_far() if waits else 0
        work = (
            state.is_searching,
            background.round_runs.busy,
            background.races.busy,
            round(background.races.done, 2),
            background.race_fault,
            compiled,
        )
        return (*map(id, results), *work, transport.time_s, transport.playing, state.is_faded, state.note)

    def draw(self, surface: pygame.Surface) -> None:
        """Draw a frame."""
        controller, state = self.controller, self.controller.state
        width, height = surface.get_size()
        # no larger than all of it has room for
        most = max(1.0, min(width / LEAST_SIZE[0], height / LEAST_SIZE[1]))
        controller.scale = min(scale_of(width, height) * LETTERS[controller.larger], most)
        sheet = Sheet(surface, controller.scale, DARK if controller.dark else LIGHT)
        layout = lay_out_workbench(
            round(width / controller.scale),
            round(height / controller.scale),
            self._floor_view.aspect(state),
            panel_shown=controller.panel_shown,
        )
        surface.fill(sheet.theme.paper)
        self._drawn = self._signs()
        # paths that take long are drawn bit by bit
        race = state.background.race
        chosen = controller.walkers.among(len(race.replay.walkers)) if race is not None else None
        self._floor_view.camera = controller.camera
        self._is_stale = self._floor_view.draw(sheet, layout, state, chosen)
        controller.layout, controller.view = layout, self._floor_view.view
        controller.camera = self._floor_view.camera
        self._draw_head(sheet, layout, state)
        _draw_bar(sheet, layout, state)
        if controller.panel_shown:
            draw_panel(sheet, layout, controller)
        # over the panel where this takes the whole window
        _draw_foot(sheet, layout, state)
        if chosen is not None and race is not None and race.scores:
            self._draw_causes(sheet, layout, state, chosen)
        if state.documents.changed_on_disk:
            _draw_banner(sheet, layout, state)
        if controller.question is not None:
            _draw_question(sheet, layout, state, controller.question)
        if controller.asked is not None:
            draw_asked(sheet, layout, controller, controller.asked)
        if controller.help.is_shown:
            controller.help.draw(sheet)

    def _draw_causes(self, sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState, chosen: int) -> None:
        """Why the chosen walker does what it does, over the dials or, where these are hidden, the plan."""
        race = state.background.race
        assert race is not None
        if self._causes_of is not race.replay:
            self._causes_of, self._causes = race.replay, ChosenWalker(race.replay)
        assert self._causes is not None
        room = layout.causes.copy()
        # where the panel is out of the way they lie over the edge of the floor
        room.right = min(room.right, layout.size[0] - 6)
        box = Box(*map(float, room))
        state_s = state.transport.time_s
        self._causes.draw_causes(sheet, box, [chosen], state_s, 0.0, holds=False)
        # the circuit is fetched in the frame after the one that says so
        self._is_stale |= not self._causes.is_ready

    def _draw_head(self, sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
        head, spec = layout.head, arena_of(state.documents.arena)
        room = float(head.width)
        if self._floor_view.light is not None:
            room -= _draw_light_scale(sheet, layout, self._floor_view) + 20
        large, size = layout.letters(22), layout.letters(15)
        name = spec.name + (" (not saved)" if state.documents.arena.is_changed else "")
        name = sheet.shorten(name, large, room)
        sheet.text(name, head.topleft, large)
        if spec.sun is not None:
            x, y = head.left + sheet.text_size(name, large)[0] + 34, head.top + large / 2
            words = f"sun {math.degrees(spec.sun.elevation):.0f} deg high"
            if x + 20 + sheet.text_size(words, size)[0] <= head.left + room:
                draw_sun_mark(sheet, (x, y), spec.sun.azimuth)
                sheet.text(words, (x + 20, y), size, sheet.theme.faded, down=0.5)
        taken = sheet.text_size(name, large)[0] + 18
        if spec.sun is None and room - taken > 120:
            about = sheet.shorten(spec.about or "", size, room - taken)
            place = (head.left + taken, head.top + large / 2 + 1)
            sheet.text(about, place, size, sheet.theme.faded, down=0.5)


_key = WORKBENCH_KEYS.key_of


def _draw_light_scale(sheet: Sheet, layout: WorkbenchLayout, floor: FloorView) -> float:
    """What the colours of the floor mean, at the right of the head; returns its width [points]."""
    assert floor.light is not None
    head, scale = layout.head, floor.light.scale
    width = min(round(230 * layout.unit), head.width // 2)
    left, top, height = head.right - width, head.top, round(10 * layout.unit)
    colours = light_colours()
    for step in range(LIGHT_STEPS):
        from_x, to_x = left + width * step / LIGHT_STEPS, left + width * (step + 1) / LIGHT_STEPS
        red, green, blue = (int(part) for part in colours[step])
        sheet.fill((from_x, top), (math.ceil(to_x - from_x) + 1, height), (red, green, blue))
    size = layout.letters(14)
    ticks = scale.ticks()
    written_from = math.inf
    for tick, share in reversed(list(zip(ticks, scale.share(np.array(ticks)), strict=True))):
        x = left + width * float(share)
        sheet.line([(x, top), (x, top + height + 4)], sheet.theme.ink, 1)
        words = light_words(tick)
        wide = sheet.text_size(words, size)[0]
        corner = min(max(x - wide / 2, left), left + width - wide)
        if corner + wide + 8 < written_from:
            sheet.text(words, (corner, top + height + 5), size)
            written_from = corner
    return width


def _draw_bar(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
    transport = state.transport
    bar, theme, size = layout.bar, sheet.theme, layout.letters(15)
    share = transport.time_s / transport.seconds
    sheet.card(bar.topleft, bar.size, theme.card, theme.wood, 4)
    sheet.card(bar.topleft, (max(8.0, bar.width * share), bar.height), theme.accent, theme.wood, 4)
    if transport.until_s < transport.seconds:
        x = bar.left + bar.width * transport.until_s / transport.seconds
        sheet.line([(x, bar.top - 3), (x, bar.bottom + 3)], theme.ink, 2)
    sheet.disc((bar.left + bar.width * share, bar.centery), 8 * layout.unit, theme.accent, theme.ink, 2)
    status = f"{transport.speed:g} times life" if transport.playing else f"{_key('play')}: play"
    words = f"{clock_words(transport.time_s)} of {clock_words(transport.seconds)}, {status}"
    if state.background.race is None:
        words = "working out the first run" if state.background.races.busy else ""
    sheet.text(words, (layout.clock.right, layout.clock.centery), size, across=1.0, down=0.5)


def _draw_foot(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
    foot, size = layout.foot, layout.letters(15)
    there = MODES[(MODES.index(state.selection.mode) + 1) % len(MODES)]
    hint = f"{_key('change mode').capitalize()}: arrows for {there}, {_key('help')}: all keys"
    words = state.note or "drag what lies on the plan, or turn a dial"
    room = foot.width - sheet.text_size(hint, size)[0] - 16
    if sheet.text_size(words, size)[0] > room and foot.width < _SHORT_LINE:
        # in a short line what has just been done comes before what can be done
        hint, words, room = ("", words, float(foot.width)) if state.note else (hint, "", 0.0)
    sheet.text(hint, (foot.right, foot.centery), size, sheet.theme.faded, across=1.0, down=0.5)
    sheet.text(sheet.shorten(words, size, room), (foot.left, foot.centery), size, down=0.5)


def _draw_banner(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
    size = layout.letters(16)
    names = " and ".join(document.path.name for document in state.documents.changed_on_disk)
    load = f"{_key('load changed')}: load it ({_key('undo')} takes that back)"
    words = f"{names} changed on disk meanwhile. {load}, {_key('keep own')}: keep what is here"
    lines = sheet.wrapped(words, size, layout.plan.width - 40)
    line = round(22 * layout.unit)
    height = len(lines) * line + 16
    corner = (layout.plan.left + 8, layout.plan.top + 8)
    sheet.card(corner, (layout.plan.width - 16, height), sheet.theme.accent, sheet.theme.on_accent, 6)
    for number, part in enumerate(lines):
        place = (corner[0] + 12, corner[1] + 9 + number * line)
        sheet.text(part, place, size, sheet.theme.on_accent)


def _draw_question(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState, question: Question) -> None:
    size, line = layout.letters(16), round(26 * layout.unit)
    width = min(round(640 * layout.unit), layout.size[0] - 40)
    if question.document is None:
        names = " and ".join(document.path.stem for document in state.documents.unsaved)
        lines = [
            f"Not saved yet: {names}.",
            "    ".join(f"{line.keys}: {line.words}" for line in UNSAVED_KEYS.help_lines),
        ]
    else:
        keys = "   ".join(f"{line.keys}: {line.words}" for line in FILE_NAME_KEYS.help_lines)
        called = f"named {name_for(Path(question.text))} in tables.   {keys}"
        lines = [f"Save the {question.document.kind} as", "", question.note or called]
    card = pygame.Rect(0, 0, width, line * len(lines) + 40)
    card.center = (layout.size[0] // 2, layout.size[1] // 2)
    draw_card(sheet, Box(*map(float, card)))
    for number, words in enumerate(lines):
        y = card.top + 20 + number * line
        sheet.text(sheet.shorten(words, size, width - 48), (card.left + 24, y), size)
    if question.document is not None:
        box = pygame.Rect(card.left + 24, card.top + 16 + line, width - 48, line - 2)
        draw_entry(sheet, box, question.text, size)
