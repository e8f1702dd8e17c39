"""The lights that a bench sheet is asked for: by lux and kind, or by the names of places."""

from collections.abc import Sequence
from dataclasses import dataclass

from agents.errors import OptionError
from agents.handbook.light_kinds import SUN
from agents.handbook.places import PLACES, place_named
from agents.testbench.bench_figures import LIGHTS
from agents.text.units import format_quantity


@dataclass(frozen=True)
class AskedLights:
    """Lights [lx] of one kind in ascending order, and the places by name that they stand for."""

    kind: str
    lights: tuple[float, ...]
    places: tuple[str, ...]
    options: str

    def lines(self) -> list[str]:
        """A line for each place: its light, and who says so."""
        return [
            f"{name}: {format_quantity(PLACES[name].light, 'lx')}, kind {self.kind} ({PLACES[name].source})"
            for name in self.places
        ]


def refuse_several(groups: Sequence[AskedLights], option: str) -> None:
    """Raise OptionError for an option that takes one kind of light at a time."""
    kinds = ", ".join(one.kind for one in groups)
    raise OptionError(f"{option} beside several kinds of light ({kinds}); give places of one kind")


def asked_lights(lights: Sequence[float], kind: str, names: Sequence[str]) -> list[AskedLights]:
    """Return the lights to measure at, those of one kind together; ``options`` ask for the same again.

    Raises OptionError for a place that is none.
    """
    by_kind: dict[str, tuple[list[float], list[str]]] = {}
    if lights or not names:
        by_kind[kind] = (list(lights or LIGHTS), [])
    for name in names:
        place = place_named(name)
        of_kind = by_kind.setdefault(place.kind, ([], []))
        words = name.replace("-", " ")
        if words in of_kind[1]:
            raise OptionError(f"--place {name}: given twice; give it once")
        of_kind[0].append(place.light)
        of_kind[1].append(words)
    found = []
    for one, (asked, places) in by_kind.items():
        options = "".join(f" --light {light:g}lx" for light in lights) if one == kind else ""
        if one == kind and one != SUN and (lights or not names):
            options += f" --kind {one}"
        options += "".join(f" --place {name.replace(' ', '-')}" for name in places)
        found.append(AskedLights(one, tuple(sorted(set(asked))), tuple(places), options))
    return found
