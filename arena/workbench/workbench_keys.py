"""All keys of the workbench, by the lines of its help."""

from replays.drawing.sheet import pygame
from replays.window.buttons_and_cards import Button
from replays.window.key_meanings import DIAL_MODE, PLAN_MODE, TIME_MODE, line
from replays.window.key_tables import Binding, HelpLine, Key, KeyTable

MODES = (DIAL_MODE, PLAN_MODE, TIME_MODE)
"""What the arrows are for, in the order in which tab hands them on."""


def _keys(*codes: int) -> tuple[Key, ...]:
    return tuple(Key(code) for code in codes)


_WAYS = ("west", "east", "north", "south")

WORKBENCH_KEYS = KeyTable(
    line("hand on the arrows: dials, plan, time", "change mode"),
    line("dials: choose one", "dial above", "dial below"),
    line(
        "dials: one stop down or up; with shift, five",
        *("turn down", "turn up", "turn far down", "turn far up"),
        shown="left, right",
    ),
    line("dials: turn both sides, the left or the right", "next scope"),
    line("dials: the next design", "next design"),
    line("write the value; reset it to the file's", "type value", "reset value"),
    line("all values of the design, or on the plan of the thing and the arena", "values"),
    line("apply the cure; list all cures", "apply cure", "cures"),
    line("more rounds with other luck; compare with this", "more rounds", "pin"),
    line("open another design, another arena", "open design", "open arena"),
    line("begin a new design, a new arena", "new design", "new arena"),
    line("plan: the next or the previous thing", "next movable", "last movable"),
    line(
        "plan: move it 10 mm; with shift, 1 mm",
        *(f"{manner} {way}" for manner in ("move", "move finely") for way in _WAYS),
        shown="arrows",
    ),
    line(
        "plan: with ctrl turn it 5 degrees, stretch it by 5 %",
        *("turn left", "turn right", "grow", "shrink"),
        shown="ctrl arrows",
    ),
    line("plan: put a wall, shade, lamp, goal, gate or start there; take it out", "put", "take out"),
    HelpLine("drag pegs, lamps, walls, shades, starts, the light meter", shown="mouse"),
    line("undo and redo; ctrl z and ctrl y too", "undo", "redo"),
    line("save the design, save the arena", "save design", "save arena"),
    line("a file changed on disk: load it, or keep yours", "load changed", "keep own"),
    line("play and stop", "play"),
    line("time: a hundredth back or on; left, right too", "back", "on", shown="comma, full stop"),
    line("start or end of the run", "start", "end"),
    line("time: slower or faster; down, up too", "slower", "faster", shown="page down, page up"),
    line("come closer, go away, see all; the wheel too", "closer", "away", "all"),
    line(
        "a walker's causes, the next or previous walker; a click too", "why", "next walker", "previous walker"
    ),
    line("hide or show the panel; large letters: panel or floor", "more"),
    line("lamplight or daylight colours; larger letters; full screen", "theme", "larger", "full screen"),
    line("show or hide this", "help"),
    line("close; Esc leaves what is under way", "close", "leave", shown="q"),
)
"""What each key asks for, by the actions of :class:`~arena.workbench.controller.Controller`."""

UNSAVED_KEYS = KeyTable(
    HelpLine("save", (Binding("save", _keys(pygame.K_s), _keys(pygame.K_a)),)),
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

LIST_KEYS = KeyTable(
    HelpLine(
        "choose",
        (
            Binding("line above", _keys(pygame.K_UP)),
            Binding("line below", _keys(pygame.K_DOWN)),
            Binding("far above", _keys(pygame.K_PAGEUP)),
            Binding("far below", _keys(pygame.K_PAGEDOWN)),
        ),
        shown="up, down",
    ),
    HelpLine("take it", (Binding("take", _keys(pygame.K_RETURN, pygame.K_KP_ENTER)),), shown="Enter"),
    HelpLine("leave", (Binding("stay", _keys(pygame.K_ESCAPE)),)),
    HelpLine("find", (Binding("rub out", _keys(pygame.K_BACKSPACE)),), shown="letters"),
)
"""Keys of a list; letters pick the lines that hold them."""

WRITING_KEYS = KeyTable(
    HelpLine("set it", (Binding("take", _keys(pygame.K_RETURN, pygame.K_KP_ENTER)),), shown="Enter"),
    HelpLine("leave it", (Binding("stay", _keys(pygame.K_ESCAPE)),)),
    HelpLine("", (Binding("rub out", _keys(pygame.K_BACKSPACE)),)),
    HelpLine(
        "go along it",
        (
            Binding("letter before", _keys(pygame.K_LEFT)),
            Binding("letter after", _keys(pygame.K_RIGHT)),
            Binding("first letter", _keys(pygame.K_HOME)),
            Binding("last letter", _keys(pygame.K_END)),
        ),
        shown="left, right",
    ),
)
"""Keys while a value is written; all others are letters of it."""

BUTTONS = tuple(
    Button(action, words, WORKBENCH_KEYS.key_of(action))
    for action, words in (
        ("undo", "undo"),
        ("redo", "redo"),
        ("save design", "save"),
        ("save arena", "save arena"),
        ("help", "keys"),
        ("values", "values"),
        ("apply cure", "apply"),
        ("cures", "cures"),
        ("more rounds", "more"),
        ("pin", "pin"),
    )
)
"""The buttons below the panel, from the left, two rows of five."""
