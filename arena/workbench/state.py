"""The state of the workbench: its parts, and what a change of one means for the others.

Nothing here draws. :mod:`arena.workbench.controller` turns keys and mouse into calls of
:class:`WorkbenchState`.
"""

from dataclasses import dataclass
from pathlib import Path

from agents.design.rewriting import rewrite_design, rewrite_values
from agents.design.spec import Design
from agents.errors import InputError, OptionError, WorkError
from agents.text.quantities import Pair
from arena.scene.contest import Contest, Entrant
from arena.scene.spec import ArenaSpec
from arena.workbench.background import Background
from arena.workbench.compared import ROUNDS
from arena.workbench.cure_jobs import CureJob, CureOffer
from arena.workbench.dials import Dial, sketch
from arena.workbench.documents import Document, arena_of, design_of, first_line
from arena.workbench.floor_plan import Drag, FloorPlan, meter_at_start
from arena.workbench.jobs import RaceResult, RaceTerms, check_room, contest_of
from arena.workbench.movables import METER, Movable, movable_of
from arena.workbench.open_documents import OpenDocuments
from arena.workbench.rounds import RoundsJob
from arena.workbench.selection import Selection
from replays.window.playback import Transport

_FIRST_SPEED = 50.0
# The files are looked at this often [s]; changes by key that follow within so long [s] are one step.
_LOOK, _PAUSE = 1.0, 1.2
# A run that is out of date for longer than this [s] is shown as such. With at most one change to and fro in
# this time nothing flashes three times a second, which is the limit of WCAG 2.3.1.
_PATIENCE = 0.4
# Cures are looked for once nothing has been changed for so long [s].
_CALM = 0.5


@dataclass(frozen=True)
class Pinned:
    """What was on the bench when it was pinned, in ``words``; ``by_hand`` if the viewer pinned it."""

    contest: Contest
    words: str
    by_hand: bool = False


class WorkbenchState:
    """All that the window shows: ``documents``, ``selection``, ``floor``, ``background`` and ``transport``.

    ``terms`` tell how races are run; ``note`` is the line at the window's foot.
    """

    def __init__(self, arena: Document, designs: list[Document], terms: RaceTerms, meter: Pair) -> None:
        self.documents = OpenDocuments(arena, designs)
        self.selection = Selection()
        self.floor = FloorPlan(arena, meter, lambda spec: check_room(self.contest(spec)))
        self.background = Background()
        self.terms = terms
        self.transport = Transport(self._seconds_ahead, _FIRST_SPEED)
        self.pinned: Pinned | None = None
        self.wanted_rounds = terms.rounds
        self.note = ""
        self.closed = False
        self._sketched: tuple[tuple[str, int], Design] | None = None
        self._stale_s = 0.0
        self._since_look = 0.0
        self._since_key = 0.0
        self._calm_s = 0.0
        self._cures_due = self._rounds_due = False

    @property
    def document(self) -> Document:
        """The file of the chosen design."""
        return self.documents.designs[self.selection.design]

    @property
    def design(self) -> Design:
        """The chosen design as its dials stand, be it possible or not."""
        document = self.document
        key = (document.text, id(document.spec))
        if self._sketched is None or self._sketched[0] != key:
            self._sketched = (key, sketch(document.text, design_of(document)))
        return self._sketched[1]

    @property
    def _seconds_ahead(self) -> float:
        """Length of the race that will be run first [s]."""
        return self.terms.seconds or arena_of(self.documents.arena).lasts

    @property
    def fault(self) -> str:
        """What keeps a race from being run, or empty."""
        return self.documents.fault or self.background.race_fault

    @property
    def is_stale(self) -> bool:
        """Whether the run on show is of something else than what lies on the bench."""
        return (self.background.races.busy and not self.background.is_live) or bool(self.fault)

    @property
    def is_faded(self) -> bool:
        """Whether the run is shown as stale: after a while, so that quick runs do not make it flicker."""
        return self._stale_s > _PATIENCE

    def chosen_movable(self) -> Movable:
        """What the keys move; the light meter where the arena has lost what was chosen."""
        return movable_of(self.floor.movables(), self.selection.movable)

    def choose_movable_beside(self, step: int) -> None:
        """Choose the next thing on the plan, or the one before; at first show what is chosen."""
        movables = self.floor.movables()
        here = movables.index(self.chosen_movable())
        step = step if self.selection.on_plan else 0
        self.selection.choose_movable(movables[(here + step) % len(movables)].path)

    def choose_next_design(self) -> None:
        """Show the dials of the next design."""
        self.selection.design = (self.selection.design + 1) % len(self.documents.designs)
        self.ask_for_forecast()

    def turn(self, dial: Dial, value: float, gesture: str) -> None:
        """Set a value of the chosen design, on the sides that are chosen."""
        sides, document = self.selection.sides, self.document
        path = dial.path_in(sides)
        try:
            text = rewrite_design(document.text, {path: value})
        except WorkError as error:
            self.note = str(error)
            return
        if text != document.text:
            document.set_text(text)
            side = f" {sides}" if dial.two_sided and sides != "both" else ""
            self.commit(f"{dial.label}{side} {dial.words(value)}", f"{gesture} {path}")

    def turn_by(self, steps: int) -> None:
        """Turn the chosen dial by so many stops."""
        self._since_key = 0.0
        dial, value = self.selection.the_dial, self.dial_value()
        if value is not None:
            self.turn(dial, dial.turned(value, steps), "keys")

    def dial_value(self) -> float | None:
        """Where the chosen dial stands on the chosen sides; tells of a part that the design has not."""
        dial, sides = self.selection.the_dial, self.selection.sides
        missing = dial.value(self.design, sides) is None
        if sides == "both":
            missing = None in dial.values(self.design)
        if missing:
            self.note = f"this design leaves out its {dial.label}"
            return None
        return dial.value(self.design, sides)

    def start_drag(self, movable: Movable) -> None:
        """Take hold of a thing."""
        self.selection.choose_movable(movable.path)
        self.floor.drag = Drag(movable, movable)

    def drag_to(self, across: float, along: float, *, exact: bool = False) -> None:
        """Hold it ``across`` and ``along`` [m] from where it was; on the grid unless ``exact``."""
        if self.floor.drag_to(across, along, exact=exact):
            self._ask_for_light()

    def drop(self, gesture: str = "") -> None:
        """Leave what is dragged where it hangs, or put it back where that cannot be."""
        drag = self.floor.end_drag()
        if drag is None:
            return
        if drag.fault:
            self.note = f"{drag.now.name} stays where it was: {drag.fault}"
            self._ask_for_light()
        elif drag.now.kind == "meter":
            self.floor.meter = drag.now.points[0]
            self.ask_for_forecast()
        else:
            arena = self.documents.arena
            try:
                arena.set_text(rewrite_values(arena.text, {drag.now.path: drag.now.value}, ArenaSpec))
            except WorkError as error:
                self.note = str(error)
                self._ask_for_light()
            else:
                self.commit(f"{drag.now.name} moved", gesture)

    def put_back(self) -> None:
        """Let go of what is dragged without moving it."""
        self.floor.drag = None
        self._ask_for_light()

    def nudge(self, across: float, along: float) -> None:
        """Move the chosen thing by so much [m]."""
        self._since_key = 0.0
        movable = self.chosen_movable()
        self.start_drag(movable)
        self.drag_to(across, along, exact=True)
        self.drop(f"keys {movable.path}")

    def undo(self) -> None:
        """Take the last change back."""
        self._show_step(self.documents.undo(), "taken back", "nothing is left to take back")

    def redo(self) -> None:
        """Make a change again that was taken back."""
        self._show_step(self.documents.redo(), "made again", "nothing was taken back")

    def _show_step(self, words: str | None, done: str, nothing: str) -> None:
        if words is None:
            self.note = nothing
            return
        # what is dragged may be another thing, or none, in the text that is now there
        self.floor.drag = None
        self.take_arena()
        self.refresh()
        self.note = f"{done}: {words}"

    def take_arena(self) -> None:
        """Show the arena that lies on the bench, where it is another one than before."""
        arena = self.documents.arena
        if self.floor.arena is arena:
            return
        self.floor.arena, self.floor.drag = arena, None
        self.floor.meter = meter_at_start(arena_of(arena))
        self.selection.movable = METER
        # what was pinned ran elsewhere
        self.pinned = None

    def save(self, document: Document, path: Path) -> None:
        """Write a document. Raises SpecError and OutputError; then nothing has changed."""
        self.documents.save(document, path)
        self.refresh()
        self.note = f"saved as {path}"

    def load_changed(self) -> None:
        """Take what the disk holds of the files that have changed there."""
        changed = self.documents.take_changed()
        if changed and self.floor.drag is not None:
            self.put_back()
        for document in changed:
            try:
                document.load()
            except InputError as error:
                document.keep()
                self.note = f"{document.path.name} stays as it is here: {first_line(str(error))}"
            else:
                self.commit(f"{document.path.name} loaded anew")

    def keep_own(self) -> None:
        """Stay with what lies on the bench although files have changed."""
        self.documents.keep_own()
        self.note = "kept as it is here"

    def contest(self, spec: ArenaSpec | None = None) -> Contest:
        """What lies on the bench as a contest, or with another arena. Raises OptionError."""
        arena, designs = self.documents.arena, self.documents.designs
        entrants = [Entrant(design_of(document), document.text) for document in designs]
        return contest_of(spec or arena_of(arena), arena.text, entrants, self.terms)

    def commit(self, words: str, gesture: str = "") -> None:
        """A text has changed: keep a step of it and work everything out anew."""
        self.documents.note_step(words, gesture)
        self.refresh()
        self.note = words

    def refresh(self) -> None:
        """Ask for all that depends on the documents."""
        self.background.drop_findings()
        self._calm_s, self._cures_due, self._rounds_due = 0.0, True, True
        self._ask_for_light()
        if self.background.race is None:
            self.transport.set_length(self._seconds_ahead)
        if self.documents.fault:
            self.background.drop_race()
            return
        try:
            contest = self.contest()
            self.pinned = self.pinned or Pinned(contest, "as opened")
            self.background.ask_for_race(contest, self.terms.threads)
        except OptionError as error:
            self.background.drop_race(str(error))

    def _ask_for_light(self) -> None:
        designs = [design_of(document) for document in self.documents.designs]
        self.background.ask_for_light_map(self.floor.spec, designs)
        self.ask_for_forecast()

    def ask_for_forecast(self) -> None:
        """Ask what a pulse of the chosen design will be at the light meter, and for its cures."""
        if self.floor.drag is None:
            self.background.cures = None
            self.background.cure_searches.drop()
            self._calm_s, self._cures_due = 0.0, True
        self.background.ask_for_forecast(self.floor.spec, design_of(self.document), self.floor.meter_place)

    def advance(self, elapsed_s: float) -> None:
        """Let ``elapsed_s`` [s] of the viewer's time go by, and take in what has been worked out."""
        shows_all = self.background.race is None or (
            self.transport.time_s >= self.transport.until_s and not self.transport.playing
        )
        race = self.background.take_results()
        if race is not None:
            self._show_race(race, shows_all=shows_all)
        self._ask_for_findings(elapsed_s)
        self._stale_s = self._stale_s + elapsed_s if self.is_stale else 0.0
        self._since_key += elapsed_s
        if self._since_key > _PAUSE:
            self.documents.history.end_gesture()
        self._since_look += elapsed_s
        if self._since_look >= _LOOK:
            self._since_look = 0.0
            self.documents.look_at_disk()
        self.transport.advance(elapsed_s)

    def _ask_for_findings(self, elapsed_s: float) -> None:
        """Ask for cures and rounds once the race, which is looked at first, is through."""
        self.background.take_findings()
        self._calm_s += elapsed_s
        if self.background.is_busy:
            return
        if self._cures_due and self._calm_s > _CALM and not self.document.fault:
            self._cures_due = False
            job = CureJob(self.floor.spec, design_of(self.document), self.floor.meter)
            self.background.cure_searches.ask(job)
        if self.rounds_due:
            self._rounds_due = False
            pinned = self.pinned.contest if self.pinned is not None else None
            self.background.round_runs.ask(
                RoundsJob(self.contest(), pinned, self.wanted_rounds, self.terms.threads)
            )

    @property
    def is_searching(self) -> bool:
        """Whether cures are being looked for, or will be as soon as nothing moves."""
        return (self._cures_due or self.background.cure_searches.busy) and not self.document.fault

    @property
    def rounds_due(self) -> bool:
        """Whether rounds will be run as soon as the race is through."""
        return self._rounds_due and not self.fault and bool(self.wanted_rounds)

    def more_rounds(self) -> None:
        """Run more rounds, of what is pinned too."""
        self.wanted_rounds += ROUNDS
        self._rounds_due = True
        self.note = f"{self.wanted_rounds} rounds, each with other luck"

    def pin(self) -> None:
        """From now on compare with what lies on the bench."""
        if self.fault:
            self.note = f"not pinned: {first_line(self.fault)}"
            return
        self._pin("pinned", by_hand=True)
        self.note = "pinned: what comes is compared with this"

    def _pin(self, words: str, *, by_hand: bool = False) -> None:
        self.pinned = Pinned(self.contest(), words, by_hand)
        self._rounds_due = True

    def apply_cure(self, offer: CureOffer | None = None) -> None:
        """Take a cure over into the text of the design, the best one unless ``offer`` is given.

        What was there before is pinned, unless the viewer has pinned something.
        """
        cures = self.background.cures
        offer = offer or (cures.best if cures is not None else None)
        if offer is None:
            searched = (
                "a cure is still being looked for" if self.is_searching else "there is no cure to apply"
            )
            self.note = searched
            return
        document = self.document
        try:
            text = rewrite_design(document.text, offer.values)
        except WorkError as error:
            self.note = str(error)
            return
        if not self.fault and not (self.pinned is not None and self.pinned.by_hand):
            self._pin("before the cure")
        document.set_text(text)
        self.commit(f"applied: {offer.text}")

    def _show_race(self, race: RaceResult, *, shows_all: bool) -> None:
        """Show another race; whoever looks at the whole of one goes on doing so."""
        transport = self.transport
        transport.set_length(race.replay.seconds, race.until)
        transport.go_to(transport.until_s if shows_all else transport.time_s)

    def close(self) -> None:
        """End it: what is under way is stopped, and nothing is written."""
        self.closed = True
        self.background.close()

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait for the threads to end, each at most ``timeout_s`` [s]; returns whether they have."""
        return self.background.join(timeout_s)
