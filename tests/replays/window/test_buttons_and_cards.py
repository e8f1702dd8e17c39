"""The card of all keys: on pages where it has not the room, with letters as large as everywhere."""

from typing import Any

import pytest

from arena.workbench.workbench_keys import WORKBENCH_KEYS
from replays.drawing.sheet import Sheet, pygame
from replays.window.buttons_and_cards import SMALL, HelpCard
from replays.window.key_tables import KeyTable
from replays.window.projector_window import SHOW_KEYS
from replays.window.replay_keys import REPLAY_KEYS

TABLES = {"replay": REPLAY_KEYS, "workbench": WORKBENCH_KEYS, "show": SHOW_KEYS}


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
@pytest.mark.parametrize(
    ("size", "scale"),
    [
        *(((800, 600), scale) for scale in (1.0, 1.5, 2.0)),
        *(((1280, 720), scale) for scale in (1.0, 2.0, 3.0)),
        ((1024, 768), 2.0),
        ((1920, 1080), 2.0),
        ((3840, 2160), 3.0),
    ],
)
def test_every_line_is_on_a_page_in_letters_of_the_usual_size(
    table: KeyTable, size: tuple[int, int], scale: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[tuple[str, float, pygame.Rect]] = []
    text = Sheet.text

    def noted(
        self: Sheet, words: str, place: tuple[float, float], letters: int, *rest: Any, **more: Any
    ) -> None:
        wide, high = (part * self.scale for part in self.text_size(words, letters))
        left = place[0] * self.scale - more.get("across", 0.0) * wide
        top = place[1] * self.scale - more.get("down", 0.0) * high
        written.append((words, letters * self.scale, pygame.Rect(left, top, wide, high)))
        text(self, words, place, letters, *rest, **more)

    monkeypatch.setattr(Sheet, "text", noted)
    card, surface = HelpCard(table), pygame.Surface(size)
    seen: list[str] = []
    card.turn()
    while card.is_shown:
        written.clear()
        card.draw(Sheet(surface, scale))
        for number, (words, letters, box) in enumerate(written):
            assert letters >= SMALL * scale, words
            assert surface.get_rect().contains(box), words
            assert box.collidelist([other for _, _, other in written[number + 1 :]]) == -1, words
            seen.append(words)
        card.turn()
    for line in table.help_lines:
        # where one line has not the room, words wrap
        assert line.words in " ".join(seen)
        assert line.keys in seen
    assert {line.group for line in table.help_lines if line.group} <= set(seen)


def test_the_card_is_turned_page_by_page_and_put_away() -> None:
    card, sheet = HelpCard(REPLAY_KEYS), Sheet(pygame.Surface((1280, 720)), 2.0)
    assert card.state == (False, 0)
    card.turn()
    card.draw(sheet)
    assert card.pages > 1
    pages = [card.page]
    for _ in range(card.pages - 1):
        card.turn()
        card.draw(sheet)
        pages.append(card.page)
    assert pages == list(range(card.pages))
    card.turn()
    assert card.state == (False, 0)
