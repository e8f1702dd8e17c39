"""Which key does what in a window: one table, from which keys, help and buttons all come."""

from collections.abc import Sequence
from dataclasses import dataclass

from replays.drawing.sheet import pygame

_NAMES = {
    pygame.K_SPACE: "space",
    pygame.K_TAB: "tab",
    pygame.K_ESCAPE: "Esc",
    pygame.K_RETURN: "Enter",
    pygame.K_BACKSPACE: "Backspace",
    pygame.K_LEFT: "left",
    pygame.K_RIGHT: "right",
    pygame.K_UP: "up",
    pygame.K_DOWN: "down",
    pygame.K_HOME: "home",
    pygame.K_END: "end",
    pygame.K_PAGEUP: "page up",
    pygame.K_PAGEDOWN: "page down",
    pygame.K_COMMA: "comma",
    pygame.K_PERIOD: "full stop",
    **{code: f"F{number}" for number, code in enumerate(range(pygame.K_F1, pygame.K_F12 + 1), start=1)},
    pygame.K_INSERT: "Insert",
    pygame.K_DELETE: "Delete",
    pygame.K_KP_PLUS: "keypad +",
    pygame.K_KP_MINUS: "keypad -",
    pygame.K_KP0: "keypad 0",
    pygame.K_KP_ENTER: "keypad Enter",
}


@dataclass(frozen=True)
class Key:
    """A key by its ``code``, and whether shift or control goes with it; Meta counts as control."""

    code: int
    shift: bool = False
    control: bool = False

    @property
    def name(self) -> str:
        """What the key is called in the help and on buttons."""
        held = "ctrl " * self.control + "shift " * self.shift
        return held + (_NAMES.get(self.code) or chr(self.code))


@dataclass(frozen=True)
class Binding:
    """Keys that ask for ``action``: ``keys`` are told by name, ``others`` do the same unsaid.

    ``mode`` is the part of the window that has to have the keys; empty where it makes no difference.
    """

    action: str
    keys: tuple[Key, ...]
    others: tuple[Key, ...] = ()
    mode: str = ""


@dataclass(frozen=True)
class HelpLine:
    """A line of the help: what ``bindings`` do, in ``words``. Without bindings it is about the mouse.

    ``shown`` is what the keys are called where that is not just their names in a row; ``group`` is a heading.
    A line without words is not told.
    """

    words: str
    bindings: tuple[Binding, ...] = ()
    group: str = ""
    shown: str = ""

    @property
    def keys(self) -> str:
        """What the keys are called."""
        names = [key.name for binding in self.bindings for key in binding.keys]
        return self.shown or ", ".join(dict.fromkeys(names))


class KeyTable:
    """All keys of a window, or of a question that it asks, by the lines of its help."""

    def __init__(self, *lines: HelpLine) -> None:
        self._lines = lines
        self.bindings = tuple(binding for line in lines for binding in line.bindings)

    @property
    def help_lines(self) -> Sequence[HelpLine]:
        """The lines of the help, in order."""
        return [line for line in self._lines if line.words]

    def action_of(self, event: pygame.event.Event, mode: str = "") -> str | None:
        """What the key of a KEYDOWN event asks for in a ``mode``, or None. Alt keeps a key to the system.

        Shift makes no difference to a key that has only one meaning, as on boards where + needs it.
        """
        modifiers = getattr(event, "mod", 0)
        if modifiers & pygame.KMOD_ALT:
            return None
        control = bool(modifiers & (pygame.KMOD_CTRL | pygame.KMOD_META))
        for shift in (True, False) if modifiers & pygame.KMOD_SHIFT else (False,):
            key = Key(event.key, shift, control)
            for binding in self.bindings:
                if key in binding.keys + binding.others and binding.mode in ("", mode):
                    return binding.action
        return None

    def key_of(self, action: str) -> str:
        """The name of the key that asks for ``action``, for a button. Raises StopIteration without one."""
        return next(binding.keys[0].name for binding in self.bindings if binding.action == action)
