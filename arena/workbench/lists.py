"""The lists of the workbench: cures, all values, files to open, files to begin with."""

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SIDES, SPREAD, of_one
from agents.errors import InputError, WorkError
from agents.testbench.faults import fault_title
from agents.text.marked_yaml import KeyPath
from agents.text.shapes import title_at
from agents.text.shipped import configs_folder, shipped_names
from agents.text.yaml_text import NONE
from arena.workbench.asked import Asked, AskedList, ListedLine, Writing
from arena.workbench.cure_jobs import CureOffer
from arena.workbench.documents import Document, arena_of, design_of, first_line
from arena.workbench.editing import begin, is_unsaved, open_file, write_spacing, write_text, write_value
from arena.workbench.state import WorkbenchState
from arena.workbench.value_lines import (
    ROWS_APART,
    TOLERANCE_EXPECTED,
    parts_without_tolerance,
    values_in,
    with_line,
    with_rows,
)
from arena.workbench.values import LINE, ROWS, ValueRow, arena_rows, design_rows, list_rows, value_of
from replays.words import light_words

# A local file is looked at no further than this [bytes] to see what it is.
_HEAD = 4000


def cure_list(state: WorkbenchState) -> Asked | None:
    """All cures that were found; what is chosen is applied."""
    cures = state.background.cures
    if cures is None or not cures.offers:
        state.apply_cure()
        return None
    least, most = (light_words(light) for light in cures.lights)
    choices = [
        ListedLine(offer.text, offer_words(offer), partial(_apply, state, offer), _cure_about(offer))
        for offer in cures.offers
    ]
    return AskedList(f"Cures, looked for in {least} to {most} of {cures.kind}", choices)


def _apply(state: WorkbenchState, offer: CureOffer) -> None:
    state.apply_cure(offer)


def offer_words(offer: CureOffer) -> str:
    """What an offer brings at the meter, in a few words."""
    if offer.left:
        return f"leaves {_titles(offer.left)}"
    return "no fault is left at the meter" if offer.cures else "for other light"


def _cure_about(offer: CureOffer) -> str:
    told = []
    if offer.cures:
        told.append(f"at the meter it cures {_titles(offer.cures)}")
    if offer.elsewhere:
        told.append(f"in other light of this arena it cures {_titles(offer.elsewhere)}")
    told.append(
        f"but {_titles(offer.brings)} comes up in some light" if offer.brings else "no fault comes of it"
    )
    return "; ".join(told)


def _titles(names: tuple[str, ...]) -> str:
    return ", ".join(fault_title(name) for name in names)


def value_list(state: WorkbenchState, *, of_arena: bool, chosen: KeyPath = ()) -> Asked:
    """Every value of the chosen design on the chosen sides, or of the chosen thing and its arena."""
    if of_arena:
        document = state.documents.arena
        rows = arena_rows(arena_of(document), state.chosen_movable().path)
        title = f"Values of {state.chosen_movable().name} and of the arena"
    else:
        document = state.document
        rows = design_rows(design_of(document), state.selection.sides)
        title = f"All values of {design_of(document).name}"
    choices: list[ListedLine] = []
    room, place = "", 0
    for row in rows:
        if row.room != room:
            room = row.room
            choices.append(ListedLine(_room_words(room)))
        if row.place == chosen:
            place = len(choices)
        take = partial(_write_row, state, document, row, of_arena)
        choices.append(ListedLine(row.title, row.shown, take, row.about))
    if not of_arena:
        ask = partial(_tolerance_list, state)
        choices.append(ListedLine("one more tolerance", "", ask, "for a part that has none yet"))
    return AskedList(title, choices, place)


def _room_words(room: str) -> str:
    if room == BOTH:
        return "both sides"
    return f"{room} side" if room in SIDES else {"all": "as a whole", "spread": "tolerances"}.get(room, room)


def _write_row(state: WorkbenchState, document: Document, row: ValueRow, of_arena: bool) -> Asked:
    back = partial(value_list, state, of_arena=of_arena, chosen=row.place)
    if row.form == ROWS:
        return row_list(state, document, row, back)
    return writing_of(state, document, row, back)


def row_list(
    state: WorkbenchState, document: Document, row: ValueRow, back: Callable[[], Asked | None]
) -> Asked:
    """The rows of a list, each to be written, taken out, or added to."""
    rows = list_rows(document.spec, row)
    again = partial(row_list, state, document, row, back)
    choices = [
        ListedLine(one.title, one.shown, partial(writing_of, state, document, one, again), one.about)
        for one in rows
    ]
    more = Writing(
        f"{row.title}: one more row, or several with {ROWS_APART} between",
        rows[-1].shown if rows else "",
        row.expected,
        partial(write_text, state, document, row.title, partial(_add_rows, row.place)),
    )
    more.then = again
    choices.append(ListedLine("one more row", "", lambda: more, row.about))
    if rows:
        gone = partial(_leave_out, state, document, row, back)
        choices.append(ListedLine("leave all of it out", "", gone, "the file is then without it"))
    choices.append(ListedLine("back to all values", "", back))
    return AskedList(row.title, choices)


def _add_rows(place: KeyPath, document: Document, typed: str) -> str:
    return with_rows(document, place, typed)


def _leave_out(
    state: WorkbenchState, document: Document, row: ValueRow, back: Callable[[], Asked | None]
) -> Asked | None:
    change = partial(_with_line, row.place, {})
    state.note = first_line(write_text(state, document, row.title, change, NONE)) or state.note
    return back()


def _with_line(place: KeyPath, shown: Mapping[str, str], document: Document, typed: str) -> str:
    return with_line(document, place, shown, typed)


def _tolerance_list(state: WorkbenchState) -> Asked:
    """All numbers without a tolerance, of which one gets one."""
    document, scope = state.document, state.selection.sides
    back = partial(value_list, state, of_arena=False)
    choices = []
    for path in parts_without_tolerance(document, scope):
        change = partial(_with_line, (SPREAD, path), {})
        take = partial(write_text, state, document, f"tolerance of {path}", change)
        writing = Writing(f"tolerance of {path}", "uniform 5 %", TOLERANCE_EXPECTED, take, back)
        title = title_at(Design, path.replace(BOTH, SIDES[0], 1)).removeprefix(f"{SIDES[0]} ")
        choices.append(ListedLine(title, path, partial(_same, writing)))
    return AskedList("A tolerance for which part?", choices)


def _same(asked: Asked) -> Asked:
    return asked


def writing_of(state: WorkbenchState, document: Document, row: ValueRow, then: object = None) -> Writing:
    """A value to be written."""
    take: Callable[[str], str] = partial(write_value, state, document, row.place, row.title)
    if row.form == LINE:
        shown = values_in(value_of(document.spec, of_one(row.place)))
        take = partial(write_text, state, document, row.title, partial(_with_line, row.place, shown))
    writing = Writing(row.title, row.shown, row.expected, take)
    if callable(then):
        writing.then = then
    return writing


def dial_writing(state: WorkbenchState) -> Asked | None:
    """The value of the chosen dial, to be written."""
    dial = state.selection.the_dial
    place = tuple(dial.path_in(state.selection.sides).split("."))
    rows = design_rows(design_of(state.document), state.selection.sides)
    row = next(row for row in rows if row.place == place)
    if dial.form == "spacing":
        shown = dial.shown(design_of(state.document))
        take = partial(write_spacing, state, state.document, place)
        return Writing(f"{dial.label}, from eye to eye", shown, row.expected, take)
    return writing_of(state, state.document, row)


def file_list(state: WorkbenchState, kind: str) -> Asked:
    """Shipped files of a kind, and those of this folder and of the folders of the files on the bench."""
    local = sorted({path for folder in _folders(state) for path in _files(folder, kind)}, key=str)
    choices: list[ListedLine] = [ListedLine("in your folders")] if local else []
    for path in local:
        place = "here" if path.parent == Path() else str(path.parent)
        choices.append(ListedLine(path.name, place, partial(_open, state, kind, path)))
    choices.append(ListedLine("shipped"))
    choices += [ListedLine(name, "", partial(_open, state, kind, name)) for name in shipped_names(kind)]
    what = "the design whose dials are shown" if kind == "design" else "the arena"
    return AskedList(f"Open in place of {what}", choices)


def _folders(state: WorkbenchState) -> list[Path]:
    folders = [Path(), *(document.path.parent for document in state.documents.all)]
    shipped = configs_folder().resolve()
    kept = {folder.resolve(): folder for folder in folders if shipped not in folder.resolve().parents}
    return list(kept.values())


def _files(folder: Path, kind: str) -> list[Path]:
    found = []
    for path in [*folder.glob("*.yaml"), *folder.glob("*.yml")]:
        try:
            with path.open(encoding="utf-8") as file:
                head = file.read(_HEAD)
        except (OSError, UnicodeDecodeError):
            continue
        if f"photodrome: {kind} " in head:
            found.append(path)
    return found


def _open(state: WorkbenchState, kind: str, name: str | Path) -> Asked | None:
    if is_unsaved(state, kind):
        words = "Its changes are not saved"
        return AskedList(
            words,
            [
                ListedLine(
                    "open the other one; undo brings this one back, as long as the window is open",
                    "",
                    partial(_opened, state, kind, name),
                ),
                ListedLine("stay with this one", "", lambda: None),
            ],
            1,
        )
    _opened(state, kind, name)
    return None


def _opened(state: WorkbenchState, kind: str, name: str | Path) -> None:
    try:
        open_file(state, kind, name)
    except (InputError, WorkError) as error:
        state.note = str(error).partition("\n")[0]


def new_file(state: WorkbenchState, kind: str) -> Asked:
    """Ask for the name of a file to begin with; it is written, and opened in place of the present one."""
    return Writing(
        f"A new {kind}, by name",
        f"my {kind}",
        "a name of up to 40 letters; its file is written into this folder",
        partial(begin, state, kind),
    )
