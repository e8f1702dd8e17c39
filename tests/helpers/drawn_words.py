"""All words that a window draws, where their ink lies, and what is wrong with that."""

import itertools
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest

from replays.drawing import sheet as sheets
from replays.drawing.sheet import Sheet, pygame


@dataclass
class Words:
    """What stands on ``surface``: words with the rectangle [pixels] of their ink.

    What a card is drawn over is hidden; what the edge or a clip cuts off is among ``cut``.
    """

    surface: pygame.Surface
    seen: list[tuple[str, pygame.Rect]] = field(default_factory=list)
    cut: list[str] = field(default_factory=list)

    def write(self, sheet: Sheet, words: str, place: Any, size: int, across: float, down: float) -> None:
        """Note ``words``."""
        if sheet.surface.get_abs_parent() is not self.surface or not words.strip():
            return
        image = sheets._letters(words, round(size * sheet.scale), (0, 0, 0))
        width, height = image.get_size()
        corner = (
            round(place[0] * sheet.scale - across * width),
            round(place[1] * sheet.scale - down * height),
        )
        ink = image.get_bounding_rect().move(corner)
        window = sheet.surface.get_rect().clip(sheet.surface.get_clip())
        if not window.colliderect(ink):
            # what is put away lies beside the window
            return
        if not window.contains(ink):
            self.cut.append(words)
        self.seen.append((words, ink.move(sheet.surface.get_abs_offset())))

    def cover(self, sheet: Sheet, rect: pygame.Rect) -> None:
        """Forget what a card over ``rect`` hides, all of it or a part."""
        if sheet.surface.get_abs_parent() is self.surface:
            over = rect.move(sheet.surface.get_abs_offset())
            self.seen = [(words, ink) for words, ink in self.seen if not ink.colliderect(over)]

    def forget(self) -> None:
        """Begin anew."""
        self.seen, self.cut = [], []

    @property
    def faults(self) -> list[str]:
        """Words that are cut off, and words over others."""
        over = [
            f"{one!r} over {other!r}"
            for (one, first), (other, second) in itertools.combinations(self.seen, 2)
            if first.colliderect(second)
        ]
        return [f"{words!r} cut off" for words in self.cut] + over


@contextmanager
def noting_words(surface: pygame.Surface) -> Iterator[Words]:
    """Note what is written on ``surface``, from now on."""
    words = Words(surface)
    text, rounded = Sheet.text, Sheet._rounded

    def noted(
        self: Sheet, told: str, place: Any, size: int, colour: Any = None, *, across: float = 0.0,
        down: float = 0.0,
    ) -> None:  # fmt: skip
        words.write(self, told, place, size, across, down)
        text(self, told, place, size, colour, across=across, down=down)

    def covered(self: Sheet, rectangle: pygame.Rect, *rest: Any) -> None:
        words.cover(self, rectangle)
        rounded(self, rectangle, *rest)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Sheet, "text", noted)
        patch.setattr(Sheet, "_rounded", covered)
        yield words
