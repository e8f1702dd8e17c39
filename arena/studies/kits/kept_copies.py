"""Where the copies of a kit are kept while they are measured, so that a stop loses nothing."""

import contextlib
import hashlib
from collections.abc import Sequence
from pathlib import Path

from agents.design.spec import Design
from agents.errors import OutputError
from arena.studies.kits.eye_picking import MeasuredEye
from arena.studies.kits.judging import Demand
from arena.studies.plans.study import program_digest
from arena.studies.running.piece_journal import PieceJournal
from arena.studies.running.rounding import arithmetic
from replays.format.whole_files import make_folder


class KeptCopies:
    """A journal of copies in a folder of its own, for one kit; a context manager lets go of it.

    ``journal`` is None where nothing is kept, and ``refused`` says why. A journal that holds nothing is not
    left behind.
    """

    def __init__(self, folder: Path | None, usual: Path, identity: dict[str, str], restart: bool = False):
        """Open the journal in ``folder``, or in the ``usual`` one where it is None.

        ``identity`` is that of :func:`kit_identity`. Raises as :class:`Database` does; but where the usual
        folder cannot be written to, nothing is kept.
        """
        self.folder, self.refused = folder or usual, ""
        self._is_usual = folder is None
        self.journal: PieceJournal | None = None
        try:
            make_folder(self.folder)
            self.journal = PieceJournal(self.folder, identity, restart)
        except OutputError as error:
            if not self._is_usual:
                raise
            self.refused = str(error)

    def __enter__(self) -> "KeptCopies":
        return self

    def __exit__(self, *_exception: object) -> None:
        if self.journal is None:
            return
        if self.journal.is_empty:
            self.finish()
        else:
            self.journal.close()

    def finish(self) -> None:
        """Remove the journal, since the work is through; and the usual folder, if nothing else is in it."""
        if self.journal is not None:
            self.journal.remove()
            self.journal = None
        if self._is_usual:
            with contextlib.suppress(OSError):
                self.folder.rmdir()


def kit_identity(
    design: Design, demand: Demand, copies: int, seed: int, eyes: Sequence[MeasuredEye] | None
) -> dict[str, str]:
    """What decides how the copies of a design come out on the bench, by name."""
    triggers = [] if eyes is None else [eye.trigger for eye in eyes]
    return {
        "kind": "kit",
        "design": hashlib.sha256(repr(design.model_dump()).encode()).hexdigest(),
        "eyes": hashlib.sha256(repr(triggers).encode()).hexdigest(),
        "light": f"{demand.kind} {' '.join(map(repr, demand.lights))}",
        "copies": str(copies),
        "seed": str(seed),
        "program": program_digest(),
        "arithmetic of processor and libraries": arithmetic(),
    }
