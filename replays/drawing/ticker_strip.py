"""A strip at the foot of a film for a sentence that changes now and then."""

import math

from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import Theme

TEXT = 15
"""Size of its letters [points], where a film has no size of its own."""

# A sentence about a pulse that has three causes, with the name of its walker.
_LONG = (
    "10:00:00 nasturtium 12 (the last of 12 pulses): left fired: its eye had 12.5 klx against 14.5 klx, "
    "120 mV earlier; and 25 mV by its whisker; against it 40 mV by its parts; 105 mV in all"
)
_MOST_LINES, _PAD = 4, 5.0


class TickerStrip:
    """A strip as wide as a film of ``width`` pixels, at ``scale`` pixels a point, in letters of ``text``.

    It is as high as a long sentence needs, so that the picture above never moves; ``height`` [pixels].
    """

    def __init__(self, width: int, scale: float, theme: Theme, text: int = TEXT) -> None:
        self._theme, self._scale, self._text = theme, scale, text
        self._width = width / scale
        scrap = Sheet(pygame.Surface((width, 10)), scale, theme)
        lines = scrap.wrapped(_LONG, text, self._width - 2.0 * _PAD)
        self._line = math.ceil(1.25 * text)
        self._lines = min(len(lines), _MOST_LINES)
        self.height = math.ceil((self._lines * self._line + 2.0 * _PAD) * scale)

    def draw(self, surface: pygame.Surface, words: str) -> None:
        """Draw it onto the foot of ``surface``, whose lower edge it takes."""
        foot = surface.subsurface((0, surface.get_height() - self.height, surface.get_width(), self.height))
        foot.fill(self._theme.card)
        sheet = Sheet(foot, self._scale, self._theme)
        sheet.line([(0.0, 0.5), (self._width, 0.5)], self._theme.wood, 1.0)
        room = self._width - 2.0 * _PAD
        lines = sheet.wrapped(words, self._text, room)
        if len(lines) > self._lines:
            last = " ".join(lines[self._lines - 1 :])
            lines = [*lines[: self._lines - 1], sheet.shorten(last, self._text, room)]
        for number, line in enumerate(lines):
            sheet.text(line, (_PAD, _PAD + number * self._line), self._text)
