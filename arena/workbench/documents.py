"""The files on the workbench: their text, what it says, what the disk holds, and the way back.

The text is what counts. Every change is a change of the text, by :mod:`agents.design.rewriting`, and is read
again like a file; so what is saved is what was tried, with the remarks of its author.
"""

import contextlib
import re
from dataclasses import dataclass, field
from pathlib import Path

from agents.design.rewriting import rewrite, rewrite_design
from agents.design.spec import Design, parse_design
from agents.errors import InputError, NotFoundError, SpecError
from agents.text.shipped import configs_folder, find_document
from arena.scene.spec import ArenaSpec, parse_arena
from replays.format.whole_files import write_whole

# Changes that can be taken back.
MOST_STEPS = 500

_MARK = "\ufeff"


@dataclass(eq=False)
class Document:
    """One file. ``text`` may say something impossible; ``spec`` is the last that could be.

    ``clean`` is the text as it was last read or saved, ``held`` the bytes that the disk then held (None for
    a file that is gone), ``fault`` what is wrong with ``text``, or empty.
    """

    kind: str
    path: Path
    text: str
    spec: Design | ArenaSpec
    clean: str
    held: bytes | None
    mark: str = ""
    fault: str = ""

    @property
    def is_changed(self) -> bool:
        """Whether there is something to save."""
        return self.text != self.clean

    def set_text(self, text: str) -> bool:
        """Take ``text``; returns whether what it says can be. If not, ``spec`` stays and ``fault`` tells."""
        self.text = text
        try:
            self.spec = read_spec(self.kind, text, self.path.name)
        except SpecError as error:
            self.fault = str(error)
            return False
        self.fault = ""
        return True

    def proposed_path(self) -> Path:
        """A free name beside its file, or in the present folder for a shipped file."""
        folder = Path() if configs_folder() in self.path.resolve().parents else self.path.parent
        stem = re.sub(r"-[0-9]+$", "", self.path.stem)
        number = 2
        while (folder / f"{stem}-{number}.yaml").exists():
            number += 1
        return folder / f"{stem}-{number}.yaml"

    def text_for(self, path: Path) -> str:
        """The text to be saved at ``path``: under a new file name it gets a name of its own."""
        if path.resolve() == self.path.resolve():
            return self.text
        name = name_for(path)
        if self.kind == "design":
            return rewrite_design(self.text, {"name": name})
        return rewrite(self.text, {("name",): name}, ArenaSpec)

    def save(self, path: Path) -> None:
        """Write it, whole or not at all, and stay with the new file.

        Raises SpecError for a text that could not be read again, OutputError where it cannot be written.
        """
        text = self.text_for(path)
        spec = read_spec(self.kind, text, path.name)
        content = (self.mark + text).encode()
        write_whole(path, content)
        self.path, self.text, self.clean, self.held, self.spec = path, text, text, content, spec

    def foreign(self) -> bytes | None:
        """What the disk now holds in place of what was read or saved; None while it is the same or gone."""
        now = _bytes(self.path)
        return None if now is None or now == self.held else now

    def keep(self) -> None:
        """Stay with the own text although the disk holds another."""
        self.held = _bytes(self.path)

    def load(self) -> None:
        """Take what the disk holds. Raises SpecError and NotFoundError, and then nothing has changed."""
        fresh = open_document(self.kind, self.path)
        self.text, self.clean, self.held, self.mark = fresh.text, fresh.clean, fresh.held, fresh.mark
        self.spec, self.fault = fresh.spec, ""


def read_spec(kind: str, text: str, file: str) -> Design | ArenaSpec:
    """What a text says. Raises SpecError."""
    return parse_design(text, file) if kind == "design" else parse_arena(text, file)


def open_document(kind: str, name_or_path: str | Path) -> Document:
    """Read a shipped file by its name, or an own one by its path. Raises SpecError and NotFoundError."""
    path = find_document(name_or_path, kind)
    content = _bytes(path)
    if content is None:
        raise NotFoundError(f"{path}: cannot be read")
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: it holds bytes that are no UTF-8 ({error.reason})") from None
    mark = _MARK if text.startswith(_MARK) else ""
    text = text.removeprefix(_MARK)
    return Document(kind, path, text, read_spec(kind, text, str(path)), text, content, mark)


def _bytes(path: Path) -> bytes | None:
    with contextlib.suppress(OSError):
        return path.read_bytes()
    return None


Laid = tuple[tuple[Document, str], ...]
"""All documents on the bench at a time, each with its text."""


@dataclass
class History:
    """What lay on the bench, step by step; ``place`` is the step that is shown."""

    steps: list[Laid]
    place: int = 0
    gesture: str = ""
    words: list[str] = field(default_factory=lambda: [""])

    def note(self, laid: Laid, words: str, gesture: str = "") -> None:
        """Add a step; one that goes on with the same ``gesture`` (not empty) takes the place of the last."""
        if laid == self.steps[self.place]:
            return
        goes_on = bool(gesture) and gesture == self.gesture and self.place == len(self.steps) - 1
        if goes_on and self.place > 0:
            self.steps[self.place] = laid
            self.words[self.place] = words
            return
        self.gesture = gesture
        kept = slice(max(0, self.place + 2 - MOST_STEPS), self.place + 1)
        self.steps = [*self.steps[kept], laid]
        self.words = [*self.words[kept], words]
        self.place = len(self.steps) - 1

    def amend(self, laid: Laid) -> None:
        """The present step now is this; not a change that one takes back."""
        self.gesture = ""
        self.steps[self.place] = laid

    def end_gesture(self) -> None:
        """What comes next is a step of its own."""
        self.gesture = ""

    def back(self) -> tuple[Laid, str] | None:
        """What lay there a step ago, and which change was taken back; None at the beginning."""
        self.gesture = ""
        if self.place == 0:
            return None
        self.place -= 1
        return self.steps[self.place], self.words[self.place + 1]

    def forth(self) -> tuple[Laid, str] | None:
        """What lies there a step on, and which change was made again; None at the end."""
        self.gesture = ""
        if self.place + 1 >= len(self.steps):
            return None
        self.place += 1
        return self.steps[self.place], self.words[self.place]


def name_for(path: Path) -> str:
    """The name that a design or an arena gets by its file's."""
    return path.stem.replace("-", " ").replace("_", " ").strip() or "unnamed"


def design_of(document: Document) -> Design:
    """The design that a document holds."""
    assert isinstance(document.spec, Design)
    return document.spec


def arena_of(document: Document) -> ArenaSpec:
    """The arena that a document holds."""
    assert isinstance(document.spec, ArenaSpec)
    return document.spec


def first_line(text: str) -> str:
    """The first line of a message."""
    return text.partition("\n")[0]
