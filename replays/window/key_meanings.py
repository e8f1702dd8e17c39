"""What each key means, in every window: the one table from which the keys of all windows come.

A window takes the lines it needs with :func:`bound`; it gives no key a meaning of its own. So a key that is
known from one window does the same in the next, or nothing. Only the arrows have more than one meaning: they
are for what has them, which tab hands on, and which a window shows.
"""

from replays.drawing.sheet import pygame
from replays.window.key_tables import Binding, HelpLine, Key

TIME_MODE, FLOOR_MODE, DIAL_MODE, PLAN_MODE = "time", "floor", "dials", "plan"
"""What can have the arrows: the time of the run, the view of the floor, the dials, what lies on the plan."""

_ARROWS = {"west": pygame.K_LEFT, "east": pygame.K_RIGHT, "north": pygame.K_UP, "south": pygame.K_DOWN}


def _plain(*codes: int) -> tuple[Key, ...]:
    return tuple(Key(code) for code in codes)


def _shift(code: int) -> tuple[Key, ...]:
    return (Key(code, shift=True),)


def _control(code: int) -> tuple[Key, ...]:
    return (Key(code, control=True),)


MEANINGS: tuple[Binding, ...] = (
    # time
    Binding("play", _plain(pygame.K_SPACE)),
    Binding("next pulse", _plain(pygame.K_n)),
    Binding("previous pulse", _plain(pygame.K_b)),
    Binding("back", _plain(pygame.K_COMMA)),
    Binding("back", _plain(pygame.K_LEFT), mode=TIME_MODE),
    Binding("on", _plain(pygame.K_PERIOD)),
    Binding("on", _plain(pygame.K_RIGHT), mode=TIME_MODE),
    Binding("start", _plain(pygame.K_HOME)),
    Binding("end", _plain(pygame.K_END)),
    Binding("faster", _plain(pygame.K_PAGEUP)),
    Binding("faster", _plain(pygame.K_UP), mode=TIME_MODE),
    Binding("slower", _plain(pygame.K_PAGEDOWN)),
    Binding("slower", _plain(pygame.K_DOWN), mode=TIME_MODE),
    Binding("skip", _plain(pygame.K_j)),
    Binding("again", _plain(pygame.K_e)),
    # walkers
    Binding("next walker", _plain(pygame.K_w)),
    Binding("previous walker", _shift(pygame.K_w)),
    Binding("why", _plain(pygame.K_c)),
    Binding("beside", _plain(pygame.K_x)),
    Binding("follow", _plain(pygame.K_g)),
    Binding("ways", _plain(pygame.K_p)),
    Binding("lead", _plain(pygame.K_v)),
    # the view of the floor
    Binding("closer", _plain(pygame.K_PLUS), _plain(pygame.K_KP_PLUS, pygame.K_EQUALS)),
    Binding("away", _plain(pygame.K_MINUS), _plain(pygame.K_KP_MINUS)),
    Binding("all", _plain(pygame.K_0), _plain(pygame.K_KP0)),
    *(Binding(way, _plain(code), mode=FLOOR_MODE) for way, code in _ARROWS.items()),
    # the window
    Binding("change mode", _plain(pygame.K_TAB)),
    Binding("legend", _plain(pygame.K_i)),
    Binding("more", _plain(pygame.K_y)),
    Binding("theme", _plain(pygame.K_t)),
    Binding("larger", _plain(pygame.K_z)),
    Binding("full screen", _plain(pygame.K_f), _plain(pygame.K_F11)),
    Binding("help", _plain(pygame.K_h, pygame.K_F1)),
    Binding("leave", _plain(pygame.K_ESCAPE)),
    Binding("close", _plain(pygame.K_q)),
    Binding("load changed", _plain(pygame.K_l)),
    Binding("keep own", _plain(pygame.K_k)),
    # dials
    Binding("dial above", _plain(pygame.K_UP), mode=DIAL_MODE),
    Binding("dial below", _plain(pygame.K_DOWN), mode=DIAL_MODE),
    Binding("turn down", _plain(pygame.K_LEFT), mode=DIAL_MODE),
    Binding("turn up", _plain(pygame.K_RIGHT), mode=DIAL_MODE),
    Binding("turn far down", _shift(pygame.K_LEFT), mode=DIAL_MODE),
    Binding("turn far up", _shift(pygame.K_RIGHT), mode=DIAL_MODE),
    Binding("next scope", _plain(pygame.K_o)),
    Binding("next design", _plain(pygame.K_d)),
    # what lies on the plan
    Binding("next movable", _plain(pygame.K_m)),
    Binding("last movable", _shift(pygame.K_m)),
    *(Binding(f"move {way}", _plain(code), mode=PLAN_MODE) for way, code in _ARROWS.items()),
    *(Binding(f"move finely {way}", _shift(code), mode=PLAN_MODE) for way, code in _ARROWS.items()),
    *(
        Binding(action, _control(_ARROWS[way]), mode=PLAN_MODE)
        for action, way in (
            ("turn left", "west"),
            ("turn right", "east"),
            ("grow", "north"),
            ("shrink", "south"),
        )
    ),
    Binding("put", _plain(pygame.K_INSERT)),
    Binding("take out", _plain(pygame.K_DELETE)),
    # files
    Binding("undo", _plain(pygame.K_u), _control(pygame.K_z)),
    Binding("redo", _plain(pygame.K_r), (*_control(pygame.K_y), Key(pygame.K_z, shift=True, control=True))),
    Binding("save design", _plain(pygame.K_s), _control(pygame.K_s)),
    Binding("save arena", _plain(pygame.K_a)),
    # what the workbench finds out, and what it opens
    Binding("apply cure", _plain(pygame.K_F2)),
    Binding("cures", _plain(pygame.K_F3)),
    Binding("values", _plain(pygame.K_F4)),
    Binding("more rounds", _plain(pygame.K_F5)),
    Binding("pin", _plain(pygame.K_F6)),
    Binding("open design", _plain(pygame.K_F7)),
    Binding("open arena", _plain(pygame.K_F8)),
    Binding("new design", _plain(pygame.K_F9)),
    Binding("new arena", _shift(pygame.K_F9)),
    Binding("type value", _plain(pygame.K_RETURN), _plain(pygame.K_KP_ENTER)),
    Binding("reset value", _plain(pygame.K_BACKSPACE)),
)
"""Every key of every window."""


def bound(*actions: str) -> tuple[Binding, ...]:
    """The bindings of ``actions``, in that order. Raises ValueError for one that has no key.

    >>> [key.name for binding in bound("on") for key in binding.keys]
    ['full stop', 'right']
    """
    found = []
    for action in actions:
        mine = [binding for binding in MEANINGS if binding.action == action]
        if not mine:
            raise ValueError(f"{action} has no key")
        found += mine
    return tuple(found)


def line(words: str, *actions: str, group: str = "", shown: str = "") -> HelpLine:
    """A line of a window's help: the keys of ``actions``, and what they do in ``words``."""
    return HelpLine(words, bound(*actions), group, shown)
