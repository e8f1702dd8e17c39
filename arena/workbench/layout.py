"""Where everything lies in the window, for whoever draws it and for whoever is clicked at."""

from dataclasses import dataclass

from arena.workbench.dials import DIALS
from arena.workbench.workbench_keys import BUTTONS
from replays.drawing.sheet import pygame

LEAST_SIZE = (1000, 640)
"""The least width and height [points] in which nothing lies on anything else."""

USUAL_SIZE = (1280, 760)
"""Width and height [points] for which it is made; a larger window shows the same, enlarged."""

# Share of the width that the panel takes, and its least width [points], in which its words have room.
_PANEL_SHARE, _LEAST_PANEL = 0.288, 368
# Buttons in a row.
_IN_A_ROW = 5


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

    The floor comes first: the panel is as narrow as its dials let it be, and may be out of the way.
    """
    width, height = max(width, LEAST_SIZE[0]), max(height, LEAST_SIZE[1])
    unit = min(max(min(height / USUAL_SIZE[1], width / USUAL_SIZE[0]), 0.9), 1.0)

    def grown(value: float) -> int:
        return round(value * unit)

    margin, gap = grown(13), grown(6)
    panel_width = min(max(round(_PANEL_SHARE * width), _LEAST_PANEL), 620)
    panel = pygame.Rect(width - panel_width if panel_shown else width, 0, panel_width, height)
    left = panel.left + margin
    room = panel.width - 2 * margin
    title = pygame.Rect(left, grown(10), room, grown(46))
    scope_width = room // 3
    scopes = tuple(
        pygame.Rect(left + number * scope_width, title.bottom + gap, scope_width, grown(26))
        for number in range(3)
    )
    row_height = grown(26)
    top = scopes[0].bottom + gap
    rows = tuple(
        pygame.Rect(left, top + number * row_height, room, row_height) for number in range(len(DIALS))
    )
    rails = tuple(
        pygame.Rect(row.left + grown(104), row.centery - grown(5), row.width - grown(104 + 106), grown(10))
        for row in rows
    )
    button_height = grown(28)
    # two rows of five
    buttons_top = height - grown(10) - 2 * button_height - gap
    race_height = grown(134)
    race = pygame.Rect(left, buttons_top - grown(8) - race_height, room, race_height)
    pulse_top = rows[-1].bottom + grown(8)
    pulse = pygame.Rect(left, pulse_top, room, race.top - grown(6) - pulse_top)
    buttons = []
    for row in range(-(-len(BUTTONS) // _IN_A_ROW)):
        # as wide as their words ask for
        own = BUTTONS[row * _IN_A_ROW : (row + 1) * _IN_A_ROW]
        widths = [len(button.words) + len(button.key) + 2 for button in own]
        at, between = float(left), grown(4)
        free = room - between * (len(widths) - 1)
        top = buttons_top + row * (button_height + gap)
        for share in widths:
            wide = free * share / sum(widths)
            buttons.append(pygame.Rect(round(at), top, round(wide), button_height))
            at += wide + between
    ground = panel.left - 2 * margin
    foot = pygame.Rect(margin, height - grown(28), ground, grown(22))
    strip = pygame.Rect(margin, foot.top - grown(24), ground, grown(20))
    head = pygame.Rect(margin, grown(7), ground, grown(34))
    if not panel_shown:
        # both in one line, so that even a floor nearly as high as wide has its share
        half = ground // 2
        head = pygame.Rect(margin, 3, ground, grown(29))
        foot.top = height - foot.height - 2
        strip = pygame.Rect(foot.left + half, foot.top, ground - half, foot.height)
        foot = pygame.Rect(foot.left, foot.top, half - margin, foot.height)
    bar = pygame.Rect(0, 0, strip.width - grown(168 + 262), grown(10))
    bar.midleft = (strip.left + grown(168), strip.centery)
    plan = pygame.Rect(4, head.bottom, panel.left - 8, strip.top - 2 - head.bottom)
    return WorkbenchLayout(
        (width, height),
        unit,
        head,
        plan,
        bar,
        strip,
        foot,
        panel,
        title,
        scopes,
        rows,
        rails,
        pulse,
        race,
        tuple(buttons),
    )
