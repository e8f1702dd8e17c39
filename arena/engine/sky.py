"""Light that changes while walkers wait: one event of the world for each step of its sky.

A step brings the rails of all that wait up to its time in the light that they had, puts sun, sky, lamps and
air to what holds from then on, and takes their light and works out their triggers anew, in the order of their
numbers. A walker that moves takes the new light when it next takes its light, and the new air when it rests.
"""

import math
from typing import Any

from agents.circuit.air import set_air
from agents.circuit.charging import wait
from agents.compiled import kernel, kernel_part
from agents.handbook.light_kinds import kind_index
from arena.engine.output import write_light
from arena.engine.schedule import set_time
from arena.engine.senses import panel_of, take_light
from arena.engine.triggers import note_lost, plan_trigger
from arena.engine.world_arrays import WAITING, Crowd, Output, Scene, Weather

_CLEAR = kind_index("sun")
_OVERCAST = kind_index("overcast")


@kernel_part
def begin_sky(scene: Scene, crowd: Crowd, weather: Weather) -> None:
    """Put the sky to its first step, before anybody takes light."""
    if len(weather.steps) > 0:
        _show(scene, crowd, weather, 0)


@kernel_part
def change_sky(scene: Scene, crowd: Crowd, out: Output, weather: Weather, time: float) -> None:
    """Put the sky to the step that begins at ``time`` [s]."""
    bodies = crowd.bodies
    for number in range(len(bodies)):
        body = bodies[number]
        if body["phase"] == WAITING:
            wait(crowd.walkers[bodies[number]["built"]], panel_of(body), body["state"], time - body["since"])
            body["since"] = time
            note_lost(crowd, out.counts, number, time)
    _show(scene, crowd, weather, crowd.settings[0]["sky_step"])
    for number in range(len(bodies)):
        body = bodies[number]
        if body["phase"] == WAITING:
            keep_air(crowd, number)
            take_light(scene, crowd, number)
            write_light(out.lights, out.counts, body, time)
            plan_trigger(crowd, out.counts, number, time)
        else:
            # how far it could go was looked at in another light
            body["left"] = 0.0


@kernel
def keep_air(crowd: Crowd, number: int) -> None:
    """Let a walker be as warm as the air has become."""
    air = crowd.settings[0]["air"]
    if air > 0.0:
        set_air(crowd.walkers[crowd.bodies[number]["built"]], air)


@kernel_part
def _show(scene: Scene, crowd: Crowd, weather: Weather, number: int) -> None:
    """Put sun, sky, lamps and air to step ``number``, and the sky's next event to where that ends."""
    step = weather.steps[number]
    settings = crowd.settings[0]
    for lamp in range(len(scene.sources)):
        source = scene.sources[lamp]
        if source["is_sun"] == 0:
            source["intensity"] = weather.lamps[number, lamp]
        elif settings["sky_sun"] == 1:
            source["x"], source["y"], source["z"] = step["sun_x"], step["sun_y"], step["sun_z"]
            source["aim_x"], source["aim_y"], source["aim_z"] = step["aim_x"], step["aim_y"], step["aim_z"]
            source["intensity"] = step["sun"]
    scene.ambient[_CLEAR] = weather.ambient[_CLEAR] + step["clear_sky"]
    scene.ambient[_OVERCAST] = weather.ambient[_OVERCAST] + step["overcast_sky"]
    settings["air"] = step["air"]
    settings["influence"] = _influence(settings, step)
    settings["sky_step"] = number + 1
    further = number + 1 < len(weather.steps)
    set_time(crowd.tree, len(crowd.bodies), weather.steps[number + 1]["start"] if further else math.inf)


@kernel
def _influence(settings: Any, step: Any) -> float:
    """How far a body's shadow or touch reaches [m] with the sun where it is at a step."""
    reach = settings["steady_influence"]
    if step["sun"] > 0.0 and settings["shade_height"] > 0.0:
        flat = math.hypot(step["aim_x"], step["aim_y"])
        longest = settings["shade_height"] * flat / max(-step["aim_z"], 1e-9)
        reach = max(reach, min(longest, settings["width"]) + settings["shade_room"])
    return reach
