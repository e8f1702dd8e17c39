"""Where things go on a window or a picture of any size: headline, arena, legend, strip and controls."""

from dataclasses import dataclass

Point = tuple[float, float]

HEAD = 84.0
"""Height of the headline [points]."""

FOOT = 46.0
"""Room below the arena, for the bar that tells how far a metre goes [points]."""

CONTROLS = 92.0
"""Height of the controls at the bottom of a window [points]."""

# Below this width [points] a legend beside the arena would leave too little of it.
_LEGEND_FROM = 520.0
_WIDE_LEGEND, _NARROW_LEGEND, _WIDE_FROM = 340.0, 290.0, 1200.0
# A strip below this height [points] tells nothing; a window this low has no room for one.
_LEAST_STRIP, _MOST_STRIP, _STRIP_FROM = 236.0, 340.0, 560.0
_LEAST_BELOW = 250.0


@dataclass(frozen=True)
class Box:
    """An upright rectangle [points]."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.top + self.height

    @property
    def middle(self) -> Point:
        """The middle."""
        return self.left + self.width / 2, self.top + self.height / 2

    def holds(self, point: Point, slack: float = 0.0) -> bool:
        """Whether ``point`` lies in it, or no farther than ``slack`` from it."""
        return (
            self.left - slack <= point[0] <= self.right + slack
            and self.top - slack <= point[1] <= self.bottom + slack
        )

    def inner(self, margin: float) -> "Box":
        """The same without a rim of ``margin``."""
        return Box(
            self.left + margin, self.top + margin,
            max(self.width - 2 * margin, 1.0), max(self.height - 2 * margin, 1.0),
        )  # fmt: skip


@dataclass(frozen=True)
class PageLayout:
    """The parts of a window or a picture of ``width`` by ``height`` [points]; None for what has no room."""

    width: float
    height: float
    margin: float
    head: Box
    arena: Box
    legend: Box | None
    strip: Box | None
    controls: Box | None

    @property
    def has_side_legend(self) -> bool:
        """Whether there is a legend, and beside the arena."""
        return self.legend is not None and self.legend.left >= self.arena.right


def lay_out_page(
    width: float, height: float, aspect: float, *, has_controls: bool = False, has_strip: bool = False
) -> PageLayout:
    """Share out ``width`` by ``height`` [points]; ``aspect`` is the arena's height over its width."""
    margin = 24.0 if width >= 600 else 16.0
    bottom = height - (CONTROLS if has_controls else 0.0)
    controls = Box(0.0, bottom, width, CONTROLS) if has_controls else None
    strip = None
    if has_strip and height >= _STRIP_FROM:
        strip_height = min(max(0.33 * height, _LEAST_STRIP), _MOST_STRIP)
        strip = Box(margin, bottom - strip_height, max(width - 2 * margin, 1.0), strip_height)
        bottom = strip.top - 6.0
    room = max(width - 2 * margin, 50.0)
    legend = None
    stands = height > 1.1 * width
    arena = Box(margin, HEAD, room, max(bottom - HEAD - FOOT, 50.0))
    if stands:
        arena_height = min(aspect * room, arena.height)
        below = HEAD + arena_height + FOOT
        if bottom - below < _LEAST_BELOW and bottom - HEAD - FOOT - _LEAST_BELOW > 0.4 * arena.height:
            below = bottom - _LEAST_BELOW
            arena_height = below - HEAD - FOOT
        arena = Box(margin, HEAD, room, max(arena_height, 50.0))
        if bottom - below >= 60.0:
            legend = Box(margin, below, room, bottom - below - margin)
    elif width >= _LEGEND_FROM:
        legend_width = _WIDE_LEGEND if width >= _WIDE_FROM else _NARROW_LEGEND
        legend_width = min(legend_width, 0.34 * width)
        arena = Box(margin, HEAD, room - legend_width - margin, arena.height)
        legend = Box(arena.right + margin, HEAD, legend_width, max(bottom - HEAD, 1.0))
    return PageLayout(width, height, margin, Box(margin, 0.0, room, HEAD), arena, legend, strip, controls)
