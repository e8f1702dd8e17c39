"""The day of a replay: how sun, sky, lamps and air went, step by step, as its header tells it.

``arena.day`` of the header, which is there only where light changes:

=====================  ===================================================================================
``begins_s``           what the clock showed when the run began, seconds since midnight
``offset_s``           how far that clock is ahead of universal time
``date``               date on which the run began, year-month-day, or null for a clock without a sun
``latitude_rad``       the place, northward, or null
``longitude_rad``      eastward, or null
``north_rad``          direction of its north in the plan, anticlockwise from +x
``height_m``           height for which the map of light is made
``times_s``            when each step begins; it holds until the next
``sun_azimuth_rad``, ``sun_elevation_rad``  where the sun stands, anticlockwise from +x, over the horizon
``sun_lx``             light of its disc on a surface square to it
``sky_lx``, ``overcast_lx``  light of the blue and of the clouded part of the sky on a level surface
``air_K``              temperature of the air
``lamps``              for each lamp of ``arena.lamps`` the share of its light that it gives
=====================  ===================================================================================

``arena.sun``, ``arena.ambient_lx`` and the map of light are those of the brightest step, and
``arena.ambient_own_lx`` is what of the even light is not the sky's.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray

COLUMNS = ("sun_azimuth_rad", "sun_elevation_rad", "sun_lx", "sky_lx", "overcast_lx", "air_K")
"""What each step tells, besides its time and the lamps."""

_DAY = 86400.0


@dataclass(frozen=True, eq=False)
class Daylight:
    """The steps of a day, an array each (steps,); ``lamps`` (steps, lamps); see the module for the rest."""

    begins_s: float
    height_m: float
    has_sun: bool
    times_s: FloatArray
    sun_azimuth_rad: FloatArray
    sun_elevation_rad: FloatArray
    sun_lx: FloatArray
    sky_lx: FloatArray
    overcast_lx: FloatArray
    air_K: FloatArray  # noqa: N815 - as the header has it
    lamps: FloatArray

    def step(self, time_s: float) -> int:
        """The number of the step that holds at ``time_s`` [s] of the run."""
        return max(int(np.searchsorted(self.times_s, time_s, side="right")) - 1, 0)

    def clock(self, time_s: float) -> str:
        """What the clock shows at ``time_s`` [s] of the run, with the day where it is not the first."""
        days, since = divmod(int(self.begins_s + time_s), int(_DAY))
        shown = f"{since // 3600:02d}:{since % 3600 // 60:02d}"
        return shown if days == 0 else f"{shown} on day {days + 1}"


def daylight_of(arena: dict[str, Any]) -> Daylight | None:
    """The day of a header's ``arena``, None where light does not change."""
    day = arena.get("day")
    if day is None:
        return None
    columns = {name: np.array(day[name], np.float64) for name in ("times_s", *COLUMNS)}
    lamps = np.array(day["lamps"], np.float64).reshape(len(day["lamps"]), len(columns["times_s"])).T
    return Daylight(
        float(day["begins_s"]), float(day["height_m"]), day["date"] is not None, **columns, lamps=lamps
    )
