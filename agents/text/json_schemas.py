"""Spec models as JSON Schemas, by which an editor completes keys and tells what cannot be.

Draft 7, which editors know best. A schema knows keys, words, units and the form of numbers. Ranges of values
with units, and most of what several keys have to do with one another, it only describes: ``photodrome check``
decides.
"""

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from agents.text.shapes import Shape, keys_of, shape_of
from agents.text.spec_reading import LONGEST_NAME, VERSIONS

Json = dict[str, Any]

DRAFT = "http://json-schema.org/draft-07/schema#"
"""The name of the draft that the schemas follow."""

# Text of a file, which an editor may take for a number or a truth where it looks like one.
_TEXT: Json = {"type": ["string", "number", "boolean"], "minLength": 1}


class SchemaMaker:
    """Makes the schema of a kind of file; each model is told once, under ``definitions``."""

    def __init__(self) -> None:
        self.definitions: dict[str, Json] = {}

    def document(self, kind: str, keys: Json, required: Sequence[str]) -> Json:
        """The schema of a file of a ``kind`` with these keys; kinds as in agents.text.spec_reading."""
        head = f"{kind} {VERSIONS[kind]}"
        first: Json = {"const": head, "description": f"what the file is, and the version of its form: {head}"}
        return {
            "$schema": DRAFT,
            "$id": f"urn:photodrome:{kind}:{VERSIONS[kind]}",
            "title": f"photodrome {kind}",
            "type": "object",
            "properties": {"photodrome": first, **keys},
            "required": ["photodrome", *required],
            "additionalProperties": False,
            "definitions": self.definitions,
        }

    def keys(self, model: type[BaseModel]) -> Json:
        """The keys of a model, each with what it takes."""
        return {key: self._field(key, field) for key, field in keys_of(model).items()}

    def of_model(self, model: type[BaseModel]) -> Json:
        """A reference to a model, which is told the first time."""
        name = model.__name__
        if name not in self.definitions:
            self.definitions[name] = {}
            self.definitions[name] = {
                "type": "object",
                "properties": self.keys(model),
                "required": required_keys(model),
                "additionalProperties": False,
            }
        return {"$ref": f"#/definitions/{name}"}

    def _field(self, key: str, field: FieldInfo) -> Json:
        shape = shape_of(field.annotation, tuple(field.metadata))
        form = self._shape(shape)
        if key == "name":
            form = {"type": ["string", "number", "boolean"], "minLength": 1, "maxLength": LONGEST_NAME}
        told = [field.description or ""]
        if shape.reader is not None and shape.reader.range_text:
            told.append(shape.reader.range_text)
        if not field.is_required():
            default = field.get_default(call_default_factory=True)
            if default is None:
                told.append("may be left out")
            elif shape.reader is not None:
                told.append(f"{shape.reader.show(default)} if left out")
        # what stands beside a reference does not count in this draft
        form = {"allOf": [form]} if "$ref" in form else form
        return {**form, "description": "; ".join(one for one in told if one)}

    def _shape(self, shape: Shape) -> Json:
        form = self._whole(shape)
        return {"anyOf": [form, {"const": "none"}]} if shape.may_be_none else form

    def _whole(self, shape: Shape) -> Json:
        if shape.reader is not None:
            return shape.reader.json_form()
        if shape.model is not None:
            return self.of_model(shape.model)
        if shape.item is not None:
            return {"type": "array", "items": self._shape(shape_of(shape.item))}
        if shape.entry is not None:
            return {"type": "object", "additionalProperties": self._shape(shape_of(shape.entry))}
        return {"enum": list(shape.words)} if shape.words else dict(_TEXT)


def exactly_one(*keys: str) -> list[Json]:
    """What ``oneOf`` says where a map has one of these keys, and no second one."""
    return [{"required": [key]} for key in keys]


def several(form: Json) -> Json:
    """The form of one value or of several, with commas between them or as a list, each of a ``form``."""
    forms = form.get("anyOf", [form])
    one = next(each["pattern"] for each in forms if "pattern" in each).removeprefix("^").removesuffix("$")
    text = {"type": "string", "pattern": f"^{one}(?:,{one})*$"}
    others = [each for each in forms if "pattern" not in each]
    return {"anyOf": [*others, text, {"type": "array", "items": form, "minItems": 1}]}


def required_keys(model: type[BaseModel]) -> list[str]:
    """The keys of a model that have no default."""
    return [key for key, field in keys_of(model).items() if field.is_required()]
