"""Replays made by hand, so that every score of them can be worked out on paper.

Walkers move in straight lines at even speed, whatever a circuit would do; nothing here simulates.
"""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from replays.format.header import VERSION
from replays.format.tables import LEDGER, LET_GO, LIGHTS, POSES, PULSES, TOUCHES, WALKERS, Replay

Point = tuple[float, float]
Outline = list[list[float]]


def box(west: float, south: float, east: float, north: float) -> Outline:
    """Corners [m] of an upright rectangle."""
    return [[west, south], [east, south], [east, north], [west, north]]


def arena(**changes: Any) -> dict[str, Any]:
    """An empty bench of 2 m x 1 m under one lamp, with ``changes``."""
    bench: dict[str, Any] = {
        "name": "bare bench",
        "about": "nothing in the way",
        "yaml": "name: bare bench\n",
        "floor": box(0.0, 0.0, 2.0, 1.0),
        "walls": [],
        "shades": [],
        "lamps": [
            {
                "name": "grow lamp",
                "x": 1.7,
                "y": 0.5,
                "height": 0.6,
                "intensity_cd": 300.0,
                "diameter": 0.1,
                "beam_half_angle_rad": None,
                "aim": [1.7, 0.5],
                "light": "white-led",
            }
        ],
        "sun": None,
        "ambient_lx": 40.0,
        "goals": [],
    }
    return bench | changes


def goal(*outline: list[float], name: str = "under the lamp") -> dict[str, Any]:
    """A goal with the corners ``outline`` [m]."""
    return {"name": name, "outline": list(outline)}


@dataclass
class Fabricator:
    """Collects walkers and what they do, then builds the replay."""

    seconds: float = 100.0
    designs: tuple[str, ...] = ("cress",)
    arena: dict[str, Any] = field(default_factory=arena)
    light_map: Any = None
    cell: float = 0.1
    _walkers: list[tuple[Any, ...]] = field(default_factory=list)
    _pulses: list[tuple[Any, ...]] = field(default_factory=list)
    _poses: list[tuple[Any, ...]] = field(default_factory=list)
    _touches: list[tuple[Any, ...]] = field(default_factory=list)
    _lights: list[tuple[Any, ...]] = field(default_factory=list)
    _now: list[tuple[float, float, float]] = field(default_factory=list)

    def walker(
        self,
        x: float,
        y: float,
        heading: float = 0.0,
        *,
        design: int = 0,
        panel_lx: float = 1000.0,
        open_lx: float | None = None,
        radius: float = 0.03,
        body_ahead: float = 0.0,
    ) -> int:
        """Put a walker on the floor [m, rad]; returns its number."""
        number = len(self._walkers)
        self._walkers.append((design, 0, x, y, heading, radius, body_ahead, 0.042, 0.02, 0.025))
        self._poses.append((number, 0.0, x, y, heading))
        self._now.append((x, y, heading))
        self.light(number, 0.0, panel_lx, open_lx)
        return number

    def light(
        self,
        walker: int,
        time_s: float,
        panel_lx: float,
        open_lx: float | None = None,
        clear_lx: float | None = None,
    ) -> None:
        """The light from ``time_s`` [s] on [lx]; in the open unless ``open_lx`` says otherwise.

        ``clear_lx`` is what it would be without the other walkers, the same where it is None.
        """
        open_panel = panel_lx if open_lx is None else open_lx
        clear = panel_lx if clear_lx is None else clear_lx
        self._lights.append((walker, time_s, panel_lx, panel_lx, panel_lx, open_panel, clear))

    def pulse(
        self,
        walker: int,
        start_s: float,
        to: Point,
        *,
        heading: float | None = None,
        side: int = 0,
        touched: int = 0,
        ended: int = LET_GO,
        lasts_s: float = 0.5,
        panel_lx: float = 1000.0,
        open_lx: float | None = None,
    ) -> None:
        """Move in a straight line to the place ``to`` [m]; heading as before unless given [rad]."""
        x0, y0, heading0 = self._now[walker]
        heading1 = heading0 if heading is None else heading
        open_panel = panel_lx if open_lx is None else open_lx
        length = math.dist((x0, y0), to)
        rest_s = start_s + lasts_s
        pulse = (walker, side, ended, touched, start_s, start_s + 0.8 * lasts_s, rest_s, 2.6, 2.7, 0.75)
        pulse += (panel_lx, panel_lx, panel_lx, open_panel)
        self._pulses.append((*pulse, x0, y0, heading0, *to, heading1, length, 0.06, 0.004))
        for share in np.linspace(0.0, 1.0, 21):
            here = (x0 + share * (to[0] - x0), y0 + share * (to[1] - y0))
            self._poses.append(
                (walker, start_s + share * lasts_s, *here, heading0 + share * (heading1 - heading0))
            )
        self._now[walker] = (*to, heading1)

    def touch(self, walker: int, time_s: float, part: int, *, closed: bool, against: int = 0) -> None:
        """A whisker or the body begins or ceases to touch."""
        self._touches.append((walker, time_s, part, int(closed), against))

    def replay(self) -> Replay:
        """The replay of all that was put in."""
        pulses = np.array(self._pulses, dtype=PULSES)
        poses = np.array(self._poses, dtype=POSES)
        touches = np.array(self._touches, dtype=TOUCHES)
        lights = np.array(self._lights, dtype=LIGHTS)
        light_map = np.full((10, 20), 500.0) if self.light_map is None else self.light_map
        header = {
            "format": "photodrome replay",
            "version": VERSION,
            "program": "0.1.0",
            "seed": 7,
            "seconds": self.seconds,
            "built_names": ["storage_F", "latch_ohm"],
            "light_map": {"x": 0.0, "y": 0.0, "cell": self.cell},
            "designs": [
                {"name": name, "about": "made by hand", "yaml": f"name: {name}\n"} for name in self.designs
            ],
            "arena": self.arena,
        }
        return Replay(
            header=header,
            walkers=np.array(self._walkers, dtype=WALKERS),
            pulses=pulses[np.lexsort((pulses["walker"], pulses["start_s"]))],
            poses=poses[np.lexsort((poses["time_s"], poses["walker"]))],
            touches=touches[np.argsort(touches["time_s"], kind="stable")],
            lights=lights[np.lexsort((lights["time_s"], lights["walker"]))],
            built=np.tile([2200e-6, 10e3], (len(self._walkers), 1)),
            light_map=np.asarray(light_map, dtype=np.float32),
            ledger=np.zeros((len(self._walkers), len(LEDGER))),
        )


def potting_bench() -> Fabricator:
    """Three designs on a bench with a tray, a pot and a leaf in the way; enough to fill a picture."""
    bench = arena(
        name="potting bench",
        about="a seed tray and a leaf between the door and the grow lamp",
        floor=[[0.0, 0.0], [2.0, 0.0], [2.0, 1.1], [0.3, 1.1], [0.0, 0.8]],
        walls=[
            {"name": "seed tray", "points": [[0.9, 0.3], [0.9, 0.75]], "closed": False, "height": 0.06},
            {"name": "pot", "points": box(1.25, 0.15, 1.4, 0.3), "closed": True, "height": 0.15},
        ],
        shades=[
            {
                "name": "fern leaf",
                "outline": [[0.35, 0.55], [0.7, 0.6], [0.75, 0.9], [0.5, 1.0], [0.3, 0.8]],
                "height": 0.2,
                "passes": 0.15,
            }
        ],
        goals=[goal(*box(1.55, 0.4, 1.85, 0.7))],
        sun={"azimuth_rad": -0.8, "elevation_rad": 0.6, "illuminance_lx": 20e3},
    )
    cell = 0.02
    x, y = np.meshgrid((np.arange(100) + 0.5) * cell, (np.arange(55) + 0.5) * cell)
    distance = np.sqrt((x - 1.7) ** 2 + (y - 0.5) ** 2 + 0.36)
    light = 300 * 0.6 / distance**3
    light[(x > 0.25) & (x < 0.65) & (y > 0.6) & (y < 0.95)] *= 0.15
    light[(x > 0.75) & (x < 0.9) & (y > 0.3) & (y < 0.75)] *= 0.1
    made = Fabricator(
        seconds=900.0, designs=("cress", "borage", "poppy"), arena=bench, light_map=light + 40, cell=cell
    )
    draw = np.random.default_rng(4)
    for number in range(6):
        x0, y0 = 0.15 + 0.04 * (number % 2), 0.15 + 0.11 * number
        walker = made.walker(x0, y0, 0.2, design=number % 3, body_ahead=0.012)
        heading = 0.0
        for pulse in range(48):
            here_x, here_y, _ = made._now[walker]
            bearing = math.atan2(0.5 - here_y, 1.7 - here_x)
            side = pulse % 2
            turn = (0.5 if side else -0.5) + draw.normal(0, 0.3 + 0.1 * (number % 3))
            heading = bearing + turn
            if math.dist((here_x, here_y), (1.7, 0.5)) < 0.1:
                break
            place = (here_x + 0.04 * math.cos(heading), here_y + 0.04 * math.sin(heading))
            made.pulse(walker, 15.0 * (pulse + 1) + number, place, heading=heading, side=side)
    return made
