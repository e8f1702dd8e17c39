"""What is done to things on the plan beside moving them: put there, taken out, turned, stretched."""

import math
from collections.abc import Callable
from functools import partial

from agents.design.rewriting import rewrite, rewrite_values
from agents.errors import PhotodromeError, WorkError
from agents.text.marked_yaml import KeyPath
from agents.text.yaml_text import Plain
from arena.scene.spec import ArenaSpec
from arena.workbench.asked import Asked, AskedList, ListedLine
from arena.workbench.documents import arena_of, first_line, read_spec
from arena.workbench.movables import METER, Movable
from arena.workbench.plan_text import with_item, without_item
from arena.workbench.state import WorkbenchState

TURN, STRETCH = math.radians(5.0), 1.05
"""By how much one press turns a thing [rad] and stretches it."""

# Half of the length and of the breadth of what is put there [m].
_LONG, _BROAD = 0.12, 0.03
# Lists of the file of which things can be put there and taken out, with what one is called.
_SORTS = {"walls": "wall", "shades": "shade", "lamps": "lamp", "goals": "goal", "gates": "gate"}
# The key under which each says where it lies, where that is not its place.
_PLACED_BY = {"walls": "outline", "shades": "outline", "goals": "centre", "gates": "line"}
_STARTS, _ZONE = ("starts", "places"), ("starts", "zone")


def new_thing_list(state: WorkbenchState) -> Asked:
    """Ask what is to be put where the chosen thing, or the light meter, lies."""
    about = {
        "walls": "60 mm high, 240 mm by 60 mm",
        "shades": "250 mm above the floor, passes 20 %",
        "lamps": "600 mm above the floor, 3,000 cd straight down",
        "goals": "a circle of 150 mm",
        "gates": "a line of 240 mm, counts who comes through",
    }
    lines = [
        ListedLine(
            f"a {word}", about[key], partial(put, state, key), "turn, stretch and move it by the arrows"
        )
        for key, word in _SORTS.items()
    ]
    in_zone = arena_of(state.documents.arena).starts.zone is not None
    place = ", in place of the start zone" if in_zone else ""
    zone = "" if in_zone else ", in place of all start places"
    lines.append(ListedLine(f"a start place{place}", "its nose points anywhere", partial(put_start, state)))
    if not in_zone:
        told = "for as many walkers as there are start places"
        lines.append(ListedLine(f"a start zone{zone}", told, partial(put_zone, state)))
    return AskedList("Put on the plan, beside what is chosen", lines)


def put(state: WorkbenchState, key: str) -> None:
    """Put a new thing beside the chosen one, at the nearest place where one can be."""
    document = state.documents.arena
    number = len(getattr(arena_of(document), key))
    names = {thing.name for thing in getattr(arena_of(document), key)}
    name = next(
        f"{_SORTS[key]} {count}"
        for count in range(number + 1, 10**6)
        if f"{_SORTS[key]} {count}" not in names
    )
    held = _PLACED_BY.get(key, "place")
    _put_beside(
        state,
        lambda x, y: with_item(document.text, (key,), _item(key, name, x, y)),
        (key, number, held),
        name,
        _SORTS[key],
    )


def put_start(state: WorkbenchState) -> None:
    """Let one more walker of each design start beside the chosen thing; a start zone goes by that."""
    document = state.documents.arena
    starts = arena_of(document).starts
    number = len(starts.places or ())

    def text_with(x: float, y: float) -> str:
        item: dict[str, str] = {"place": f"{round(x, 3):g} {round(y, 3):g} m"}
        if starts.zone is None:
            return with_item(document.text, _STARTS, item)
        return rewrite(document.text, {_STARTS: [item], _ZONE: None}, ArenaSpec)

    _put_beside(state, text_with, (*_STARTS, number, "place"), f"start {number + 1}", "start place")


def put_zone(state: WorkbenchState) -> None:
    """Let walkers start in a zone beside the chosen thing, in place of all start places."""
    document = state.documents.arena
    number = len(arena_of(document).starts.places or ())
    half = 0.06 + 0.03 * math.sqrt(number)

    def text_with(x: float, y: float) -> str:
        corners = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
        outline = " / ".join(f"{round(a, 3):g} {round(b, 3):g}" for a, b in corners) + " m"
        values: dict[KeyPath, Plain | None] = {
            (*_ZONE, "outline"): outline,
            (*_ZONE, "number"): str(number),
            _STARTS: None,
        }
        return rewrite(document.text, values, ArenaSpec)

    _put_beside(state, text_with, (*_ZONE, "outline"), "start zone", "start zone")


def _put_beside(
    state: WorkbenchState, text_with: Callable[[float, float], str], path: KeyPath, name: str, sort: str
) -> None:
    """Put a thing of a ``sort`` at the nearest place beside the chosen one where one can be.

    ``text_with`` is the arena's text with it at a place [m], and ``path`` what the file then calls that.
    """
    document, here = state.documents.arena, state.chosen_movable()
    x = sum(point[0] for point in here.points) / len(here.points)
    y = sum(point[1] for point in here.points) / len(here.points)
    refused, possible = "", ""
    for away in (0.0, 0.1, 0.2, 0.35, 0.5, 0.8):
        for turn in range(8 if away else 1):
            place = x + away * math.cos(turn * math.pi / 4), y + away * math.sin(turn * math.pi / 4)
            try:
                text = text_with(*place)
                spec = read_spec("arena", text, document.path.name)
                assert isinstance(spec, ArenaSpec)
                if away and sort == "start place":
                    possible = possible or text
                state.floor.check_room(spec)
            except PhotodromeError as error:
                refused = refused or first_line(str(error))
                continue
            _put_text(state, text, path, f"{name} put there")
            return
    if possible:
        # a place more is the way to enough of them, so it is put although there are too few as yet
        _put_text(state, possible, path, f"{name} put there; {refused}")
        return
    state.note = f"no {sort} can be there: {refused}"


def _put_text(state: WorkbenchState, text: str, path: KeyPath, words: str) -> None:
    state.documents.arena.set_text(text)
    state.selection.choose_movable(path)
    state.commit(words)


def _item(key: str, name: str, x: float, y: float) -> dict[str, str]:
    corners = [
        (x - _BROAD, y - _LONG),
        (x + _BROAD, y - _LONG),
        (x + _BROAD, y + _LONG),
        (x - _BROAD, y + _LONG),
    ]
    outline = " / ".join(f"{round(a, 3):g} {round(b, 3):g}" for a, b in corners) + " m"
    place = f"{round(x, 3):g} {round(y, 3):g} m"
    return {
        "walls": {"name": name, "outline": outline, "height": "60 mm"},
        "shades": {"name": name, "outline": outline, "height": "250 mm", "passes": "20 %"},
        "lamps": {
            "name": name,
            "place": place,
            "height": "600 mm",
            "light": "incandescent",
            "intensity": "3000 cd",
            "diameter": "80 mm",
        },
        "goals": {"name": name, "centre": place, "radius": "150 mm"},
        "gates": {
            "name": name,
            "line": f"{round(x, 3):g} {round(y - _LONG, 3):g} / {round(x, 3):g} {round(y + _LONG, 3):g} m",
        },
    }[key]


def remove(state: WorkbenchState) -> None:
    """Take the chosen thing out of the arena."""
    document, thing = state.documents.arena, state.chosen_movable()
    key, number = thing.path[0], thing.path[1] if len(thing.path) > 1 else None
    is_start = thing.kind == "start"
    if is_start:
        number = thing.path[2]
    if not state.selection.on_plan or not (key in _SORTS or is_start) or not isinstance(number, int):
        state.note = "choose a wall, a shade, a lamp, a goal, a gate or a start on the plan to take it out"
        return
    try:
        text = without_item(document.text, _STARTS if is_start else (str(key),), number)
        read_spec("arena", text, document.path.name)
    except PhotodromeError as error:
        state.note = f"{thing.name} stays: {first_line(str(error))}"
        return
    document.set_text(text)
    state.selection.choose_movable(METER)
    state.commit(f"{thing.name} taken out")


def turn(state: WorkbenchState, steps: int) -> None:
    """Turn the chosen thing about its middle, a lamp's beam about the lamp."""
    thing = state.chosen_movable()
    angle = steps * TURN
    if thing.kind == "lamp":
        aims = [one for one in state.floor.movables() if one.path == (*thing.path[:2], "aim")]
        if not aims:
            state.note = f"{thing.name} shines straight down; give it an aim first"
            return
        _place(state, _about(aims[0], thing.points[0], angle, 1.0), f"{thing.name} turned", thing)
    elif thing.is_point:
        state.note = f"{thing.name} has nothing to turn"
    else:
        _place(state, _about(thing, _middle(thing), angle, 1.0), f"{thing.name} turned", thing)


def stretch(state: WorkbenchState, steps: int) -> None:
    """Make the chosen outline larger or smaller about its middle."""
    thing = state.chosen_movable()
    if thing.is_point:
        state.note = f"{thing.name} has nothing to stretch; its values can be written"
        return
    _place(state, _about(thing, _middle(thing), 0.0, STRETCH**steps), f"{thing.name} stretched", thing)


def _middle(thing: Movable) -> tuple[float, float]:
    count = len(thing.points)
    return sum(x for x, _ in thing.points) / count, sum(y for _, y in thing.points) / count


def _about(thing: Movable, middle: tuple[float, float], angle: float, ratio: float) -> Movable:
    cosine, sine = ratio * math.cos(angle), ratio * math.sin(angle)
    away = [(x - middle[0], y - middle[1]) for x, y in thing.points]
    points = tuple(
        (round(middle[0] + a * cosine - b * sine, 4), round(middle[1] + a * sine + b * cosine, 4))
        for a, b in away
    )
    return Movable(thing.kind, thing.name, thing.path, points, thing.closed)


def _place(state: WorkbenchState, changed: Movable, words: str, chosen: Movable) -> None:
    """Write where a thing now is, unless it cannot be there."""
    state.selection.choose_movable(chosen.path)
    fault = state.floor.fault_of(changed)
    if fault:
        state.note = f"{chosen.name} stays as it was: {fault}"
        return
    document = state.documents.arena
    try:
        document.set_text(rewrite_values(document.text, {changed.path: changed.value}, ArenaSpec))
    except WorkError as error:
        state.note = str(error)
        return
    state.commit(words, f"keys {words} {changed.path}")
