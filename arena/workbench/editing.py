"""What is done to files on the bench beside turning and moving: values written and reset, files opened."""

from collections.abc import Callable
from pathlib import Path

from agents.design.spec import Design
from agents.design.values_by_path import of_one
from agents.errors import PhotodromeError
from agents.text.exact import exact_text
from agents.text.marked_yaml import KeyPath
from agents.text.readers import QuantityError
from agents.text.shapes import shape_at
from agents.text.starter_files import file_name, starter_text
from arena.workbench.documents import Document, arena_of, first_line, open_document
from arena.workbench.floor_plan import meter_at_start
from arena.workbench.movables import METER
from arena.workbench.state import WorkbenchState
from arena.workbench.values import as_in_file, with_text
from replays.format.whole_files import write_whole


def write_value(state: WorkbenchState, document: Document, place: KeyPath, title: str, typed: str) -> str:
    """Set a value by text, as a file would give it; returns why it cannot be, or empty."""
    return write_text(state, document, title, lambda one, line: with_text(one, place, line), typed)


def write_text(
    state: WorkbenchState, document: Document, words: str, change: Callable[[Document, str], str], typed: str
) -> str:
    """Change a file by a line, which ``change`` is given; returns why that cannot be, or empty."""
    try:
        text = change(document, typed)
    except PhotodromeError as error:
        return str(error)
    if text != document.text:
        document.set_text(text)
        state.commit(f"{words} {typed}")
    return ""


def write_spacing(state: WorkbenchState, document: Document, place: KeyPath, typed: str) -> str:
    """Set how far eyes are from the middle by how far they are from one another; returns why it cannot be."""
    shape = shape_at(Design, of_one(place))
    assert shape is not None
    assert shape.reader is not None
    try:
        half = exact_text(shape.reader, 0.5 * shape.reader.read(typed), typed)
    except QuantityError as error:
        return str(error)
    return write_value(state, document, place, "eyes from the middle", half)


def reset_value(state: WorkbenchState) -> None:
    """Set the chosen dial, or the place of the chosen thing, as the file last read or saved has it."""
    if state.selection.on_plan:
        document, place = state.documents.arena, state.chosen_movable().path
        name = state.chosen_movable().name
        if place == METER:
            state.floor.meter = meter_at_start(arena_of(document))
            state.ask_for_forecast()
            return
    else:
        document, name = state.document, state.selection.the_dial.label
        place = tuple(state.selection.the_dial.path_in(state.selection.sides).split("."))
    try:
        text = as_in_file(document, place)
    except PhotodromeError as error:
        state.note = first_line(str(error))
        return
    if text == document.text:
        state.note = f"{name} is as the file has it"
        return
    document.set_text(text)
    state.commit(f"{name} as the file has it")


def is_unsaved(state: WorkbenchState, kind: str) -> bool:
    """Whether opening another file of a kind would lose changes."""
    return (state.document if kind == "design" else state.documents.arena).is_changed


def open_file(state: WorkbenchState, kind: str, name: str | Path) -> None:
    """Lay another design in place of the chosen one, or another arena.

    Raises SpecError, NotFoundError and InputError, and then nothing has changed.
    """
    document = open_document(kind, name)
    state.documents.open(document, 0 if kind == "arena" else 1 + state.selection.design)
    state.take_arena()
    state.refresh()
    state.note = f"{document.path.name} lies on the bench; undo brings back what lay there"


def begin(state: WorkbenchState, kind: str, name: str) -> str:
    """Write a file to begin with and open it; returns why that cannot be, or empty."""
    if is_unsaved(state, kind):
        return f"the {kind} on the bench has changes that are not saved"
    try:
        path = Path(file_name(name, kind))
        if path.exists():
            return f"{path} is there already; choose another name"
        write_whole(path, starter_text(name, kind).encode())
        open_file(state, kind, path)
    except PhotodromeError as error:
        return first_line(str(error))
    state.note = f"{path} is new, and lies on the bench"
    return ""
