"""Names of all scripts are written in letters that the font has, and count as they did."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replays.drawing.latin_letters import latin_letters
from replays.drawing.sheet import Sheet, _drawable, _has_letter, pygame


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("poppy", "poppy"),
        ("Zürich, 1 µF", "Zürich, 1 µF"),
        ("Δ жук", "Δ жук"),
        ("poppy \U0001f33b", "poppy sunflower"),
        ("\U0001f469\U0001f3fd\u200d\U0001f33e", "woman ear of rice"),
        ("日本", "RiBen"),
        ("lamp 💡, 300 cd", "lamp bulb, 300 cd"),
        ("שלום", "slvm"),
        ("a\tb\x00c", "a b c"),
        ("e\u0301", "é"),
        ("\U0001f9ff\u200d", "nazar amulet"),
        ("\u200d", "?"),
        ("", ""),
        (" ", " "),
    ],
)
def test_names_of_all_scripts_can_be_read(name: str, written: str) -> None:
    assert _drawable(name) == written


def test_the_font_is_known_to_lack_what_it_shows_as_a_box() -> None:
    assert all(_has_letter(letter) for letter in "azßéΩжЖ–…°×µ")
    assert not any(_has_letter(letter) for letter in "日ไ→″\ue000")


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=40))
def test_any_name_is_drawn(name: str) -> None:
    plain = _drawable(name)
    assert all(_has_letter(letter) for letter in plain)
    assert bool(plain.strip()) == bool(name.strip())
    Sheet(pygame.Surface((300, 40))).text(name, (2, 2), 15)


def test_a_long_name_leaves_room_for_its_count() -> None:
    sheet = Sheet(pygame.Surface((300, 40)))
    for name in ("poppy", "p" * 300, "a name in many words " * 9, "\U0001f33b" * 50):
        for room in (120.0, 200.0, 900.0):
            words = sheet.shorten(name, 15, room, ", 2 of 8")
            assert words.endswith(", 2 of 8")
            assert sheet.text_size(words, 15)[0] <= room
    assert sheet.shorten("poppy", 15, 200.0, ", 2 of 8") == "poppy, 2 of 8"
    assert latin_letters("x" * 9, str.isascii) == "x" * 9
