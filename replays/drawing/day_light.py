"""The light on the floor at any time of a replay's day, worked out from its geometry alone.

Sun and lamps are points here: edges of shadows are hard, as far as the cells of the map let them be. The
shadow of a wall is its line, or its outline, swept to where its top throws it; that of a shade is its outline
thrown onto the level of the map. Else it is what :mod:`arena.engine.light` says, which a test holds it to.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from agents.arrays import FloatArray
from agents.handbook.formulae import lobe_exponent
from replays.drawing.light_map import LightMap
from replays.format.daylight import Daylight
from replays.format.tables import Replay

# Each cell of a map is looked at in so many places across and up.
_FINE = 3
# The sun as a lamp that stands this far away [m].
_FAR = 1.0e6
# From a lamp that hangs no higher than a wall the shadow has no end; it is followed so far [m].
_LONGEST = 100.0

# One in so many steps of a day is shown, so that shadows wander by a degree or two from picture to picture.
_STEPS_SHOWN = 3

Floats = NDArray[np.float32]
Points = list[list[float]]


class DayLight:
    """Maps of the light of a replay's day; ``placed`` is the header's ``light_map``."""

    def __init__(
        self, arena: dict[str, Any], day: Daylight, placed: dict[str, float], shape: tuple[int, int]
    ) -> None:
        """``shape`` is that of the map: rows and columns."""
        self._arena, self._day, self._shape = arena, day, shape
        self._west, self._south, self._cell = placed["x"], placed["y"], placed["cell"]
        self._own = float(arena.get("ambient_own_lx", 0.0))
        self._lamps: list[Floats | None] = [None] * len(arena["lamps"])

    def at(self, step: int) -> Floats:
        """The light [lx] of a ``step`` of the day, (rows, columns)."""
        day = self._day
        even = self._own + float(day.sky_lx[step] + day.overcast_lx[step])
        light: Floats = np.full(self._shape, even, np.float32)
        elevation, sun = float(day.sun_elevation_rad[step]), float(day.sun_lx[step])
        if sun > 0.0 and elevation > 0.0:
            azimuth, flat = float(day.sun_azimuth_rad[step]), _FAR * math.cos(elevation)
            place = (flat * math.cos(azimuth), flat * math.sin(azimuth), _FAR * math.sin(elevation))
            light += np.float32(sun * math.sin(elevation)) * self._passing(place)
        for number, share in enumerate(day.lamps[step].tolist()):
            if share > 0.0:
                light += np.float32(share) * self._lamp(number)
        return light

    def _lamp(self, number: int) -> Floats:
        """The light [lx] of a lamp at full strength."""
        known = self._lamps[number]
        if known is not None:
            return known
        lamp, height = self._arena["lamps"][number], self._day.height_m
        rows, columns = self._shape
        across = lamp["x"] - (self._west + self._cell * (np.arange(columns) + 0.5))
        along = lamp["y"] - (self._south + self._cell * (np.arange(rows) + 0.5))[:, None]
        above = lamp["height"] - height
        square = across**2 + along**2 + above**2
        light = lamp["intensity_cd"] * max(above, 0.0) / square**1.5
        if lamp["beam_half_angle_rad"] is not None:
            aim = np.array([lamp["aim"][0] - lamp["x"], lamp["aim"][1] - lamp["y"], -lamp["height"]])
            aim /= np.linalg.norm(aim)
            off = -(across * aim[0] + along * aim[1] + above * aim[2]) / np.sqrt(square)
            light *= np.maximum(off, 0.0) ** lobe_exponent(lamp["beam_half_angle_rad"])
        passing = self._passing((lamp["x"], lamp["y"], lamp["height"]))
        found: Floats = (light * passing).astype(np.float32)
        self._lamps[number] = found
        return found

    def _passing(self, source: tuple[float, float, float]) -> Floats:
        """What share of a ``source``'s light [m] gets past walls and shades to each cell."""
        passing = np.ones(self._shape, np.float32)
        level = self._day.height_m
        for shade in self._arena["shades"]:
            if level < shade["height"] < source[2]:
                outline = _thrown(np.array(shade["outline"]), shade["height"], source, level)
                passing *= 1.0 - (1.0 - np.float32(shade["passes"])) * self._covered([outline])
        hidden = []
        for wall in self._arena["walls"]:
            if wall["height"] > level:
                points = np.array([*wall["points"], wall["points"][0]] if wall["closed"] else wall["points"])
                hidden += _swept(points, wall["height"], source, level, closed=wall["closed"])
        if hidden:
            passing *= 1.0 - self._covered(hidden)
        return passing

    def _covered(self, outlines: list[FloatArray]) -> Floats:
        """What share of each cell lies within one of ``outlines`` [m]."""
        rows, columns = self._shape
        image = Image.new("1", (columns * _FINE, rows * _FINE))
        pencil = ImageDraw.Draw(image)
        for outline in outlines:
            x = (outline[:, 0] - self._west) / self._cell * _FINE - 0.5
            y = (outline[:, 1] - self._south) / self._cell * _FINE - 0.5
            # farther than any picture, a corner is no number that a pencil takes
            pairs = zip(np.clip(x, -1e5, 1e5).tolist(), np.clip(y, -1e5, 1e5).tolist(), strict=True)
            pencil.polygon(list(pairs), fill=1)
        fine = np.asarray(image, np.float32).reshape(rows, _FINE, columns, _FINE)
        covered: Floats = fine.mean(axis=(1, 3))
        return covered


class ChangingLight:
    """The light on the floor of a replay, the same all the time or by the hour, on one scale."""

    def __init__(self, replay: Replay) -> None:
        self.latest = LightMap.of(replay)
        self._placed, self._number, self._maps = replay.header["light_map"], -1, None
        if replay.day is not None:
            self._day = replay.day
            rows, columns = replay.light_map.shape
            self._maps = DayLight(replay.arena, replay.day, self._placed, (rows, columns))

    def number(self, time_s: float) -> int:
        """Which of the lights holds at ``time_s`` [s]; always -1 where light does not change."""
        return -1 if self._maps is None else self._day.step(time_s) // _STEPS_SHOWN

    def at(self, number: int) -> LightMap:
        """The light of a ``number``."""
        if self._maps is not None and number != self._number:
            step = min(number * _STEPS_SHOWN + _STEPS_SHOWN // 2, len(self._day.times_s) - 1)
            self.latest = LightMap(self._maps.at(step), self._placed, self.latest.scale)
            self.latest.number = self._number = number
        return self.latest


def _thrown(
    points: FloatArray, height: float, source: tuple[float, float, float], level: float
) -> FloatArray:
    """Where a ``source`` throws ``points`` (n, 2) at a ``height`` onto the ``level`` [m]."""
    foot = np.array(source[:2])
    drop = source[2] - height
    if drop <= 0.0:
        # no higher than what it shines on: outward without end
        away = points - foot
        return points + _LONGEST * away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
    return np.asarray(points + (points - foot) * ((height - level) / drop))


def _swept(
    points: FloatArray, height: float, source: tuple[float, float, float], level: float, *, closed: bool
) -> list[FloatArray]:
    """The shadow of a wall along ``points``: a piece for each of its edges, and its top if ``closed``."""
    thrown = _thrown(points, height, source, level)
    edges = [np.array([points[n], points[n + 1], thrown[n + 1], thrown[n]]) for n in range(len(points) - 1)]
    return [*edges, points, thrown] if closed else edges
