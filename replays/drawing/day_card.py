"""What the hour is, and what sun and air do, on a card in a corner of the floor."""

import math

from replays.drawing.ground import draw_sun_mark
from replays.drawing.metres_to_points import View
from replays.drawing.sheet import Sheet
from replays.format.daylight import Daylight
from replays.words import light_words

_SIZE = 15
_MARK = 40.0
_KELVIN = 273.15
# A sun that stands lower gives no light to speak of [rad].
_LOW = math.radians(-6.0)


def draw_day_card(sheet: Sheet, view: View, day: Daylight, time_s: float) -> None:
    """Draw the card of ``time_s`` [s] into the upper left corner of ``view``.

    It goes over all that dissolves, since figures on top of one another could not be read.
    """
    words = day_words(day, time_s)
    step = day.step(time_s)
    shines = float(day.sun_lx[step]) > 0.0
    width, height = sheet.text_size(words, _SIZE)
    mark = _MARK if shines else 0.0
    corner = (view.left + 8.0, view.top + 8.0)
    sheet.card(corner, (width + mark + 20.0, height + 20.0), sheet.theme.paper, sheet.theme.faded, 6)
    middle = corner[1] + height / 2.0 + 10.0
    if shines:
        draw_sun_mark(sheet, (corner[0] + 26.0, middle), float(day.sun_azimuth_rad[step]))
    sheet.text(words, (corner[0] + mark + 10.0, middle), _SIZE, down=0.5)


def day_words(day: Daylight, time_s: float) -> str:
    """The hour, the light on level ground in the open, and the air, at ``time_s`` [s] of the run."""
    step = day.step(time_s)
    told = [day.clock(time_s)]
    if day.has_sun:
        elevation, sun = float(day.sun_elevation_rad[step]), float(day.sun_lx[step])
        level = float(day.sky_lx[step] + day.overcast_lx[step]) + sun * max(math.sin(elevation), 0.0)
        told.append(f"{_sky_words(elevation, sun)}, {light_words(level)}" if level >= 1.0 else "night")
    told.append(f"{float(day.air_K[step]) - _KELVIN:.0f} °C")
    return ", ".join(told)


def _sky_words(elevation: float, sun: float) -> str:
    if sun > 0.0:
        return f"sun {math.degrees(elevation):.0f}° high"
    if elevation > 0.0:
        return "sun behind clouds"
    return "twilight" if elevation > _LOW else "night"
