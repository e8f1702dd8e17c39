"""An arena as it stands at one time of its day: a sun, lamps and an even light that do not change."""

import math
from typing import TypeVar

import numpy as np

from arena.scene.elements import ArenaForm, Sun
from arena.scene.sky import Sky, sky_of

Arena = TypeVar("Arena", bound=ArenaForm)


def arena_at(spec: Arena, time: float | None = None, sky: Sky | None = None) -> Arena:
    """Return an arena without a day, with the light and the air of a ``time`` [s] of its run.

    That of its brightest time where None is given. ``sky`` is that of the run, one of a clear day if left
    out. An arena that has no day is returned as it is. Of the even light, the sky's kind is told where the
    sky gives most of it.
    """
    if spec.day is None:
        return spec
    if sky is None:
        day = spec.day.model_copy(update={"clouds": None})
        sky = sky_of(spec.model_copy(update={"day": day}), spec.lasts)
        assert sky is not None
    number = _brightest(spec, sky) if time is None else step_at(sky, time)
    step = sky.steps[number]
    sun = spec.sun
    if sky.has_sun:
        towards = (-float(step["aim_x"]), -float(step["aim_y"]), -float(step["aim_z"]))
        shines = float(step["sun"]) > 0.0
        azimuth, elevation = math.atan2(towards[1], towards[0]), math.asin(min(towards[2], 1.0))
        # a sun that has just risen stands lower than a file may say
        low = Sun(azimuth=azimuth, elevation=math.radians(1.0), illuminance=float(step["sun"]))
        sun = low.model_copy(update={"elevation": elevation}) if shines else None
    clear, overcast = float(step["clear_sky"]), float(step["overcast_sky"])
    ambient = spec.ambient
    if clear + overcast > 0.0:
        whole = ambient.illuminance + clear + overcast
        light = "overcast" if overcast > clear else "sun"
        kind = {"light": light} if clear + overcast > ambient.illuminance else {}
        ambient = ambient.model_copy(update={"illuminance": whole, **kind})
    lamps = tuple(
        lamp.model_copy(
            update={
                "lit": (),
                "intensity": None if lamp.intensity is None else share * lamp.intensity,
                "flux": None if lamp.flux is None else share * lamp.flux,
            }
        )
        for lamp, share in zip(spec.lamps, sky.lamps[number].tolist(), strict=True)
    )
    changed = {"day": None, "sun": sun, "ambient": ambient, "lamps": lamps, "air": float(step["air"])}
    return spec.model_copy(update=changed)


def step_at(sky: Sky, time: float) -> int:
    """The number of the step that holds at a ``time`` [s] of the run."""
    return max(int(np.searchsorted(sky.steps["start"], time, side="right")) - 1, 0)


def _brightest(spec: ArenaForm, sky: Sky) -> int:
    """The step with most light on level ground; where lamps alone count, with most of them."""
    steps = sky.steps
    light = steps["clear_sky"] + steps["overcast_sky"] - steps["sun"] * steps["aim_z"]
    given = [
        share * ((lamp.intensity or 0.0) + (lamp.flux or 0.0))
        for lamp, share in zip(spec.lamps, sky.lamps.T, strict=True)
    ]
    return int(np.argmax(light + 1e-3 * np.sum(given, axis=0)))
