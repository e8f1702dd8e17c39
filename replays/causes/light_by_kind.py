"""How the kinds of light that fall on a panel count, as far as a replay tells them apart."""

from typing import Any

from agents.handbook.light_kinds import KINDS, SAME_KINDS, SUN
from replays.format.daylight import Daylight

Weights = tuple[float, float, float]
"""Ambient light [lx], and how its kind and the lamps' kinds count."""


def weighed_light(arena: dict[str, Any], record: Any, panel_lx: float, by: str = "response") -> float:
    """What ``panel_lx`` [lx] in an arena come to for the panel of a WALKER record, in lux of sun.

    Or ``by`` another field of the record that tells what a lux of each kind does.
    """
    return weighed(weights_of(arena, record, by), panel_lx)


def arena_by_hour(arena: dict[str, Any], day: Daylight, time_s: float) -> dict[str, Any]:
    """A header's ``arena`` with the light of ``time_s`` [s] of its ``day``, as far as kinds are concerned."""
    step = day.step(time_s)
    sky, overcast = float(day.sky_lx[step]), float(day.overcast_lx[step])
    own = float(arena.get("ambient_own_lx", 0.0))
    light = (
        arena.get("ambient_light", SUN) if own > sky + overcast else ("overcast" if overcast > sky else SUN)
    )
    lamps = [
        lamp | {"intensity_cd": lamp["intensity_cd"] * share}
        for lamp, share in zip(arena["lamps"], day.lamps[step].tolist(), strict=True)
    ]
    shines = float(day.sun_lx[step]) > 0.0
    sun = {"light": SUN} if shines or not lamps else None
    return arena | {"ambient_lx": own + sky + overcast, "ambient_light": light, "lamps": lamps, "sun": sun}


def weighed(weights: Weights, panel_lx: float) -> float:
    """What ``panel_lx`` [lx] come to by ``weights``: ambient light first, and what is more from lamps."""
    ambient_lx, ambient, lamps = weights
    return ambient * min(panel_lx, ambient_lx) + lamps * max(panel_lx - ambient_lx, 0.0)


def weights_of(arena: dict[str, Any], record: Any, by: str) -> Weights:
    """Ambient light [lx], and how its kind and the lamps' kinds count in the field ``by`` of the record."""

    def weight(kind: str) -> float:
        kind = SAME_KINDS.get(kind, kind)
        return float(record[by][KINDS.index(kind if kind in KINDS else SUN)])

    ambient = weight(arena.get("ambient_light", SUN))
    if arena["sun"] is not None:
        lamps = weight(arena["sun"].get("light", SUN))
    elif arena["lamps"]:
        strengths = [lamp["intensity_cd"] for lamp in arena["lamps"]]
        parts = [
            strength * weight(lamp["light"]) for strength, lamp in zip(strengths, arena["lamps"], strict=True)
        ]
        lamps = sum(parts) / sum(strengths) if sum(strengths) > 0.0 else ambient
    else:
        lamps = ambient
    return float(arena["ambient_lx"]), ambient, lamps
