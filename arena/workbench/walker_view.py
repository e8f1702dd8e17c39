"""A walker from above, as large as it goes, and where a pulse of either side will leave it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from agents.design.as_built import ROUND_BODY
from agents.design.spec import Design
from agents.design.whisker import Whisker
from agents.testbench.measuring import SidePoint
from arena.workbench.jobs import PulseForecast
from replays.drawing.colours import STRAW
from replays.drawing.metres_to_points import Point
from replays.drawing.sheet import Sheet, pygame

# Rays of an eye's sight are drawn this long [m].
_SIGHT = 0.022
# A wheel as it is drawn: half its length and its breadth [m]; a mere tyre on a shaft would not be seen.
_WHEEL, _BREADTH = 0.008, 0.005
_ROUND_CORNERS = 40
_TEXT = 14


@dataclass(frozen=True)
class _Stand:
    """Where the axle's middle stands [m] and the nose points [rad], in the walker's first frame."""

    x: float = 0.0
    y: float = 0.0
    heading: float = 0.0

    def at(self, ahead: float, left: float) -> Point:
        """A place of the walker [m] in the first frame."""
        cosine, sine = math.cos(self.heading), math.sin(self.heading)
        return self.x + ahead * cosine - left * sine, self.y + ahead * sine + left * cosine


def stand_after(design: Design, point: SidePoint) -> _Stand | None:
    """Where a pulse of one side leaves the walker, turned about the standing tyre; None without a pulse."""
    if point.turn is None:
        return None
    # the left wheel ahead turns the nose to the right
    turn = -point.turn if point.side == "left" else point.turn
    pivot = -0.5 * design.body.track if point.side == "left" else 0.5 * design.body.track
    return _Stand(pivot * math.sin(turn), pivot * (1.0 - math.cos(turn)), turn)


def draw_walker_ahead(sheet: Sheet, box: pygame.Rect, design: Design, forecast: PulseForecast | None) -> None:
    """Draw ``design`` into ``box`` [points], nose up; the ends of its pulses if the forecast is of it."""
    ends = []
    if forecast is not None:
        for point in forecast.point.measured.sides:
            stand = stand_after(design, point)
            if stand is not None and point.pulse:
                ends.append((point.side, stand))
    here = _Stand()
    reach = [here.at(*corner) for corner in _outline(design)]
    for side, outward in ((design.left, 1.0), (design.right, -1.0)):
        reach.append((side.eye.ahead, outward * side.eye.aside))
        if side.whisker is not None:
            reach.append(_tip(side.whisker, outward))
    for _, stand in ends:
        reach += [stand.at(*corner) for corner in _outline(design)]
    ahead = [x for x, _ in reach]
    left = [y for _, y in reach]
    width = 2.0 * max(abs(min(left)), abs(max(left))) + 0.02
    height = max(ahead) - min(ahead) + 0.02
    zoom = min(box.width / width, box.height / height)
    middle = 0.5 * (max(ahead) + min(ahead))

    def place(point: Point) -> Point:
        return box.centerx - zoom * point[1], box.centery - zoom * (point[0] - middle)

    kept = sheet.surface.get_clip()
    scaled = pygame.Rect(*(round(value * sheet.scale) for value in box))
    sheet.surface.set_clip(scaled.clip(kept))
    theme = sheet.theme
    fires = " fires"
    if sum(sheet.text_size(f"{side} fires", _TEXT)[0] for side in ("left", "right")) > box.width - 8:
        # where there is not room for both, the colours tell it
        fires = ""
    for side_name, stand in ends:
        colour = theme.left if side_name == "left" else theme.right
        corners = [place(stand.at(*corner)) for corner in _outline(design)]
        sheet.polygon(corners, colour, 0.12)
        sheet.line(corners, colour, 1.6, closed=True)
        nose = max(x for x, _ in _outline(design))
        sheet.line([place(stand.at(0.0, 0.0)), place(stand.at(nose, 0.0))], colour, 2.2)
        # the left side brings the nose to the right
        corner, across = (box.bottomright, 1.0) if side_name == "left" else (box.bottomleft, 0.0)
        sheet.text(f"{side_name}{fires}", corner, _TEXT, colour, across=across, down=1.0)
    _draw_body(sheet, design, place, zoom)
    sheet.surface.set_clip(kept)


def _draw_body(sheet: Sheet, design: Design, place: Callable[[Point], Point], zoom: float) -> None:
    theme = sheet.theme
    corners = [place(corner) for corner in _outline(design)]
    sheet.polygon(corners, theme.card, 0.8)
    sheet.line(corners, theme.ink, 2.2, closed=True)
    panel = design.panel
    across, along = 0.5 * panel.width, 0.5 * panel.length
    lid = [(panel.ahead + a * along, b * across) for a, b in ((1, 1), (1, -1), (-1, -1), (-1, 1))]
    sheet.line([place(corner) for corner in lid], theme.faded, 1.2, closed=True)
    half = 0.5 * design.body.track
    for left in (half, -half):
        sheet.line([place((-_WHEEL, left)), place((_WHEEL, left))], theme.ink, max(3.0, _BREADTH * zoom))
    for side, outward, colour in ((design.left, 1.0, theme.left), (design.right, -1.0, theme.right)):
        eye = side.eye
        where = (eye.ahead, outward * eye.aside)
        for ray in (-eye.half_angle, eye.half_angle):
            angle = outward * eye.outward + ray
            end = (where[0] + _SIGHT * math.cos(angle), where[1] + _SIGHT * math.sin(angle))
            sheet.line([place(where), place(end)], theme.faded, 1.2)
        if side.whisker is not None:
            whisker = side.whisker
            root = (whisker.ahead, outward * whisker.aside)
            sheet.line([place(root), place(_tip(whisker, outward))], colour, 2.0)
        sheet.disc(place(where), max(4.0, 0.004 * zoom), STRAW, colour, 2.0)
        if eye.tape < 1.0:
            # tape: a bar across the eye
            turned = outward * eye.outward + math.pi / 2
            reach = 0.0055
            bar = [
                (where[0] + sign * reach * math.cos(turned), where[1] + sign * reach * math.sin(turned))
                for sign in (-1, 1)
            ]
            sheet.line([place(point) for point in bar], theme.ink, 3.0)


def _outline(design: Design) -> list[Point]:
    """Corners of the body, ahead and to the left [m]; a round one has many."""
    body = design.body
    if body.outline is not None:
        return list(body.outline)
    radius = body.radius or ROUND_BODY
    turns = [2.0 * math.pi * corner / _ROUND_CORNERS for corner in range(_ROUND_CORNERS)]
    return [(body.ahead + radius * math.cos(turn), radius * math.sin(turn)) for turn in turns]


def _tip(whisker: Whisker, outward: float) -> Point:
    return (
        whisker.ahead + whisker.length * math.cos(whisker.outward),
        outward * (whisker.aside + whisker.length * math.sin(whisker.outward)),
    )
