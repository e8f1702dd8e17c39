"""Names lie over nothing that matters; checked by the geometry library shapely."""

import itertools

import numpy as np
import pytest
import shapely

from replays.drawing.label_placing import LabelPlacement, draw_labels, label_box, place_beside
from replays.drawing.metres_to_points import View
from replays.drawing.sheet import Sheet, pygame

VIEW = View(10.0, 20.0, 600.0, 400.0, 0.0, 0.0, 200.0)


def test_names_lie_in_view_and_over_nothing_that_is_taken() -> None:
    draw = np.random.default_rng(1)
    room = LabelPlacement(VIEW)
    taken = []
    for _ in range(25):
        x, y, width, height = draw.uniform((10, 20, 5, 5), (560, 380, 70, 60))
        room.take(x, y, x + width, y + height)
        taken.append(shapely.box(x, y, x + width, y + height))
    wall = [(30.0, 60.0), (300.0, 200.0), (580.0, 40.0)]
    room.take_line(wall, 5)
    taken.append(shapely.LineString(wall).buffer(4.0))
    placed = []
    for _ in range(12):
        near = tuple(draw.uniform((10, 20), (600, 400)).tolist())
        label = room.place("a name", near, 90.0, 20.0)
        assert label is not None
        placed.append(shapely.box(*label.corner, label.corner[0] + 90, label.corner[1] + 20))
        if label.place is None:
            assert placed[-1].distance(shapely.Point(near)) <= 20.0
    for one in placed:
        assert shapely.box(10, 20, 610, 420).contains(one)
        assert not any(one.intersects(other) for other in taken)
    assert not any(one.intersects(other) for one, other in itertools.combinations(placed, 2))


def test_a_name_keeps_off_the_ways_if_it_can() -> None:
    room = LabelPlacement(VIEW)
    x = np.linspace(200.0, 420.0, 400)
    room.shun(x, np.full_like(x, 185.0))
    label = room.place("a name", (310.0, 200.0), 90.0, 20.0)
    assert label is not None
    assert not label.corner[1] - 3 <= 185.0 <= label.corner[1] + 23
    everywhere = LabelPlacement(VIEW)
    across, down = np.meshgrid(np.arange(10.0, 610.0), np.arange(20.0, 420.0))
    everywhere.shun(across.ravel(), down.ravel())
    assert everywhere.find((300.0, 200.0), 90.0, 20.0) is not None, "but it is told all the same"


def test_what_is_far_off_is_reached_by_a_leader_that_ends_at_the_outline() -> None:
    room = LabelPlacement(VIEW)
    outline = [(100.0, 100.0), (500.0, 100.0), (500.0, 300.0), (100.0, 300.0), (100.0, 100.0)]
    room.take(60.0, 60.0, 540.0, 340.0)
    label = room.place("a name", (300.0, 200.0), 90.0, 20.0, outline)
    assert label is not None
    assert label.place is not None
    assert shapely.LineString(outline).distance(shapely.Point(label.place)) < 1e-6
    moved = label.moved(10.0, -5.0)
    assert moved.corner == (label.corner[0] + 10.0, label.corner[1] - 5.0)
    sheet = Sheet(pygame.Surface((640, 440)))
    draw_labels(sheet, [label])
    assert pygame.surfarray.array3d(sheet.surface)[tuple(round(part) for part in label.place)].any()
    assert label_box(sheet, label)[0] == label.corner[0]


@pytest.mark.parametrize("count", [1, 12, 40])
def test_names_beside_walkers_cover_no_walker_and_no_other_name(count: int) -> None:
    draw = np.random.default_rng(count)
    anchors = draw.uniform((40, 40), (1160, 660), (count, 2))
    radii, sizes = np.full(count, 14.0), np.full((count, 2), (120.0, 32.0))
    taken = np.array([[500.0, 300.0, 700.0, 420.0]])
    box = (0.0, 0.0, 1200.0, 700.0)
    corners, choices = place_beside(anchors, radii, sizes, box, taken)
    names = [shapely.box(x, y, x + 120, y + 32) for x, y in corners if np.isfinite(x)]
    walkers = [shapely.box(x - 14, y - 14, x + 14, y + 14) for x, y in anchors]
    assert len(names) >= 0.6 * count
    for name in names:
        assert shapely.box(*box).contains(name)
        for other in [*walkers, shapely.box(*taken[0])]:
            assert name.intersection(other).area == 0.0
    assert all(one.intersection(other).area == 0.0 for one, other in itertools.combinations(names, 2))
    assert ((choices >= 0) == np.isfinite(corners[:, 0])).all()
    # a step later every name that still is free stays on its side
    again, kept = place_beside(anchors + 0.5, radii, sizes, box, taken, choices)
    assert (kept == choices).mean() > 0.9
    assert np.isfinite(again[:, 0]).sum() == len(names)
