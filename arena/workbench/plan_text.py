"""Things on the plan by the text of the arena's file: put there, and taken out."""

import copy
from collections.abc import Mapping
from typing import Any

import yaml

from agents.design.rewriting import rewrite
from agents.errors import WorkError
from agents.text.yaml_text import Plain, flow_text, layout_of, plain_of
from arena.scene.spec import ArenaSpec


def with_item(text: str, key: str, item: Mapping[str, str]) -> str:
    """The text with one more ``item`` in the list under ``key``. Raises WorkError where that cannot be.

    >>> print(with_item("walls:\\n  - name: tray # tin\\nlasts: 5 min\\n", "walls", {"name": "pot"}), end="")
    walls:
      - name: tray # tin
      - {name: pot}
    lasts: 5 min
    """
    node = _list_at(text, key)
    expected = plain_of(layout_of(text).root)
    if node is None or node.flow_style or not node.value:
        items: Any = [*(expected.get(key) or []), dict(item)]
        return rewrite(text, {(key,): items}, ArenaSpec)
    expected[key].append(dict(item))
    last = node.value[-1]
    dash = _line_start(text, last.start_mark.index)
    indent = text[dash : text.index("-", dash)]
    end = _line_end(text, _end_of(last))
    lines = "" if text[:end].endswith("\n") else "\n"
    return _checked(f"{text[:end]}{lines}{indent}- {flow_text(_plain(item))}\n{text[end:]}", expected)


def without_item(text: str, key: str, number: int) -> str:
    """The text without item ``number`` of the list under ``key``. Raises WorkError where that cannot be.

    >>> print(without_item("walls:\\n  - name: tray\\n  - name: pot\\nlasts: 5 min\\n", "walls", 0), end="")
    walls:
      - name: pot
    lasts: 5 min
    """
    head, node = _list_and_key(text, key)
    if node is None or number >= len(node.value):
        raise WorkError(f"{key}: there is no item {number + 1} in this file")
    expected = copy.deepcopy(plain_of(layout_of(text).root))
    del expected[key][number]
    if node.flow_style:
        return rewrite(text, {(key,): expected[key]}, ArenaSpec)
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


def _list_at(text: str, key: str) -> yaml.SequenceNode | None:
    return _list_and_key(text, key)[1]


def _list_and_key(text: str, key: str) -> tuple[int, yaml.SequenceNode | None]:
    """Where the key ends, and the list below it; None where there is none."""
    root = layout_of(text).root
    if isinstance(root, yaml.MappingNode):
        for name, node in root.value:
            if name.value == key and isinstance(node, yaml.SequenceNode):
                return int(name.end_mark.index), node
    return 0, None


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
