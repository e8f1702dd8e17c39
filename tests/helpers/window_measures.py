"""What can be measured of a window: how much the floor takes, what names cover, how colours differ."""

import itertools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from arena.recording import describe_arena
from arena.scene.spec import read_arena
from replays.drawing import colours
from replays.drawing.label_placing import label_box
from replays.drawing.metres_to_points import View, bounds
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import THEMES
from replays.format.tables import Replay
from replays.window.replay_window import ReplayWindow
from replays.window.window_layout import MARGIN
from tests.helpers.fabricate import Fabricator

ARENAS = tuple(
    sorted(path.stem for path in (Path(__file__).parents[2] / "configs" / "arenas").glob("*.yaml"))
)
"""Names of the arenas that are shipped."""


def crowd_in(name: str, walkers: int = 12) -> Replay:
    """A fabricated run in a shipped arena: ``walkers`` that wander from their starts over the floor."""
    spec = read_arena(name)
    arena = describe_arena(spec, "")
    floor = np.array(arena["floor"])
    low, high = floor.min(axis=0), floor.max(axis=0)
    light = np.geomspace(300.0, 20000.0, 20 * 10).reshape(10, 20)
    made = Fabricator(seconds=600.0, arena=arena, light_map=light)
    draw = np.random.default_rng(4)
    for number in range(walkers):
        x, y = (low + (high - low) * draw.uniform((0.08, 0.1), (0.2, 0.9))).tolist()
        walker = made.walker(x, y, float(draw.uniform(-3, 3)))
        for pulse in range(15):
            x = float(np.clip(x + draw.uniform(0.0, 0.1), low[0], high[0]))
            y = float(np.clip(y + draw.uniform(-0.08, 0.08), low[1], high[1]))
            made.pulse(walker, 10.0 + 38.0 * pulse + number, (x, y), lasts_s=0.5)
    return made.replay()


def settled(window: ReplayWindow, size: tuple[int, int]) -> pygame.Surface:
    """The picture of ``window`` once all of it has been drawn."""
    surface = pygame.Surface(size)
    for _ in range(60):
        window.draw(surface)
        if window._stage.is_settled:
            break
    window.draw(surface)
    return surface


def floor_share(window: ReplayWindow) -> float:
    """Share of the window that the floor itself takes, less the cards that lie over it."""
    outline = shapely.Polygon(window.view.line(window.replay.arena["floor"]))
    for card in window.cards.values():
        outline = outline.difference(shapely.box(card.left, card.top, card.right, card.bottom))
    width, height = (pixels / window.scale for pixels in window.size)
    return float(outline.intersection(shapely.box(0, 0, width, height)).area / (width * height))


@dataclass(frozen=True)
class FloorMeasure:
    """What of a window the room for the floor takes, and the floor itself; 1 is all of it.

    ``fills`` is 1 where the floor is as large as its shape lets it be in that room.
    """

    room: float
    floor: float
    fills: float


def measure_floor(view: View, arena: dict[str, Any], window: tuple[float, float]) -> FloorMeasure:
    """The floor of ``arena`` in ``view``, whose box is its room, in a ``window`` of so many points."""
    west, south, east, north = bounds(arena)
    across, along = view.zoom * (east - west), view.zoom * (north - south)
    rim = 2.0 * MARGIN * max(across, along)
    whole = window[0] * window[1]
    fills = max((across + rim) / view.width, (along + rim) / view.height)
    return FloorMeasure(view.width * view.height / whole, across * along / whole, fills)


def label_faults(window: ReplayWindow) -> list[str]:
    """What is wrong with the names on the floor of a window that has been drawn: over what each lies."""
    view, arena = window.view, window.replay.arena
    sheet = Sheet(pygame.Surface((8, 8)), window.scale)
    labels = window._stage.names(view)
    plates = {label.words: shapely.box(*label_box(sheet, label)) for label in labels}
    edges = shapely.box(view.left, view.top, view.left + view.width, view.top + view.height)
    figures = window._stage.figures(view)
    matters: dict[str, Any] = {
        f"lamp {lamp['name']}": shapely.Point(view(lamp["x"], lamp["y"])).buffer(11)
        for lamp in arena["lamps"]
    }
    for goal in arena["goals"]:
        outline = shapely.Polygon(view.line(goal["outline"]))
        if outline.area < 0.25 * edges.area:
            matters[f"goal {goal['name']}"] = outline
    for time_s in (0.0, window.replay.seconds):
        x, y, _ = figures.places(time_s)
        for number, (across, down, radius) in enumerate(zip(x, y, figures.radii, strict=True)):
            matters[f"walker {number} at {time_s:g} s"] = shapely.Point(across, down).buffer(radius)
    faults = [f"{words}: over the edge" for words, plate in plates.items() if not edges.contains(plate)]
    for words, plate in plates.items():
        faults += [
            f"{words}: over {name}" for name, other in matters.items() if plate.intersection(other).area > 0
        ]
    for (one, first), (other, second) in itertools.combinations(plates.items(), 2):
        if first.intersection(second).area > 0:
            faults.append(f"{one}: over {other}")
    return faults


def contrasts() -> dict[str, tuple[float, float]]:
    """Of every sort of pair of colours the least contrast ratio, and the least that is asked for."""
    ratio = colours.contrast_ratio
    grounds: list[colours.Colour] = [(r, g, b) for r, g, b in colours.light_colours().tolist()]
    lines: list[colours.Colour] = [(r, g, b) for r, g, b in colours.line_colours().tolist()]
    looks = [colours.look(number) for number in range(7)]
    found = {
        "line of equal light on the floor": (min(map(ratio, lines, grounds)), 3.0),
        "name of a line on the floor": (min(ratio(colours.readable_on(one), one) for one in grounds), 4.5),
        "look of a design on the floor": (
            min(max(ratio(one.colour, at), ratio(one.casing, at)) for one in looks for at in grounds), 3.0,
        ),
        "look of a design on its rim": (min(ratio(one.colour, one.casing) for one in looks), 3.0),
    }  # fmt: skip
    for name, theme in THEMES.items():
        papers = (theme.paper, theme.card)
        for words, inks, least in (
            ("words", (theme.ink, theme.faded, theme.left, theme.right), 4.5),
            ("frames and lines", (theme.wood, theme.faded, theme.ink), 3.0),
        ):
            found[f"{words}, {name}"] = (min(ratio(ink, paper) for ink in inks for paper in papers), least)
        found[f"a button that is on, {name}"] = (ratio(theme.ink, theme.card), 3.0)
        found[f"words on a button that is on, {name}"] = (ratio(theme.paper, theme.ink), 4.5)
    return found
