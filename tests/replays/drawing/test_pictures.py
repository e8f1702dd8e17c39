"""The picture: what is drawn lies where it should, can be read, and is the same every time."""

import dataclasses
import itertools
import math
import struct
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from agents.errors import OptionError, OutputError
from replays.drawing import colours, ground, legend, marks
from replays.drawing.figures import Moment
from replays.drawing.label_placing import LabelPlacement
from replays.drawing.metres_to_points import View, fit
from replays.drawing.moving_picture import Stage
from replays.drawing.pages import LEGEND, ReplayPage, height_for
from replays.drawing.pictures import draw_picture
from replays.drawing.poses import Poses
from replays.drawing.sheet import Sheet, dashes, pygame
from replays.drawing.trails import Trails
from replays.format.tables import LEFT, RIGHT
from replays.scoring.scores import score
from tests.helpers.fabricate import Fabricator, arena, box, goal, potting_bench

BLIND_TO = (None, "Protanomaly", "Deuteranomaly", "Tritanomaly")


def lightness_and_hue(rgb: NDArray[np.float64], blind_to: str | None) -> NDArray[np.float64]:
    """CIE L*a*b* of sRGB colours 0 to 255, as seen with a colour blindness, by the library colour."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        from colour.blindness import matrix_cvd_Machado2009

        linear = colour.cctf_decoding(rgb / 255.0)
        if blind_to is not None:
            # Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009).
            linear = np.clip(linear @ matrix_cvd_Machado2009(blind_to, 1.0).T, 0.0, 1.0)
        space = colour.RGB_COLOURSPACES["sRGB"]
        lab: NDArray[np.float64] = colour.XYZ_to_Lab(linear @ space.matrix_RGB_to_XYZ.T, space.whitepoint)
    return lab


def difference(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """CIEDE2000 (CIE 142) of two L*a*b* colours, by the library colour."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        return float(colour.delta_E(one, other, method="CIE 2000"))


def blank(width: int = 120, height: int = 120) -> Sheet:
    surface = pygame.Surface((width, height))
    surface.fill(colours.PAPER)
    return Sheet(surface)


def drawn(sheet: Sheet) -> NDArray[np.bool_]:
    """Which pixels (x, y) are no longer paper."""
    return (pygame.surfarray.array3d(sheet.surface) != np.array(colours.PAPER)).any(axis=2)


def size_of(path: Path) -> tuple[int, int]:
    """Width and height of a PNG file: ISO/IEC 15948, the chunk IHDR."""
    content = path.read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    assert content[12:16] == b"IHDR"
    width, height = struct.unpack(">II", content[16:24])
    return width, height


@pytest.mark.parametrize("blind_to", BLIND_TO)
def test_brighter_light_is_a_lighter_colour_in_even_steps(blind_to: str | None) -> None:
    lightness = lightness_and_hue(colours.light_colours().astype(np.float64), blind_to)[:, 0]
    every_eighth = np.diff(lightness[::15])
    assert lightness[0] < 25
    assert lightness[-1] > 90
    assert every_eighth.min() > 0.7 * every_eighth.mean()
    assert every_eighth.max() < 1.3 * every_eighth.mean()


@pytest.mark.parametrize("blind_to", BLIND_TO)
def test_designs_differ_in_colour_for_every_eye(blind_to: str | None) -> None:
    looks = [colours.look(number) for number in range(7)]
    seen = [lightness_and_hue(np.array(look.colour, dtype=np.float64), blind_to) for look in looks]
    for one, other in itertools.combinations(seen, 2):
        # 2.3 is a just noticeable difference in a side-by-side comparison: from memory.
        assert difference(one, other) > 5 * 2.3


@pytest.mark.parametrize("design", range(7))
def test_each_path_stands_out_from_any_light_by_itself_or_its_casing(design: int) -> None:
    look = colours.look(design)
    lightness = lightness_and_hue(colours.light_colours().astype(np.float64), None)[:, 0]
    own = lightness_and_hue(np.array([look.colour, look.casing], dtype=np.float64), None)[:, 0]
    assert np.abs(lightness[:, None] - own).max(axis=1).min() > 20


def test_designs_differ_in_mark_and_line_too() -> None:
    looks = [colours.look(number) for number in range(49)]
    assert len({(look.corners, look.turn) for look in looks[:7]}) == 7
    assert len({(look.colour, look.corners, look.turn, look.pattern) for look in looks}) == 49


@pytest.mark.parametrize("low", [1e-6, 0.3, 4.0, 77.0, 500.0, 12_345.0, 100_000.0])
@pytest.mark.parametrize("factor", [1.0, 1.5, 3.0, 40.0, 2_000.0, 1e7])
def test_the_light_scale_holds_the_map_and_has_round_ticks(low: float, factor: float) -> None:
    scale = colours.light_scale(np.array([[low, low * factor]], dtype=np.float32))
    high = low * factor
    assert scale.high_lx >= high * (1 - 1e-5)
    if factor < 1e4:
        assert scale.low_lx <= low * (1 + 1e-5)
    assert scale.high_lx / scale.low_lx < 1e4 * 5 * 10.1
    ticks = scale.ticks()
    assert len(ticks) >= 2
    for tick in ticks:
        assert f"{tick:e}"[0] in "125"
        assert float(f"{tick:.0e}") == pytest.approx(tick)
    shares = scale.share(
        np.array([scale.low_lx, math.sqrt(scale.low_lx * scale.high_lx), scale.high_lx, 0.0])
    )
    np.testing.assert_allclose(shares, [0.0, 0.5, 1.0, 0.0], atol=1e-12)


def test_the_floor_shows_the_light_of_its_place_north_up() -> None:
    light = np.full((10, 20), 100.0)
    light[5:, :] = 1000.0
    light[:5, 10:] = 10.0
    made = Fabricator(light_map=light, arena=arena(lamps=[]))
    replay = made.replay()
    scene = ReplayPage(replay, 1000, 600)
    surface = pygame.Surface((1000, 600))
    scene.draw(surface, 0.0)
    scale = colours.light_scale(replay.light_map)
    for x, y, light_lx in ((0.5, 0.8, 1000.0), (1.5, 0.8, 1000.0), (0.5, 0.2, 100.0), (1.5, 0.2, 10.0)):
        step = round(float(scale.share(np.array([light_lx]))[0]) * (colours.LIGHT_STEPS - 1))
        pixel = tuple(round(value) for value in scene.view(x, y))
        assert tuple(surface.get_at(pixel))[:3] == tuple(colours.light_colours()[step])


def test_light_is_drawn_on_the_floor_only() -> None:
    replay = Fabricator(arena=arena(floor=[[0, 0], [2, 0], [2, 1], [1, 1], [1, 0.5], [0, 0.5]])).replay()
    scene = ReplayPage(replay, 1000, 600)
    surface = pygame.Surface((1000, 600))
    scene.draw(surface, 0.0)
    x, y = scene.view(0.5, 0.75)
    assert tuple(surface.get_at((round(x), round(y))))[:3] == colours.PAPER


def test_the_view_keeps_proportions_and_holds_all_of_the_floor() -> None:
    view = fit(arena(floor=box(-3.0, 2.0, 5.0, 4.0)), 20.0, 30.0, 500.0, 400.0)
    (west, south), (east, north) = view(-3.0, 2.0), view(5.0, 4.0)
    assert 20 <= west < east <= 520
    assert 30 <= north < south <= 430
    assert (east - west) / (south - north) == pytest.approx(4.0)
    columns, rows = view.columns(), view.rows()
    assert view(columns[7], rows[11]) == pytest.approx((view.left + 7.5, view.top + 11.5))


def test_the_scale_bar_is_as_long_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []
    monkeypatch.setattr(Sheet, "text", lambda self, words, *rest, **more: written.append(words))
    for zoom in (3.0, 70.0, 444.0, 2100.0):
        view = fit(arena(floor=box(0, 0, 300 / zoom, 100 / zoom)), 0, 0, 318.0, 118.0)
        sheet = blank(400, 60)
        legend.draw_scale_bar(sheet, view, (20.0, 30.0))
        columns = np.flatnonzero(drawn(sheet).any(axis=1))
        number, unit = written[-1].split()
        length_m = float(number) * {"m": 1.0, "mm": 1e-3}[unit]
        assert columns[-1] - columns[0] == pytest.approx(length_m * view.zoom, abs=4)


@pytest.mark.parametrize("seed", range(10))
def test_hatching_lies_within_any_outline(seed: int) -> None:
    draw = np.random.default_rng(seed)
    angles = np.sort(draw.uniform(0, 2 * np.pi, 9))
    lengths = draw.uniform(20, 100, 9)
    points = [(float(r * np.cos(a)), float(r * np.sin(a))) for r, a in zip(lengths, angles, strict=True)]
    lines = shapely.MultiLineString(ground.hatching(points, 13.0, -500.0, 500.0))
    area = shapely.Polygon(points)
    assert lines.difference(area.buffer(1e-6)).length == pytest.approx(0.0, abs=1e-6)
    # Lines across the whole plane, cut by shapely, are as long together.
    levels = [(number + 1e-7) * 13.0 for number in range(-30, 31)]
    across = shapely.MultiLineString([[(level - 500, 500), (level + 500, -500)] for level in levels])
    assert lines.length == pytest.approx(area.intersection(across).length, rel=1e-6)


def test_dashes_leave_the_marks_of_the_pattern_standing() -> None:
    corner = [(0.0, 0.0), (30.0, 0.0), (30.0, 25.0), (31.0, 25.0)]
    pieces = list(dashes(corner, (10.0, 4.0, 2.0, 4.0)))
    whole = shapely.LineString(corner)
    assert all(whole.buffer(1e-9).contains(shapely.LineString(piece)) for piece in pieces)
    assert [shapely.LineString(piece).length for piece in pieces] == pytest.approx([10, 2, 10, 2, 10, 2])
    assert list(dashes(corner, ())) == [corner]


@pytest.mark.parametrize(
    ("heading", "side", "towards"),
    [
        (0.0, LEFT, (0, -1)),
        (0.0, RIGHT, (0, 1)),
        (math.pi / 2, LEFT, (-1, 0)),
        (math.pi / 2, RIGHT, (1, 0)),
        (math.pi, LEFT, (0, 1)),
    ],
)
def test_the_tick_of_a_pulse_is_on_the_side_that_fired(
    heading: float, side: int, towards: tuple[int, int]
) -> None:
    sheet = blank()
    marks.draw_pulse_mark((sheet, sheet), (60.0, 60.0), heading, side, colours.look(0))
    x, y = np.nonzero(drawn(sheet))
    # The picture's y runs down.
    assert (x.mean() - 60) * towards[0] + (y.mean() - 60) * towards[1] > 3


@pytest.mark.parametrize(
    ("azimuth", "sun"), [(0.0, (1, 0)), (math.pi / 2, (0, -1)), (math.pi, (-1, 0)), (-math.pi / 2, (0, 1))]
)
def test_the_sun_is_drawn_on_the_side_where_it_stands(azimuth: float, sun: tuple[int, int]) -> None:
    sheet = blank()
    ground.draw_sun_mark(sheet, (60.0, 60.0), azimuth)
    x, y = np.nonzero((pygame.surfarray.array3d(sheet.surface) == np.array(colours.STRAW)).all(axis=2))
    # The picture's y runs down.
    assert (x.mean() - 60) * sun[0] + (y.mean() - 60) * sun[1] == pytest.approx(9.0, abs=1.5)


def test_a_walker_stands_between_its_rows_only_while_it_moves() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5, heading=3.0)
    made.pulse(walker, 10.0, (0.3, 0.5), heading=3.4)
    mine = Poses(made.replay())
    assert mine.pose(walker, 0.0).x == pytest.approx(0.2)
    assert mine.pose(walker, 9.99).x == pytest.approx(0.2)
    assert mine.pose(walker, 10.0125).x == pytest.approx(0.2025)
    assert mine.pose(walker, 10.25).x == pytest.approx(0.25)
    assert mine.pose(walker, 10.25).heading == pytest.approx(3.2)
    assert mine.pose(walker, 100.0).x == pytest.approx(0.3)


def test_a_way_does_not_go_on_while_its_walker_rests() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.5, 0.5)
    made.pulse(walker, 40.0, (0.7, 0.5))
    replay = made.replay()
    # so close that a walker covers many points from one row to the next
    view = View(0.0, 0.0, 800.0, 400.0, 0.45, 0.45, 4000.0)
    trails = Trails(replay, Poses(replay), view, 1.0, 1, np.array([walker]))
    trails.advance(39.99)
    assert trails.casing.get_bounding_rect().width == 0
    trails.advance(40.25)
    drawn = trails.casing.get_bounding_rect()
    assert drawn.right == pytest.approx(view(0.6, 0.5)[0], abs=6.0)


def test_lit_wheels_of_another_zoom_are_not_kept() -> None:
    replay = potting_bench().replay()
    stage, everyone = Stage(replay), np.ones((len(replay.walkers), 2))
    surface = pygame.Surface((800, 400))
    kept = set()
    for step in range(30):
        view = View(0.0, 0.0, 800.0, 400.0, 0.0, 0.0, 600.0 + 60.0 * step)
        stage.draw(surface, view, Moment(0.0, everyone))
        kept.add(len(stage.figures(view)._glow_stamps))
    assert kept == {1}


def test_every_walker_is_found_at_its_own_place_at_any_time() -> None:
    replay = potting_bench().replay()
    mine = Poses(replay)
    for time_s in (0.0, 3.3, 15.1, 15.37, 400.02, 900.0):
        x, y, heading = mine.at(time_s)
        for number in range(len(replay.walkers)):
            rows = replay.poses[replay.poses["walker"] == number]
            before = rows[rows["time_s"] <= time_s][-1]
            later = rows[rows["time_s"] > time_s][:1]
            reach = 0.02 if len(later) and later[0]["time_s"] - before["time_s"] < 0.1 else 1e-9
            assert math.hypot(x[number] - before["x"], y[number] - before["y"]) <= reach
            assert abs(math.remainder(heading[number] - before["heading"], 2 * math.pi)) <= 40 * reach


def test_a_heading_kept_within_one_turn_goes_the_short_way_round() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5, heading=3.1)
    made.pulse(walker, 10.0, (0.3, 0.5), heading=3.1)
    replay = made.replay()
    replay.poses["heading"][11:] = -3.1
    mine = Poses(replay)
    middle = 0.5 * (replay.poses["time_s"][10] + replay.poses["time_s"][11])
    assert abs(mine.pose(walker, float(middle)).heading) == pytest.approx(math.pi, abs=1e-6)


def test_a_path_goes_as_far_as_the_time_and_no_further() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5)
    made.pulse(walker, 10.0, (0.8, 0.5))
    made.pulse(walker, 20.0, (0.8, 0.9))
    mine = Poses(made.replay())
    np.testing.assert_allclose(mine.path(walker, 5.0), [(0.2, 0.5)] * 2, rtol=1e-6)
    for time_s, places in ((15.0, [(0.2, 0.5), (0.8, 0.5)]), (100.0, [(0.2, 0.5), (0.8, 0.5), (0.8, 0.9)])):
        path = shapely.LineString(mine.path(walker, time_s))
        assert path.hausdorff_distance(shapely.LineString(places)) < 1e-6


@pytest.mark.parametrize("walkers", [1, 30])
def test_a_trail_is_drawn_as_far_as_the_time_whatever_the_steps(walkers: int) -> None:
    made = Fabricator(seconds=100.0, arena=arena(lamps=[]))
    for _ in range(walkers):
        walker = made.walker(0.2, 0.5)
        made.pulse(walker, 10.0, (0.8, 0.5))
        made.pulse(walker, 20.0, (0.8, 0.9))
    replay = made.replay()
    view, poses = fit(replay.arena, 0, 0, 500, 300), Poses(replay)
    everyone = np.arange(walkers)
    inked = []
    for times in ([100.0], [3.0, 10.2, 10.21, 14.0, 20.3, 55.0, 100.0]):
        trails = Trails(replay, poses, view, 1.0, 2, everyone)
        for time_s in times:
            assert trails.advance(time_s)
        inked.append(pygame.surfarray.array_alpha(trails.colour) > 0)
        half = Trails(replay, poses, view, 1.0, 2, everyone)
        half.advance(15.0)
        across, down = np.nonzero(pygame.surfarray.array_alpha(half.colour))
        corner = view(0.8, 0.5)
        assert across.max() / 2 == pytest.approx(corner[0], abs=5)
        # the ticks of pulses reach eight points aside
        assert down.min() / 2 > corner[1] - 12
    # drawn step by step it is the same line
    assert (inked[0] != inked[1]).sum() <= 0.01 * inked[0].sum()
    x, y = np.nonzero(inked[0])
    drawn_line = shapely.MultiPoint(np.column_stack([x, y]) / 2)
    expected = shapely.LineString(view.line([(0.2, 0.5), (0.8, 0.5), (0.8, 0.9)]))
    assert drawn_line.hausdorff_distance(shapely.MultiPoint(expected.segmentize(1.0).coords)) < 12


def test_trails_that_are_given_little_time_come_to_the_same_end() -> None:
    replay = potting_bench().replay()
    view, poses = fit(replay.arena, 0, 0, 500, 300), Poses(replay)
    everyone = np.arange(len(replay.walkers))
    whole, slow = (Trails(replay, poses, view, 1.0, 2, everyone) for _ in range(2))
    whole.advance(900.0)
    steps = 1
    while not slow.advance(900.0, 0.0):
        steps += 1
    assert steps > 5
    for layer in ("casing", "colour"):
        one, other = (pygame.surfarray.array_alpha(getattr(trails, layer)) for trails in (whole, slow))
        assert (one != other).sum() <= 0.01 * (one > 0).sum()


def test_a_walker_is_drawn_where_it_is_and_to_scale() -> None:
    made = Fabricator(seconds=100.0, arena=arena(lamps=[]))
    made.walker(0.5, 0.5, radius=0.08)
    empty, there = pygame.Surface((1000, 600)), pygame.Surface((1000, 600))
    ReplayPage(made.replay(), 1000, 600).draw(there, 0.0)
    replay = Fabricator(seconds=100.0, arena=arena(lamps=[])).replay()
    scene = ReplayPage(replay, 1000, 600)
    scene.draw(empty, 0.0)
    changed = (pygame.surfarray.array3d(there) != pygame.surfarray.array3d(empty)).any(axis=2)
    x, y = np.nonzero(changed[: 1000 - LEGEND - 40])
    middle = scene.view(0.5, 0.5)
    assert (x.min() + x.max()) / 2 == pytest.approx(middle[0], abs=2)
    assert (y.min() + y.max()) / 2 == pytest.approx(middle[1], abs=2)
    assert x.max() - x.min() == pytest.approx(2 * 0.08 * scene.view.zoom, abs=5)


@pytest.fixture
def plates_and_sizes(monkeypatch: pytest.MonkeyPatch) -> dict[str, list[Any]]:
    """Everything written while a picture is drawn."""
    seen: dict[str, list[Any]] = {"plates": [], "sizes": [], "words": []}
    plate, text = Sheet.plate, Sheet.text

    def noted_plate(self: Sheet, words: str, corner: tuple[float, float], size: int) -> None:
        width, height = self.text_size(words, size)
        seen["plates"].append((words, shapely.box(*corner, corner[0] + width + 10, corner[1] + height + 6)))
        plate(self, words, corner, size)

    def noted_text(self: Sheet, words: str, place: Any, size: int, *rest: Any, **more: Any) -> None:
        seen["sizes"].append(size)
        seen["words"].append(words)
        text(self, words, place, size, *rest, **more)

    monkeypatch.setattr(Sheet, "plate", noted_plate)
    monkeypatch.setattr(Sheet, "text", noted_text)
    return seen


def test_everything_is_named_without_overlap_in_letters_of_14_or_more(
    plates_and_sizes: dict[str, list[Any]], tmp_path: Path
) -> None:
    replay = potting_bench().replay()
    draw_picture(replay, tmp_path / "bench.png", scores=score(replay))
    plates = plates_and_sizes["plates"]
    names = {words.split(",")[0] for words, _ in plates}
    assert names == {"grow lamp", "under the lamp", "seed tray", "pot", "fern leaf"}
    for (_, one), (_, other) in itertools.combinations(plates, 2):
        assert one.intersection(other).area == 0.0
    assert min(plates_and_sizes["sizes"]) >= 14
    words = " | ".join(plates_and_sizes["words"])
    for expected in (
        "potting bench",
        "cress, 2 walkers",
        "2 reached a goal",
        "a walker where it stands now",
        "line of equal light",
        "pulse of the left side",
        "200 lx",
        "0:15:00",
        "sun 20 klx",
    ):
        assert expected in words


def test_the_legend_explains_nothing_that_is_not_drawn(
    plates_and_sizes: dict[str, list[Any]], tmp_path: Path
) -> None:
    made = Fabricator(light_map=np.full((10, 20), 300.0), arena=arena(lamps=[]))
    made.walker(0.5, 0.5)
    draw_picture(made.replay(), tmp_path / "bare.png")
    words = " | ".join(plates_and_sizes["words"])
    assert "a walker where it stands now" in words
    for absent in ("pulse", "equal", "beam", "lamp", "wall |", "shade"):
        assert absent not in words


def test_a_gate_is_drawn_named_and_explained(plates_and_sizes: dict[str, list[Any]], tmp_path: Path) -> None:
    gate = {"name": "the gap", "line": [[1.0, 0.2], [1.0, 0.8]]}
    for bench, shown in ((arena(gates=[gate]), True), (arena(), False)):
        plates_and_sizes["words"].clear()
        plates_and_sizes["plates"].clear()
        draw_picture(Fabricator(arena=bench).replay(), tmp_path / f"{shown}.png")
        assert any(words.startswith("gate") for words in plates_and_sizes["words"]) is shown
        assert ("the gap" in {words for words, _ in plates_and_sizes["plates"]}) is shown
    pixels = [
        pygame.surfarray.array3d(pygame.image.load(tmp_path / f"{shown}.png")) for shown in (True, False)
    ]
    assert pixels[0].shape == pixels[1].shape
    assert (pixels[0] != pixels[1]).any()


@pytest.mark.parametrize(("aim", "shown"), [([1.5, 0.5], True), ([1.0, 0.5], False)])
def test_the_legend_tells_where_a_beam_is_aimed_unless_straight_down(
    plates_and_sizes: dict[str, list[Any]], tmp_path: Path, aim: list[float], shown: bool
) -> None:
    lamp = arena()["lamps"][0] | {"x": 1.0, "y": 0.5, "aim": aim, "beam_half_angle_rad": 0.3}
    draw_picture(Fabricator(arena=arena(lamps=[lamp])).replay(), tmp_path / "beam.png")
    assert ("where its beam is aimed" in plates_and_sizes["words"]) == shown


# The light at the edge of a beam is half that on its axis, and an edge is drawn where it meets the floor.
@pytest.mark.parametrize(("half_angle", "shown"), [(0.2, True), (1.5, False), (None, False)])
def test_the_legend_tells_of_the_edge_of_a_beam_where_it_is_on_the_floor(
    plates_and_sizes: dict[str, list[Any]], tmp_path: Path, half_angle: float | None, shown: bool
) -> None:
    lamp = arena()["lamps"][0] | {"x": 1.0, "y": 0.5, "aim": [1.0, 0.5], "beam_half_angle_rad": half_angle}
    draw_picture(Fabricator(arena=arena(lamps=[lamp])).replay(), tmp_path / "beam.png")
    assert any(words.startswith("edge of its beam") for words in plates_and_sizes["words"]) == shown


def test_the_legend_explains_as_many_marks_as_it_has_room_for(
    plates_and_sizes: dict[str, list[Any]],
) -> None:
    replay = potting_bench().replay()
    scale = colours.light_scale(replay.light_map)
    told = []
    for bottom in (300.0, 375.0, 450.0, math.inf):
        plates_and_sizes["words"].clear()
        sheet = blank(LEGEND, 1000)
        legend.draw_legend(sheet, 0, 0, LEGEND, replay, scale, None, bottom=bottom)
        assert np.flatnonzero(drawn(sheet).any(axis=0)).max() <= bottom
        told.append([*plates_and_sizes["words"]])
    for fewer, more in itertools.pairwise(told):
        assert fewer == more[: len(fewer)]
        # 75 points hold three lines
        assert len(more) >= len(fewer) + 2
    assert told[-1][-1] == "shade overhead"


def test_figures_of_the_legend_read_as_those_of_the_table(
    plates_and_sizes: dict[str, list[Any]], tmp_path: Path
) -> None:
    replay = potting_bench().replay()
    told = [
        dataclasses.replace(one, reached=2, median_reach_s=3140.0, light_gain=12.345) for one in score(replay)
    ]
    draw_picture(replay, tmp_path / "bench.png", scores=told)
    assert "2 reached a goal, half by 52 min 20 s" in plates_and_sizes["words"]
    assert "12.35 times the light at its start" in plates_and_sizes["words"]


def test_letters_are_as_large_as_they_are_said_to_be() -> None:
    # A line of text is a little higher than its letters' size: from memory of type, 1.0 to 1.4 times.
    for size in (14, 21, 28):
        assert size <= blank().text_size("Hg", size)[1] <= 1.45 * size


def test_a_name_finds_no_room_where_there_is_none() -> None:
    view = fit(arena(), 0, 0, 300, 150)
    room = LabelPlacement(view)
    assert room.find((150, 70), 100, 20) is not None
    room.take(0, 0, 300, 150)
    assert room.find((150, 70), 100, 20) is None


def test_the_same_replay_gives_the_same_picture(tmp_path: Path) -> None:
    replay = potting_bench().replay()
    first, second = tmp_path / "first.png", tmp_path / "second.png"
    draw_picture(replay, first, width=1000)
    draw_picture(replay, second, width=1000)
    assert first.read_bytes() == second.read_bytes()
    assert size_of(first) == (1000, height_for(replay, 1000))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["first.png", "second.png"]


@pytest.mark.parametrize(
    "made",
    [
        Fabricator(light_map=np.zeros((0, 0))),
        Fabricator(light_map=np.zeros((10, 20))),
        Fabricator(light_map=np.full((1, 1), 1e9)),
        Fabricator(arena=arena(floor=box(0, 0, 50, 0.5))),
        Fabricator(arena=arena(floor=box(0, 0, 0.01, 20))),
        Fabricator(arena=arena(floor=box(-1e-3, 0, 1e-3, 1e-3), lamps=[])),
        Fabricator(arena=arena(name="", about="\t\x00𝕏 日本" * 90, lamps=arena()["lamps"] * 30)),
        Fabricator(
            arena=arena(
                lamps=[arena()["lamps"][0] | {"x": -90.0, "aim": [1e6, 0.0], "beam_half_angle_rad": 0.3}],
                walls=[{"name": "x" * 500, "points": [[-1e9, 0], [1e9, 1]], "closed": False, "height": 1}],
                shades=[{"name": "", "outline": box(0.2, 0.2, 9e9, 9e9), "height": 1, "passes": 0}],
                goals=[goal(*box(-1e9, -1e9, 1e9, 1e9))],
            )
        ),
    ],
)
def test_odd_arenas_are_drawn_all_the_same(made: Fabricator, tmp_path: Path) -> None:
    made.walker(0.0, 0.0)
    draw_picture(made.replay(), tmp_path / "odd.png", width=800)
    width, height = size_of(tmp_path / "odd.png")
    assert width == 800
    assert 200 < height < 2000


def test_a_picture_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    replay = Fabricator().replay()
    for width in (0, 799, 6001):
        with pytest.raises(OptionError, match="800 to 6000"):
            draw_picture(replay, tmp_path / "bench.png", width=width)
    with pytest.raises(OutputError, match="cannot be written"):
        draw_picture(replay, tmp_path / "nowhere" / "bench.png", width=800)
    assert list(tmp_path.iterdir()) == []
