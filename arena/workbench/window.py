"""The workbench: try parts and places by hand, and see at once what becomes of pulse and race."""

from collections.abc import Sequence

from arena.scene.contest import read_contest
from arena.workbench.computations import Terms
from arena.workbench.controller import Hands
from arena.workbench.documents import History, arena_of, read_paper
from arena.workbench.state import Trial
from arena.workbench.view import Face
from replays.window.screen import open_display, show, usual_scale

# A thread that does not end within so long [s] is compiling, which cannot be stopped.
_PATIENCE = 2.0


def set_up(arena: str, designs: Sequence[str], terms: Terms) -> Trial:
    """Read arena and designs; nothing is worked out before the first ``refresh``.

    Raises SpecError, NotFoundError and OptionError.
    """
    read_contest(arena, designs, terms.walkers, terms.seconds, terms.seed, terms.alone)
    paper, papers = read_paper("arena", arena), [read_paper("design", design) for design in designs]
    starts = arena_of(paper).starts
    places = starts.zone.outline if starts.zone is not None else [one.place for one in starts.places or ()]
    across, along = zip(*places, strict=True)
    meter = (round(sum(across) / len(across), 2), round(sum(along) / len(along), 2))
    history = History([tuple(one.text for one in (paper, *papers))])
    return Trial(paper, papers, terms, meter, history)


def workbench(arena: str, designs: Sequence[str], terms: Terms) -> bool:
    """Show arena and designs in a window until the viewer closes it.

    Returns whether all work has ended; else a thread is still compiling, and ends with that. Raises what
    :func:`set_up` does, and OutputError where there is no screen.
    """
    trial = set_up(arena, designs, terms)
    open_display()
    try:
        trial.refresh()
        show(Face(Hands(trial)), usual_scale())
    finally:
        trial.close()
    return trial.join(_PATIENCE)
