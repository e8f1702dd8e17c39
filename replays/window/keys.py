"""Which key does what in a window: one table, from which the help is written too."""

from collections.abc import Sequence
from dataclasses import dataclass

from replays.drawing.sheet import pygame


@dataclass(frozen=True)
class Binding:
    """Keys that ask for ``action``; ``shown`` is what they are called, ``words`` what they do.

    A key is its code and whether shift goes with it. ``group`` is a heading of the help.
    """

    action: str
    keys: tuple[tuple[int, bool], ...]
    shown: str
    words: str
    group: str


def _plain(*codes: int) -> tuple[tuple[int, bool], ...]:
    return tuple((code, False) for code in codes)


def _shifted(*codes: int) -> tuple[tuple[int, bool], ...]:
    return tuple((code, True) for code in codes)


BINDINGS: tuple[Binding, ...] = (
    Binding("play", _plain(pygame.K_SPACE), "space", "play, pause", "Time"),
    Binding("next pulse", _plain(pygame.K_n), "n", "stop at the next pulse", "Time"),
    Binding("last pulse", _plain(pygame.K_b), "b", "back to the previous pulse", "Time"),
    Binding("back", _plain(pygame.K_LEFT), "left", "a hundredth of the run back", "Time"),
    Binding("on", _plain(pygame.K_RIGHT), "right", "a hundredth of the run on", "Time"),
    Binding("start", _plain(pygame.K_HOME), "home", "to the start", "Time"),
    Binding("end", _plain(pygame.K_END), "end", "to the end", "Time"),
    Binding("faster", _plain(pygame.K_UP), "up", "faster", "Time"),
    Binding("slower", _plain(pygame.K_DOWN), "down", "slower", "Time"),
    Binding("skip", _plain(pygame.K_w), "w", "skip the waits between pulses", "Time"),
    Binding("next walker", _plain(pygame.K_TAB), "tab", "choose the next walker", "Walker"),
    Binding("last walker", _shifted(pygame.K_TAB), "shift tab", "choose the previous walker", "Walker"),
    Binding("why", _plain(pygame.K_c), "c", "show or hide the causes", "Walker"),
    Binding("follow", _plain(pygame.K_g), "g", "go along with the walker", "Walker"),
    Binding("ways", _plain(pygame.K_p), "p", "ways of all, of the chosen, none", "Walker"),
    Binding(
        "closer", (*_plain(pygame.K_PLUS, pygame.K_KP_PLUS, pygame.K_EQUALS), *_shifted(pygame.K_EQUALS)),
        "+", "come closer", "View",
    ),
    Binding("away", _plain(pygame.K_MINUS, pygame.K_KP_MINUS), "-", "go farther away", "View"),
    Binding("all", _plain(pygame.K_0, pygame.K_KP0), "0", "see the whole floor", "View"),
    Binding("west", _shifted(pygame.K_LEFT), "shift left", "look farther left", "View"),
    Binding("east", _shifted(pygame.K_RIGHT), "shift right", "look farther right", "View"),
    Binding("north", _shifted(pygame.K_UP), "shift up", "look farther up", "View"),
    Binding("south", _shifted(pygame.K_DOWN), "shift down", "look farther down", "View"),
    Binding("theme", _plain(pygame.K_t), "t", "light or dark paper", "Window"),
    Binding("larger", _plain(pygame.K_z), "z", "larger letters and lines", "Window"),
    Binding("full screen", _plain(pygame.K_f, pygame.K_F11), "f, F11", "full screen", "Window"),
    Binding("reload", _plain(pygame.K_r), "r", "read the file again", "Window"),
    Binding("help", _plain(pygame.K_h, pygame.K_F1), "h, F1", "show or hide the keys", "Window"),
    Binding("leave", _plain(pygame.K_ESCAPE), "Esc", "leave this, then the window", "Window"),
    Binding("close", _plain(pygame.K_q), "q", "close the window", "Window"),
)  # fmt: skip
"""All keys of the window on a replay."""

MOUSE = (
    ("click", "choose a walker, or none"),
    ("drag, wheel", "move the floor, come closer"),
    ("bar, strip", "go to that time"),
)
"""What the mouse does, for the help."""


def action_of(event: pygame.event.Event, bindings: Sequence[Binding] = BINDINGS) -> str | None:
    """What the key of a KEYDOWN event asks for, or None. Control, Alt and Meta keep a key to the system."""
    modifiers = getattr(event, "mod", 0)
    if modifiers & (pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META):
        return None
    shifted = bool(modifiers & pygame.KMOD_SHIFT)
    for binding in bindings:
        if (event.key, shifted) in binding.keys:
            return binding.action
    # shift makes no difference to a key that has only one meaning, as on boards where + needs it
    for binding in bindings:
        if shifted and (event.key, False) in binding.keys and event.key not in _ARROWS_AND_TAB:
            return binding.action
    return None


_ARROWS_AND_TAB = (pygame.K_LEFT, pygame.K_RIGHT, pygame.K_UP, pygame.K_DOWN, pygame.K_TAB)
