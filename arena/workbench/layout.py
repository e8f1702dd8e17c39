"""Where everything lies in the window, for whoever draws it and for whoever is clicked at."""

from dataclasses import dataclass
from typing import NamedTuple

from arena.workbench.dials import DIALS
from arena.workbench.workbench_keys import BUTTONS
from replays.drawing.sheet import pygame

LEAST_SIZE = (640, 360)
"""The least width and height [points] in which nothing lies on anything else."""

BOTH_SIZE = (1000, 640)
"""The least width and height [points] in which floor and panel lie side by side; below it one is shown."""

USUAL_SIZE = (1280, 760)
"""Width and height [points] for which it is made; a larger window shows the same, enlarged."""

LETTERS = (1.0, 1.25, 1.5, 2.0)
"""How many times larger than usual everything can be."""

# Share of the width that the panel takes, and its least width [points], in which its words have room.
_PANEL_SHARE, _LEAST_PANEL = 0.288, 368


@dataclass(frozen=True)
class WorkbenchLayout:
    """Rectangles [points]; ``unit`` is what everything is multiplied by in a small window.

    In ``strip`` are the scale, the ``bar`` of time and the clock. A panel that is not shown lies beside the
    window, with all that is in it.
    """

    size: tuple[int, int]
    unit: float
    head: pygame.Rect
    plan: pygame.Rect
    bar: pygame.Rect
    strip: pygame.Rect
    foot: pygame.Rect
    panel: pygame.Rect
    title: pygame.Rect
    scopes: tuple[pygame.Rect, ...]
    rows: tuple[pygame.Rect, ...]
    rails: tuple[pygame.Rect, ...]
    pulse: pygame.Rect
    race: pygame.Rect
    buttons: tuple[pygame.Rect, ...]

    def letters(self, size: int) -> int:
        """A size of letters, never below 14 [points]."""
        return max(14, round(size * self.unit))


def scale_of(width: int, height: int) -> float:
    """Pixels a point in a window of so many pixels."""
    return max(1.0, min(width / USUAL_SIZE[0], height / USUAL_SIZE[1]))


def lay_out_workbench(width: int, height: int, *, panel_shown: bool = True) -> WorkbenchLayout:
    """The layout of a window of so many points, as if it were no smaller than the least size.

    The floor comes first: the panel is as narrow as its dials let it be, and may be out of the way. In a
    window that has not room for both, as with large letters, the panel takes all of it, or none.
    """
    width, height = max(width, LEAST_SIZE[0]), max(height, LEAST_SIZE[1])
    is_small = width < BOTH_SIZE[0] or height < BOTH_SIZE[1]
    unit = min(max(min(height / USUAL_SIZE[1], width / USUAL_SIZE[0]), 0.9), 1.0)

    def grown(value: float) -> int:
        return round(value * unit)

    panel_width = width if is_small else min(max(round(_PANEL_SHARE * width), _LEAST_PANEL), 620)
    panel = pygame.Rect(width - panel_width if panel_shown else width, 0, panel_width, height)
    # the floor keeps a size that can be drawn while it is out of sight
    ground = pygame.Rect(0, 0, panel.left, height)
    if is_small and panel_shown:
        ground = pygame.Rect(-width, 0, width, height)
    parts = _lay_out_panel(panel, unit, is_small)
    margin = grown(13)
    across = ground.width - 2 * margin
    left = ground.left + margin
    foot = pygame.Rect(left, height - grown(28), across, grown(22))
    strip = pygame.Rect(left, foot.top - grown(24), across, grown(20))
    head = pygame.Rect(left, grown(7), across, grown(34))
    if not panel_shown and not is_small:
        # both in one line, so that even a floor nearly as high as wide has its share
        half = across // 2
        head = pygame.Rect(left, 3, across, grown(29))
        foot.top = height - foot.height - 2
        strip = pygame.Rect(left + half, foot.top, across - half, foot.height)
        foot = pygame.Rect(left, foot.top, half - margin, foot.height)
    bar = pygame.Rect(0, 0, strip.width - grown(168 + 262), grown(10))
    bar.midleft = (strip.left + grown(168), strip.centery)
    plan = pygame.Rect(ground.left + 4, head.bottom, ground.width - 8, strip.top - 2 - head.bottom)
    if is_small and panel_shown:
        # what has been done is told below the panel
        foot = parts.foot
    return WorkbenchLayout(
        (width, height),
        unit,
        head,
        plan,
        bar,
        strip,
        foot,
        panel,
        parts.title,
        parts.scopes,
        parts.rows,
        parts.rails,
        parts.pulse,
        parts.race,
        parts.buttons,
    )


class _Panel(NamedTuple):
    """Where the parts of the panel lie."""

    title: pygame.Rect
    scopes: tuple[pygame.Rect, ...]
    rows: tuple[pygame.Rect, ...]
    rails: tuple[pygame.Rect, ...]
    pulse: pygame.Rect
    race: pygame.Rect
    buttons: tuple[pygame.Rect, ...]
    foot: pygame.Rect


def _lay_out_panel(panel: pygame.Rect, unit: float, is_small: bool) -> _Panel:
    """One column from title to buttons, or two where the panel has the whole of a low window."""

    def grown(value: float) -> int:
        return round(value * unit)

    margin, gap, button_height, in_a_row = grown(13), grown(6), grown(28), 5
    left, right = panel.left + margin, panel.right - margin
    foot = pygame.Rect(left, panel.bottom - grown(26), right - left, grown(22))
    if is_small:
        right, in_a_row, gap, button_height = panel.left + panel.width // 2 - margin, 4, grown(4), grown(25)
    room = right - left
    title = pygame.Rect(left, grown(4 if is_small else 10), room, grown(44))
    scope_width = room // 3
    scopes = tuple(
        pygame.Rect(
            left + number * scope_width, title.bottom + gap, scope_width, grown(24 if is_small else 26)
        )
        for number in range(3)
    )
    row_height = grown(22 if is_small else 26)
    top = scopes[0].bottom + gap
    rows = tuple(
        pygame.Rect(left, top + number * row_height, room, row_height) for number in range(len(DIALS))
    )
    rails = tuple(
        pygame.Rect(row.left + grown(104), row.centery - grown(5), row.width - grown(104 + 106), grown(10))
        for row in rows
    )
    race_height = grown(134)
    if is_small:
        buttons_top = rows[-1].bottom + gap
        other = panel.left + panel.width // 2
        wide = panel.right - margin - other
        race = pygame.Rect(other, foot.top - 2 - race_height, wide, race_height)
        pulse = pygame.Rect(other, grown(4), wide, race.top - grown(8))
    else:
        buttons_top = panel.bottom - grown(10) - 2 * button_height - gap
        race = pygame.Rect(left, buttons_top - grown(8) - race_height, room, race_height)
        pulse_top = rows[-1].bottom + grown(8)
        pulse = pygame.Rect(left, pulse_top, room, race.top - grown(6) - pulse_top)
    buttons = []
    for first in range(0, len(BUTTONS), in_a_row):
        # as wide as their words ask for
        own = BUTTONS[first : first + in_a_row]
        widths = [len(button.words) + len(button.key) + 2 for button in own]
        at, between = float(left), grown(4)
        free = room - between * (len(widths) - 1)
        top = buttons_top + first // in_a_row * (button_height + gap)
        for share in widths:
            wide_one = free * share / sum(widths)
            buttons.append(pygame.Rect(round(at), top, round(wide_one), button_height))
            at += wide_one + between
    return _Panel(title, scopes, rows, rails, pulse, race, tuple(buttons), foot)
