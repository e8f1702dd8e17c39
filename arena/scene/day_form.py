"""The day of an arena, as its file describes it: place, date, clock, weather; and when a lamp is on."""

import datetime
import math
from collections.abc import Iterator
from contextlib import suppress
from itertools import pairwise
from typing import Annotated

from pydantic import Field

from agents.handbook.sky_light import OKTAS
from agents.handbook.sun_position import FIRST_YEAR, LAST_YEAR
from agents.handbook.temperature import COLDEST_AIR, HOTTEST_AIR
from agents.text.dates import CalendarDate, Clock, UtcOffset, clock_text
from agents.text.keyed_errors import KeyedError, UnreadError, cross_check
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.shapes import BaseSpec
from agents.text.units import format_quantity

TimeOfDay = Annotated[float, Clock()]
_Air = Annotated[float, Quantity("K", least=COLDEST_AIR, most=HOTTEST_AIR)]


class Clouds(BaseSpec):
    """Clouds that hide the sun one by one, at times drawn for every run."""

    cover: Annotated[int, Number(whole=True, least=0, most=OKTAS)] = Field(
        title="cover", description="how much of the sky is clouded, in eighths of it"
    )
    lasts: Annotated[float, Quantity("s", least=10.0, most=86400.0)] = Field(
        300.0, title="length", description="how long a cloud hides the sun, in the mean"
    )


class Day(BaseSpec):
    """The day on which a run goes: the sun's way over a place of the earth, and a clock."""

    begins: TimeOfDay = Field(title="beginning", description="what the clock shows when the run begins")
    clock: Annotated[float, UtcOffset()] = Field(
        0.0,
        title="clock",
        description="how far the clock is ahead of universal time; it stays so through the run",
    )
    latitude: Annotated[float, Quantity("rad", least=math.radians(-90.0), most=math.radians(90.0))] | None = (
        Field(None, title="latitude", description="of the place, northward; none: a clock without a sun")
    )
    longitude: (
        Annotated[float, Quantity("rad", least=math.radians(-180.0), most=math.radians(180.0))] | None
    ) = Field(None, title="longitude", description="of the place, eastward")
    date: Annotated[datetime.date, CalendarDate(FIRST_YEAR, LAST_YEAR)] | None = Field(
        None, title="date", description="day on which the run begins"
    )
    north: Annotated[float, Quantity("rad", least=-2.0 * math.pi, most=2.0 * math.pi)] = Field(
        math.radians(90.0),
        title="north",
        description="direction towards north, counter-clockwise from the x axis",
    )
    clouds: Clouds | None = Field(None, title="clouds", description="clouds; none: a clear sky")
    glass: Annotated[float, Fraction()] = Field(
        1.0, title="glass", description="share of sun and sky light that a window lets through"
    )
    open_sky: Annotated[float, Fraction()] = Field(
        1.0,
        title="open sky",
        description="share of the sky's light that comes to the floor; in a room its daylight factor",
    )
    coldest: _Air | None = Field(
        None,
        title="coldest air",
        description="lowest temperature of the air, at dawn; none: the arena's all day",
    )
    warmest: _Air | None = Field(
        None, title="warmest air", description="highest temperature of the air, early in the afternoon"
    )
    tolerance: Annotated[float, Fraction(least=0.002, most=0.2)] = Field(
        0.02,
        title="tolerance",
        description="by how much light may change from one step of the sky to the next; direction and air "
        "in proportion, 0.5 degrees and 0.5 kelvin at 2 %",
    )

    @cross_check
    def _check_place(self) -> Iterator[KeyedError]:
        place = ("latitude", "longitude", "date")
        lacking = [name for name in place if not self.is_given(name)]
        if 0 < len(lacking) < len(place):
            yield KeyedError((lacking[0],), "nothing", "latitude, longitude and date, or none of them")
        if lacking and self.is_given("clouds"):
            yield KeyedError(("clouds",), "clouds without a sun", "latitude, longitude and date too")

    @cross_check
    def _check_air(self) -> Iterator[KeyedError]:
        lacking = [name for name in ("coldest", "warmest") if not self.is_given(name)]
        if len(lacking) == 1:
            yield KeyedError((lacking[0],), "nothing", "both coldest and warmest, or neither")
        elif self.coldest is not None and self.warmest is not None and self.coldest > self.warmest:
            shown = [format_quantity(value, "K") for value in (self.coldest, self.warmest)]
            yield KeyedError(("coldest",), shown[0], f"no more than the warmest, {shown[1]}")

    @property
    def has_sun(self) -> bool:
        """Whether the sun goes over it."""
        return self.latitude is not None and self.longitude is not None and self.date is not None


class OnTime(BaseSpec):
    """A time of each day at which a lamp is on."""

    begins: TimeOfDay = Field(title="on from", description="when it goes on, each day")
    ends: TimeOfDay = Field(title="on until", description="when it goes off, later on the same day")
    share: Annotated[float, Fraction()] = Field(
        1.0, title="dimming", description="share of its light that it gives meanwhile"
    )
    fades: Annotated[float, Quantity("s", least=0.0, most=43200.0)] = Field(
        0.0, title="fading", description="how long it takes to come up, and to go down before the end"
    )

    @cross_check
    def _check_order(self) -> Iterator[KeyedError]:
        if self.ends <= self.begins:
            shown = clock_text(self.begins)
            yield KeyedError(
                ("ends",),
                f"{clock_text(self.ends)}, which is not after {shown}",
                f"a later time; over midnight two entries, {shown} to 24:00 and 00:00 to "
                f"{clock_text(self.ends)}"
                if self.ends < self.begins
                else "a later time",
            )
        elif 2.0 * self.fades > self.ends - self.begins:
            half = format_quantity((self.ends - self.begins) / 2.0, "s")
            yield KeyedError(
                ("fades",), format_quantity(self.fades, "s"), f"at most half of that time, {half}"
            )


def timetable_faults(on: tuple[OnTime, ...]) -> Iterator[KeyedError]:
    """Yield where two times of a lamp lie over each other."""
    times: list[tuple[float, int, float]] = []
    for number, one in enumerate(on):
        with suppress(UnreadError):
            times.append((one.begins, number, one.ends))
    for (_, before, ends), (begins, number, _) in pairwise(sorted(times)):
        if begins < ends:
            got = f"{clock_text(begins)}, while lit[{before}] lasts until {clock_text(ends)}"
            yield KeyedError(("lit", number, "begins"), got, "times that do not lie over each other")
