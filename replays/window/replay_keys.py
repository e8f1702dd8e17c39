"""All keys of the window on a replay."""

from replays.drawing.sheet import pygame
from replays.window.key_tables import Binding, HelpLine, Key, KeyTable


def _line(
    action: str, keys: tuple[Key, ...], words: str, group: str, others: tuple[Key, ...] = ()
) -> HelpLine:
    return HelpLine(words, (Binding(action, keys, others),), group)


def _plain(*codes: int) -> tuple[Key, ...]:
    return tuple(Key(code) for code in codes)


def _shifted(*codes: int) -> tuple[Key, ...]:
    return tuple(Key(code, shift=True) for code in codes)


REPLAY_KEYS = KeyTable(
    _line("play", _plain(pygame.K_SPACE), "play, pause", "Time"),
    _line("next pulse", _plain(pygame.K_n), "stop at the next pulse", "Time"),
    _line("previous pulse", _plain(pygame.K_b), "back to the previous pulse", "Time"),
    _line("back", _plain(pygame.K_LEFT), "a hundredth of the run back", "Time"),
    _line("on", _plain(pygame.K_RIGHT), "a hundredth of the run on", "Time"),
    _line("start", _plain(pygame.K_HOME), "to the start", "Time"),
    _line("end", _plain(pygame.K_END), "to the end", "Time"),
    _line("faster", _plain(pygame.K_UP), "faster", "Time"),
    _line("slower", _plain(pygame.K_DOWN), "slower", "Time"),
    _line("skip", _plain(pygame.K_w), "skip the waits between pulses", "Time"),
    _line("next walker", _plain(pygame.K_TAB), "choose the next walker", "Walker"),
    _line("previous walker", _shifted(pygame.K_TAB), "choose the previous walker", "Walker"),
    _line("why", _plain(pygame.K_c), "show or hide the causes", "Walker"),
    _line("follow", _plain(pygame.K_g), "go along with the walker", "Walker"),
    _line("ways", _plain(pygame.K_p), "ways of all, of the chosen, none", "Walker"),
    _line(
        "closer", _plain(pygame.K_PLUS), "come closer", "View", _plain(pygame.K_KP_PLUS, pygame.K_EQUALS),
    ),
    _line("away", _plain(pygame.K_MINUS), "go farther away", "View", _plain(pygame.K_KP_MINUS)),
    _line("all", _plain(pygame.K_0), "see the whole floor", "View", _plain(pygame.K_KP0)),
    _line("west", _shifted(pygame.K_LEFT), "look farther left", "View"),
    _line("east", _shifted(pygame.K_RIGHT), "look farther right", "View"),
    _line("north", _shifted(pygame.K_UP), "look farther up", "View"),
    _line("south", _shifted(pygame.K_DOWN), "look farther down", "View"),
    _line("theme", _plain(pygame.K_t), "light or dark paper", "Window"),
    _line("larger", _plain(pygame.K_z), "larger letters and lines", "Window"),
    _line("full screen", _plain(pygame.K_f, pygame.K_F11), "full screen", "Window"),
    _line("reload", _plain(pygame.K_r), "read the file again", "Window"),
    _line("help", _plain(pygame.K_h, pygame.K_F1), "show or hide the keys", "Window"),
    _line("leave", _plain(pygame.K_ESCAPE), "leave this, then the window", "Window"),
    _line("close", _plain(pygame.K_q), "close the window", "Window"),
    HelpLine("choose a walker, or none", group="Mouse", shown="click"),
    HelpLine("move the floor, come closer", group="Mouse", shown="drag, wheel"),
    HelpLine("go to that time", group="Mouse", shown="bar, strip"),
)  # fmt: skip
"""What each key asks for, by the actions of :class:`~replays.window.replay_window.ReplayWindow`."""
