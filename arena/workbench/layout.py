"""Where everything lies in the window, for whoever draws it and for whoever is clicked at."""

from dataclasses import dataclass, replace

from arena.workbench.panel_layout import lay_out_band, lay_out_column, lay_out_whole
from replays.drawing.layout import Box
from replays.drawing.sheet import pygame
from replays.window.window_layout import floor_size

LEAST_SIZE = (640, 360)
"""The least width and height [points] in which nothing lies on anything else."""

BOTH_SIZE = (1000, 640)
"""The least width and height [points] in which floor and panel lie side by side; below it one is shown."""

USUAL_SIZE = (1280, 760)
"""Width and height [points] for which it is made; a larger window shows the same, enlarged."""

LETTERS = (1.0, 1.25, 1.5, 2.0)
"""How many times larger than usual everything can be."""

FLOOR, FLOOR_AND_PANEL = 0.6, 0.45
"""Share of the window that the floor takes where its shape lets it, alone and with the panel open."""

# Share of the width that the panel takes beside the floor, and its least width [points], in which its words
# have room; below the floor it is so high at the least and at the most, in a window so wide at the least.
_PANEL_SHARE, _LEAST_PANEL = 0.288, 368
_BAND, _BAND_FROM = (198, 400), 1240
# What of the strip scale, clock and words take [points], and what a note asks for beside it.
_BEFORE_BAR, _AFTER_BAR, _LEAST_BAR = 168, 262, 110
# A column beside a floor that is all but square [points].
_COLUMN = 470


@dataclass(frozen=True)
class WorkbenchLayout:
    """Rectangles [points]; ``unit`` is what everything is multiplied by in a small window.

    In ``strip`` are the ``bar`` of time and, at the ends of the line ``clock``, scale and clock. A panel that
    is not shown lies beside the window, with all that is in it. ``causes`` is the room for those of a walker.
    """

    size: tuple[int, int]
    unit: float
    head: pygame.Rect
    plan: pygame.Rect
    bar: pygame.Rect
    strip: pygame.Rect
    clock: pygame.Rect
    foot: pygame.Rect
    panel: pygame.Rect
    title: pygame.Rect
    scopes: tuple[pygame.Rect, ...]
    rows: tuple[pygame.Rect, ...]
    rails: tuple[pygame.Rect, ...]
    pulse: pygame.Rect
    race: pygame.Rect
    buttons: tuple[pygame.Rect, ...]
    causes: pygame.Rect

    def letters(self, size: int) -> int:
        """A size of letters, never below 14 [points]."""
        return max(14, round(size * self.unit))

    def floor_share(self, aspect: float) -> float:
        """Share of the window that a floor ``aspect`` times as high as wide takes."""
        across, along = floor_size(Box(*map(float, self.plan)), aspect)
        return across * along / (self.size[0] * self.size[1])


def scale_of(width: int, height: int) -> float:
    """Pixels a point in a window of so many pixels."""
    return max(1.0, min(width / USUAL_SIZE[0], height / USUAL_SIZE[1]))


def lay_out_workbench(
    width: int, height: int, aspect: float = 0.58, *, panel_shown: bool = True
) -> WorkbenchLayout:
    """The layout of a window of so many points, as if it were no smaller than the least size.

    The floor, ``aspect`` times as high as wide, comes first: the panel is as narrow as its dials let it be,
    lies below a long floor, and may be out of the way. In a window that has not room for both, as with large
    letters, the panel takes all of it, or none.
    """
    width, height = max(width, LEAST_SIZE[0]), max(height, LEAST_SIZE[1])
    unit = min(max(min(height / USUAL_SIZE[1], width / USUAL_SIZE[0]), 0.9), 1.0)
    if width < BOTH_SIZE[0] or height < BOTH_SIZE[1]:
        return _one_of_both(width, height, unit, panel_shown)
    if not panel_shown:
        made = [_alone(width, height, unit), _alone_with_column(width, height, unit)]
        least = FLOOR
    else:
        made = [_beside(width, height, unit), _beside_one_line(width, height, unit)]
        if width >= _BAND_FROM:
            made.append(_below(width, height, unit, aspect))
        least = FLOOR_AND_PANEL
    enough = [layout for layout in made if layout.floor_share(aspect) >= least]
    # of those that leave the floor enough the usual one
    return enough[0] if enough else max(made, key=lambda layout: layout.floor_share(aspect))


def _one_of_both(width: int, height: int, unit: float, panel_shown: bool) -> WorkbenchLayout:
    """The panel over all of the window, or the floor."""
    window = pygame.Rect(0, 0, width, height)
    panel = window if panel_shown else window.move(width, 0)
    # the floor keeps a size that can be drawn while it is out of sight
    made = _bars_in_lines(window, window.move(-width, 0) if panel_shown else window, panel, unit)
    made = replace(made, **lay_out_whole(panel, unit)._asdict())
    if not panel_shown:
        return made
    # what has been done is told below the panel
    margin = round(13 * unit)
    foot = pygame.Rect(margin, height - round(26 * unit), width - 2 * margin, round(22 * unit))
    return replace(made, foot=foot)


def _beside(width: int, height: int, unit: float) -> WorkbenchLayout:
    return _bars_in_lines(*_side_by_side(width, height), unit)


def _beside_one_line(width: int, height: int, unit: float) -> WorkbenchLayout:
    """So that even a floor as high as wide has its share beside the panel."""
    return _bars_in_one_line(*_side_by_side(width, height), unit)


def _side_by_side(width: int, height: int) -> tuple[pygame.Rect, pygame.Rect, pygame.Rect]:
    """The window, the room for the floor with its bars, and the panel."""
    panel_width = min(max(round(_PANEL_SHARE * width), _LEAST_PANEL), 620)
    panel = pygame.Rect(width - panel_width, 0, panel_width, height)
    return pygame.Rect(0, 0, width, height), pygame.Rect(0, 0, panel.left, height), panel


def _below(width: int, height: int, unit: float, aspect: float) -> WorkbenchLayout:
    """The panel as high as it may be below a floor that has its share."""
    window = pygame.Rect(0, 0, width, height)
    least, most = (round(size * unit) for size in _BAND)
    for high in (*range(most, least, -2), least):
        panel = pygame.Rect(0, height - high, width, high)
        ground = pygame.Rect(0, 0, width, panel.top)
        made = _bars_in_one_line(window, ground, panel, unit)
        # a little more than its share, against what is lost in rounding
        if made.floor_share(aspect) >= FLOOR_AND_PANEL + 0.005:
            break
    return replace(made, **lay_out_band(panel, unit)._asdict())


def _alone(width: int, height: int, unit: float) -> WorkbenchLayout:
    window, _, panel = _side_by_side(width, height)
    # out of the way, the panel lies beside the window
    return _bars_in_one_line(window, window, panel.move(panel.width, 0), unit)


def _alone_with_column(width: int, height: int, unit: float) -> WorkbenchLayout:
    """A floor all but square gets all of the window's height, and the bars stand in a column beside it."""
    window, _, panel = _side_by_side(width, height)
    margin = round(13 * unit)
    left, across = width - _COLUMN + margin, _COLUMN - 2 * margin
    plan = pygame.Rect(2, 2, width - _COLUMN - 4, height - 4)
    head = pygame.Rect(left, round(10 * unit), across, round(34 * unit))
    foot = pygame.Rect(left, height - round(32 * unit), across, round(22 * unit))
    strip = pygame.Rect(left, foot.top - round(58 * unit), across, round(50 * unit))
    made = _with_panel_column(window, unit, head, plan, strip, foot, panel.move(panel.width, 0))
    # scale and clock lie below the bar, for which there would be no room between them
    bar = pygame.Rect(left + 6, strip.top + round(4 * unit), across - 12, made.bar.height)
    words = pygame.Rect(left, strip.bottom - round(22 * unit), across, round(22 * unit))
    causes = pygame.Rect(left - 8, head.bottom + 6, across + 16, strip.top - head.bottom - 12)
    return replace(made, bar=bar, clock=words, causes=causes)


def _bars_in_lines(
    window: pygame.Rect, ground: pygame.Rect, panel: pygame.Rect, unit: float
) -> WorkbenchLayout:
    """Headline above the floor, below it the bar of time, and below that what has been done."""

    def grown(value: float) -> int:
        return round(value * unit)

    left, across = ground.left + grown(13), ground.width - 2 * grown(13)
    foot = pygame.Rect(left, window.height - grown(28), across, grown(22))
    strip = pygame.Rect(left, foot.top - grown(24), across, grown(20))
    head = pygame.Rect(left, grown(7), across, grown(34))
    plan = pygame.Rect(ground.left + 4, head.bottom, ground.width - 8, strip.top - 2 - head.bottom)
    return _with_panel_column(window, unit, head, plan, strip, foot, panel)


def _bars_in_one_line(
    window: pygame.Rect, ground: pygame.Rect, panel: pygame.Rect, unit: float
) -> WorkbenchLayout:
    """Headline above the floor, all else in one line below it."""

    def grown(value: float) -> int:
        return round(value * unit)

    left, across = ground.left + grown(13), ground.width - 2 * grown(13)
    head = pygame.Rect(left, 3, across, grown(29))
    top = ground.bottom - grown(22) - 2
    wide = max(across // 2, grown(_BEFORE_BAR + _AFTER_BAR + _LEAST_BAR))
    strip = pygame.Rect(left + across - wide, top, wide, grown(22))
    foot = pygame.Rect(left, top, across - wide - grown(13), grown(22))
    plan = pygame.Rect(ground.left + 4, head.bottom, ground.width - 8, top - 2 - head.bottom)
    return _with_panel_column(window, unit, head, plan, strip, foot, panel)


def _with_panel_column(
    window: pygame.Rect,
    unit: float,
    head: pygame.Rect,
    plan: pygame.Rect,
    strip: pygame.Rect,
    foot: pygame.Rect,
    panel: pygame.Rect,
) -> WorkbenchLayout:
    before, after = round(_BEFORE_BAR * unit), round(_AFTER_BAR * unit)
    bar = pygame.Rect(0, 0, strip.width - before - after, round(10 * unit))
    bar.midleft = (strip.left + before, strip.centery)
    parts = lay_out_column(panel, unit)._asdict()
    return WorkbenchLayout(window.size, unit, head, plan, bar, strip, strip, foot, panel, **parts)
