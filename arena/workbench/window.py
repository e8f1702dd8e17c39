"""The workbench: try parts and places by hand, and see at once what becomes of pulse and race."""

from collections.abc import Sequence

from arena.scene.contest import read_contest
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of, open_document
from arena.workbench.floor_plan import meter_at_start
from arena.workbench.jobs import RaceTerms
from arena.workbench.state import WorkbenchState
from arena.workbench.view import WorkbenchView
from replays.window.screen import open_display, show, usual_scale

# A thread that does not end within so long [s] is compiling, which cannot be stopped.
_PATIENCE = 2.0


def set_up(arena: str, designs: Sequence[str], terms: RaceTerms) -> WorkbenchState:
    """Read arena and designs; nothing is worked out before the first ``refresh``.

    Raises SpecError, NotFoundError and OptionError.
    """
    read_contest(arena, designs, terms.walkers, terms.seconds, terms.seed, terms.alone)
    document, documents = (
        open_document("arena", arena),
        [open_document("design", design) for design in designs],
    )
    return WorkbenchState(document, documents, terms, meter_at_start(arena_of(document)))


def workbench(arena: str, designs: Sequence[str], terms: RaceTerms) -> bool:
    """Show arena and designs in a window until the viewer closes it.

    Returns whether all work has ended; else a thread is still compiling, and ends with that. Raises what
    :func:`set_up` does, and OutputError where there is no screen.
    """
    state = set_up(arena, designs, terms)
    open_display()
    try:
        state.refresh()
        show(WorkbenchView(Controller(state)), usual_scale())
    finally:
        state.close()
    return state.join(_PATIENCE)
