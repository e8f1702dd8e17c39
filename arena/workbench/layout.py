"""Where everything lies in the window, for whoever draws it and for whoever is clicked at."""

from dataclasses import dataclass

from arena.workbench.dials import DIALS
from arena.workbench.workbench_keys import BUTTONS
from replays.drawing.sheet import pygame

LEAST_SIZE = (1000, 640)
"""The least width and height [points] in which nothing lies on anything else."""

USUAL_SIZE = (1280, 760)
"""Width and height [points] for which it is made; a larger window shows the same, enlarged."""

# Buttons in a row.
_IN_A_ROW = 5


@dataclass(frozen=True)
class WorkbenchLayout:
    """Rectangles [points]; ``unit`` is what everything is multiplied by in a small window."""

    size: tuple[int, int]
    unit: float
    head: pygame.Rect
    plan: pygame.Rect
    bar: pygame.Rect
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


def lay_out_workbench(width: int, height: int) -> WorkbenchLayout:
    """The layout of a window of so many points, as if it were no smaller than the least size."""
    width, height = max(width, LEAST_SIZE[0]), max(height, LEAST_SIZE[1])
    unit = min(max(min(height / USUAL_SIZE[1], width / USUAL_SIZE[0]), 0.9), 1.0)

    def grown(value: float) -> int:
        return round(value * unit)

    margin = grown(20)
    panel_width = min(max(round(0.35 * width), 420), 640)
    panel = pygame.Rect(width - panel_width, 0, panel_width, height)
    left = panel.left + margin
    room = panel.width - 2 * margin
    title = pygame.Rect(left, grown(14), room, grown(46))
    scope_width = room // 3
    scopes = tuple(
        pygame.Rect(left + number * scope_width, title.bottom + grown(6), scope_width, grown(26))
        for number in range(3)
    )
    row_height = grown(26)
    top = scopes[0].bottom + grown(6)
    rows = tuple(
        pygame.Rect(left, top + number * row_height, room, row_height) for number in range(len(DIALS))
    )
    rails = tuple(
        pygame.Rect(row.left + grown(108), row.centery - grown(5), row.width - grown(108 + 112), grown(10))
        for row in rows
    )
    button_height = grown(28)
    gap = grown(6)
    # two rows of five
    buttons_top = height - grown(10) - 2 * button_height - gap
    race_height = grown(134)
    race = pygame.Rect(left, buttons_top - grown(8) - race_height, room, race_height)
    pulse_top = rows[-1].bottom + grown(10)
    pulse = pygame.Rect(left, pulse_top, room, race.top - grown(8) - pulse_top)
    buttons = []
    for row in range(-(-len(BUTTONS) // _IN_A_ROW)):
        # as wide as their words ask for
        own = BUTTONS[row * _IN_A_ROW : (row + 1) * _IN_A_ROW]
        widths = [len(button.words) + len(button.key) + 3 for button in own]
        at = float(left)
        free = room - gap * (len(widths) - 1)
        top = buttons_top + row * (button_height + gap)
        for share in widths:
            wide = free * share / sum(widths)
            buttons.append(pygame.Rect(round(at), top, round(wide), button_height))
            at += wide + gap
    foot = pygame.Rect(margin, height - grown(34), panel.left - 2 * margin, grown(24))
    bar = pygame.Rect(margin, foot.top - grown(24), panel.left - 2 * margin, grown(10))
    head = pygame.Rect(margin, grown(12), panel.left - 2 * margin, grown(66))
    plan = pygame.Rect(margin, head.bottom, head.width, bar.top - grown(34) - head.bottom)
    return WorkbenchLayout(
        (width, height),
        unit,
        head,
        plan,
        bar,
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
