"""What the workbench asks for over everything else: one of a list, or a value to be written."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from arena.workbench.documents import Document
from arena.workbench.workbench_keys import LIST_KEYS, WRITING_KEYS
from replays.drawing.sheet import pygame

FAR = 10
"""Lines that page up and page down go."""


@dataclass(frozen=True)
class ListedLine:
    """A line of a list: ``words``, and ``detail`` at its right; ``take`` is what it does.

    Without ``take`` it is a heading. ``about`` is told below the list while it is chosen.
    """

    words: str
    detail: str = ""
    take: Callable[[], "Asked | None"] | None = None
    about: str = ""


@dataclass
class AskedList:
    """A list of which one line is chosen by arrows, or by writing a part of its words.

    What a line's ``take`` returns is asked next; None ends it.
    """

    title: str
    choices: Sequence[ListedLine]
    place: int = 0
    part: str = ""

    def __post_init__(self) -> None:
        self._go(self.place, 1)

    @property
    def shown(self) -> list[ListedLine]:
        """The lines that hold the part that was written, and the headings above them."""
        if not self.part:
            return list(self.choices)
        kept: list[ListedLine] = []
        heading: ListedLine | None = None
        for choice in self.choices:
            if choice.take is None:
                heading = choice
            elif self.part.lower() in f"{choice.words} {choice.detail} {choice.about}".lower():
                kept += [choice] if heading is None else [heading, choice]
                heading = None
        return kept

    @property
    def chosen(self) -> ListedLine | None:
        """The line that Enter takes."""
        shown = self.shown
        here = shown[self.place] if self.place < len(shown) else None
        return here if here is not None and here.take is not None else None

    def _go(self, place: int, way: int) -> None:
        """Choose the line at ``place``, or the next one that can be, first in the way one goes."""
        shown = self.shown
        place = min(max(place, 0), len(shown) - 1)
        if place < 0:
            self.place = 0
            return
        ahead = range(place, len(shown)) if way > 0 else range(place, -1, -1)
        behind = range(place, -1, -1) if way > 0 else range(place, len(shown))
        found = (one for one in (*ahead, *behind) if shown[one].take is not None)
        self.place = next(found, 0)

    def go(self, lines: int) -> None:
        """Choose a line so many below."""
        self._go(self.place + lines, lines)

    def answers(self) -> dict[str, Callable[[], "Asked | None"]]:
        """What keys can ask for, by name; each returns what is asked next."""

        def after(change: Callable[[], None]) -> Callable[[], Asked | None]:
            def do() -> Asked | None:
                change()
                return self

            return do

        return {
            "line above": after(lambda: self.go(-1)),
            "line below": after(lambda: self.go(1)),
            "far above": after(lambda: self.go(-FAR)),
            "far below": after(lambda: self.go(FAR)),
            "take": lambda: self.chosen.take() if self.chosen and self.chosen.take else self,
            "stay": lambda: None,
            "rub out": after(lambda: self._write(self.part[:-1])),
        }

    def _write(self, part: str) -> None:
        self.part = part
        self._go(0, 1)

    def key(self, event: pygame.event.Event) -> "Asked | None":
        """Take a key; returns what is asked then."""
        action = LIST_KEYS.action_of(event)
        if action is not None:
            return self.answers()[action]()
        letters = getattr(event, "unicode", "")
        if letters and letters.isprintable():
            self._write(self.part + letters)
        return self


@dataclass
class Writing:
    """A value that is written: ``take`` does with it what is to be done, or returns why it cannot be.

    ``expected`` tells what a right one looks like, ``note`` what was wrong with the last. The cursor stands
    before letter ``at``; what was there at first goes with the first letter that is written, unless the
    cursor has been moved. ``then`` is asked afterwards.
    """

    title: str
    text: str
    expected: str
    take: Callable[[str], str]
    then: Callable[[], "Asked | None"] = field(default=lambda: None)
    note: str = ""
    is_fresh: bool = True
    at: int = -1

    def __post_init__(self) -> None:
        self.at = len(self.text)

    def answers(self) -> dict[str, Callable[[], "Asked | None"]]:
        """What keys can ask for, by name; each returns what is asked next."""
        return {
            "take": self._take,
            "stay": self.then,
            "rub out": self._rub_out,
            "letter before": lambda: self._go(self.at - 1),
            "letter after": lambda: self._go(self.at + 1),
            "first letter": lambda: self._go(0),
            "last letter": lambda: self._go(len(self.text)),
        }

    def _go(self, at: int) -> "Asked":
        self.at, self.is_fresh = min(max(at, 0), len(self.text)), False
        return self

    def _take(self) -> "Asked | None":
        self.note = self.take(self.text.strip()) if self.text.strip() else "write a value"
        return self if self.note else self.then()

    def _rub_out(self) -> "Asked | None":
        before = max(self.at - 1, 0)
        self.text, self.note = self.text[:before] + self.text[self.at :], ""
        return self._go(before)

    def key(self, event: pygame.event.Event) -> "Asked | None":
        """Take a key; returns what is asked then."""
        action = WRITING_KEYS.action_of(event)
        if action is not None:
            return self.answers()[action]()
        letters = getattr(event, "unicode", "")
        if letters and letters.isprintable():
            if self.is_fresh:
                self.text, self.at = "", 0
            self.text, self.note = self.text[: self.at] + letters + self.text[self.at :], ""
            self._go(self.at + len(letters))
        return self


@dataclass
class Question:
    """A question that has to be answered first.

    ``document`` is what is to be saved under the name ``text``, or None where the window is to be closed
    although ``unsaved`` documents are left. ``warned`` is the path of which the viewer has been told that a
    file is there.
    """

    document: Document | None
    text: str = ""
    note: str = ""
    warned: Path | None = None


Asked = AskedList | Writing
"""What may be asked."""
