"""Where things go in the window on a replay: the floor first, and what else there is in the room it leaves.

A headline, the floor, and at the bottom the bar of time with buttons. Beside or below the floor, whichever
leaves more of it, come the lanes of who leads, or the causes of a walker.
"""

import math
from dataclasses import dataclass

from replays.drawing.layout import Box

HEAD, CONTROLS, GAP = 36.0, 58.0, 8.0
"""Heights of the headline and of the controls, and the room between parts [points]."""

ROW = 35.0
"""Height of a further row of buttons [points]."""

MARGIN = 0.012
"""Room round the floor within its part, as a share of its longer side."""

FLOOR, FLOOR_WITH_CAUSES = 0.605, 0.455
"""Share of the window that the floor takes, where its shape lets it, alone and with the causes open."""

# What fits beside the floor and below it [points]: at the least, and more is not wanted.
_LEAD_BESIDE, _LEAD_BELOW = (150.0, 300.0), (54.0, 150.0)
_COLUMN = (260.0, 420.0)
_CAUSES_BESIDE, _CAUSES_BELOW = (330.0, 560.0), (168.0, 420.0)
# In a window this high [points] a column has room for more rows of buttons.
_ROWS_FROM = 520.0
# Steps in which sizes are tried [points].
_STEP = 2.0


@dataclass(frozen=True)
class WindowLayout:
    """The parts of a window of ``width`` by ``height`` [points]; None for what is not shown.

    ``panel`` is for the lanes or the causes, ``beside`` tells whether it stands at the right of the floor.
    """

    width: float
    height: float
    head: Box
    arena: Box
    panel: Box | None
    beside: bool
    controls: Box


def floor_size(box: Box, aspect: float) -> tuple[float, float]:
    """Width and height [points] of a floor ``aspect`` times as high as wide, as it goes into ``box``."""
    longer = max(1.0, aspect)
    zoom = min(box.width / (1.0 + 2.0 * MARGIN * longer), box.height / (aspect + 2.0 * MARGIN * longer))
    return zoom, zoom * aspect


def lay_out_window(
    width: float, height: float, aspect: float, *, has_lead: bool = True, has_causes: bool = False
) -> WindowLayout:
    """Share out ``width`` by ``height`` [points]; ``aspect`` is the floor's height over its width.

    Both panels at once would leave too little of the floor: the causes come in place of the lanes.

    >>> made = lay_out_window(1280.0, 720.0, 0.58)
    >>> across, down = floor_size(made.arena, 0.58)
    >>> across * down >= 0.6 * 1280 * 720
    True
    """
    head = Box(GAP, 0.0, max(width - 2 * GAP, 1.0), HEAD)
    controls = Box(0.0, height - CONTROLS, width, CONTROLS)
    room = Box(GAP, HEAD, max(width - 2 * GAP, 50.0), max(controls.top - HEAD, 50.0))
    whole = WindowLayout(width, height, head, room, None, False, controls)
    made = _with_bars(whole, aspect, has_lead, has_causes)
    if _share(made.arena, aspect, width, height) < (FLOOR_WITH_CAUSES if has_causes else FLOOR):
        # a floor nearly as high as the window is wide gets all of its height, and the bars a column beside it
        other = _with_column(whole, aspect, has_lead, has_causes)
        if _share(other.arena, aspect, width, height) > _share(made.arena, aspect, width, height):
            return other
    return made


def _with_column(whole: WindowLayout, aspect: float, has_lead: bool, has_causes: bool) -> WindowLayout:
    """Headline, panel and controls one below another at the right of the floor."""
    width, height = whole.width, whole.height
    across, _ = floor_size(Box(0.0, 0.0, math.inf, height - 2 * GAP), aspect)
    least, most = _CAUSES_BESIDE if has_causes else _COLUMN
    column = min(max(width - across * (1.0 + 2.0 * MARGIN) - 3 * GAP, least), most)
    arena = Box(GAP, GAP, max(width - column - 3 * GAP, 50.0), height - 2 * GAP)
    left = arena.right + GAP
    # a column is narrow, so its buttons stand in several rows
    bars = CONTROLS + (2 * ROW if height >= _ROWS_FROM else 0.0)
    head, controls = Box(left, 0.0, column, HEAD), Box(left, height - bars, width - left, bars)
    panel = Box(left, HEAD, column, max(controls.top - HEAD, 1.0)) if has_lead or has_causes else None
    return WindowLayout(width, height, head, arena, panel, True, controls)


def _with_bars(whole: WindowLayout, aspect: float, has_lead: bool, has_causes: bool) -> WindowLayout:
    """Headline and controls over the whole width, the panel beside the floor or below it."""
    width, height, room = whole.width, whole.height, whole.arena
    if not (has_lead or has_causes):
        return whole
    least = FLOOR_WITH_CAUSES if has_causes else FLOOR
    most = _share(room, aspect, width, height)
    # where the floor cannot have that much, it keeps most of what it could have
    reachable = least if most >= FLOOR else (0.74 if has_causes else 0.92) * most
    beside, below = (_CAUSES_BESIDE, _CAUSES_BELOW) if has_causes else (_LEAD_BESIDE, _LEAD_BELOW)
    made = [
        _with_panel(whole, aspect, at_side, limits, reachable)
        for at_side, limits in ((True, beside), (False, below))
    ]
    fits = [one for one in made if _share(one.arena, aspect, width, height) >= reachable - 1e-6]
    if fits:
        # of two that leave enough, the one with the larger panel
        return max(fits, key=lambda one: one.panel.width * one.panel.height if one.panel else 0.0)
    if not has_causes:
        return whole
    return max(made, key=lambda one: _share(one.arena, aspect, width, height))


def _share(box: Box, aspect: float, width: float, height: float) -> float:
    across, down = floor_size(box, aspect)
    return across * down / (width * height)


def _with_panel(
    whole: WindowLayout, aspect: float, beside: bool, limits: tuple[float, float], reachable: float
) -> WindowLayout:
    """The layout with the largest panel within ``limits`` that leaves the floor a ``reachable`` share."""
    room = whole.arena
    least, most = limits
    most = min(most, 0.6 * (room.width if beside else room.height))
    size = max(most, least)
    while size > least:
        if _share(_rest(room, size, beside), aspect, whole.width, whole.height) >= reachable:
            break
        size -= _STEP
    size = max(size, least)
    arena = _rest(room, size, beside)
    if beside:
        panel = Box(arena.right + GAP, room.top, max(room.right - arena.right - GAP, 1.0), room.height)
    else:
        panel = Box(room.left, arena.bottom + GAP, room.width, max(room.bottom - arena.bottom - GAP, 1.0))
    return WindowLayout(whole.width, whole.height, whole.head, arena, panel, beside, whole.controls)


def _rest(room: Box, size: float, beside: bool) -> Box:
    """What is left of ``room`` beside, or above, a panel of ``size`` [points]."""
    if beside:
        return Box(room.left, room.top, max(room.width - size - GAP, 50.0), room.height)
    return Box(room.left, room.top, room.width, max(room.height - size - GAP, 50.0))
