"""The side panel of the workbench: the dials, the pulse ahead, the race, and the buttons."""

import math
from dataclasses import replace

from agents.compiled import compiled_so_far
from agents.design.values_by_path import SCOPES
from agents.testbench.faults import fault_title
from agents.testbench.measuring import SidePoint
from agents.text.units import format_quantity
from arena.workbench.compared import against_pinned, figure_words, is_as_pinned, side_by_side
from arena.workbench.controller import Controller
from arena.workbench.dials import DIALS, Dial
from arena.workbench.documents import design_of
from arena.workbench.jobs import PulseForecast
from arena.workbench.layout import WorkbenchLayout
from arena.workbench.state import WorkbenchState
from arena.workbench.walker_view import draw_walker_ahead
from arena.workbench.workbench_keys import BUTTONS, WORKBENCH_KEYS
from replays.drawing.colours import look
from replays.drawing.marks import draw_mark
from replays.drawing.sheet import Sheet, pygame
from replays.scoring.scores import DesignScore
from replays.window.key_meanings import DIAL_MODE
from replays.words import light_words, time_words

# With more stops than this a rail shows a notch for each fifth only.
_MOST_NOTCHES = 40

_key = WORKBENCH_KEYS.key_of

_SCOPE_WORDS = {"both": "both sides", "left": "left side", "right": "right side"}


def draw_panel(sheet: Sheet, layout: WorkbenchLayout, controller: Controller) -> None:
    """Draw all of it."""
    state, panel = controller.state, layout.panel
    sheet.fill(panel.topleft, panel.size, sheet.theme.card)
    is_below = panel.top > 0
    sheet.line([panel.topleft, panel.topright if is_below else panel.bottomleft], sheet.theme.wood, 3)
    for rect in (layout.pulse, layout.race):
        left, top = rect.topleft
        line = [(left - 13, top), (left - 13, rect.bottom)] if is_below else [(left, top), rect.topright]
        sheet.line(line, sheet.theme.wood, 1)
    _draw_title(sheet, layout, state)
    for number, dial in enumerate(DIALS):
        _draw_dial(sheet, layout, state, number, dial)
    _draw_pulse(sheet, layout, state)
    _draw_race(sheet, layout, state)
    for rect, button in zip(layout.buttons, BUTTONS, strict=True):
        sheet.card(rect.topleft, rect.size, sheet.theme.paper, sheet.theme.wood, 6)
        _centred(sheet, f"{button.words} {button.key}", rect, layout.letters(14), sheet.theme.ink)


def _centred(sheet: Sheet, words: str, rect: pygame.Rect, size: int, colour: tuple[int, int, int]) -> None:
    words = sheet.shorten(words, size, rect.width - 6)
    sheet.text(words, rect.center, size, colour, across=0.5, down=0.5)


def _draw_title(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
    title, size = layout.title, layout.letters(15)
    large = layout.letters(21)
    design = design_of(state.document)
    draw_mark(sheet, (title.left + 9, title.top + large / 2), 8 * layout.unit, look(state.selection.design))
    words = design.name + (" (not saved)" if state.document.is_changed else "")
    room = title.width - 26
    if len(state.documents.designs) > 1:
        key = WORKBENCH_KEYS.key_of("next design")
        hint = f"{state.selection.design + 1} of {len(state.documents.designs)}, next: {key}"
        sheet.text(hint, (title.right, title.top + 3), size, sheet.theme.faded, across=1.0)
        room -= round(sheet.text_size(hint, size)[0]) + 12
    sheet.text(sheet.shorten(words, large, room), (title.left + 26, title.top), large)
    about = sheet.shorten(design.about or "", size, title.width)
    sheet.text(about, (title.left, title.top + large + 7 * layout.unit), size, sheet.theme.faded)
    for number, rect in enumerate(layout.scopes):
        chosen = number == state.selection.scope
        theme = sheet.theme
        sheet.card(rect.topleft, rect.size, theme.ink if chosen else theme.paper, theme.wood, 0)
        colour = theme.paper if chosen else theme.faded
        key = f"  {WORKBENCH_KEYS.key_of('next scope')}" if chosen else ""
        _centred(sheet, _SCOPE_WORDS[SCOPES[number]] + key, rect, size, colour)


def _draw_dial(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState, number: int, dial: Dial) -> None:
    row, rail, theme = layout.rows[number], layout.rails[number], sheet.theme
    size = layout.letters(15)
    chosen = number == state.selection.dial and state.selection.mode == DIAL_MODE
    if chosen:
        sheet.card((row.left - 8, row.top), (row.width + 16, row.height), theme.paper, theme.wood, 6)
        tip = (row.left - 1, row.centery)
        sheet.polygon([tip, (tip[0] - 6, tip[1] - 5), (tip[0] - 6, tip[1] + 5)], theme.ink)
    sheet.text(dial.label, (row.left + 6, row.centery), size, down=0.5)
    design = state.design
    values = dial.values(design)
    sheet.text(dial.shown(design), (row.right, row.centery), size, across=1.0, down=0.5)
    present = [value for value in values if value is not None]
    y = rail.centery
    sheet.line([(rail.left, y), (rail.right, y)], theme.wood if present else theme.faded, 2)
    if not present:
        return
    stops = len(dial.stops)
    for stop in range(0, stops, 1 if stops <= _MOST_NOTCHES else 5):
        x = rail.left + rail.width * stop / (stops - 1)
        sheet.line([(x, y - 4), (x, y + 4)], theme.wood, 1)
    pegs = [("", present[0])] if len(set(values)) == 1 else []
    if not pegs:
        pegs = [(name, value) for name, value in zip("lr", values, strict=True) if value is not None]
    for name, value in pegs:
        x = rail.left + rail.width * dial.place(value)
        colour = {"": theme.accent, "l": theme.left, "r": theme.right}[name]
        _draw_peg(sheet, (x, y), layout.unit, colour, name)


def _draw_peg(
    sheet: Sheet, place: tuple[float, float], unit: float, colour: tuple[int, int, int], side: str
) -> None:
    """A peg that points at its notch; where the sides differ, left from above and right from below."""
    x, y = place
    broad, tall = 6 * unit, 11 * unit
    shapes = {
        "": [(x - broad, y - tall), (x + broad, y - tall), (x + broad, y + tall / 2), (x, y + tall)],
        "l": [(x - broad, y - tall), (x + broad, y - tall), (x, y)],
        "r": [(x - broad, y + tall), (x + broad, y + tall), (x, y)],
    }
    shape = shapes[side]
    if not side:
        shape.append((x - broad, y + tall / 2))
    sheet.polygon(shape, colour)
    sheet.line(shape, sheet.theme.ink, 1.6, closed=True)


def _draw_pulse(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
    """All figures of a pulse, beside a picture of it, or in two columns where faults need the room."""
    box, size, theme = layout.pulse, layout.letters(15), sheet.theme
    line = round(19 * layout.unit)
    forecast = state.background.forecast
    top = box.top + round(6 * layout.unit)
    heading = "One pulse, where the meter lies"
    if forecast is not None:
        heading = f"One pulse in {light_words(forecast.light)}"
    large = layout.letters(17)
    sheet.text(heading, (box.left, top), large)
    if forecast is not None:
        mixture = ", ".join(f"{100 * share:.0f} % {kind}" for kind, share in forecast.kinds)
        mixture = sheet.shorten(mixture, size, box.width - sheet.text_size(heading, large)[0] - 14)
        sheet.text(mixture, (box.right, top + 2), size, theme.faded, across=1.0)
    top += round(24 * layout.unit)
    if forecast is None:
        sheet.text("being worked out", (box.left, top), size, theme.faded)
    figures = [] if forecast is None else _figures(forecast)
    rows = len(figures) if forecast is None or not (forecast.causes or state.document.fault) else 0
    short = -(-len(figures) // 2)
    lines = max((box.bottom - top) // line, 4)
    if not rows:
        # in a low window faults come before the last figures
        needed = len(_fault_lines(sheet, state, size, box.width, 2 * lines))
        short = min(short, max(lines - needed, 3))
    told = _fault_lines(sheet, state, size, box.width, max(lines - (rows or short), 3))
    if rows and rows + len(told) <= lines:
        picture = pygame.Rect(box.left, top, round(0.38 * box.width), rows * line)
        draw_walker_ahead(sheet, picture, state.design, forecast)
        column = pygame.Rect(picture.right + 10, top, box.right - picture.right - 10, line)
        _draw_figures(sheet, column, figures, size)
        top += rows * line
    else:
        half = (box.width - 14) // 2
        _draw_figures(sheet, pygame.Rect(box.left, top, half, line), figures[:short], size)
        _draw_figures(sheet, pygame.Rect(box.right - half, top, half, line), figures[short : 2 * short], size)
        top += short * line
        left_over = box.bottom - top - len(told) * line - 8
        if left_over > 3 * line:
            picture = pygame.Rect(box.left, top + len(told) * line + 4, box.width, left_over)
            draw_walker_ahead(sheet, picture, state.design, forecast)
    for number, (words, is_bad) in enumerate(told):
        sheet.text(words, (box.left, top + 2 + number * line), size, theme.ink if is_bad else theme.faded)


def _draw_figures(sheet: Sheet, first: pygame.Rect, figures: list[tuple[str, str]], size: int) -> None:
    """Figures one below the other, from the line ``first`` on."""
    for number, (words, value) in enumerate(figures):
        y = first.top + number * first.height
        sheet.text(words, (first.left, y), size, sheet.theme.faded)
        value = sheet.shorten(value, size, first.width - sheet.text_size(words, size)[0] - 5)
        sheet.text(value, (first.right, y), size, across=1.0)


def _figures(forecast: PulseForecast) -> list[tuple[str, str]]:
    """What the bench measures, in words and figures."""
    measured = forecast.point.measured
    first: SidePoint = measured.first
    pressed = "-" if first.trigger_touched is None else format_quantity(first.trigger_touched, "V")
    return [
        ("trigger", format_quantity(first.trigger, "V")),
        ("pressed", pressed),
        ("every", _or_dash(first.between, "s")),
        ("pulse", "never releases" if first.locked else _or_dash(first.pulse, "s")),
        ("releases at", _or_dash(first.let_go, "V")),
        ("turn", "-" if first.turn is None else f"{abs(math.degrees(first.turn)):.0f} deg"),
        ("pressed", _turn_pressed(first)),
        ("step", _or_dash(first.advance, "m")),
        ("beside a lamp", forecast.point.heading or "-"),
    ]


def _turn_pressed(side: SidePoint) -> str:
    if side.pressed is None or side.pressed.turn is None:
        return "-"
    return f"{abs(math.degrees(side.pressed.turn)):.2g} deg"


def _or_dash(value: float | None, unit: str) -> str:
    return "-" if value is None else format_quantity(value, unit)


def _fault_lines(
    sheet: Sheet, state: WorkbenchState, size: int, room: float, most: int
) -> list[tuple[str, bool]]:
    """What is wrong, and the cure, in up to so many lines: with the file, with the design in this light."""
    cure = [(words, False) for words in sheet.wrapped(_cure_words(state), size, room)]
    faults = _what_is_wrong(sheet, state, size, room)
    # what is to be done is told whole
    cure = _cut(sheet, cure, most - 1, size, room)
    faults = _cut(sheet, faults, most - len(cure), size, room)
    return [*faults, *cure]


def _cut(
    sheet: Sheet, lines: list[tuple[str, bool]], most: int, size: int, room: float
) -> list[tuple[str, bool]]:
    if len(lines) <= most:
        return lines
    if most < 1:
        return []
    words, is_bad = lines[most - 1]
    return [*lines[: most - 1], (sheet.shorten(f"{words} ...", size, room), is_bad)]


def _cure_words(state: WorkbenchState) -> str:
    """The cure that is offered first, with the key that takes it over."""
    forecast, cures = state.background.forecast, state.background.cures
    if state.document.fault or forecast is None:
        return ""
    if cures is None:
        return "a cure is being looked for" if forecast.causes and state.is_searching else ""
    best = cures.best
    if best is None:
        return "no cure was found among the changes of a part or two" if forecast.causes else ""
    keys = f"{_key('apply cure')}: apply" + (f", {_key('cures')}: all" if len(cures.offers) > 1 else "")
    if best.cures:
        leaves = f"; leaves {_titles(best.left)}" if best.left else ""
        brings = f"; brings {_titles(best.brings)} in other light" if best.brings else ""
        return f"Cure ({keys}): {best.text}{leaves}{brings}"
    if forecast.causes:
        return f"No change takes this away here; {_key('cures')}: cures for other light"
    return f"In other light of this arena {_titles(best.elsewhere)}; cure ({keys}): {best.text}"


def _titles(names: tuple[str, ...]) -> str:
    return ", ".join(fault_title(name) for name in names)


def _what_is_wrong(sheet: Sheet, state: WorkbenchState, size: int, room: float) -> list[tuple[str, bool]]:
    background = state.background
    if state.document.fault:
        words = "cannot be: " + "; ".join(state.document.fault.splitlines())
        return [(line, True) for line in sheet.wrapped(words, size, room)]
    if background.forecast is None:
        return []
    if not background.forecast.causes:
        return [("no fault in this light", False)]
    lines: list[tuple[str, bool]] = []
    for name, cause in background.forecast.causes:
        lines += [(line, True) for line in sheet.wrapped(f"! {fault_title(name)}: {cause}", size, room)]
    return lines


def _draw_race(sheet: Sheet, layout: WorkbenchLayout, state: WorkbenchState) -> None:
    background = state.background
    box, size, theme = layout.race, layout.letters(15), sheet.theme
    line = round(20 * layout.unit)
    top = box.top + round(7 * layout.unit)
    large = layout.letters(17)
    sheet.text("The race", (box.left, top), large)
    status = _race_state(state)
    sheet.text(status, (box.right, top + 2), size, theme.faded, across=1.0)
    top += round(23 * layout.unit)
    if background.races.busy:
        sheet.card((box.left, top), (box.width, 6), theme.paper, theme.wood, 3)
        sheet.card(
            (box.left, top),
            (max(6.0, box.width * background.races.done), 6),
            theme.accent,
            theme.wood,
            3,
        )
    top += round(11 * layout.unit)
    rows = max(1, (box.bottom - top) // line)
    if state.fault and not state.document.fault:
        for number, words in enumerate(sheet.wrapped(f"! {state.fault}", size, box.width)[:rows]):
            sheet.text(words, (box.left, top + number * line), size)
        return
    if background.race is None or not background.race.scores:
        return
    told_below = [part for words in _round_lines(state) for part in sheet.wrapped(words, size, box.width)]
    told_below = told_below[: max(rows - 1, 0)]
    for number, words in enumerate(told_below):
        sheet.text(words, (box.left, box.bottom - (len(told_below) - number) * line), size)
    rows -= len(told_below)
    if rows < 1:
        return
    before = {score.design: score for score in background.scores_before}
    scores = list(enumerate(background.race.scores))
    # the chosen design is told of even where there is not room for all
    scores.sort(key=lambda pair: pair[0] != state.selection.design)
    each = rows // len(scores)
    for place, (number, score) in enumerate(scores[:rows]):
        y = top + place * max(each, 1) * line
        # a name is told where it tells one from another
        least = 1 if len(scores) > 1 else 2
        told = _score_words(score, before.get(score.design) or _only(state), max(each, least))[: max(each, 1)]
        draw_mark(sheet, (box.left + 8, y + size / 2), 5.5 * layout.unit, look(number))
        for offset, part in enumerate(told):
            sheet.text(sheet.shorten(part, size, box.width - 24), (box.left + 24, y + offset * line), size)


def _round_lines(state: WorkbenchState) -> list[str]:
    """What rounds with other luck tell: of designs side by side, of the chosen one, and of what is pinned."""
    rounds, chosen = state.background.rounds, state.selection.design
    if rounds is None or not rounds.now:
        return ["rounds with other luck follow"] if state.background.round_runs.busy else []
    of = f" of {rounds.wanted}" if len(rounds) < rounds.wanted else ""
    told = []
    if len(rounds.names) > 1:
        told += side_by_side(rounds)[:2]
    else:
        told.append(f"{len(rounds)}{of} rounds: {figure_words(rounds.now, chosen)}")
    pinned = against_pinned(rounds, chosen)
    if not pinned or state.pinned is None:
        return told
    if len(rounds.names) == 1:
        if not is_as_pinned(rounds):
            told.append(f"{state.pinned.words}: {figure_words(rounds.pinned, chosen)}")
        told.append(pinned)
    elif not is_as_pinned(rounds):
        told.append(f"against {state.pinned.words}: {pinned}")
    return told


def _only(state: WorkbenchState) -> DesignScore | None:
    """The scores before of a design that goes by another name now."""
    background = state.background
    return (
        background.scores_before[0]
        if len(background.scores_before) == 1 and len(state.documents.designs) == 1
        else None
    )


def _race_state(state: WorkbenchState) -> str:
    background = state.background
    if background.races.busy:
        done = background.races.done
        words = "under way" if background.race is None or background.is_live else "run anew"
        if done > 0.0:
            return f"{words}, {done:.0%}"
        # only a first start compiles, and then takes up to a minute
        compiled = compiled_so_far()
        return f"compiling, {compiled} functions" if compiled else "getting ready"
    if state.fault:
        return "the last one that could be run"
    return "as it lies on the bench"


def _score_words(score: DesignScore, before: DesignScore | None, lines: int) -> list[str]:
    """A design's race in up to so many ``lines``, each figure with what it was before."""

    def pair(now: object, then: object) -> str:
        return f"{now}" if before is None or now == then else f"{now} (before: {then})"

    told = []
    if before is not None and (before.reached is None) != (score.reached is None):
        # of an arena with goals and one without only the light can be compared
        before = replace(before, reached=score.reached, median_reach_s=score.median_reach_s)
    if score.reached is not None:
        told.append(f"{pair(score.reached, before and before.reached)} of {score.walkers} reached a goal")
    then = before.median_reach_s if before is not None else None
    half, earlier = ("never" if at is None else time_words(at) for at in (score.median_reach_s, then))
    if score.median_reach_s is not None or then is not None:
        told.append(f"half by {pair(half, earlier)}")
    if score.light_gain is not None:
        gain = f"{score.light_gain:.2f}"
        gained = before.light_gain if before is not None else None
        told.append(
            f"{pair(gain, f'{gained:.2f}' if gained is not None else '-')} times the light of its start"
        )
    if lines <= 1:
        return [f"{score.design}: {told[0]}" if told else score.design]
    return told[:lines]
