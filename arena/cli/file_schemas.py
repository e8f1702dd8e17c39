"""The JSON Schema of every kind of file."""

import re
from collections.abc import Callable
from typing import Any

from agents.design.spec import Design, Tolerance, deviation_reader, part_reader
from agents.design.values_by_path import BOTH, SIDES
from agents.text.json_schemas import Json, SchemaMaker, exactly_one, required_keys
from agents.text.quantities import Fraction
from agents.text.shapes import key_paths, keys_of
from agents.text.shipped import shipped_names
from arena.scene.elements import ArenaForm

# Keys of models of which a file gives one; the models check that themselves.
_ONE_OF = {
    "Wall": ("line", "outline"),
    "Lamp": ("intensity", "flux"),
    "Starts": ("places", "zone"),
    "Goal": ("outline", "centre"),
}
_ONE_OF_A_PART = {"DrawerResistor": ("value", "code", "rings"), "DrawerCapacitor": ("value", "code")}


def _design() -> Json:
    maker = SchemaMaker()
    keys = maker.keys(Design)
    both = {"description": "what both sides have; left and right may each say it over"}
    spread = {
        "type": "object",
        "properties": {path: _tolerance(maker, path) for path in spread_paths()},
        "additionalProperties": False,
        "description": keys["spread"]["description"],
    }
    keys |= {BOTH: {**keys["left"], **both}, "spread": spread}
    del maker.definitions[Tolerance.__name__]
    return maker.document("design", keys, required_keys(Design))


def _tolerance(maker: SchemaMaker, path: str) -> Json:
    """A reference to the form of a tolerance of what stands at a path, in its unit or as a share."""
    reader = part_reader(path)
    assert reader is not None
    # a slash would have a meaning in a reference
    name = "_".join(["Tolerance", *re.findall(r"\w+|%", reader.unit_text or "1")])
    if name not in maker.definitions:
        share = {
            "type": "string",
            "pattern": Fraction().json_form()["anyOf"][1]["pattern"].replace("%?", "%"),
        }
        amount = deviation_reader(reader, False).json_form()
        words = ("normal", "uniform", "bound")
        told = {word: keys_of(Tolerance)[word].description for word in words}
        maker.definitions[name] = {
            "type": "object",
            "properties": {word: {"anyOf": [share, amount], "description": told[word]} for word in words},
            "additionalProperties": False,
            "oneOf": exactly_one("normal", "uniform"),
        }
    return {"$ref": f"#/definitions/{name}"}


def spread_paths() -> list[str]:
    """Every path of a part that may have a tolerance, with ``both.`` in place of a side too."""
    paths = [path for path in key_paths(Design) if part_reader(path) is not None]
    left = f"{SIDES[0]}."
    return [f"{BOTH}.{path.removeprefix(left)}" for path in paths if path.startswith(left)] + paths


def _arena() -> Json:
    maker = SchemaMaker()
    keys = maker.keys(ArenaForm)
    for name, one_of in _ONE_OF.items():
        maker.definitions[name]["oneOf"] = exactly_one(*one_of)
    return maker.document("arena", keys, required_keys(ArenaForm))


def _drawer() -> Json:
    from agents.drawer.contents import Drawer

    maker = SchemaMaker()
    keys = maker.keys(Drawer)
    for name, one_of in _ONE_OF_A_PART.items():
        maker.definitions[name]["oneOf"] = exactly_one(*one_of)
    return maker.document("drawer", keys, required_keys(Drawer))


def _study() -> Json:
    from arena.studies.plans.plan_form import PlanForm
    from arena.studies.trial_scores import SCORES

    maker = SchemaMaker()
    keys = maker.keys(PlanForm)
    parts = [f"design.{path}" for path in spread_paths()]
    tolerance = r"^design\.spread\..+\.(normal|uniform|bound)$"
    keys["vary"]["propertyNames"] = {
        "anyOf": [{"enum": parts}, {"pattern": tolerance}, {"pattern": r"^((arena|design)\..+|walkers)$"}]
    }
    keys["scores"]["anyOf"][1]["items"] = {"enum": list(SCORES)}
    for key, kind in (("designs", "design"), ("arenas", "arena")):
        # not only these, for a path may stand there too; an editor offers them
        shipped = {"anyOf": [{"enum": list(shipped_names(kind))}, {"type": ["string", "number"]}]}
        keys[key]["anyOf"][1]["items"] = shipped
    return maker.document("study", keys, required_keys(PlanForm))


def _race() -> Json:
    from arena.races.race_form import RaceForm

    maker = SchemaMaker()
    return maker.document("race", maker.keys(RaceForm), required_keys(RaceForm))


FORMS: dict[str, Callable[[], Json]] = {
    "design": _design,
    "arena": _arena,
    "study": _study,
    "race": _race,
    "drawer": _drawer,
}
"""What makes the schema of each kind of file."""


def schema_of(kind: str) -> dict[str, Any]:
    """The JSON Schema, draft 7, of a kind of :data:`FORMS`.

    >>> schema_of("arena")["required"]
    ['photodrome', 'name', 'floor', 'starts']
    """
    return FORMS[kind]()
