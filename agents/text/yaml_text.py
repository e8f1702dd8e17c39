"""The text of a YAML file together with where its pieces stand, and setting one of them.

It holds to what :mod:`agents.text.marked_yaml` lets through: plain maps, lists and text, anchors and aliases.
"""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, cast

import yaml

from agents.text.marked_yaml import KeyPath

# Keys of the map at a path, in the order in which a file gives them.
Order = Callable[[KeyPath], list[str]]
# What is set: text, or a list of maps of text, which is written in one line.
Plain = str | list[dict[str, str]]

NONE = "none"
"""The word that leaves a part out."""

_INDENT = 2


class _Loader(yaml.SafeLoader):
    """Composes nodes, and remembers where an alias stood for which of them."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.aliases: list[tuple[int, int, yaml.Node]] = []

    def compose_node(self, parent: yaml.Node | None, index: Any) -> yaml.Node | None:
        if not self.check_event(yaml.AliasEvent):
            return super().compose_node(parent, index)
        # the stubs of PyYAML leave this one untyped
        event = cast(Any, self).peek_event()
        node = super().compose_node(parent, index)
        assert node is not None
        self.aliases.append((event.start_mark.index, event.end_mark.index, node))
        return node


@dataclass(frozen=True)
class Layout:
    """A text, its tree of composed nodes, and its aliases as (start, end, node)."""

    text: str
    root: yaml.Node
    aliases: tuple[tuple[int, int, yaml.Node], ...]

    def is_shared(self, path: KeyPath) -> bool:
        """Whether something on the way to ``path`` stands in the text once for several places."""
        shared = {id(node) for _, _, node in self.aliases}
        return any(id(node) in shared for node in _way(self.root, path))

    def without_aliases(self) -> str:
        """The text with every alias written out."""
        text = self.text
        for start, end, node in sorted(self.aliases, key=lambda alias: -alias[0]):
            text = text[:start] + _flow(plain_of(node)) + text[end:]
        return text


def layout_of(text: str) -> Layout:
    """Read ``text``. Raises yaml.YAMLError where it is broken."""
    loader = _Loader(text)
    try:
        root = loader.get_single_node()
    finally:
        loader.dispose()
    if root is None:
        raise yaml.YAMLError("an empty file")
    return Layout(text, root, tuple(loader.aliases))


def plain_of(node: yaml.Node) -> Any:
    """A node as nested dicts, lists and text."""
    if isinstance(node, yaml.MappingNode):
        return {plain_of(key): plain_of(value) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [plain_of(value) for value in node.value]
    return node.value


def replaced(layout: Layout, path: KeyPath, value: Plain, order: Order) -> str:
    """The text with what stands at ``path`` set to ``value``: text for text, a list of maps for a list.

    The word none also takes the place of a whole map. Raises LookupError where that cannot be.
    """
    text, way = layout.text, _way(layout.root, path)
    node, missing = way[-1], path[len(way) - 1 :]
    if not missing:
        if isinstance(node, yaml.MappingNode) and value == NONE and len(way) > 1:
            return text[: _head(way[-2], node)] + _without_map(text, way[-2], node)
        if isinstance(node, yaml.MappingNode) or isinstance(node, yaml.SequenceNode) == isinstance(
            value, str
        ):
            raise LookupError("it holds more than one value")
        return _over(text, node, _said(value, _in_flow(way)))
    if isinstance(node, yaml.ScalarNode):
        return _over(text, node, _flow(_nested(missing, value)))
    if not isinstance(node, yaml.MappingNode) or not all(isinstance(key, str) for key in missing):
        raise LookupError("an item of a list that is not there")
    keys = order(path[: len(way) - 1])
    before = _before(node, str(missing[0]), keys)
    if node.flow_style:
        return _into_flow(text, node, before, missing, value)
    return _into_block(text, way, before, missing, value, _step(layout.root))


def _without_map(text: str, holder: yaml.Node, node: yaml.Node) -> str:
    """What comes from the key of a map on, with the word none in place of the map."""
    name = next(name for name, value in cast(yaml.MappingNode, holder).value if value is node)
    colon = text.index(":", name.end_mark.index) + 1
    return f"{text[name.start_mark.index : colon]} {NONE}{text[_end(node, text) :]}"


def removed(layout: Layout, path: KeyPath) -> str:
    """The text without the key at ``path``; a map of which it was all goes too, unless it is the file.

    Raises LookupError where there is no such key.
    """
    text, way = layout.text, _way(layout.root, path)
    holder = way[-2] if len(way) == len(path) + 1 > 1 else None
    if not isinstance(holder, yaml.MappingNode):
        raise LookupError("a key that is not there")
    if len(holder.value) == 1 and len(path) > 1 and isinstance(path[-2], str):
        return removed(layout, path[:-1])
    number = next(number for number, (_, value) in enumerate(holder.value) if value is way[-1])
    name, value = holder.value[number]
    start, end = name.start_mark.index, max(_end(name, text), _end(value, text))
    following = holder.value[number + 1][0].start_mark.index if number + 1 < len(holder.value) else None
    if holder.flow_style:
        if following is not None:
            return text[:start] + text[following:]
        if number:
            before_name, before = holder.value[number - 1]
            start = max(_end(before_name, text), _end(before, text))
        return text[:start] + text[end:]
    line = text.rfind("\n", 0, start) + 1
    if text[line:start].strip(" "):
        # the first key of an item of a list, behind its dash
        return text[:start] + (text[following:] if following is not None else "{}" + text[end:])
    found = text.find("\n", end)
    return text[:line] + (text[found + 1 :] if found >= 0 else "")


def _way(root: yaml.Node, path: KeyPath) -> list[yaml.Node]:
    """The nodes from the root to ``path``, or as far as the text goes."""
    way = [root]
    for key in path:
        node = way[-1]
        below = None
        if isinstance(node, yaml.MappingNode):
            below = next((value for name, value in node.value if name.value == key), None)
        elif isinstance(node, yaml.SequenceNode) and isinstance(key, int) and 0 <= key < len(node.value):
            below = node.value[key]
        if below is None:
            break
        way.append(below)
    return way


def _in_flow(way: list[yaml.Node]) -> bool:
    return any(isinstance(node, yaml.CollectionNode) and bool(node.flow_style) for node in way)


def _end(node: yaml.Node, text: str) -> int:
    """Where what the node says ends, before blanks and comments."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(last, tuple) else last, text)
    start, end = node.start_mark.index, node.end_mark.index
    return start + len(text[start:end].rstrip())


def _over(text: str, node: yaml.Node, written: str) -> str:
    """Put ``written`` in the place of a scalar; a comment behind it keeps its column if it can."""
    start, end = node.start_mark.index, _end(node, text)
    if start == end:
        # nothing stood there but a colon
        return f"{text[:start].rstrip(' ')} {written}{text[end:]}"
    gap = re.compile(r"( {2,})#").match(text, end)
    rest = text[end:]
    if gap and "\n" not in text[start:end]:
        width = max(len(gap[1]) + (end - start) - len(written), 2)
        rest = " " * width + text[end + len(gap[1]) :]
    return text[:start] + written + rest


def _before(node: yaml.MappingNode, key: str, order: list[str]) -> int:
    """How many of the keys that are there come before a new one."""
    names = [name.value for name, _ in node.value]
    if key not in order:
        return len(names)
    earlier = set(order[: order.index(key)])
    return max((place + 1 for place, name in enumerate(names) if name in earlier), default=0)


def _nested(keys: KeyPath, value: Plain) -> Any:
    plain: Any = value
    for key in reversed(keys):
        plain = {key: plain}
    return plain


def _into_flow(text: str, node: yaml.MappingNode, before: int, keys: KeyPath, value: Plain) -> str:
    inner = _flow(_nested(keys, value))[1:-1]
    if not node.value:
        place = node.end_mark.index - 1
        return text[:place] + inner + text[place:]
    if before == 0:
        place = node.value[0][0].start_mark.index
        return f"{text[:place]}{inner}, {text[place:]}"
    name, last = node.value[before - 1]
    place = max(_end(name, text), _end(last, text))
    return f"{text[:place]}, {inner}{text[place:]}"


def _into_block(text: str, way: list[yaml.Node], before: int, keys: KeyPath, value: Plain, step: int) -> str:
    node = way[-1]
    assert isinstance(node, yaml.MappingNode)
    column = node.value[0][0].start_mark.column
    line_end = "\r\n" if "\r\n" in text else "\n"
    lines = [f"{' ' * (column + step * place)}{key}:" for place, key in enumerate(keys)]
    lines[-1] += f" {_said(value, False)}"
    first = node.value[0][0].start_mark.index
    own_line = not text[text.rfind("\n", 0, first) + 1 : first].strip(" ")
    if before == 0 and own_line and len(way) > 1:
        # below the key that holds the map, above what its author wrote about the first one
        place = text.rfind("\n", 0, _head(way[-2], node)) + 1
        place = text.index("\n", place) + 1
    else:
        name, last = node.value[(before or len(node.value)) - 1]
        found = text.find("\n", max(_end(name, text), _end(last, text)))
        if found < 0:
            return text + line_end + line_end.join(lines)
        place = found + 1
        if len(keys) > 1 and text[place:].startswith(line_end):
            # a section of its own, where the file sets sections apart
            lines.insert(0, "")
    return text[:place] + "".join(line + line_end for line in lines) + text[place:]


def _head(holder: yaml.Node, node: yaml.Node) -> int:
    """Where the key stands under which ``holder`` has ``node``."""
    if isinstance(holder, yaml.MappingNode):
        return int(next(name for name, value in holder.value if value is node).start_mark.index)
    return int(holder.start_mark.index)


def _step(root: yaml.Node) -> int:
    """Spaces by which the file indents a map within a map."""
    for node in _all(root):
        if isinstance(node, yaml.MappingNode) and not node.flow_style:
            for name, value in node.value:
                if isinstance(value, yaml.MappingNode) and not value.flow_style and value.value:
                    return int(value.value[0][0].start_mark.column - name.start_mark.column)
    return _INDENT


def _all(node: yaml.Node) -> Iterator[yaml.Node]:
    yield node
    if isinstance(node, yaml.MappingNode):
        for _, value in node.value:
            yield from _all(value)
    elif isinstance(node, yaml.SequenceNode):
        for value in node.value:
            yield from _all(value)


def flow_text(value: Plain) -> str:
    """A value in one line, as it may stand behind its key."""
    return _said(value, False)


def _said(value: Plain, flow: bool) -> str:
    return _scalar(value, flow) if isinstance(value, str) else _flow(value)


def _flow(plain: Any) -> str:
    """Nested dicts, lists and text in one line."""
    if isinstance(plain, dict):
        return "{" + ", ".join(f"{_scalar(key, True)}: {_flow(one)}" for key, one in plain.items()) + "}"
    if isinstance(plain, list):
        return "[" + ", ".join(_flow(one) for one in plain) + "]"
    return _scalar(plain, True)


def _scalar(value: str, flow: bool) -> str:
    """Text as it has to be written, in quotes only where it must be."""
    opening, ending = ("{k: ", "}") if flow else ("k: ", "\n")
    try:
        node = layout_of(f"{opening}{value}{ending}").root
        same = plain_of(node) == {"k": value} and node.value[0][1].style is None
    except yaml.YAMLError:
        same = False
    return value if same and value else json.dumps(value, ensure_ascii=False)
