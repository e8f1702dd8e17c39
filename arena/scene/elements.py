"""The parts of an arena, as its file describes them: floor, walls, shades, lights, starts, goals, gates.

The plan lies in the plane z = 0: x runs to the right, y away from the viewer, angles run counter-clockwise
from the x axis, heights are above the floor. Every field's description is its entry in the reference.
"""

import math
from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from agents.handbook.light_kinds import KINDS, SAME_KINDS, SUN
from agents.handbook.temperature import COLDEST_AIR, HOTTEST_AIR, ROOM_TEMPERATURE
from agents.text.keyed_errors import KeyedError, cross_check
from agents.text.quantities import Fraction, Number, Pair, Point, Points, Quantity
from agents.text.readers import Word
from agents.text.shapes import BaseSpec
from agents.text.units import format_quantity
from arena.scene.day_form import Day, OnTime, timetable_faults

MOST_WALKERS = 10_000
# Walls, shades, goals, gates, and lamps, each of which costs time at every place of the floor.
MOST_THINGS = 2000
MOST_LAMPS = 500
# Times of a day at which a lamp is on.
MOST_TIMES = 48

Outline = Annotated[tuple[Pair, ...], Points(least_count=3)]
Line = Annotated[tuple[Pair, ...], Points(least_count=2)]
Place = Annotated[Pair, Point()]
Height = Annotated[float, Quantity("m", above=0.0, most=100.0)]
Angle = Annotated[float, Quantity("rad", least=-2.0 * math.pi, most=2.0 * math.pi)]
Illuminance = Annotated[float, Quantity("lx", least=0.0, most=1e6)]
# Where the disc of a lamp faces.
EVERYWHERE, DOWN, AIM = FACES = ("everywhere", "down", "aim")
# A matt surface has half its intensity left at cos 60 deg (Lambert's law).
MATT_HALF_ANGLE = math.radians(60.0)

Light = Annotated[str, Word(KINDS, tuple(SAME_KINDS.items()))]


def require_one(spec: BaseSpec, first: str, second: str) -> Iterator[KeyedError]:
    """Yield a fault unless exactly one of two fields is given."""
    given = [name for name in (first, second) if spec.is_given(name)]
    if len(given) == 2:
        yield KeyedError((second,), f"{second} beside {first}", "only one of the two")
    if not given:
        yield KeyedError((), f"neither {first} nor {second}", f"either {first} or {second}")


class Floor(BaseSpec):
    """The bench on which the walkers walk."""

    outline: Outline = Field(title="outline", description="corners of the floor, in order")
    rim: Height = Field(
        0.04, title="rim height", description="height of the lip round the floor, which no walker climbs"
    )


class Wall(BaseSpec):
    """A seed tray, a plank: stops walkers and light up to its height."""

    name: str = Field(title="name", description="word by which messages name it")
    line: Line | None = Field(None, title="line", description="thin wall from point to point")
    outline: Outline | None = Field(
        None, title="outline", description="solid wall, closed from the last point to the first"
    )
    height: Height = Field(0.06, title="height", description="height of its top")
    opening: Annotated[float, Quantity("m", above=0.0, most=1000.0)] | None = Field(
        None,
        title="opening",
        description="width of a gap in the middle of a thin wall between two points; none: no gap",
    )

    @cross_check
    def _check_form(self) -> Iterator[KeyedError]:
        yield from require_one(self, "line", "outline")

    @cross_check
    def _check_opening(self) -> Iterator[KeyedError]:
        if self.opening is None:
            return
        if self.line is None or len(self.line) != 2:
            got = "an opening in an outline" if self.line is None else f"one in {len(self.line)} points"
            yield KeyedError(("opening",), got, "a thin wall from one point to another")
        elif self.opening >= math.dist(*self.line):
            got = f"{format_quantity(self.opening, 'm')}, as wide as the wall is long"
            yield KeyedError(("opening",), got, "a gap that leaves a piece of wall at either end")

    @property
    def pieces(self) -> tuple[tuple[Pair, ...], ...]:
        """What stands of it: its outline or line, or the two pieces beside its opening."""
        if self.opening is None or self.line is None:
            return (self.outline or self.line or (),)
        (ax, ay), (bx, by) = self.line
        share = 0.5 * (1.0 - self.opening / math.dist(*self.line))
        reach_x, reach_y = share * (bx - ax), share * (by - ay)
        return (
            ((ax, ay), (ax + reach_x, ay + reach_y)),
            ((bx - reach_x, by - reach_y), (bx, by)),
        )


class Shade(BaseSpec):
    """A leaf, a shelf: lies flat at a height and lets part of the light through; walkers pass below."""

    name: str = Field(title="name", description="word by which messages name it")
    outline: Outline = Field(title="outline", description="corners of the shade, in order")
    height: Height = Field(title="height", description="height at which it lies")
    passes: Annotated[float, Fraction()] = Field(
        0.0, title="transmission", description="share of the light that gets through"
    )


class Lamp(BaseSpec):
    """A lamp: a point, a globe that looks as wide from everywhere, or a flat disc."""

    name: str = Field(title="name", description="word by which messages name it")
    place: Place = Field(
        title="place", description="point of the plan above which it hangs; may lie outside the floor"
    )
    height: Height = Field(title="height", description="height at which it hangs")
    light: Light = Field(
        title="light kind", description="kind of its light, which tells how a panel takes it"
    )
    intensity: Annotated[float, Quantity("cd", above=0.0, most=1e7)] | None = Field(
        None, title="luminous intensity", description="luminous intensity along its aim"
    )
    flux: Annotated[float, Quantity("lm", above=0.0, most=1e8)] | None = Field(
        None, title="luminous flux", description="luminous flux of the whole lamp, in place of its intensity"
    )
    diameter: Annotated[float, Quantity("m", least=0.0, most=10.0)] = Field(
        0.0,
        title="diameter",
        description="width of the shining disc, which softens the edges of shadows; 0 m for a point",
    )
    faces: Annotated[str, Word(FACES)] = Field(
        EVERYWHERE,
        title="facing",
        description="where the disc faces: everywhere, like a globe or a frosted bulb; down, like a panel "
        "that hangs level; or along its aim",
    )
    beam: Annotated[float, Quantity("rad", least=math.radians(1.0), most=math.radians(89.0))] | None = Field(
        None,
        title="beam half angle",
        description="angle off the aim at which half the intensity is left; none shines alike all round, "
        "or from a flat disc as a matt surface does, which is 60 deg",
    )
    aim: Place | None = Field(
        None, title="aim", description="point of the floor at which the beam is aimed; none: straight down"
    )
    lit: tuple[OnTime, ...] = Field(
        (),
        max_length=MOST_TIMES,
        title="timetable",
        description="when it is on, by the clock of the arena's day; none: all the time",
    )

    @cross_check
    def _check_light(self) -> Iterator[KeyedError]:
        yield from require_one(self, "intensity", "flux")

    @cross_check
    def _check_aim(self) -> Iterator[KeyedError]:
        if self.is_given("aim") and not self.is_given("beam") and self.faces != AIM:
            yield KeyedError(("aim",), "an aim without a beam", "a beam beside it, or no aim")

    @cross_check
    def _check_width(self) -> Iterator[KeyedError]:
        if self.is_flat and self.diameter == 0.0:
            yield KeyedError(("faces",), "a facing of a lamp without width", "a diameter beside it")

    @cross_check
    def _check_timetable(self) -> Iterator[KeyedError]:
        yield from timetable_faults(self.lit)

    @property
    def is_flat(self) -> bool:
        """Whether it is a flat disc, with a front and a back."""
        return self.faces != EVERYWHERE

    @property
    def half_angle(self) -> float | None:
        """Angle [rad] off its axis at which half the intensity is left; None where it shines all round."""
        return MATT_HALF_ANGLE if self.beam is None and self.is_flat else self.beam


class Sun(BaseSpec):
    """The sun, or the bright part of the sky that a skylight shows: parallel light with a soft edge."""

    azimuth: Angle = Field(
        title="azimuth", description="direction towards the sun, counter-clockwise from the x axis"
    )
    elevation: Annotated[float, Quantity("rad", least=math.radians(0.5), most=math.pi / 2)] = Field(
        title="elevation", description="height of the sun over the horizon"
    )
    illuminance: Illuminance = Field(title="illuminance", description="light on a surface square to the rays")
    light: Light = Field(SUN, title="light kind", description="kind of its light")


class Ambient(BaseSpec):
    """Light that comes alike from all sides and casts no shadow."""

    illuminance: Illuminance = Field(0.0, title="illuminance", description="light on a flat surface")
    light: Light = Field(SUN, title="light kind", description="kind of the light")


class StartPlace(BaseSpec):
    """One place at which a walker starts."""

    place: Place = Field(title="place", description="where the walker's middle stands")
    heading: Angle | None = Field(
        None, title="heading", description="where its nose points; none: drawn for every run"
    )


class StartZone(BaseSpec):
    """An area in which walkers start, at places drawn for every run."""

    outline: Outline = Field(title="outline", description="corners of the zone, in order")
    number: Annotated[int, Number(whole=True, least=1, most=MOST_WALKERS)] = Field(
        title="number of walkers", description="how many walkers of each design start there"
    )
    heading: Angle | None = Field(
        None, title="heading", description="where all noses point; none: drawn for every walker"
    )


class Starts(BaseSpec):
    """Where walkers start: at listed places, or in a zone."""

    places: tuple[StartPlace, ...] | None = Field(None, title="start", description="listed places")
    zone: StartZone | None = Field(None, title="start zone", description="a zone with a number")

    @cross_check
    def _check_form(self) -> Iterator[KeyedError]:
        yield from require_one(self, "places", "zone")

    @cross_check
    def _check_number(self) -> Iterator[KeyedError]:
        if self.places is not None and not 1 <= len(self.places) <= MOST_WALKERS:
            yield KeyedError(("places",), f"{len(self.places)} places", f"1 to {MOST_WALKERS} places")


class Goal(BaseSpec):
    """An area that counts as reached once a walker's middle is in it."""

    name: str = Field(title="name", description="word by which scores name it")
    outline: Outline | None = Field(None, title="outline", description="corners of the goal, in order")
    centre: Place | None = Field(None, title="centre", description="middle of a round goal")
    radius: Annotated[float, Quantity("m", above=0.0, most=1000.0)] | None = Field(
        None, title="radius", description="radius of a round goal"
    )

    @cross_check
    def _check_form(self) -> Iterator[KeyedError]:
        faults = list(require_one(self, "outline", "centre"))
        yield from faults
        if not faults and self.is_given("radius") != self.is_given("centre"):
            lacking, given = ("centre", "radius") if self.is_given("radius") else ("radius", "centre")
            yield KeyedError((given,), f"a {given} without a {lacking}", "both, or neither")


class Gate(BaseSpec):
    """A line across the way at which walkers are counted; it stops nobody and casts no shadow."""

    name: str = Field(title="name", description="word by which scores name it")
    line: Line = Field(
        title="line",
        description="points in order; a walker has passed once its middle has crossed it, to either side",
    )


class ArenaForm(BaseSpec):
    """One arena, its parts right one by one; :class:`arena.scene.spec.ArenaSpec` holds them together."""

    name: str = Field(description="name of the arena, as tables and pictures show it")
    about: str | None = Field(None, description="what the arena puts to the test")
    floor: Floor = Field(title="floor", description="the bench on which the walkers walk")
    walls: tuple[Wall, ...] = Field(
        (),
        max_length=MOST_THINGS,
        title="wall",
        description="what stops walkers and light",
    )
    shades: tuple[Shade, ...] = Field(
        (),
        max_length=MOST_THINGS,
        title="shade",
        description="what stops light alone",
    )
    lamps: tuple[Lamp, ...] = Field(
        (),
        max_length=MOST_LAMPS,
        title="lamp",
        description="the lamps; none at all leaves the arena dark",
    )
    sun: Sun | None = Field(None, title="sun", description="sunlight; none: no sun")
    ambient: Ambient = Field(Ambient(), title="ambient", description="light from all sides")
    air: Annotated[float, Quantity("K", least=COLDEST_AIR, most=HOTTEST_AIR)] = Field(
        ROOM_TEMPERATURE,
        title="air temperature",
        description="temperature of the air, above which light warms the panels",
    )
    day: Day | None = Field(
        None, title="day", description="sun, sky and lamps that change with the time; none: they stay"
    )
    starts: Starts = Field(description="where the walkers start")
    goals: tuple[Goal, ...] = Field(
        (),
        max_length=MOST_THINGS,
        title="goal",
        description="where they are to go; none: nothing counts as reached",
    )
    gates: tuple[Gate, ...] = Field(
        (),
        max_length=MOST_THINGS,
        title="gate",
        description="lines at which walkers that come through are counted",
    )
    lasts: Annotated[float, Quantity("s", least=1.0, most=1e6)] = Field(
        3600.0,
        title="length of the run",
        description="how long a run lasts unless the command says otherwise",
    )
    cell: Annotated[float, Quantity("m", least=0.001, most=0.1)] = Field(
        0.01,
        title="cell of the map of light",
        description="width of a cell of the map of light that pictures show; wider where there would be more "
        "than 262,144 cells, or under many lamps",
    )
