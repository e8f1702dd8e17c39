"""How a list, or a value that is being written, looks: a card in the middle of the window."""

from arena.workbench.asked import Asked, AskedList, ListedLine, Writing
from arena.workbench.controller import Controller
from arena.workbench.layout import WorkbenchLayout
from arena.workbench.workbench_keys import LIST_KEYS, WRITING_KEYS
from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.window.buttons_and_cards import draw_card
from replays.window.key_tables import KeyTable

_SIZE, _LINE = 16, 25.0


def draw_asked(sheet: Sheet, layout: WorkbenchLayout, controller: Controller, asked: Asked) -> None:
    """Draw it, and tell the controller where the card and its lines are."""
    if isinstance(asked, AskedList):
        _draw_list(sheet, layout, controller, asked)
    else:
        _draw_writing(sheet, layout, controller, asked)


def draw_entry(sheet: Sheet, box: pygame.Rect, text: str, size: int, at: int | None = None) -> None:
    """Text as it is written, with a cursor before letter ``at`` or at its end, which stays in sight."""
    sheet.card(box.topleft, box.size, sheet.theme.paper, sheet.theme.wood, 4)
    before, after = (text, "") if at is None else (text[:at], text[at:])
    room = box.width - 24
    while before and sheet.text_size(before, size)[0] > room:
        before = before[1:]
    while after and sheet.text_size(before + after, size)[0] > room:
        after = after[:-1]
    sheet.text(before + after, (box.left + 8, box.centery), size, down=0.5)
    cursor = box.left + 9 + sheet.text_size(before, size)[0]
    sheet.fill((cursor, box.top + 4), (2, box.height - 8), sheet.theme.ink)


def _keys(table: KeyTable) -> str:
    return "     ".join(f"{line.keys}: {line.words}" for line in table.help_lines)


def _draw_list(sheet: Sheet, layout: WorkbenchLayout, controller: Controller, asked: AskedList) -> None:
    unit = layout.unit
    size, line = layout.letters(_SIZE), round(_LINE * unit)
    width = min(round(760 * unit), layout.size[0] - 40)
    about = asked.chosen.about if asked.chosen is not None else ""
    told = sheet.wrapped(about, size, width - 40)[:3] if about else []
    # the card keeps its size while one goes through the list
    most = max(3, (layout.size[1] - 40) // line - 7)
    lines = min(len(asked.choices), most)
    card = pygame.Rect(0, 0, width, round((lines + 5.6) * line) + 30)
    card.center = (layout.size[0] // 2, layout.size[1] // 2)
    draw_card(sheet, Box(*map(float, card)))
    controller.asked_card, controller.asked_rows = card, {}
    left, room, top = card.left + 20, card.width - 40, card.top + 12
    title = sheet.shorten(asked.title, layout.letters(18), room - round(200 * unit))
    sheet.text(title, (left, top), layout.letters(18))
    if asked.part:
        box = pygame.Rect(card.right - 20 - round(190 * unit), top - 2, round(190 * unit), line)
        draw_entry(sheet, box, asked.part, size)
    top += round(1.3 * line)
    shown = asked.shown
    first = min(max(asked.place - lines // 2, 0), max(len(shown) - lines, 0))
    for number in range(first, min(first + lines, len(shown))):
        row = pygame.Rect(card.left + 10, top + (number - first) * line, card.width - 20, line)
        _draw_choice(sheet, row, shown[number], size, number == asked.place)
        if shown[number].take is not None:
            controller.asked_rows[number] = row
    if not shown:
        sheet.text("nothing holds these letters", (left, top), size, sheet.theme.faded)
    elif len(shown) > lines:
        _draw_place(sheet, pygame.Rect(card.right - 8, top, 4, lines * line), first, lines, len(shown))
    foot = card.bottom - 12 - line
    sheet.text(sheet.shorten(_keys(LIST_KEYS), size, room), (left, foot), size, sheet.theme.faded)
    for number, words in enumerate(told):
        sheet.text(words, (left, foot - (3 - number) * line + 2), size)


def _draw_choice(sheet: Sheet, row: pygame.Rect, choice: ListedLine, size: int, chosen: bool) -> None:
    theme = sheet.theme
    if choice.take is None:
        sheet.text(choice.words, (row.left + 10, row.centery), size, theme.faded, down=0.5)
        sheet.line([(row.left + 10, row.bottom - 2), (row.right - 10, row.bottom - 2)], theme.faded, 1)
        return
    colour = theme.paper if chosen else theme.ink
    if chosen:
        sheet.card(row.topleft, row.size, theme.ink, None, 5)
    room = row.width - 34
    # long words leave the detail no less than a third
    detail = sheet.shorten(choice.detail, size, room / 2) if choice.detail else ""
    wide = sheet.text_size(detail, size)[0] + 16 if detail else 0.0
    sheet.text(
        sheet.shorten(choice.words, size, room - wide), (row.left + 22, row.centery), size, colour, down=0.5
    )
    sheet.text(detail, (row.right - 12, row.centery), size, colour, across=1.0, down=0.5)


def _draw_place(sheet: Sheet, box: pygame.Rect, first: int, lines: int, count: int) -> None:
    sheet.fill(box.topleft, box.size, sheet.theme.faded)
    top = box.top + box.height * first / count
    sheet.fill((box.left, top), (box.width, box.height * lines / count), sheet.theme.ink)


def _draw_writing(sheet: Sheet, layout: WorkbenchLayout, controller: Controller, asked: Writing) -> None:
    unit = layout.unit
    size, line = layout.letters(_SIZE), round(_LINE * unit)
    # a line of many values has more room
    width = min(round((640 if len(asked.text) < 60 else 1000) * unit), layout.size[0] - 40)
    words = asked.note.splitlines() if asked.note else [f"expected: {asked.expected}"]
    told = [part for one in words for part in sheet.wrapped(one, size, width - 40)][:7]
    card = pygame.Rect(0, 0, width, round((len(told) + 3.9) * line) + 24)
    card.center = (layout.size[0] // 2, layout.size[1] // 2)
    draw_card(sheet, Box(*map(float, card)))
    controller.asked_card, controller.asked_rows = card, {}
    left, room, top = card.left + 20, card.width - 40, card.top + 12
    sheet.text(sheet.shorten(asked.title, layout.letters(18), room), (left, top), layout.letters(18))
    top += round(1.3 * line)
    draw_entry(sheet, pygame.Rect(left, top, room, line + 4), asked.text, size, asked.at)
    top += round(1.4 * line)
    for number, part in enumerate(told):
        sheet.text(part, (left, top + number * line), size)
    foot = card.bottom - 10 - line
    sheet.text(sheet.shorten(_keys(WRITING_KEYS), size, room), (left, foot), size, sheet.theme.faded)
