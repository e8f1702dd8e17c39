"""A template of a walker from above in true size: outline, axle, panel, eyes and aim, whiskers, a rule.

Printed without being made to fit the page, a millimetre of the drawing is one of the paper; the rule tells
whether it is.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from agents.design.as_built import ROUND_BODY
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from arena.reports.paper import hex_of

# The most that has room on A4 and on Letter, between their margins [mm].
MOST_WIDTH, MOST_HEIGHT = 180.0, 150.0
# Radius of a flashing LED of 5 mm, half the width of a tyre as drawn, the line of an eye's aim [mm].
_LED, _TYRE, _AIM = 2.5, 1.5, 16.0
_BORDER, _MARGIN, _RULE = 3.0, 17.0, 50.0
_TEXT = 2.8

Point = tuple[float, float]


@dataclass(frozen=True)
class BodyTemplate:
    """The drawing as SVG in millimetres, ``width`` by ``height``; ``scale`` is 1 in true size.

    ``places`` tells where each thing lies on the sheet [mm], by name: from the left, from above.
    """

    svg: str
    width: float
    height: float
    scale: float
    places: dict[str, Point]


def body_template(design: Design) -> BodyTemplate:
    """Draw a template; half its size, or less by halves, where the walker has no room on a sheet."""
    corners = _corners(design)
    reach = [*corners, *(point for line in _whiskers(design) for point in line), *_tyres(design)]
    reach += [(ahead + _AIM * 1e-3, aside) for ahead, aside in _eyes(design).values()]
    most_left, most_right = max(y for _, y in reach), min(y for _, y in reach)
    most_ahead, most_behind = max(x for x, _ in reach), min(x for x, _ in reach)
    scale = 1.0
    while True:
        width = max(1e3 * scale * (most_left - most_right), _RULE) + 2.0 * _MARGIN
        height = 1e3 * scale * (most_ahead - most_behind) + 2.0 * _BORDER + 10.0
        if width <= MOST_WIDTH and height <= MOST_HEIGHT:
            break
        scale *= 0.5
    middle = 0.5 * width + 0.5e3 * scale * (most_left + most_right)

    def place(point: Point) -> Point:
        # ahead is up the sheet, and left is left
        return middle - 1e3 * scale * point[1], _BORDER + 1e3 * scale * (most_ahead - point[0])

    shapes, places = _shapes(design, corners, place, scale)
    rule = height - 5.0
    shapes += _rule(0.5 * (width - _RULE), rule)
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {height:.2f}" font-family="DejaVu Sans, Verdana, Arial, sans-serif" '
        f'font-size="{_TEXT}">{"".join(shapes)}</svg>'
    )
    return BodyTemplate(drawing, width, height, scale, places)


def _corners(design: Design) -> list[Point]:
    body = design.body
    if body.outline is not None:
        return list(body.outline)
    radius = body.radius or ROUND_BODY
    angles = [math.tau * step / 72 for step in range(72)]
    return [(body.ahead + radius * math.cos(angle), radius * math.sin(angle)) for angle in angles]


def _outward(name: str) -> float:
    return 1.0 if name == SIDES[0] else -1.0


def _eyes(design: Design) -> dict[str, Point]:
    eyes = {name: getattr(design, name).eye for name in SIDES}
    return {name: (eye.ahead, _outward(name) * eye.aside) for name, eye in eyes.items()}


def _tyres(design: Design) -> list[Point]:
    radii = {name: getattr(design, name).tyre.radius for name in SIDES}
    half = 0.5 * design.body.track
    return [
        (sign * radius, _outward(name) * (half + _TYRE * 1e-3))
        for name, radius in radii.items()
        for sign in (-1.0, 1.0)
    ]


def _whiskers(design: Design) -> list[tuple[Point, Point]]:
    lines = []
    for name in SIDES:
        whisker = getattr(design, name).whisker
        if whisker is not None:
            root = (whisker.ahead, _outward(name) * whisker.aside)
            along = (math.cos(whisker.outward), _outward(name) * math.sin(whisker.outward))
            lines.append((root, (root[0] + whisker.length * along[0], root[1] + whisker.length * along[1])))
    return lines


def _shapes(
    design: Design, corners: Sequence[Point], place: Callable[[Point], Point], scale: float
) -> tuple[list[str], dict[str, Point]]:
    ink, faded, wood = hex_of("ink"), hex_of("faded"), hex_of("wood")
    shapes = [_path([place(corner) for corner in corners], ink, closed=True, width=0.4)]
    panel = design.panel
    half = (0.5 * panel.length, 0.5 * panel.width)
    box = [
        place((panel.ahead + one * half[0], other * half[1]))
        for one, other in ((1, 1), (1, -1), (-1, -1), (-1, 1))
    ]
    shapes.append(_path(box, faded, closed=True, dashes="1.6 1.2"))
    shapes.append(_word(place((panel.ahead + 0.3 * panel.length, 0.0)), "panel, on top", faded))
    half_track = 0.5 * design.body.track
    axle = [place((0.0, half_track)), place((0.0, -half_track))]
    shapes.append(_path(axle, faded, dashes="4 1 0.6 1"))
    ends = [place((end(x for x, _ in corners), 0.0)) for end in (max, min)]
    shapes.append(_path(ends, faded, dashes="4 1 0.6 1"))
    places: dict[str, Point] = {}
    for name in SIDES:
        side = getattr(design, name)
        outward = _outward(name)
        x, y = places[f"{name} tyre"] = place((0.0, outward * half_track))
        long = 1e3 * scale * side.tyre.radius
        shapes.append(
            f'<rect x="{x - _TYRE:.3f}" y="{y - long:.3f}" width="{2 * _TYRE}" height="{2 * long:.3f}" '
            f'fill="{wood}"/>'
        )
        eye = side.eye
        x, y = places[f"{name} eye"] = place(_eyes(design)[name])
        colour = hex_of(name)
        shapes.append(
            f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{_LED * scale}" fill="none" stroke="{colour}" '
            'stroke-width="0.4"/>'
        )
        aim = (x - outward * _AIM * math.sin(eye.outward), y - _AIM * math.cos(eye.outward))
        shapes.append(_path([(x, y), aim], colour, width=0.3))
        below = y + _LED * scale + _TEXT + 0.6
        shapes.append(_word((x, below), f"{name} eye", colour))
        shapes.append(_word((x, below + 1.15 * _TEXT), f"{math.degrees(eye.outward):.0f}° out", colour))
    for name, (root, tip) in zip(
        (one for one in SIDES if getattr(design, one).whisker), _whiskers(design), strict=True
    ):
        places[f"{name} whisker root"], places[f"{name} whisker tip"] = place(root), place(tip)
        shapes.append(_path([place(root), place(tip)], ink, width=0.6))
        x, y = place(root)
        shapes.append(f'<circle cx="{x:.3f}" cy="{y:.3f}" r="0.8" fill="{ink}"/>')
    return shapes, places


def _path(
    points: Sequence[Point], colour: str, closed: bool = False, width: float = 0.25, dashes: str = ""
) -> str:
    steps = " L ".join(f"{x:.3f} {y:.3f}" for x, y in points)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path d="M {steps}{" Z" if closed else ""}" fill="none" stroke="{colour}" '
        f'stroke-width="{width}"{dashed}/>'
    )


def _word(place: Point, words: str, colour: str) -> str:
    x, y = place
    return f'<text x="{x:.3f}" y="{y:.3f}" text-anchor="middle" fill="{colour}">{words}</text>'


def _rule(left: float, height: float) -> list[str]:
    """A rule of 50 mm with a stroke every ten."""
    ink = hex_of("ink")
    shapes = [_path([(left, height), (left + _RULE, height)], ink, width=0.3)]
    for step in range(6):
        x = left + 10.0 * step
        shapes.append(_path([(x, height), (x, height - (3.0 if step in (0, 5) else 1.8))], ink, width=0.3))
    shapes.append(
        _word(
            (left + 0.5 * _RULE, height + 3.4),
            "50 mm on paper; if not, print without fitting to the page",
            ink,
        )
    )
    return shapes
