"""The files that lie open on the workbench together: an arena and designs, with one history for all."""

from dataclasses import dataclass, field
from pathlib import Path

from arena.workbench.documents import Document, History, Laid


@dataclass
class OpenDocuments:
    """An arena and the designs that are run in it; ``changed_on_disk`` are those that others have written."""

    arena: Document
    designs: list[Document]
    history: History = field(init=False)
    changed_on_disk: list[Document] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.history = History([self.laid])

    @property
    def all(self) -> list[Document]:
        """The arena, then the designs."""
        return [self.arena, *self.designs]

    @property
    def laid(self) -> Laid:
        """Each with its text."""
        return tuple((document, document.text) for document in self.all)

    @property
    def unsaved(self) -> list[Document]:
        """Those with changes that no file has."""
        return [document for document in self.all if document.is_changed]

    @property
    def fault(self) -> str:
        """The first fault of a text, or empty."""
        return next((document.fault for document in self.all if document.fault), "")

    def open(self, document: Document, number: int) -> None:
        """Lay another file in place of number ``number`` of :attr:`all`; a step that can be taken back."""
        before = self.all[number].path.name
        self._lay([*self.all[:number], document, *self.all[number + 1 :]])
        self.note_step(f"{document.path.name} in place of {before}")

    def _lay(self, documents: list[Document]) -> None:
        self.arena, self.designs = documents[0], documents[1:]
        self.changed_on_disk = [one for one in self.changed_on_disk if one in self.all]

    def note_step(self, words: str, gesture: str = "") -> None:
        """Keep what lies there as a step that can be taken back."""
        self.history.note(self.laid, words, gesture)

    def undo(self) -> str | None:
        """Take the last step back; returns what it was, or None if nothing is left."""
        return self._show(self.history.back())

    def redo(self) -> str | None:
        """Make a step again that was taken back; returns what it was, or None if there is none."""
        return self._show(self.history.forth())

    def _show(self, step: tuple[Laid, str] | None) -> str | None:
        if step is None:
            return None
        laid, words = step
        self._lay([document for document, _ in laid])
        for document, text in laid:
            if text != document.text:
                document.set_text(text)
        return words

    def save(self, document: Document, path: Path) -> None:
        """Write one of them. Raises SpecError and OutputError; then nothing has changed."""
        document.save(path)
        self.history.amend(self.laid)
        self.changed_on_disk = [one for one in self.changed_on_disk if one is not document]

    def look_at_disk(self) -> None:
        """See whether the files are still those that were read or saved."""
        for document in self.all:
            if document not in self.changed_on_disk and document.foreign() is not None:
                self.changed_on_disk.append(document)

    def take_changed(self) -> list[Document]:
        """Those that have changed on disk, which count as dealt with from now on."""
        changed, self.changed_on_disk = self.changed_on_disk, []
        return changed

    def keep_own(self) -> None:
        """Stay with what lies here although files have changed."""
        for document in self.take_changed():
            document.keep()
