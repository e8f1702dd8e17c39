"""YAML as a tree of plain text, in which every piece knows where it stands.

Scalars stay the text that was written: no ``on`` becomes true, no ``010`` an eight. The tree is built from
the parser's events, without recursion, so that deep or self-multiplying files are refused before they cost
anything. Anchors and aliases are allowed; tags, merge keys and several documents in a file are not.
"""

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from agents.errors import Fault, NotFoundError, SpecError
from agents.text.readers import quote

KeyPath = tuple[str | int, ...]

# What a file may hold, so that it is read in a second or two.
MOST_BYTES = 1_000_000
MOST_NODES = 50_000
MOST_DEPTH = 50

# What an escape in quotes can bring in, and what steers a terminal instead of being read: control characters
# but for tab and new line, further line ends, marks that reverse the writing, halves of characters.
_UNREADABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


@dataclass(frozen=True)
class Mark:
    """A place in the file; both count from 1."""

    line: int
    column: int


@dataclass(frozen=True)
class Node:
    """A piece of the tree: text, a list of nodes or a map of nodes.

    ``path`` is where it was written, which stays when the node is merged elsewhere; ``key_mark`` is the mark
    of its key, or of the node itself where it has none. ``size`` and ``depth`` count it with all below it.
    """

    value: "str | list[Node] | dict[str, Node]"
    mark: Mark
    path: KeyPath = ()
    key_mark: Mark | None = None
    size: int = 1
    depth: int = 1

    @property
    def place(self) -> Mark:
        """The mark of the key under which it stands, or its own."""
        return self.key_mark or self.mark

    def children(self) -> "Iterator[tuple[str | int, Node]]":
        """Yield what stands below it, with keys or with indices."""
        if isinstance(self.value, dict):
            yield from self.value.items()
        elif isinstance(self.value, list):
            yield from enumerate(self.value)

    def child(self, key: str | int) -> "Node | None":
        """Return what stands under a key or an index, or None."""
        if isinstance(self.value, dict) and isinstance(key, str):
            return self.value.get(key)
        if isinstance(self.value, list) and isinstance(key, int) and 0 <= key < len(self.value):
            return self.value[key]
        return None

    def plain(self) -> Any:
        """Return it as nested dicts, lists and text; an empty value is empty text."""
        if isinstance(self.value, str):
            return self.value
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return {key: node.plain() for key, node in self.value.items()}

    def describe(self) -> str:
        """Name it for a message."""
        if isinstance(self.value, str):
            return quote(self.value)
        return "a list" if isinstance(self.value, list) else "a map"


def merge_marked(base: Node | None, override: Node | None) -> Node | None:
    """Return ``base`` with everything that ``override`` says put over it, key by key.

    Maps are merged, text and lists are replaced. Each node keeps the place from which it came.
    """
    if base is None or override is None:
        return override or base
    if not (isinstance(base.value, dict) and isinstance(override.value, dict)):
        return override
    merged: dict[str, Node] = dict(base.value)
    for key, node in override.value.items():
        merged[key] = merge_marked(merged.get(key), node) or node
    return Node(merged, override.mark, override.path, override.key_mark)


@dataclass
class _Open:
    """A map or list that is still being read."""

    mark: Mark
    path: KeyPath
    key_mark: Mark | None
    anchor: str | None
    items: "list[Node] | dict[str, Node]"
    key: str | None = None
    key_place: Mark | None = None
    size: int = 1
    depth: int = 1


@dataclass
class _Builder:
    """Turns events into a tree and gathers the faults of the file's form."""

    file: str
    faults: list[Fault] = field(default_factory=list)
    stack: list[_Open] = field(default_factory=list)
    anchors: dict[str, Node | None] = field(default_factory=dict)
    root: Node | None = None
    documents: int = 0
    total: int = 0

    def fault(self, mark: Mark, path: KeyPath, got: str, expected: str) -> None:
        self.faults.append(Fault(self.file, mark.line, mark.column, path_text(path), got, expected))

    def stop(self, mark: Mark, path: KeyPath, got: str, expected: str) -> SpecError:
        self.fault(mark, path, got, expected)
        return SpecError(self.faults)

    def next_place(self, mark: Mark) -> tuple[KeyPath, Mark | None]:
        """Return the path and the key's mark of the value that comes next."""
        if not self.stack:
            return (), None
        top = self.stack[-1]
        if isinstance(top.items, list):
            return (*top.path, len(top.items)), None
        return ((*top.path, top.key) if top.key is not None else top.path), top.key_place

    def take(self, event: Any) -> None:
        """Take one event of the parser."""
        mark = Mark(event.start_mark.line + 1, event.start_mark.column + 1)
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                raise self.stop(mark, (), "a second document", "one document in a file")
        elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
            self.close()
        elif isinstance(event, yaml.NodeEvent):
            self.take_node(event, mark)

    def take_node(self, event: Any, mark: Mark) -> None:
        path, key_mark = self.next_place(mark)
        if getattr(event, "tag", None) is not None:
            self.fault(mark, path, f"the tag {event.tag}", "plain YAML without tags")
        if len(self.stack) >= MOST_DEPTH:
            raise self.stop(mark, path, "a deeper nesting", f"at most {MOST_DEPTH} levels")
        if isinstance(event, yaml.AliasEvent):
            self.put(self.resolve(event.anchor, mark, path, key_mark), None)
        elif isinstance(event, yaml.ScalarEvent):
            text = event.value
            if unreadable := _UNREADABLE.search(text):
                self.fault(mark, path, f"the character {unreadable[0]!r}", "printable text")
                text = _UNREADABLE.sub("?", text)
            self.put(Node(text, mark, path, key_mark), event.anchor)
        else:
            items: list[Node] | dict[str, Node] = {} if isinstance(event, yaml.MappingStartEvent) else []
            if event.anchor:
                self.anchors[event.anchor] = None
            self.stack.append(_Open(mark, path, key_mark, event.anchor, items))

    def resolve(self, anchor: str | None, mark: Mark, path: KeyPath, key_mark: Mark | None) -> Node:
        if anchor is None or anchor not in self.anchors:
            raise self.stop(mark, path, f"an alias *{anchor}", f"an anchor &{anchor} before it")
        node = self.anchors[anchor]
        if node is None:
            raise self.stop(mark, path, f"an alias *{anchor} within itself", "a value that ends")
        if len(self.stack) + node.depth > MOST_DEPTH:
            raise self.stop(mark, path, "a deeper nesting", f"at most {MOST_DEPTH} levels")
        return Node(node.value, node.mark, node.path, key_mark, node.size, node.depth)

    def close(self) -> None:
        top = self.stack.pop()
        self.total -= top.size - 1
        self.put(Node(top.items, top.mark, top.path, top.key_mark, top.size, top.depth), top.anchor)

    def put(self, node: Node, anchor: str | None) -> None:
        """Hang a finished node into the map or list that is open."""
        if anchor:
            self.anchors[anchor] = node
        self.total += node.size
        if self.total > MOST_NODES:
            raise self.stop(
                node.place, node.path, "too many values", f"at most {MOST_NODES} with all aliases"
            )
        if not self.stack:
            self.root = node
            return
        top = self.stack[-1]
        top.size += node.size
        top.depth = max(top.depth, node.depth + 1)
        if isinstance(top.items, list):
            top.items.append(node)
        elif top.key_place is None:
            top.key, top.key_place = self.key_of(node), node.mark
        else:
            if top.key is not None:
                top.items[top.key] = node
            top.key = top.key_place = None

    def key_of(self, node: Node) -> str | None:
        """Return the key of the value that follows, or None where that value is to be dropped."""
        top = self.stack[-1]
        assert isinstance(top.items, dict)
        if not isinstance(node.value, str):
            self.fault(node.mark, top.path, f"{node.describe()} as a key", "a word")
            return None
        if node.value == "<<":
            self.fault(node.mark, top.path, "a merge key <<", "each key written out")
            return None
        if node.value in top.items:
            first = top.items[node.value].place.line
            got = f"a second {node.value}, after that on line {first}"
            self.fault(node.mark, (*top.path, node.value), got, "each key once")
            return None
        return node.value


def path_text(path: KeyPath) -> str:
    """Write a path of keys as people read it, like ``walls[0].height``."""
    text = ""
    for key in path:
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else key
    return text


def no_file_there(path: Path) -> str:
    """Tell what stands at a path in place of a file that can be read; empty where such a file is there."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return "no such file"
    except (OSError, ValueError) as error:
        return f"cannot be read: {getattr(error, 'strerror', None) or error}"
    return _other_than_file(mode)


def _other_than_file(mode: int) -> str:
    if stat.S_ISREG(mode):
        return ""
    if stat.S_ISDIR(mode):
        return "is a folder; expected a file"
    return f"is no ordinary file{' but a pipe' if stat.S_ISFIFO(mode) else ''}; expected a file"


def _content(path: Path) -> bytes:
    """The beginning of a file, a byte more than it may have."""
    if other := no_file_there(path):
        raise ValueError(other)
    # what has become a pipe since is opened without waiting for somebody to write to it
    names = ("O_RDONLY", "O_BINARY", "O_CLOEXEC", "O_NOCTTY", "O_NONBLOCK")
    flags = sum(getattr(os, name, 0) for name in names)
    with open(os.open(path, flags), "rb") as stream:  # noqa: PTH123 - it is open already
        if other := _other_than_file(os.fstat(stream.fileno()).st_mode):
            raise ValueError(other)
        return stream.read(MOST_BYTES + 1) or b""


def read_text(path: Path, file: str) -> str:
    """Return the text of a file, which faults call ``file``, with line ends as they are.

    Raises NotFoundError or SpecError.
    """
    try:
        content = _content(path)
    except FileNotFoundError:
        raise NotFoundError(f"{file}: no such file") from None
    except OSError as error:
        raise NotFoundError(f"{file}: cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise NotFoundError(f"{file}: {error}") from None
    if len(content) > MOST_BYTES:
        raise SpecError([Fault(file, 1, 1, "", "a larger file", f"at most {MOST_BYTES} bytes")])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        got = f"the byte 0x{content[error.start]:02x}"
        raise SpecError([Fault(file, line, column, "", got, "text in UTF-8")]) from None


def _syntax_fault(text: str, file: str, error: yaml.YAMLError) -> Fault:
    if isinstance(error, yaml.reader.ReaderError):
        line = text.count("\n", 0, error.position) + 1
        column = error.position - text.rfind("\n", 0, error.position)
        got = f"the character {text[error.position]!r}"
        return Fault(file, line, column, "", got, "printable text")
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    line, column = (mark.line, mark.column) if mark else (0, 0)
    lines = text.splitlines() or [""]
    if line < len(lines) and lines[line][column : column + 1] == "\t":
        return Fault(file, line + 1, column + 1, "", "a tab", "spaces")
    problem = " ".join(
        str(part) for part in (getattr(error, "context", None), getattr(error, "problem", None)) if part
    )
    return Fault(file, line + 1, column + 1, "", f"broken YAML ({problem})", "maps, lists and values of YAML")


def parse_marked(text: str, file: str) -> tuple[Node, list[Fault]]:
    """Read text into a tree, together with the faults of its form that did not stop the reading.

    ``file`` is what faults call it. Raises SpecError where the form cannot be followed.
    """
    builder = _Builder(file)
    try:
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            builder.take(event)
    except yaml.YAMLError as error:
        raise SpecError([*builder.faults, _syntax_fault(text, file, error)]) from None
    if builder.root is None or builder.root.value == "":
        raise SpecError([*builder.faults, Fault(file, 1, 1, "", "an empty file", "a map of keys")])
    return builder.root, builder.faults
