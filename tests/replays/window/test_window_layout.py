"""The floor takes most of the window, and the parts of it do not overlap."""

import itertools

import pytest
import shapely

from replays.drawing.layout import Box
from replays.window.window_layout import floor_size, lay_out_window

# Heights over widths of all arenas that are shipped, and odd ones.
SHIPPED, ODD = (0.41, 0.55, 0.58, 0.6, 0.63, 0.64, 0.71, 0.75), (0.1, 1.0, 4.0)


def as_polygon(box: Box) -> shapely.Polygon:
    return shapely.box(box.left, box.top, box.right, box.bottom)


@pytest.mark.parametrize("size", [(1280, 720), (1366, 768), (1920, 1080), (1920, 1200), (3840, 2160)])
@pytest.mark.parametrize("aspect", SHIPPED)
def test_the_floor_itself_takes_60_percent_and_45_with_the_causes(
    size: tuple[int, int], aspect: float
) -> None:
    for has_causes, share in ((False, 0.6), (True, 0.45)):
        made = lay_out_window(*size, aspect, has_causes=has_causes)
        width, height = floor_size(made.arena, aspect)
        assert width <= made.arena.width
        assert height <= made.arena.height
        assert width * height >= share * size[0] * size[1]
        assert made.panel is not None or not has_causes


@pytest.mark.parametrize("size", [(420, 300), (640, 360), (800, 600), (1280, 720), (600, 1100), (3000, 400)])
@pytest.mark.parametrize("aspect", SHIPPED + ODD)
def test_parts_do_not_overlap_and_lie_in_the_window(size: tuple[int, int], aspect: float) -> None:
    window = shapely.box(-1e-6, -1e-6, size[0] + 1e-6, size[1] + 1e-6)
    for has_lead, has_causes in itertools.product((False, True), repeat=2):
        made = lay_out_window(*size, aspect, has_lead=has_lead, has_causes=has_causes)
        boxes = [box for box in (made.head, made.arena, made.panel, made.controls) if box is not None]
        parts = [as_polygon(box) for box in boxes]
        for part in parts:
            assert part.area > 0
            assert window.contains(part)
        for one, other in itertools.combinations(parts, 2):
            assert one.intersection(other).area < 1e-3
