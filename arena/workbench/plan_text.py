"""Items of lists in the text of a file: put there, and taken out."""

import copy
from collections.abc import Mapping
from typing import Any

import yaml
from pydantic import BaseModel

from agents.design.rewriting import plain_at, rewrite
from agents.errors import WorkError
from agents.text.marked_yaml import KeyPath, path_text
from agents.text.yaml_text import Plain, flow_text, layout_of, plain_of
from arena.scene.spec import ArenaSpec


def with_item(text: str, path: KeyPath, item: Mapping[str, str], model: type[BaseModel] = ArenaSpec) -> str:
    """The text with one more ``item`` in the list at ``path``. Raises WorkError where that cannot be.

    >>> text = "walls:\\n  - name: tray # tin\\nlasts: 5 min\\n"
    >>> print(with_item(text, ("walls",), {"name": "pot"}), end="")
    walls:
      - name: tray # tin
      - {name: pot}
    lasts: 5 min
    """
    node = _list_and_key(text, path)[1]
    expected = plain_of(layout_of(text).root)
    if node is None or node.flow_style or not node.value:
        items: Any = [*(plain_at(expected, path) or []), dict(item)]
        return rewrite(text, {path: items}, model)
    plain_at(expected, path).append(dict(item))
    last = node.value[-1]
    dash = _line_start(text, last.start_mark.index)
    indent = text[dash : text.index("-", dash)]
    end = _line_end(text, _end_of(last))
    lines = "" if text[:end].endswith("\n") else "\n"
    return _checked(f"{text[:end]}{lines}{indent}- {flow_text(_plain(item))}\n{text[end:]}", expected)


def without_item(text: str, path: KeyPath, number: int, model: type[BaseModel] = ArenaSpec) -> str:
    """The text without item ``number`` of the list at ``path``. Raises WorkError where that cannot be.

    >>> text = "walls:\\n  - name: tray\\n  - name: pot\\nlasts: 5 min\\n"
    >>> print(without_item(text, ("walls",), 0), end="")
    walls:
      - name: pot
    lasts: 5 min
    """
    head, node = _list_and_key(text, path)
    if node is None or number >= len(node.value):
        raise WorkError(f"{path_text(path)}: there is no item {number + 1} in this file")
    expected = copy.deepcopy(plain_of(layout_of(text).root))
    del plain_at(expected, path)[number]
    if node.flow_style:
        return rewrite(text, {path: plain_at(expected, path)}, model)
    item = node.value[number]
    start, end = _line_start(text, item.start_mark.index), _line_end(text, _end_of(item))
    if len(node.value) == 1:
        # what stands between the key and the first dash are remarks on what now goes
        head = text.index(":", head) + 1
        return _checked(f"{text[:head]} []\n{text[end:]}", expected)
    return _checked(text[:start] + text[end:], expected)


def _plain(item: Mapping[str, str]) -> Plain:
    plain: Any = dict(item)
    return plain


def _list_and_key(text: str, path: KeyPath) -> tuple[int, yaml.SequenceNode | None]:
    """Where the key at the end of ``path`` ends, and the list below it; None where there is none."""
    node: yaml.Node | None = layout_of(text).root
    ends = 0
    for key in path:
        below: yaml.Node | None = None
        if isinstance(node, yaml.MappingNode):
            for name, value in node.value:
                if name.value == key:
                    ends, below = int(name.end_mark.index), value
        elif isinstance(node, yaml.SequenceNode) and isinstance(key, int) and key < len(node.value):
            below = node.value[key]
        node = below
    return ends, node if isinstance(node, yaml.SequenceNode) else None


def _end_of(node: yaml.Node) -> int:
    """Where what a node says ends."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end_of(last[1] if isinstance(last, tuple) else last)
    return int(node.end_mark.index)


def _line_start(text: str, place: int) -> int:
    return text.rfind("\n", 0, place) + 1


def _line_end(text: str, place: int) -> int:
    end = text.find("\n", max(place - 1, 0) if text[place - 1 : place] == "\n" else place)
    return len(text) if end < 0 else end + 1


def _checked(text: str, expected: Any) -> str:
    try:
        found = plain_of(layout_of(text).root)
    except yaml.YAMLError as error:
        raise WorkError(
            f"the text of this file cannot be changed there ({error}); change it by hand"
        ) from None
    if found != expected:
        raise WorkError("the text of this file cannot be changed there; change it by hand")
    return text
