"""The text of a design's file with the values of a setting written into it."""

from collections.abc import Mapping
from typing import Any

import yaml

from agents.design.rewriting import rewrite, rewrite_design
from agents.design.spec import Design, parse_design
from agents.design.values_by_path import SPREAD, expanded, value_places
from agents.errors import SpecError, WorkError
from agents.text.yaml_text import layout_of
from arena.studies.plans.parameters import Parameter


def text_with_values(text: str, values: Mapping[Parameter, Any], name: str, design: Design) -> str:
    """Return the text of a design's file with ``values`` and a new ``name`` in it, all else as it was.

    ``design`` is what the values make of it; a tolerance that it has no longer is taken out. Raises WorkError
    where the text cannot be changed so that it says just that design.
    """
    for parameter, value in values.items():
        if not parameter.is_tolerance:
            text = rewrite_design(text, {parameter.label(): value})
    text = _without_tolerances(text, design)
    for parameter, value in values.items():
        (place, *_) = value_places(parameter.label())
        if parameter.is_tolerance and place[1] in design.spread:
            text = rewrite(text, {place: parameter.exact(value)}, Design)
    text = rewrite_design(text, {"name": name})
    try:
        said = parse_design(text, name)
    except SpecError as error:
        raise WorkError(f"the text of {design.name} cannot be changed to these values: {error}") from None
    if said != design.model_copy(update={"name": name}):
        raise WorkError(f"the text of {design.name} cannot be changed to these values; change it by hand")
    return text


def _without_tolerances(text: str, design: Design) -> str:
    """Take out the tolerances that the design has no longer, each with the lines on which it stands.

    One that only a side keeps is named for that side.
    """
    while True:
        root = layout_of(text).root
        sections = root.value if isinstance(root, yaml.MappingNode) else []
        spread = next((value for key, value in sections if key.value == SPREAD), root)
        if not isinstance(spread, yaml.MappingNode) or spread is root:
            return text
        entries = spread.value
        found = next(((key, value) for key, value in entries if key.value not in design.spread), None)
        if found is None:
            return text
        key, value = found
        names = {entry.value for entry, _ in entries}
        kept = [part for part in expanded(key.value) if part in design.spread and part not in names]
        if kept:
            text = text[: key.start_mark.index] + kept[0] + text[key.end_mark.index :]
        elif spread.flow_style:
            raise WorkError(f"spread.{key.value} cannot be taken out of this text; change it by hand")
        else:
            start = text.rfind("\n", 0, key.start_mark.index) + 1
            end = text.find("\n", _last(value).end_mark.index - 1)
            text = text[:start] + (text[end + 1 :] if end >= 0 else "")


def _last(node: yaml.Node) -> yaml.Node:
    """Return what ends a node, since a block map itself ends only where the next thing begins."""
    while isinstance(node, yaml.MappingNode) and not node.flow_style and node.value:
        node = node.value[-1][1]
    return node
