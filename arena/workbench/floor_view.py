"""The plan of the arena on the workbench: its light, what stands there, the last run, and what is held."""

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from arena.recording import describe_arena, map_cell
from arena.scene.spec import ArenaSpec
from arena.workbench.jobs import RaceResult
from arena.workbench.layout import WorkbenchLayout
from arena.workbench.movables import Movable
from arena.workbench.state import WorkbenchState
from replays.drawing.colours import INK, PAPER, STRAW, Colour
from replays.drawing.kept_floors import KeptFloor, KeptFloors
from replays.drawing.label_placing import LABEL_SIZE, draw_labels, label_box, place_beside, plate_size
from replays.drawing.laid_ground import GroundPlan, LaidGround
from replays.drawing.layout import Box
from replays.drawing.legend import draw_scale_bar
from replays.drawing.light_map import LightMap
from replays.drawing.marks import CROWD, draw_walker, shown_radii
from replays.drawing.metres_to_points import View, bounds
from replays.drawing.poses import Pose, Poses
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.trails import Trails
from replays.window.camera import Camera
from replays.words import light_words

# Paths are drawn so many times finer, and no longer than this [s] in a frame.
_FINE = 2
_BUDGET = 0.02
# How much of the last run is hidden while another is being run.
_STALE = 110
# Width and height of a line of the caption of a movable [points].
_CAPTION_WIDTH, _CAPTION_LINE = 330.0, 18.0


class FloorView:
    """Draws the plan, and keeps what does not change from frame to frame."""

    def __init__(self) -> None:
        self.view: View | None = None
        self.camera: Camera | None = None
        self.floors = KeptFloors()
        self._light: LightMap | None = None
        self._light_of: object = None
        self._raced: RaceResult | None = None
        self._poses: Poses | None = None
        self._plan_of: tuple[int, ...] = ()
        self._meter_side: NDArray[np.intp] | None = None
        # how many maps of light and races have been shown
        self._lights = self._races = 0

    @property
    def light(self) -> LightMap | None:
        """The map of light that was drawn last."""
        return self._light

    def aspect(self, state: WorkbenchState) -> float:
        """Height over width of all that is shown; it stays while something is carried."""
        if self.camera is None or state.floor.drag is None:
            west, south, east, north = bounds(describe_arena(state.floor.spec, ""))
        else:
            west, south, east, north = self.camera.bounds
        return (north - south) / max(east - west, 1e-9)

    def draw(
        self, sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState, chosen: int | None = None
    ) -> bool:
        """Draw it, with a ring round the ``chosen`` walker; returns whether there is more to draw."""
        spec = state.floor.spec
        self._look_at(layout, state, spec)
        view = self.view
        assert view is not None
        self._take_light(state, spec)
        self._prepare(sheet, state, spec, view)
        corner = (round(view.left * sheet.scale), round(view.top * sheet.scale))
        size = (round(view.width * sheet.scale), round(view.height * sheet.scale))
        sheet.surface.set_clip(pygame.Rect(corner, size))

        def paint_beyond() -> None:
            if self._light is not None:
                self._light.paint_coarsely(sheet, view, describe_arena(spec, "")["floor"])

        self.floors.draw(sheet.surface, view, sheet.scale, paint_beyond)
        if state.is_faded:
            self.floors.draw(sheet.surface, view, sheet.scale, paint_beyond, alpha=_STALE)
        # below the walkers: wherever one goes, no name ever covers it
        draw_labels(sheet, self.floors.names(view, sheet.scale))
        self._draw_walkers(sheet, state, view, chosen)
        held = _held(state)
        if held is not None:
            _mark(sheet, view, held, bool(state.floor.drag and state.floor.drag.fault))
        self._draw_meter(sheet, state, view)
        if held is not None:
            _draw_caption(sheet, view, held, state.floor.drag.fault if state.floor.drag else "")
        sheet.surface.set_clip(None)
        draw_scale_bar(sheet, view, (layout.clock.left + 4, layout.clock.centery), 80.0 * layout.unit)
        return not self.floors.is_settled

    def _look_at(self, layout: WorkbenchLayout, state: WorkbenchState, spec: ArenaSpec) -> None:
        """Choose the view; it stays while something is carried, lest the floor runs away from the hand."""
        plan = layout.plan
        if self.view is not None and state.floor.drag is not None and self._plan_of == tuple(plan):
            return
        corners = bounds(describe_arena(spec, ""))
        if self.camera is None or self.camera.bounds != corners:
            self.camera = Camera(corners)
        self._plan_of = tuple(plan)
        self.view = self.camera.view(Box(*map(float, plan)))

    def _take_light(self, state: WorkbenchState, spec: ArenaSpec) -> None:
        """Take in a map of light, and who raced."""
        background = state.background
        light, of = background.light, background.light_spec
        # the map of a floor of another shape would lie wrong on this one
        if of is None or (of.floor.outline, of.cell) != (spec.floor.outline, spec.cell):
            light = None
        if light is not self._light_of:
            self._light_of, self._light = light, None
            if of is not None and light is not None:
                west, south = (min(values) for values in zip(*spec.floor.outline, strict=True))
                self._light = LightMap(light, {"x": west, "y": south, "cell": map_cell(of)})
            self._lights += 1
        race = background.race
        if race is not self._raced:
            self._raced, self._poses = race, None if race is None else Poses(race.replay)
            self._races += 1

    def _prepare(self, sheet: Sheet, state: WorkbenchState, spec: ArenaSpec, view: View) -> None:
        """Go on with the picture of the plan and of the paths so far."""
        scale, theme = sheet.scale, sheet.theme
        # what is coarse while something is carried becomes fine again when it is let go of
        is_coarse = state.floor.drag is not None
        ground_key = (view, scale, theme.name, spec, self._lights, is_coarse)
        ways_key = (view, scale, self._races)
        shown_s = state.transport.time_s if self._raced is not None else 0.0

        def begin(former: KeptFloor | None) -> KeptFloor:
            old_ground, old_ways = former.key if former is not None else (None, None)
            if former is not None and old_ground == ground_key:
                ground = former.ground
            else:
                starts = partial(_draw_starts, spec)
                plan = GroundPlan(describe_arena(spec, ""), self._light, drawn_first=starts, coarse=is_coarse)
                ground = LaidGround(plan, view, scale, theme)
            ways = former.trails if former is not None and old_ways == ways_key else None
            make_trails = partial(self._make_trails, view, scale, shown_s, ways)
            return KeptFloor((ground_key, ways_key), ground, shown_s, make_trails)

        self.floors.prepare((ground_key, ways_key), view, shown_s, begin, _BUDGET)

    def _make_trails(self, view: View, scale: float, shown_s: float, known: Trails | None) -> Trails | None:
        if self._raced is None or self._poses is None:
            return None
        if known is not None and known.time_s <= shown_s:
            return known
        replay = self._raced.replay
        # a window that is enlarged is fine enough by itself
        fine = _FINE if scale < 1.5 else 1
        return Trails(replay, self._poses, view, scale, fine, np.arange(len(replay.walkers)), known)

    def _draw_walkers(self, sheet: Sheet, state: WorkbenchState, view: View, chosen: int | None) -> None:
        if state.background.race is None or self._poses is None:
            return
        walkers = state.background.race.replay.walkers
        opacity = 0.4 if len(walkers) > CROWD else 0.85
        x, y, heading = self._poses.at(state.transport.time_s)
        for number, walker in enumerate(walkers):
            pose = Pose(float(x[number]), float(y[number]), float(heading[number]))
            draw_walker(sheet, view, walker, pose, 0.35 * opacity if state.is_faded else opacity)
        if chosen is not None:
            place = view(float(x[chosen]), float(y[chosen]))
            sheet.disc(place, 21, None, INK, 4.6)
            sheet.disc(place, 20, None, STRAW, 2.4)

    def _draw_meter(self, sheet: Sheet, state: WorkbenchState, view: View) -> None:
        """A light meter, a window with four fins, and what it reads, over no walker and no other name."""
        x, y = view(*state.floor.meter_shown)
        for turn in range(4):
            angle = math.pi / 4 + turn * math.pi / 2
            ends = [(x + r * math.cos(angle), y + r * math.sin(angle)) for r in (8, 17)]
            sheet.cased_line(ends, PAPER, INK, 3.4)
        sheet.disc((x, y), 11, PAPER, INK, 2.4)
        sheet.disc((x, y), 5, STRAW, INK, 1.4)
        if state.background.forecast is None:
            return
        words = f"meter {light_words(state.background.forecast.light)}"
        anchors, radii = np.array([[x, y]]), np.array([17.0])
        race = state.background.race
        if race is not None and self._poses is not None:
            east, north, _ = self._poses.at(state.transport.time_s)
            places = [view(float(one), float(other)) for one, other in zip(east, north, strict=True)]
            anchors = np.vstack([anchors, np.array(places).reshape(-1, 2)])
            radii = np.append(radii, shown_radii(race.replay.walkers["radius"], view) + 2.0)
        names = self.floors.names(view, sheet.scale)
        taken = np.array([label_box(sheet, label) for label in names]).reshape(-1, 4)
        edges = (view.left, view.top, view.left + view.width, view.top + view.height)
        sizes = np.array([plate_size(sheet, words)])
        corners, self._meter_side = place_beside(anchors, radii, sizes, edges, taken, self._meter_side)
        # what it reads is told even where all round is taken
        place = corners[0] if np.isfinite(corners[0, 0]) else anchors[0] + (20.0, -10.0)
        sheet.plate(words, (float(place[0]), float(place[1])), LABEL_SIZE)


def _held(state: WorkbenchState) -> Movable | None:
    """What is carried, or chosen for the keys."""
    if state.floor.drag is not None:
        return state.floor.drag.now
    return state.chosen_movable() if state.selection.on_plan else None


def _draw_starts(spec: ArenaSpec, sheet: Sheet, view: View) -> None:
    starts = spec.starts
    if starts.zone is not None:
        outline = view.line(starts.zone.outline)
        sheet.cased_line(outline, INK, PAPER, 1.4, pattern=(10, 6), closed=True)
    for number, start in enumerate(starts.places or (), start=1):
        x, y = view(*start.place)
        sheet.disc((x, y), 9, PAPER, INK, 1.6)
        if start.heading is not None:
            tip = (x + 17 * math.cos(start.heading), y - 17 * math.sin(start.heading))
            root = (x + 9 * math.cos(start.heading), y - 9 * math.sin(start.heading))
            sheet.line([root, tip], INK, 2.2)
        sheet.text(str(number), (x, y), LABEL_SIZE, INK, across=0.5, down=0.5)


def _mark(sheet: Sheet, view: View, movable: Movable, is_bad: bool) -> None:
    """A frame round what is chosen or held; crossed out where it cannot be."""
    points = view.line(movable.points)
    colour: Colour = INK if is_bad else STRAW
    casing: Colour = PAPER if is_bad else INK
    if movable.is_point:
        sheet.disc(points[0], 19, None, casing, 4.6)
        sheet.disc(points[0], 18, None, colour, 2.4)
        middle = points[0]
    else:
        sheet.cased_line(points, colour, casing, 3.0, pattern=(6, 5), closed=movable.closed)
        middle = (sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points))
    if is_bad:
        for slant in (-1, 1):
            ends = [(middle[0] - 14, middle[1] - slant * 14), (middle[0] + 14, middle[1] + slant * 14)]
            sheet.cased_line(ends, colour, casing, 3.4)


def _draw_caption(sheet: Sheet, view: View, movable: Movable, fault: str) -> None:
    """Say below a thing, or above it where there is no room, where it is, or why it cannot be there."""
    points = view.line(movable.points)
    place = f"{movable.points[0][0]:.4g} {movable.points[0][1]:.4g} m"
    lines = sheet.wrapped(fault, LABEL_SIZE, _CAPTION_WIDTH) if fault else [f"{movable.name}, {place}"]
    width = max(sheet.text_size(line, LABEL_SIZE)[0] for line in lines) + 12
    height = _CAPTION_LINE * len(lines) + 6
    x = sum(x for x, _ in points) / len(points) - width / 2
    y = max(y for _, y in points) + 24
    if y + height > view.top + view.height - 2:
        y = min(y for _, y in points) - 24 - height
    x = min(max(x, view.left + 2), view.left + view.width - width - 2)
    y = min(max(y, view.top + 2), view.top + view.height - height - 2)
    sheet.card((x, y), (width, height), sheet.theme.paper, sheet.theme.ink, 3)
    for number, line in enumerate(lines):
        sheet.text(line, (x + 6, y + 4 + number * _CAPTION_LINE), LABEL_SIZE)
