"""All keys of the workbench and of what it asks, and its buttons."""

from replays.drawing.sheet import pygame
from replays.window.buttons_and_cards import Button
from replays.window.key_tables import Binding, HelpLine, Key, KeyTable

DIAL_MODE, PLAN_MODE = "dials", "plan"
"""What the arrows are for: the dials, or what lies on the plan."""


def _keys(*codes: int) -> tuple[Key, ...]:
    return tuple(Key(code) for code in codes)


def _shifted(code: int) -> tuple[Key, ...]:
    return (Key(code, shift=True),)


def _control(code: int) -> tuple[Key, ...]:
    return (Key(code, control=True),)


_UNDO_BACK = Key(pygame.K_z, shift=True, control=True)

WORKBENCH_KEYS = KeyTable(
    HelpLine(
        "go from the dials to the plan and back",
        (Binding("change mode", _keys(pygame.K_TAB)),),
        shown="Tab",
    ),
    HelpLine(
        "dials: choose one",
        (
            Binding("dial above", _keys(pygame.K_UP), mode=DIAL_MODE),
            Binding("dial below", _keys(pygame.K_DOWN), mode=DIAL_MODE),
        ),
    ),
    HelpLine(
        "dials: one stop down or up; with shift, five",
        (
            Binding("turn down", _keys(pygame.K_LEFT), mode=DIAL_MODE),
            Binding("turn up", _keys(pygame.K_RIGHT), mode=DIAL_MODE),
            Binding("turn far down", _shifted(pygame.K_LEFT), mode=DIAL_MODE),
            Binding("turn far up", _shifted(pygame.K_RIGHT), mode=DIAL_MODE),
        ),
        shown="left, right",
    ),
    HelpLine("dials: turn both sides, the left or the right", (Binding("next scope", _keys(pygame.K_s)),)),
    HelpLine("dials: the next design", (Binding("next design", _keys(pygame.K_d)),)),
    HelpLine(
        "plan: the next or the previous thing",
        (Binding("next movable", _keys(pygame.K_n)), Binding("last movable", _keys(pygame.K_p))),
    ),
    HelpLine(
        "plan: move it 10 mm; with shift, 1 mm",
        (
            Binding("move west", _keys(pygame.K_LEFT), mode=PLAN_MODE),
            Binding("move east", _keys(pygame.K_RIGHT), mode=PLAN_MODE),
            Binding("move north", _keys(pygame.K_UP), mode=PLAN_MODE),
            Binding("move south", _keys(pygame.K_DOWN), mode=PLAN_MODE),
            Binding("move finely west", _shifted(pygame.K_LEFT), mode=PLAN_MODE),
            Binding("move finely east", _shifted(pygame.K_RIGHT), mode=PLAN_MODE),
            Binding("move finely north", _shifted(pygame.K_UP), mode=PLAN_MODE),
            Binding("move finely south", _shifted(pygame.K_DOWN), mode=PLAN_MODE),
        ),
        shown="arrows",
    ),
    HelpLine("drag pegs, lamps, walls, shades, starts, the light meter", shown="mouse"),
    HelpLine(
        "undo and redo; ctrl z and ctrl y too",
        (
            Binding("undo", _keys(pygame.K_u), _control(pygame.K_z)),
            Binding("redo", _keys(pygame.K_r), (*_control(pygame.K_y), _UNDO_BACK)),
        ),
    ),
    HelpLine(
        "save the design, save the arena",
        (
            Binding("save design", _keys(pygame.K_w), _control(pygame.K_s)),
            Binding("save arena", _keys(pygame.K_a)),
        ),
    ),
    HelpLine(
        "a file changed on disk: load it, or keep yours",
        (Binding("load changed", _keys(pygame.K_l)), Binding("keep own", _keys(pygame.K_k))),
    ),
    HelpLine("play and stop", (Binding("play", _keys(pygame.K_SPACE)),)),
    HelpLine(
        "a hundredth of the run back or on",
        (Binding("back", _keys(pygame.K_COMMA)), Binding("on", _keys(pygame.K_PERIOD))),
    ),
    HelpLine(
        "start or end of the run",
        (Binding("start", _keys(pygame.K_HOME)), Binding("end", _keys(pygame.K_END))),
    ),
    HelpLine(
        "play slower or faster",
        (
            Binding("slower", _keys(pygame.K_MINUS), _keys(pygame.K_KP_MINUS)),
            Binding("faster", _keys(pygame.K_PLUS), _keys(pygame.K_EQUALS, pygame.K_KP_PLUS)),
        ),
    ),
    HelpLine(
        "lamplight or daylight colours; full screen",
        (
            Binding("theme", _keys(pygame.K_t)),
            Binding("full screen", _keys(pygame.K_f), _keys(pygame.K_F11)),
        ),
    ),
    HelpLine("show or hide this", (Binding("help", _keys(pygame.K_h, pygame.K_F1)),)),
    HelpLine(
        "close; Esc leaves what is under way",
        (Binding("close", _keys(pygame.K_q)), Binding("leave", _keys(pygame.K_ESCAPE))),
        shown="q",
    ),
)
"""What each key asks for, by the actions of :class:`~arena.workbench.controller.Controller`."""

UNSAVED_KEYS = KeyTable(
    HelpLine("save", (Binding("save", _keys(pygame.K_w), _keys(pygame.K_a)),)),
    HelpLine("close without saving", (Binding("close", _keys(pygame.K_q), _keys(pygame.K_RETURN)),)),
    HelpLine("stay", (Binding("stay", _keys(pygame.K_ESCAPE)),)),
)
"""Keys of the question whether to close although something is not saved."""

FILE_NAME_KEYS = KeyTable(
    HelpLine("save", (Binding("save", _keys(pygame.K_RETURN), _keys(pygame.K_KP_ENTER)),)),
    HelpLine("do not save", (Binding("stay", _keys(pygame.K_ESCAPE)),)),
    HelpLine("", (Binding("rub out", _keys(pygame.K_BACKSPACE)),)),
)
"""Keys of the question under which name to save; all others are letters of the name."""

BUTTONS = tuple(
    Button(action, words, WORKBENCH_KEYS.key_of(action))
    for action, words in (
        ("undo", "undo"),
        ("redo", "redo"),
        ("save design", "save"),
        ("save arena", "save arena"),
        ("help", "keys"),
    )
)
"""The buttons below the panel, from the left."""
